"""What is no address of the API: a problem like every other."""

from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.views import APIView


class Nowhere(APIView):
    """404 for any method, with or without a key."""

    authentication_classes = ()
    permission_classes = ()
    schema = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Refuse before any method is looked for."""
        raise NotFound
