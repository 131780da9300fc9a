"""The web server's log, in the lines of the site's own: what the site tells itself is not told twice."""

import logging
from datetime import timedelta
from typing import Any

from gunicorn.glogging import Logger

from fleet.logs import JsonLines, discreet

OWN = "x-request-id"  # an answer that bears it went through the site, which told of it with more


class Discreet(Logger):
    """Of static files, and of what was refused before the site was reached: no address that is a secret, no query."""

    def access(self, resp: Any, req: Any, environ: dict[str, Any], request_time: timedelta) -> None:
        """One line for an answer, if the site has not told of it."""
        if self.access_log_enabled and all(name.lower() != OWN for name, _ in resp.headers):
            told = {
                "method": environ.get("REQUEST_METHOD"),
                "path": discreet(environ.get("PATH_INFO", "")),
                "status": int(str(resp.status).split()[0]),
                "milliseconds": round(request_time.total_seconds() * 1000, 1),
            }
            self.access_log.info("answered", extra=told)

    def _set_handler(self, log: logging.Logger, output: Any, fmt: logging.Formatter, stream: Any = None) -> None:
        super()._set_handler(log, output, JsonLines(), stream)
