"""One call of the site by WSGI (PEP 3333): the environment of a whole request, and the whole answer."""

import sys
from collections.abc import Callable, Iterable, Mapping, MutableMapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import unquote_to_bytes

from fleet.management.web_server.waiting_body import Body, new_body

Site = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
Scope = MutableMapping[str, Any]

BODILESS_STATUSES = (204, 304)
_NAMES_OF_THEIR_OWN = {b"content-type": "CONTENT_TYPE", b"content-length": "CONTENT_LENGTH"}


@dataclass(slots=True)
class SiteAnswer:
    """A whole answer. Its body waits in `body`, in memory or in a file."""

    status: int = 500
    headers: list[tuple[str, str]] = field(default_factory=list)
    body: Body = field(default_factory=new_body)

    def has_header(self, name: str) -> bool:
        """Return whether the answer has a header of this name, in lower case."""
        return any(header.lower() == name for header, _ in self.headers)


def call_site(site: Site, environ: dict[str, object]) -> SiteAnswer:
    """Return what the site answers to a request, read to its end. The caller closes the answer's body."""
    answer = SiteAnswer()

    def start_response(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> None:
        answer.status, answer.headers = int(status.split(" ", 1)[0]), headers

    parts = site(environ, start_response)
    try:
        for part in parts:
            answer.body.write(part)
    finally:
        if hasattr(parts, "close"):
            parts.close()
    if not answer.has_header("content-length") and answer.status not in BODILESS_STATUSES:
        answer.headers.append(("Content-Length", str(answer.body.tell())))
    answer.body.seek(0)
    return answer


def environ_of(scope: Scope, body: Body, length: int) -> dict[str, object]:
    """Return the WSGI environment of a request whose whole body is `body`."""
    server, client = scope.get("server") or ("", None), scope.get("client") or ("", None)
    return {
        **_header_values(scope["headers"]),
        "CONTENT_LENGTH": str(length),  # also of a body that came in chunks without a length
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        "PATH_INFO": path_bytes(scope).decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "SERVER_NAME": str(server[0]),
        "SERVER_PORT": str(server[1] or 0),
        "REMOTE_ADDR": str(client[0]),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope.get("scheme", "http"),
        "wsgi.input": body,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }


def path_bytes(scope: Scope) -> bytes:
    """Return the path as it was sent, without its percent signs."""
    raw: bytes | None = scope.get("raw_path")
    return scope["path"].encode() if raw is None else unquote_to_bytes(raw)


def _header_values(headers: Iterable[tuple[bytes, bytes]]) -> Mapping[str, str]:
    """Return the headers by their names in WSGI. Those sent twice are joined by commas (RFC 9110, 5.3)."""
    values: dict[str, str] = {}
    for name, value in headers:
        # A name with an underscore would read as that of another header, such as one that a proxy sets.
        if b"_" in name:
            continue
        variable = _NAMES_OF_THEIR_OWN.get(name) or f"HTTP_{name.decode('latin-1').upper().replace('-', '_')}"
        joint = "; " if variable == "HTTP_COOKIE" else ","  # RFC 9113, 8.2.3
        text = value.decode("latin-1")
        values[variable] = f"{values[variable]}{joint}{text}" if variable in values else text
    return values
