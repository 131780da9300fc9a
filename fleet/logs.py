"""The log: a line of JSON for each record, with the request it belongs to, and nothing in it that opens anything.

What is told is named here; whatever else a record carries stays untold. An error is told by its kinds and the lines it
came through, without its words and without variables: both may hold what somebody sent.
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
FIELDS = ("method", "path", "status", "milliseconds", "user")  # beside those of every record
LONGEST = 2000

_HIDDEN = (
    (re.compile(r"(/calendars/)[^/?\s\"']+"), r"\1…"),  # a calendar's address is itself the secret
    (re.compile(r"(/welcome/)[^?\s\"']+"), r"\1…"),  # whoever has it chooses a newcomer's password
    (re.compile(r"(/[^\s?\"']*)\?[^\s\"']*"), r"\1"),  # what was asked behind an address
    (re.compile(r"\bgg_[\w-]+"), "gg_…"),  # a device's key, wherever it was put
    (re.compile(r"\b(bearer|basic)\s+\S+", re.IGNORECASE), r"\1 …"),
)


def discreet(text: str) -> str:
    """The text without secret addresses, keys, and what stands behind a question mark of an address."""
    for pattern, told in _HIDDEN:
        text = pattern.sub(told, text)
    return text


class JsonLines(logging.Formatter):
    """One JSON object a line, in UTC."""

    def format(self, record: logging.LogRecord) -> str:
        """What is told of a record."""
        told: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": discreet(record.getMessage())[:LONGEST],
        }
        if request_id := REQUEST_ID.get():
            told["request_id"] = request_id
        told.update((name, record.__dict__[name]) for name in FIELDS if name in record.__dict__)
        if record.exc_info and record.exc_info[1]:
            told["error"] = type(record.exc_info[1]).__name__
            told["trace"] = "".join(_trace(record.exc_info[1]))
        return json.dumps(told, default=str)


def _trace(error: BaseException | None) -> Iterator[str]:
    """The lines an error came through and its kind, the first cause first."""
    if error is None:
        return
    cause = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    yield from _trace(cause)
    yield from traceback.format_list(traceback.extract_tb(error.__traceback__))
    yield f"{type(error).__module__}.{type(error).__qualname__}\n"
