"""Access checks that endpoints share."""

from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework.request import Request

from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.portfolio.models import Boiler


def boiler_for(request: Request, boiler: UUID, *, see: str, do: str, at: datetime) -> Boiler:
    """Return the boiler if the user may do `do` to it.

    Raises Http404 where the boiler is unknown or may not be seen, PermissionDenied where it may only be seen.
    """
    visible_boiler = policy.boilers_for(user_of(request), see, at).select_related("building").filter(id=boiler).first()
    if visible_boiler is None:
        raise Http404
    if not policy.is_allowed(
        user_of(request), do, portfolio=visible_boiler.portfolio_id, building=visible_boiler.building_id, at=at
    ):
        raise PermissionDenied
    return visible_boiler
