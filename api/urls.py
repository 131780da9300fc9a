"""The API's routes."""

from django.urls import path, re_path
from drf_spectacular.views import SpectacularAPIView

from api.alerts import Alerts
from api.boilers import Boilers, Positions
from api.docs import Docs
from api.nowhere import Nowhere
from api.visits import Visit, Visits

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("docs/", Docs.as_view(url_name="schema"), name="docs"),
    path("v1/visits/", Visits.as_view(), name="visits"),
    path("v1/visits/<uuid:visit>/", Visit.as_view(), name="visit"),
    path("v1/boilers/", Boilers.as_view(), name="boilers"),
    path("v1/boilers/<uuid:boiler>/positions/", Positions.as_view(), name="positions"),
    path("v1/alerts/", Alerts.as_view(), name="alerts"),
    # Everything else under /api/ is a problem too; only the pages' addresses without their slash lead to the pages.
    re_path(r"^(?!(?:docs|schema)$)", Nowhere.as_view(), name="nowhere"),
]
