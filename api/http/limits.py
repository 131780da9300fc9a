"""Rate limits by minute: requests of one key or one signed-in person, and invalid keys tried from one address."""

from datetime import datetime
from typing import Any

from django.conf import settings
from django.utils import timezone
from rest_framework.exceptions import APIException
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from api.http.schema_types import SchemaObject
from fleet.accounts.address import address_of
from fleet.accounts.minute_counts import increment_count, read_count, seconds_left


class RateLimitExceeded(APIException):
    """429, with the seconds until the next minute begins."""

    status_code = 429
    default_code = "throttled"
    default_detail = "These are too many requests for one minute. Wait as long as Retry-After says."

    def __init__(self, at: datetime) -> None:
        super().__init__()
        self.wait = seconds_left(at) - 1  # `api.http.problems` adds one second when it writes the header


class Limit(BaseThrottle):
    """Limits reads and writes a minute, counted apart, of each key and of each person's sessions together."""

    def allow_request(self, request: Request, view: Any) -> bool:
        """Count the request. Raises RateLimitExceeded over the limit.

        Anonymous requests are not throttled; they reach public endpoints only.
        """
        at = timezone.now()
        if not request.user.is_authenticated:
            return True
        reach = getattr(request.user, "reach", None)
        counted_for = f"key:{reach.key}" if reach is not None else f"user:{request.user.pk}"
        reads = request.method in SAFE_METHODS
        limit = settings.READS_A_MINUTE if reads else settings.WRITES_A_MINUTE
        if increment_count(f"{'reads' if reads else 'writes'}:{counted_for}", at) > limit:
            raise RateLimitExceeded(at)
        return True


def check_address(request: Any, at: datetime) -> None:
    """Raise RateLimitExceeded for an address that has tried too many invalid keys in this minute."""
    if read_count(_bad_key_counter(request), at) >= settings.BAD_KEYS_A_MINUTE:
        raise RateLimitExceeded(at)


def count_bad_key(request: Any, at: datetime) -> None:
    """Count an invalid key for the address it came from."""
    increment_count(_bad_key_counter(request), at)


def _bad_key_counter(request: Any) -> str:
    return f"bad-keys:{address_of(request.META)}"


def describe_limits(result: SchemaObject, **_: object) -> SchemaObject:
    """Add the 429 response to every operation under /v1/ in the OpenAPI document."""
    problem = {"$ref": "#/components/schemas/Problem"}
    response = {
        "description": "Too many requests in this minute.",
        "headers": {"Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait."}},
        "content": {"application/problem+json": {"schema": problem}},
    }
    for path, operations in result["paths"].items():
        for operation in operations.values() if "/v1/" in path else ():
            operation["responses"].setdefault("429", response)
    return result
