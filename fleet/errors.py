"""PURE. The one way to refuse: a stable code, a sentence, and the place in what was sent."""

from collections.abc import Iterable
from dataclasses import dataclass

Place = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong: `code` never changes once published; `at` is a path into the input, `()` the whole of it."""

    code: str
    message: str
    at: Place = ()


class Refused(Exception):
    """Raised with every fault found, never only the first; doors translate it, nobody else catches it."""

    def __init__(self, code: str, message: str, at: Place = (), status: int = 400) -> None:
        self.faults: tuple[Fault, ...] = (Fault(code, message, at),)
        self.status = status
        super().__init__(f"{code}: {message}")

    @classmethod
    def all(cls, faults: Iterable[Fault], status: int = 400) -> "Refused":
        """Return one refusal that carries all `faults`; the first gives the code of the whole."""
        listed = tuple(faults)
        made = cls(listed[0].code, listed[0].message, listed[0].at, status)
        made.faults = listed
        return made
