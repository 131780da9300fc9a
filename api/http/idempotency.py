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

from api.http.schema_types import SchemaObject
from fleet.accounts import idempotency
from fleet.accounts.idempotency import KeyedPost
from fleet.accounts.models import Answered
from fleet.accounts.requests import user_of
from fleet.errors import Refused

KEY_HEADER = "Idempotency-Key"
REPEAT_HEADER = "Idempotency-Repeat"  # ?1, a boolean as RFC 9651 writes it, on an answer that was given before
MAX_KEY_LENGTH = 255
# As in the OpenAPI document: bare, or in quotes with \" and \\ as escapes.
KEY_PATTERN = r'^([!#-~]{1,255}|"([!#-\[\]-~]|\\["\\]){1,255}")$'
_QUOTED_KEY = re.compile(r'"((?:[^"\\]|\\["\\])*)"')
_VISIBLE_KEY = re.compile(r"[\x21-\x7e]{1,255}")
_KEPT_HEADERS = ("Content-Type", "Location", "ETag", "Cache-Control", "Link")
Handler = Callable[..., Any]


def make_posts_repeatable(patterns: Iterable[object]) -> None:
    """Make every POST of these URL patterns repeatable."""
    for pattern in patterns:
        view = getattr(getattr(pattern, "callback", None), "cls", None)
        if view is not None and hasattr(view, "post") and not hasattr(view.post, "repeatable"):
            view.post = make_repeatable(view.post)


def make_repeatable(post: Handler) -> Handler:
    """Wrap `post` so that it runs once for each key. A repeat under the same key gets the first answer again."""

    @wraps(post)
    def repeatable(self: APIView, request: Request, *args: object, **kwargs: object) -> Any:
        key = key_of(request)
        if key is None or not request.user.is_authenticated or _has_own_id(self, request):
            return post(self, request, *args, **kwargs)
        return _run_once(self, request, key, lambda: post(self, request, *args, **kwargs))

    repeatable.repeatable = True  # type: ignore[attr-defined]
    return repeatable


def require_id_or_key(request: Request, data: Mapping[str, object], id_field: str) -> None:
    """Raise Refused (422) for a post with neither an id of its own nor a key: a repeat could not be recognized."""
    if id_field not in data and key_of(request) is None:
        message = (
            f"Give it an {id_field} of its own, or send an {KEY_HEADER}. Without either, a repeat cannot be recognized."
        )
        raise Refused("idempotency_key_missing", message, (id_field,), status=422)  # the body is well formed


def _has_own_id(view: APIView, request: Request) -> bool:
    """Return whether the body's own id identifies a repeat. The view's `own_id` names that field."""
    id_field = getattr(view, "own_id", None)
    return id_field is not None and (not isinstance(request.data, dict) or id_field in request.data)


def key_of(request: Request) -> str | None:
    """Return the key sent, None without one.

    Raises Refused for a key that is neither a string as structured fields write it (RFC 9651) nor bare.
    """
    header = request.headers.get(KEY_HEADER)
    if header is None:
        return None
    quoted_match = _QUOTED_KEY.fullmatch(header.strip())
    key = re.sub(r"\\(.)", r"\1", quoted_match[1]) if quoted_match else header.strip()
    if not _VISIBLE_KEY.fullmatch(key) or (not quoted_match and '"' in key):
        raise Refused(
            "idempotency_key_invalid", f"A key has 1 to {MAX_KEY_LENGTH} visible characters. A UUID in quotes is best."
        )
    return key


