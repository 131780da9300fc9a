"""Writing what somebody decided on a page, and saying why it was not written."""

from collections.abc import Callable, Mapping

from django.db import OperationalError

from fleet.errors import Fault, Refused

BUSY_MESSAGE = "Somebody else is working on this right now. Try again in a moment."
STALE_MESSAGE = "Somebody changed this in the meantime. Check it again, then decide."


def parse_version(text: str) -> int:
    """Return the version of a row as a form carries it; 0, which no row has, where it is none."""
    return int(text) if text.isdecimal() and len(text) < 10 else 0


def attempt_write(write: Callable[[], object], labels: Mapping[str, str]) -> tuple[tuple[str, ...], int]:
    """Run `write`; return the messages of its faults, with the labels of their fields, and the HTTP status."""
    try:
        write()
    except Refused as refused:
        return tuple(_fault_message(fault, labels) for fault in refused.faults), refused.status
    except OperationalError:  # a lock was held too long: nothing was saved
        return (BUSY_MESSAGE,), 503
    return (), 200


def _fault_message(fault: Fault, labels: Mapping[str, str]) -> str:
    if fault.code == "stale":
        return STALE_MESSAGE
    label = labels.get(str(fault.at[0])) if fault.at else None
    return f"{label}: {fault.message}" if label else fault.message
