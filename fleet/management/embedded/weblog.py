"""The web server's log in the site's own format. Requests that the site logs itself are not logged again."""

import logging
from collections.abc import MutableMapping
from datetime import timedelta
from typing import Any

from gunicorn.glogging import Logger

from fleet.logs import JsonLines, redact_secrets

REQUEST_ID_HEADER = (
    "x-request-id"  # a response with this header went through the site, which has logged it in more detail
)


class Discreet(Logger):
    """Logs static files and requests refused before the site, without secret addresses and query strings."""

    def access(self, resp: Any, req: Any, environ: MutableMapping[str, Any], request_time: timedelta) -> None:
        """Log one line for a response, unless the site has logged it."""
        if self.access_log_enabled and all(name.lower() != REQUEST_ID_HEADER for name, _ in resp.headers):
            fields = {
                "method": environ.get("REQUEST_METHOD"),
                "path": redact_secrets(environ.get("PATH_INFO", "")),
                "status": int(str(resp.status).split()[0]),
                "milliseconds": round(request_time.total_seconds() * 1000, 1),
            }
            self.access_log.info("answered", extra=fields)

    def _set_handler(self, log: logging.Logger, output: Any, fmt: logging.Formatter, stream: Any = None) -> None:
        super()._set_handler(log, output, JsonLines(), stream)  # type: ignore[misc]  # missing from the stubs
