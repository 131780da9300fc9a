"""The pages."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from fleet.web import (
    board,
    boiler,
    calculator,
    engineering,
    feed,
    job_new,
    jobs,
    register,
    register_boiler,
    register_building,
    register_import,
    visit,
)
from fleet.web.sign_in import SignIn
from fleet.web.welcome import Welcome

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
    path("register/", register.show, name="register-page"),
    path("register/add/", register.add, name="register-add"),
    path("register/sheets/<uuid:portfolio_id>.<slug:kind>", register.download, name="register-sheet"),
    path("register/buildings/<uuid:building_id>/", register_building.show, name="register-building"),
    path("register/buildings/<uuid:building_id>/change/", register_building.change, name="register-building-change"),
    path("register/boilers/<uuid:boiler_id>/", register_boiler.show, name="register-boiler"),
    path("register/boilers/<uuid:boiler_id>/change/", register_boiler.change, name="register-boiler-change"),
    path("register/import/<uuid:portfolio_id>/", register_import.show, name="register-import-page"),
    path("register/import/<uuid:portfolio_id>/file/", register_import.hand_in, name="register-hand-in"),
    path("register/imports/<uuid:import_id>/", register_import.report, name="register-report"),
    path("register/imports/<uuid:import_id>/<slug:kind>/", register_import.decide, name="register-decide"),
    path("alerts/", feed.show, name="alert-feed"),
    path("sign-in/", SignIn.as_view(), name="sign-in"),
    path("welcome/<uidb64>/<token>/", Welcome.as_view(), name="welcome"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
]
