"""PURE. The only way to refuse an input: a stable code, a sentence, and the path into what was sent."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

FaultPath = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in an input. `code` never changes once published; `at` is a path into the input, `()` all of it."""

    code: str
    message: str
    at: FaultPath = ()


class Refused(Exception):
    """An input was refused. It carries every fault, never only the first. Only the doors catch it and translate it."""

    def __init__(self, code: str, message: str, at: FaultPath = (), status: int = 400) -> None:
        self.faults: tuple[Fault, ...] = (Fault(code, message, at),)
        self.status = status
        super().__init__(f"{code}: {message}")

    @classmethod
    def from_faults(cls, faults: Iterable[Fault], status: int = 400) -> "Refused":
        """Return one refusal that carries all `faults` (at least one); its text is that of the first."""
        fault_tuple = tuple(faults)
        refusal = cls(fault_tuple[0].code, fault_tuple[0].message, fault_tuple[0].at, status)
        refusal.faults = fault_tuple
        return refusal

    def __reduce__(self) -> tuple[object, ...]:
        """Go whole from one process to another, where the loader of a portfolio tells what was refused."""
        return Refused.from_faults, (self.faults, self.status)


def describe_problem(status: int, title: str, faults: Sequence[dict[str, str]]) -> dict[str, object]:
    """Return the members of a problem (RFC 9457): code and detail are those of the first of `faults`.

    Each fault has a code, a message and a pointer into what was sent, "" for all of it.
    """
    first = {"code": faults[0]["code"], "detail": faults[0]["message"]}
    return {"type": "about:blank", "title": title, "status": status, **first, "errors": list(faults)}


def describe_fault(code: str, message: str) -> dict[str, str]:
    """Return a fault of a request as a whole, for `describe_problem`."""
    return {"code": code, "message": message, "pointer": ""}
