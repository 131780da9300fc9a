"""The OpenAPI document and its readable page."""

import json
from types import SimpleNamespace
from typing import Any

from drf_spectacular.settings import spectacular_settings
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerView
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response


class ApiDocsEndpoint(SpectacularSwaggerView):
    """The readable page. It is served locally: by default it would send the document to an outside validator."""

    @extend_schema(exclude=True)
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Return the page."""
        response = super().get(request, *args, **kwargs)  # type: ignore[no-untyped-call]
        response.data["settings"] = json.dumps({**spectacular_settings.SWAGGER_UI_SETTINGS, "validatorUrl": None})
        return response  # type: ignore[no-any-return]


class FormatParameterNegotiation(DefaultContentNegotiation):
    """Content negotiation that also reads `?format=json`. Only the OpenAPI document uses it."""

    settings = SimpleNamespace(URL_FORMAT_OVERRIDE="format")  # type: ignore[assignment]


class OpenApiSchemaEndpoint(SpectacularAPIView):
    """The OpenAPI document, as YAML or JSON."""

    content_negotiation_class = FormatParameterNegotiation
