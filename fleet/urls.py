"""Where the doors are."""

from django.urls import include, path

urlpatterns = [
    path("api/", include("api.urls")),
    path("", include("fleet.web.urls")),
]
