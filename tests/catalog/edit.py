"""Plants one fault in a copied catalogue and tells where it landed."""

from collections.abc import Iterable
from pathlib import Path

from fleet.errors import Fault, Refused


def line_of(path: Path, start: str) -> int:
    """The number of the first line that starts like this."""
    lines = path.read_text().splitlines()
    return next(n for n, line in enumerate(lines, start=1) if line.startswith(start))


def swap(path: Path, start: str, old: str, new: str) -> int:
    """Replace `old` once in the line that starts like this; the line's number."""
    lines = path.read_text().splitlines(keepends=True)
    n = line_of(path, start)
    assert old in lines[n - 1]
    lines[n - 1] = lines[n - 1].replace(old, new, 1)
    path.write_text("".join(lines))
    return n


def append(path: Path, line: str) -> int:
    """Add a line; its number."""
    path.write_text(path.read_text() + line + "\n")
    return len(path.read_text().splitlines())


def drop(path: Path, start: str) -> None:
    """Remove the line that starts like this."""
    lines = path.read_text().splitlines(keepends=True)
    del lines[line_of(path, start) - 1]
    path.write_text("".join(lines))


def drop_text(path: Path, code: str) -> None:
    """Remove the texts of this code from every section."""
    kept, gone = [], False
    for line in path.read_text().splitlines(keepends=True):
        if not line.startswith("   "):
            gone = line.startswith(f"  {code}:")
        if not gone:
            kept.append(line)
    path.write_text("".join(kept))


def places(refused: Refused) -> set[tuple[str, str, int, str]]:
    """Code, file, line and column of every fault."""
    return {_place(f) for f in refused.faults}


def _place(fault: Fault) -> tuple[str, str, int, str]:
    file, line, column = fault.at
    return fault.code, str(file), int(line), str(column)


def codes(faults: Iterable[Fault]) -> set[str]:
    """Their codes."""
    return {f.code for f in faults}
