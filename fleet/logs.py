"""The log: one JSON object per line, with the id of its request and without any secret.

Only the fields named here are logged. An error is logged by its types and the source lines it passed through, without
its message and without variables, since both may hold what a client sent.
"""

import json
import logging
import re
import traceback
from collections.abc import Iterator
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

REQUEST_ID: ContextVar[str] = ContextVar("request_id", default="")
EXTRA_FIELDS = ("method", "path", "status", "milliseconds", "user", "address")  # besides those every record has
MAX_MESSAGE_LENGTH = 2000

_REDACTIONS = (
    (re.compile(r"(/calendars/)[^/?\s\"']+"), r"\1…"),  # the address of a calendar feed is itself a secret
    (re.compile(r"(/welcome/)[^?\s\"']+"), r"\1…"),  # whoever has this address can set a new user's password
    (re.compile(r"(/report/)[^/?\s\"']+"), r"\1…"),  # whoever has this address reads a shared report
    (re.compile(r"(/card/)[^/?\s\"']+"), r"\1…"),  # whoever has this address can log on a boiler's card
    (re.compile(r"(/owner/)[^?\s\"']+"), r"\1…"),  # whoever has this address opens a portfolio
    (re.compile(r"(/[^\s?\"']*)\?[^\s\"']*"), r"\1"),  # query strings
    (re.compile(r"(/notices/(?:answer|stop|confirm)/)[^/?\s\"']+"), r"\1…"),  # these act in somebody's name
    # API keys of devices, wherever they occur; `gg_` begins those made by earlier versions.
    (re.compile(r"\b(gg)_[\w-]+|\b(gaugeglass)_[\w-]{10,}"), lambda found: f"{found[1] or found[2]}_…"),
    (re.compile(r"\b(bearer|basic)\s+\S+", re.IGNORECASE), r"\1 …"),
)


def redact_secrets(text: str) -> str:
    """Return `text` without secret addresses, keys and query strings."""
    for pattern, replacement in _REDACTIONS:
        text = pattern.sub(replacement, text)
    return text


class JsonLines(logging.Formatter):
    """Formats each record as one JSON object on one line, with times in UTC."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the JSON line for `record`."""
        log_entry: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": redact_secrets(record.getMessage())[:MAX_MESSAGE_LENGTH],
        }
        if request_id := REQUEST_ID.get():
            log_entry["request_id"] = request_id
        log_entry.update((name, record.__dict__[name]) for name in EXTRA_FIELDS if name in record.__dict__)
        if record.exc_info and record.exc_info[1]:
            log_entry["error"] = type(record.exc_info[1]).__name__
            log_entry["trace"] = "".join(_trace_lines(record.exc_info[1]))
        return json.dumps(log_entry, default=str)


def _trace_lines(error: BaseException | None) -> Iterator[str]:
    """Yield the source lines an error passed through and its type, starting with its first cause."""
    if error is None:
        return
    cause = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    yield from _trace_lines(cause)
    yield from traceback.format_list(traceback.extract_tb(error.__traceback__))
    yield f"{type(error).__module__}.{type(error).__qualname__}\n"