def _run_once(view: APIView, request: Request, key: str, run: Callable[[], Any]) -> Any:
    """Claim the key, run the post and store the answer in one transaction. A refusal or failure frees the key."""
    at = timezone.now()
    post = KeyedPost(user_of(request), request.resolver_match.route, key, _digest_of_post(request))  # type: ignore[union-attr]
    try:
        with transaction.atomic():
            stored_answer = idempotency.claim_key(post, at)
            if stored_answer is not None:
                return _repeat_answer(stored_answer)
            response = _render_response(run(), view, request)
            if response.status_code >= 400:
                transaction.set_rollback(True)
            else:
                _keep_answer(post, response, at)
            return response
    except (TransactionManagementError, InterfaceError) as error:
        # The connection was lost midway: nothing was stored, and the same post may be sent again.
        if connection.is_usable():
            raise
        raise OperationalError("the connection was lost") from error


def _keep_answer(post: KeyedPost, response: Any, at: Any) -> None:
    secret = "no-store" in response.get("Cache-Control", "")
    headers = {name: response[name] for name in _KEPT_HEADERS if name in response}
    body = None if secret else bytes(response.content)
    idempotency.keep_answer(post, status=response.status_code, body=body, headers=headers, at=at)


def _render_response(response: Any, view: APIView, request: Request) -> Any:
    """Render the answer with the negotiated renderer, so that its bytes can be stored."""
    if isinstance(response, Response):
        response.accepted_renderer = request.accepted_renderer
        response.accepted_media_type = request.accepted_media_type
        response.renderer_context = view.get_renderer_context()  # type: ignore[attr-defined]
        response.render()
    return response


def _repeat_answer(stored_answer: Answered) -> HttpResponse:
    response = HttpResponse(bytes(stored_answer.body or b""), status=stored_answer.status)
    del response["Content-Type"]
    for name, value in {**stored_answer.headers, REPEAT_HEADER: "?1"}.items():
        response[name] = value
    return response


def _digest_of_post(request: Request) -> str:
    """Return the SHA-256 of what makes two posts the same: method, address, If-Match, reach of the key, and content.

    The reach is included since the stored answer may show what a key of smaller reach may not see.
    """
    reach = getattr(request.user, "reach", None)
    reach_parts = (
        None if reach is None else [sorted(reach.scopes) if reach.scopes is not None else None, reach.portfolio]
    )
    parts = [request.method, request.get_full_path(), request.headers.get("If-Match"), reach_parts, request.data]
    content = json.dumps(parts, sort_keys=True, separators=(",", ":"), default=_encode_non_json)
    return hashlib.sha256(content.encode()).hexdigest()


def _encode_non_json(value: object) -> str:
    """Return the digest of bytes or of an uploaded file, and the text of any other value that is no JSON."""
    if isinstance(value, UploadedFile):
        digest = hashlib.sha256(b"".join(value.chunks())).hexdigest()
        value.seek(0)
        return digest
    return hashlib.sha256(value).hexdigest() if isinstance(value, bytes) else str(value)


def describe_idempotency_key(result: SchemaObject, **_: object) -> SchemaObject:
    """Add the header to every POST in the OpenAPI document."""
    for path, operations in result["paths"].items():
        if "post" in operations and "/v1/" in path:
            operations["post"].setdefault("parameters", []).append(_KEY_PARAMETER)
            _add_refusals(operations["post"]["responses"])
    return result


def _add_refusals(responses: dict[str, object]) -> None:
    problem: Mapping[str, object] = {"$ref": "#/components/schemas/Problem"}
    for status in ("400", "409", "422"):
        responses.setdefault(status, {"content": {"application/problem+json": {"schema": problem}}, "description": ""})


_KEY_PARAMETER = {
    "in": "header",
    "name": KEY_HEADER,
    "schema": {"type": "string", "pattern": KEY_PATTERN},
    "description": (
        "A name the sender gives this post, so that it may be sent again. The same post under it within 24 hours gets "
        f"the first answer byte for byte, with {REPEAT_HEADER}: ?1; other content is refused with 422, a "
        "repeat while the "
        "first is at work with 409. A refused post frees its key. A visit without an id of its own needs one; where a "
        "visit has an id, that alone decides."
    ),
    "example": '"8f6c2f0e-3d6a-4d8e-9b57-6a1f0c5e2a90"',
}
