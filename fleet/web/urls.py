"""The pages."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import path

from fleet.web import board, boiler, calculator, engineering, feed, job_new, jobs, visit

urlpatterns = [
    path("", board.show, name="board"),
    path("board/rows/", board.rows, name="board-rows"),
    path("boilers/<uuid:boiler_id>/", boiler.show, name="boiler-page"),
    path("boilers/<uuid:boiler_id>/engineering/<slug:panel>.csv", engineering.download, name="engineering-csv"),
    path("visits/<uuid:visit_id>/", visit.show, name="visit-page"),
    path("calculator/", calculator.choose, name="calculator"),
    path("calculator/<str:code>/", calculator.show, name="calculation-page"),
    path("jobs/", jobs.show, name="jobs-page"),
    path("jobs/new/", job_new.show, name="job-new"),
    path("jobs/make/", job_new.make, name="job-make"),
    path("jobs/<uuid:job_id>/<slug:kind>/", jobs.act, name="job-act"),
    path("alerts/", feed.show, name="alert-feed"),
    path("sign-in/", LoginView.as_view(template_name="sign_in.html", redirect_authenticated_user=True), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
]
