"""The API's routes."""

from django.urls import path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerView

from api.alerts import Alerts
from api.boilers import Boilers, Positions
from api.visits import Visit, Visits

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("docs/", SpectacularSwaggerView.as_view(url_name="schema"), name="docs"),
    path("v1/visits/", Visits.as_view(), name="visits"),
    path("v1/visits/<uuid:visit>/", Visit.as_view(), name="visit"),
    path("v1/boilers/", Boilers.as_view(), name="boilers"),
    path("v1/boilers/<uuid:boiler>/positions/", Positions.as_view(), name="positions"),
    path("v1/alerts/", Alerts.as_view(), name="alerts"),
]
