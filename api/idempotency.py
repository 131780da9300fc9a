"""Repeatable posts: every POST takes an Idempotency-Key (draft-ietf-httpapi-idempotency-key-header-07).

`make_posts_repeatable` wraps the `post` of each view in the URL table, so no endpoint has to do it itself.
"""

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping
from functools import wraps
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import InterfaceError, OperationalError, connection, transaction
from django.db.transaction import TransactionManagementError
from django.http import HttpResponse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.accounts import idempotency
from fleet.accounts.idempotency import Post
from fleet.accounts.models import Answered
from fleet.errors import Refused

HEADER = "Idempotency-Key"
REPEAT = "Idempotency-Repeat"  # ?1, a boolean as RFC 9651 writes it, on an answer that was given before
LONGEST = 255
# As in the OpenAPI document: bare, or in quotes with \" and \\ as escapes.
PATTERN = r'^([!#-~]{1,255}|"([!#-\[\]-~]|\\["\\]){1,255}")$'
_QUOTED = re.compile(r'"((?:[^"\\]|\\["\\])*)"')
_VISIBLE = re.compile(r"[\x21-\x7e]{1,255}")
_KEPT_HEADERS = ("Content-Type", "Location", "ETag", "Cache-Control", "Link")
Handler = Callable[..., Any]


def applied(patterns: Iterable[Any]) -> None:
    """Make every POST of these URL patterns repeatable."""
    for pattern in patterns:
        view = getattr(getattr(pattern, "callback", None), "cls", None)
        if view is not None and hasattr(view, "post") and not hasattr(view.post, "repeatable"):
            view.post = once(view.post)


def once(post: Handler) -> Handler:
    """Wrap `post` so that it runs once for each key. A repeat under the same key gets the first answer again."""

    @wraps(post)
    def repeatable(self: APIView, request: Request, *args: Any, **kwargs: Any) -> Any:
        key = key_of(request)
        if key is None or not request.user.is_authenticated or _decides_itself(self, request):
            return post(self, request, *args, **kwargs)
        return _once(self, request, key, lambda: post(self, request, *args, **kwargs))

    repeatable.repeatable = True  # type: ignore[attr-defined]
    return repeatable


def needed(request: Request, data: Mapping[str, Any], own: str) -> None:
    """Raise Refused (422) for a post with neither an id of its own nor a key: a repeat could not be recognized."""
    if own not in data and key_of(request) is None:
        told = f"Give it an {own} of its own, or send an {HEADER}: else nobody could tell a repeat from another."
        raise Refused("idempotency_key_missing", told, (own,), status=422)  # the body is well formed


def _decides_itself(view: APIView, request: Request) -> bool:
    """Return whether the body's own id identifies a repeat. The view's `own_id` names that field."""
    own = getattr(view, "own_id", None)
    return own is not None and (not isinstance(request.data, dict) or own in request.data)


def key_of(request: Request) -> str | None:
    """Return the key sent, None without one.

    Raises Refused for a key that is neither a string as structured fields write it (RFC 9651) nor bare.
    """
    sent = request.headers.get(HEADER)
    if sent is None:
        return None
    quoted = _QUOTED.fullmatch(sent.strip())
    key = re.sub(r"\\(.)", r"\1", quoted[1]) if quoted else sent.strip()
    if not _VISIBLE.fullmatch(key) or (not quoted and '"' in key):
        raise Refused("idempotency_key_invalid", f"A key is 1 to {LONGEST} visible characters, best a UUID in quotes.")
    return key


def _once(view: APIView, request: Request, key: str, run: Callable[[], Any]) -> Any:
    """Claim the key, run the post and store the answer in one transaction. A refusal or failure frees the key."""
    at = timezone.now()
    post = Post(request.user, request.resolver_match.route, key, _digest(request))
    try:
        with transaction.atomic():
            before = idempotency.answered(post, at)
            if before is not None:
                return _again(before)
            response = _rendered(run(), view, request)
            if response.status_code >= 400:
                transaction.set_rollback(True)
            else:
                _keep(post, response, at)
            return response
    except (TransactionManagementError, InterfaceError) as error:
        # The connection was lost midway: nothing was stored, and the same post may be sent again.
        if connection.is_usable():
            raise
        raise OperationalError("the connection was lost") from error


def _keep(post: Post, response: Any, at: Any) -> None:
    secret = "no-store" in response.get("Cache-Control", "")
    headers = {name: response[name] for name in _KEPT_HEADERS if name in response}
    body = None if secret else bytes(response.content)
    idempotency.keep(post, status=response.status_code, body=body, headers=headers, at=at)


def _rendered(response: Any, view: APIView, request: Request) -> Any:
    """Render the answer with the negotiated renderer, so that its bytes can be stored."""
    if isinstance(response, Response):
        response.accepted_renderer = request.accepted_renderer
        response.accepted_media_type = request.accepted_media_type
        response.renderer_context = view.get_renderer_context()
        response.render()
    return response


def _again(before: Answered) -> HttpResponse:
    response = HttpResponse(bytes(before.body or b""), status=before.status)
    del response["Content-Type"]
    for name, value in {**before.headers, REPEAT: "?1"}.items():
        response[name] = value
    return response


def _digest(request: Request) -> str:
    """Return the SHA-256 of what makes two posts the same: method, address, If-Match, reach of the key, and content.

    The reach is included since the stored answer may show what a key of smaller reach may not see.
    """
    reach = getattr(request.user, "reach", None)
    reaching = None if reach is None else [sorted(reach.scopes) if reach.scopes is not None else None, reach.portfolio]
    told = [request.method, request.get_full_path(), request.headers.get("If-Match"), reaching, request.data]
    content = json.dumps(told, sort_keys=True, separators=(",", ":"), default=_opaque)
    return hashlib.sha256(content.encode()).hexdigest()


def _opaque(value: Any) -> str:
    """Return the digest of bytes or of an uploaded file, and the text of any other value that is no JSON."""
    if isinstance(value, UploadedFile):
        digest = hashlib.sha256(b"".join(value.chunks())).hexdigest()
        value.seek(0)
        return digest
    return hashlib.sha256(value).hexdigest() if isinstance(value, bytes) else str(value)


def described(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Add the header to every POST in the OpenAPI document."""
    for path, operations in result["paths"].items():
        if "post" in operations and "/v1/" in path:
            operations["post"].setdefault("parameters", []).append(_PARAMETER)
            _refusals(operations["post"]["responses"])
    return result


def _refusals(responses: dict[str, Any]) -> None:
    problem: Mapping[str, Any] = {"$ref": "#/components/schemas/Problem"}
    for status in ("400", "409", "422"):
        responses.setdefault(status, {"content": {"application/problem+json": {"schema": problem}}, "description": ""})


_PARAMETER = {
    "in": "header",
    "name": HEADER,
    "schema": {"type": "string", "pattern": PATTERN},
    "description": (
        "A name the sender gives this post, so that it may be sent again. The same post under it within 24 hours gets "
        f"the first answer byte for byte, with {REPEAT}: ?1; other content is refused with 422, a repeat while the "
        "first is at work with 409. A refused post frees its key. A visit without an id of its own needs one; where a "
        "visit has an id, that alone decides."
    ),
    "example": '"8f6c2f0e-3d6a-4d8e-9b57-6a1f0c5e2a90"',
}
