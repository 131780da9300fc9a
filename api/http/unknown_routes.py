"""Unknown addresses under /api/: answered with a problem like every other error."""

from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.views import APIView


class UnknownRouteEndpoint(APIView):
    """Answers 404 to any method, with or without a key."""

    authentication_classes = ()
    permission_classes = ()
    schema = None

    def initial(self, request: Request, *args: object, **kwargs: object) -> None:
        """Raise NotFound before any method is looked up."""
        raise NotFound
