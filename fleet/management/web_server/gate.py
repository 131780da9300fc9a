"""The ASGI application that each worker runs: requests come in whole, and only then a thread of the site takes one.

A client that is slow to send or to read holds a connection and a little memory, and no thread.
"""

import asyncio
import json
import logging
import time
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from http import HTTPStatus

from django.utils.http import parse_header_parameters

from fleet.errors import describe_fault, describe_problem
from fleet.logs import redact_secrets
from fleet.management.web_server.card_refusals import CARD_PATH_PREFIX, refusal_on_card
from fleet.management.web_server.site_call import Scope, Site, SiteAnswer, call_site, environ_of, path_bytes
from fleet.management.web_server.waiting_body import (
    BodyLimits,
    BodyReader,
    ClientGone,
    Message,
    Receive,
    RequestRefused,
    new_body,
)

Send = Callable[[Message], Awaitable[None]]

# A response with this header went through the site, which has logged it in more detail.
REQUEST_ID_HEADER = "x-request-id"
CHUNK_BYTES = 64 * 1024
READ_SECONDS = 30.0  # for which a client may leave a chunk of its answer unread
MAX_HEADER_BYTES = 32 * 1024  # of all headers together; a browser's cookies and one key need a tenth of it

log = logging.getLogger("fleet.web_server")


class WholeRequestGate:
    """Lets `site` answer whole requests, so many at once as it has threads."""

    def __init__(self, site: Site, limits: BodyLimits, threads: int) -> None:
        self._site = site
        self._reader = BodyReader(limits)
        self._threads = ThreadPoolExecutor(threads, thread_name_prefix="site")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        started_at = time.monotonic()
        try:
            answer = await self._answer_request(scope, receive)
        except ClientGone:
            return
        with answer.body:
            await _send_answer(answer, send, is_head=scope["method"] == "HEAD")
        if not answer.has_header(REQUEST_ID_HEADER):
            _log_answer(scope, answer.status, started_at)

    async def _answer_request(self, scope: Scope, receive: Receive) -> SiteAnswer:
        """Return the site's answer, or a refusal. Raises ClientGone where nobody waits for one."""
        with new_body() as body:
            try:
                _check_headers(scope)
                length = await self._reader.read_body(receive, _announced_length(scope), body)
            except RequestRefused as refused:
                return _answer_refusal(scope, refused)
            body.seek(0)
            try:
                environ = environ_of(scope, body, length)
                return await asyncio.get_running_loop().run_in_executor(self._threads, call_site, self._site, environ)
            except Exception as error:  # the site answers its own errors: this one was raised around it
                log.error("the site did not answer", exc_info=error)
                return _answer_refusal(scope, RequestRefused(500, "our_fault", "Something failed on the server."))
            finally:
                self._reader.release(length)


def _check_headers(scope: Scope) -> None:
    """Raise RequestRefused for headers that are too long, and for another coding than UTF-8.

    The server's own bound is looser, and no sharp one. Django applies a codec that a header names to query and form:
    some decompress, and some make text that cannot be stored.
    """
    if sum(len(name) + len(value) for name, value in scope["headers"]) > MAX_HEADER_BYTES:
        raise RequestRefused(431, "headers_too_large", f"Headers can be at most {MAX_HEADER_BYTES >> 10} KiB together.")

    content_type = b",".join(value for name, value in scope["headers"] if name == b"content-type")
    _, parameters = parse_header_parameters(content_type.decode("latin-1"))
    if parameters.get("charset", "utf-8").lower() not in ("utf-8", "utf8"):
        raise RequestRefused(415, "unsupported_media_type", "A request is read as UTF-8 only.")


def _announced_length(scope: Scope) -> int:
    text = next((value for name, value in scope["headers"] if name == b"content-length"), b"0")
    return int(text) if text.isdigit() else 0


async def _send_answer(answer: SiteAnswer, send: Send, *, is_head: bool) -> None:
    """Send an answer. It is given up where the client leaves a chunk unread for too long."""
    headers = [(name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in answer.headers]
    try:
        await _send_in_time(send, {"type": "http.response.start", "status": answer.status, "headers": headers})
        while chunk := b"" if is_head else answer.body.read(CHUNK_BYTES):
            await _send_in_time(send, {"type": "http.response.body", "body": chunk, "more_body": True})
        await _send_in_time(send, {"type": "http.response.body", "body": b"", "more_body": False})
    except TimeoutError:
        log.warning("a client left its answer unread")


async def _send_in_time(send: Send, message: dict[str, object]) -> None:
    async with asyncio.timeout(READ_SECONDS):
        await send(message)


def _answer_refusal(scope: Scope, refused: RequestRefused) -> SiteAnswer:
    """Return a refusal: a problem (RFC 9457) of the API, one sentence elsewhere. The connection is closed after it."""
    answer = SiteAnswer(refused.status, [("Connection", "close"), ("X-Content-Type-Options", "nosniff")])
    path = path_bytes(scope)
    is_api, is_card = path.startswith(b"/api/"), path.startswith(CARD_PATH_PREFIX)
    sentence = refusal_on_card(refused.code) if is_card else refused.detail
    content = _write_problem(refused) if is_api else f"{sentence}\n".encode()
    answer.headers.append(("Content-Type", "application/problem+json" if is_api else "text/plain; charset=utf-8"))
    answer.headers.append(("Content-Length", str(len(content))))
    if refused.status == HTTPStatus.SERVICE_UNAVAILABLE:
        answer.headers.append(("Retry-After", "2"))
    answer.body.write(content)
    answer.body.seek(0)
    return answer


def _write_problem(refused: RequestRefused) -> bytes:
    title, faults = HTTPStatus(refused.status).phrase, [describe_fault(refused.code, refused.detail)]
    return json.dumps(describe_problem(refused.status, title, faults)).encode()


def _log_answer(scope: Scope, status: int, started_at: float) -> None:
    """Log one line for an answer that the site has not logged, without secret addresses and query strings."""
    fields = {
        "method": scope["method"],
        "path": redact_secrets(path_bytes(scope).decode(errors="replace")),
        "status": status,
        "milliseconds": round((time.monotonic() - started_at) * 1000, 1),
    }
    log.info("answered", extra=fields)
