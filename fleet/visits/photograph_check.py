"""What a visit's photographs can make it be refused for. Only what is declared is looked at: the bytes follow later."""

from collections.abc import Iterator

from fleet.errors import Fault
from fleet.visits.incoming import IncomingPhotograph, IncomingVisit
from fleet.visits.paper_check import HASH_MESSAGE, SHA256

MAX_PHOTOGRAPHS = 20
MAX_PHOTOGRAPH_BYTES = 20 * 1024 * 1024
PHOTOGRAPH_TYPES = ("image/jpeg", "image/png", "image/webp")


def photograph_faults(visit: IncomingVisit) -> Iterator[Fault]:
    """Yield everything wrong with what the visit says of its photographs."""
    if len(visit.photographs) > MAX_PHOTOGRAPHS:
        yield Fault("too_many", f"A visit can have at most {MAX_PHOTOGRAPHS} photographs.", ("photographs",))
        return
    known_hashes: set[str] = set()
    for number, photograph in enumerate(visit.photographs):
        for field, message in _wrong_fields(photograph, len(visit.entries)):
            yield Fault("not_possible", message, ("photographs", number, field))
        if photograph.sha256 in known_hashes:
            message = "Another photograph of this visit is the same."
            yield Fault("double_photograph", message, ("photographs", number, "sha256"))
        known_hashes.add(photograph.sha256)


def _wrong_fields(photograph: IncomingPhotograph, entries: int) -> Iterator[tuple[str, str]]:
    if not SHA256.fullmatch(photograph.sha256):
        yield "sha256", HASH_MESSAGE
    if not 1 <= photograph.size <= MAX_PHOTOGRAPH_BYTES:
        yield "size", f"A photograph has 1 to {MAX_PHOTOGRAPH_BYTES} bytes."
    if photograph.type not in PHOTOGRAPH_TYPES:
        yield "type", f"A photograph is one of {', '.join(PHOTOGRAPH_TYPES)}."
    if photograph.entry is not None and not 0 <= photograph.entry < entries:
        yield "entry", "This visit has no such entry."
