"""The readable pages of the OpenAPI document."""

import json
from typing import Any

from drf_spectacular.settings import spectacular_settings
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularSwaggerView
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
