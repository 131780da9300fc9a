"""The readable pages of the OpenAPI document."""

import json
from types import SimpleNamespace
from typing import Any

from drf_spectacular.settings import spectacular_settings
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerView
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response


class Docs(SpectacularSwaggerView):
    """Served from here whole: the pages would else have a service outside judge the document."""

    @extend_schema(exclude=True)
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Return the page."""
        response = super().get(request, *args, **kwargs)
        response.data["settings"] = json.dumps({**spectacular_settings.SWAGGER_UI_SETTINGS, "validatorUrl": None})
        return response


class ByWord(DefaultContentNegotiation):
    """The one place where `?format=json` chooses, beside what the caller accepts."""

    settings = SimpleNamespace(URL_FORMAT_OVERRIDE="format")


class Schema(SpectacularAPIView):
    """The OpenAPI document, as YAML or JSON."""

    content_negotiation_class = ByWord
