"""The OpenAPI document and its readable page."""

import json
from collections.abc import Mapping
from functools import cache
from types import SimpleNamespace

from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import (
    OpenApiJsonRenderer,
    OpenApiJsonRenderer2,
    OpenApiYamlRenderer,
    OpenApiYamlRenderer2,
)
from drf_spectacular.settings import spectacular_settings
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerView
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.request import Request
from rest_framework.response import Response


class ApiDocsEndpoint(SpectacularSwaggerView):
    """The readable page. It is served locally: by default it would send the document to an outside validator."""

    @extend_schema(exclude=True)
    def get(self, request: Request, *args: object, **kwargs: object) -> Response:
        """Return the page."""
        response = super().get(request, *args, **kwargs)  # type: ignore[no-untyped-call]
        response.data["settings"] = json.dumps({**spectacular_settings.SWAGGER_UI_SETTINGS, "validatorUrl": None})
        return response  # type: ignore[no-any-return]


class FormatParameterNegotiation(DefaultContentNegotiation):
    """Content negotiation that also reads `?format=json`. Only the OpenAPI document uses it."""

    settings = SimpleNamespace(URL_FORMAT_OVERRIDE="format")  # type: ignore[assignment]


@cache
def openapi_document() -> dict[str, object]:
    """Return the OpenAPI document. It is the same for everybody, so a process generates it once."""
    return SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-any-return,no-untyped-call]


@cache
def _document_as_yaml() -> bytes:
    """Return the document as YAML, which takes longer to write than the document takes to generate."""
    return OpenApiYamlRenderer().render(openapi_document())  # type: ignore[no-any-return,no-untyped-call]


class YamlDocumentRenderer(OpenApiYamlRenderer):
    """YAML that is written once in a process where it is the document; an error is written each time."""

    def render(
        self, data: object, accepted_media_type: str | None = None, renderer_context: Mapping[str, object] | None = None
    ) -> bytes:
        """Return `data` as YAML."""
        if data is openapi_document():
            return _document_as_yaml()
        return super().render(data, accepted_media_type, renderer_context)  # type: ignore[no-any-return,no-untyped-call]


class PlainYamlDocumentRenderer(YamlDocumentRenderer):
    """The same under its plain media type."""

    media_type = OpenApiYamlRenderer2.media_type


class OpenApiSchemaEndpoint(SpectacularAPIView):
    """The OpenAPI document, as YAML or JSON."""

    content_negotiation_class = FormatParameterNegotiation
    renderer_classes = [YamlDocumentRenderer, PlainYamlDocumentRenderer, OpenApiJsonRenderer, OpenApiJsonRenderer2]

    def _get_schema_response(self, request: Request) -> Response:
        if self._get_version_parameter(request):  # type: ignore[no-untyped-call]
            return super()._get_schema_response(request)  # type: ignore[no-any-return,no-untyped-call]
        file_name = self._get_filename(request, None)  # type: ignore[no-untyped-call]
        return Response(openapi_document(), headers={"Content-Disposition": f'inline; filename="{file_name}"'})
