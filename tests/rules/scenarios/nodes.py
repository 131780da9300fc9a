"""Reading YAML by nodes, so that whatever is wrong is refused with its file and line."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from math import isfinite
from pathlib import Path
from zoneinfo import ZoneInfo

import yaml

from fleet.calendar import day_start
from fleet.rules.values import Value

# Written in C where PyYAML was built with it: twelve times as quick, with the same marks.
LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_NULL, _BOOL = "tag:yaml.org,2002:null", "tag:yaml.org,2002:bool"
_NUMBERS = ("tag:yaml.org,2002:int", "tag:yaml.org,2002:float")
_YES = ("yes", "true", "on")
_DAY = len("2025-10-15")


class Broken(Exception):
    """Something in a file is not of the form."""

    def __init__(self, file: str, line: int, told: str) -> None:
        super().__init__(f"{file}:{line}: {told}")


def root(path: Path) -> "Here":
    """The top of a file; Broken where it can't be read as YAML."""
    try:
        node = yaml.compose(path.read_text(encoding="utf-8"), LOADER)
    except OSError as error:
        raise Broken(str(path), 1, f"can't be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise Broken(str(path), 1, "is not UTF-8 text") from None
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise Broken(str(path), line, f"can't be read as YAML: {error.problem}") from None
    except yaml.YAMLError as error:
        raise Broken(str(path), 1, f"can't be read as YAML: {error}") from None
    if node is None:
        raise Broken(str(path), 1, "is empty")
    return Here(str(path), node)


@dataclass(frozen=True)
class Here:
    """One node of a file. Words are read as they are written: `off` is a word where a word belongs."""

    file: str
    node: yaml.Node

    @property
    def line(self) -> int:
        """Counted from 1, as editors do."""
        return self.node.start_mark.line + 1

    @property
    def is_map(self) -> bool:
        """Whether it is keys with values."""
        return isinstance(self.node, yaml.MappingNode)

    @property
    def is_list(self) -> bool:
        """Whether it is a list."""
        return isinstance(self.node, yaml.SequenceNode)

    @property
    def is_null(self) -> bool:
        """Whether nothing stands there."""
        return self.node.tag == _NULL

    def wrong(self, told: str) -> Broken:
        """The refusal of this node."""
        return Broken(self.file, self.line, told)

    def pairs(self) -> dict[str, "Here"]:
        """Keys with values; a key that stands there twice is refused."""
        if not isinstance(self.node, yaml.MappingNode):
            raise self.wrong("keys with values belong here")
        found: dict[str, Here] = {}
        for key, value in self.node.value:
            at = Here(self.file, key)
            name = at.text("a key")
            if name in found:
                raise at.wrong(f"{name!r} stands there twice")
            found[name] = Here(self.file, value)
        return found

    def keys(self, known: Collection[str], needed: Collection[str] = ()) -> dict[str, "Here"]:
        """Keys with values: no unknown key, and none of the needed ones left out."""
        found = self.pairs()
        for name, value in found.items():
            if name not in known:
                raise value.wrong(f"unknown key {name!r}: known are {', '.join(sorted(known))}")
        for name in needed:
            if name not in found:
                raise self.wrong(f"{name!r} is missing")
        return found

    def items(self) -> list["Here"]:
        """The members of a list."""
        if not isinstance(self.node, yaml.SequenceNode):
            raise self.wrong("a list belongs here")
        return [Here(self.file, n) for n in self.node.value]

    def text(self, what: str = "a word") -> str:
        """One text, as written."""
        if not isinstance(self.node, yaml.ScalarNode) or self.is_null:
            raise self.wrong(f"{what} belongs here")
        return str(self.node.value)

    def one_of(self, known: Collection[str], what: str) -> str:
        """A word of a vocabulary."""
        word = self.text(what)
        if word not in known:
            raise self.wrong(f"unknown {what} {word!r}{_near(word, known)}")
        return word

    def words(self, known: Collection[str], what: str) -> list[str]:
        """A list of words of a vocabulary."""
        return [item.one_of(known, what) for item in self.items()]

    def flag(self) -> bool:
        """Yes or no."""
        if self.node.tag != _BOOL:
            raise self.wrong("yes or no belongs here")
        return str(self.node.value).lower() in _YES

    def number(self) -> float:
        """A number."""
        try:
            number = float(self.node.value) if self.node.tag in _NUMBERS else float("nan")
        except ValueError:  # what YAML takes for a number is more than what people do: 9:30
            number = float("nan")
        if not isfinite(number):
            raise self.wrong("a number belongs here")
        return number

    def whole(self) -> int:
        """A whole number, not negative."""
        number = self.number()
        if number < 0 or number != int(number):
            raise self.wrong("a whole number belongs here")
        return int(number)

    def value(self) -> Value:
        """A yes or no, a number, a word or nothing."""
        if self.is_null:
            return None
        if self.node.tag == _BOOL:
            return self.flag()
        return self.number() if self.node.tag in _NUMBERS else self.text("a value")

    def instant(self, zone: str) -> datetime:
        """A time in UTC: with its offset, or local to the zone; a day alone is its first instant."""
        written = self.text("a day or time")
        try:
            told = datetime.fromisoformat(written)
        except ValueError:
            raise self.wrong(f"{written!r} is not a day or time such as 2025-10-15 or 2025-10-15 09:30") from None
        if len(written) == _DAY:
            return day_start(told.date(), zone)
        return told.astimezone(UTC) if told.tzinfo else self._local(told, zone)

    def _local(self, told: datetime, zone: str) -> datetime:
        first, second = (told.replace(tzinfo=ZoneInfo(zone), fold=n).astimezone(UTC) for n in (0, 1))
        if first < second:
            raise self.wrong(f"{told} happens twice in {zone}: write its offset")
        if first > second:
            raise self.wrong(f"{told} does not exist in {zone}: the clocks jump over it")
        return first


def _near(word: str, known: Collection[str]) -> str:
    """What may have been meant."""
    near = [k for k in sorted(known) if word[:4] and k.startswith(word[:4])]
    listed = near or (sorted(known) if len(known) <= 12 else [])
    return f": {', '.join(listed)}" if listed else ""


def merged(mine: dict[str, Here], shared: dict[str, Here]) -> Iterator[tuple[str, Here]]:
    """The shared keys, each replaced by one's own of the same name; one that is set to nothing is taken out."""
    for name, value in {**shared, **mine}.items():
        if not value.is_null:
            yield name, value
