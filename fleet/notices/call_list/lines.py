"""The lines of a call list, the default list, and what is wrong with one that somebody wrote."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from fleet.accounts.people import ROLES
from fleet.errors import Fault
from fleet.rules.values import LEVELS

DANGER, HOLD, HOLD_BUT_FIRING, WITHOUT_HEAT = "danger", "hold", "hold_but_firing", "building_without_heat"
INTERRUPTING = (DANGER, HOLD_BUT_FIRING, HOLD, WITHOUT_HEAT)  # worst first; nobody can switch them off
ANY = "any"
MAX_AFTER_MINUTES, MAX_LINES = 24 * 60, 60


@dataclass(frozen=True, slots=True)
class CallLine:
    """One line: of alerts of this condition (or any) and class (or any), these people are told after so many minutes.

    `hears` is a role, or `@` and a user name. `channel` is the one to use first; "" leaves it to the person.
    """

    condition: str
    level: str
    after_minutes: int
    hears: str
    channel: str = ""

    def as_json(self) -> dict[str, object]:
        """Return the line as it is stored and sent."""
        return {
            "condition": self.condition,
            "level": self.level,
            "after_minutes": self.after_minutes,
            "hears": self.hears,
            "channel": self.channel,
        }


@dataclass(frozen=True, slots=True)
class CallStep:
    """Who is told at one moment of a call, so many minutes after it began."""

    after_minutes: int
    lines: tuple[CallLine, ...]


# Common practice: the man nearest the switch and who answers for the house at once, then one after the other.
DEFAULT_LINES: tuple[CallLine, ...] = (
    CallLine(DANGER, ANY, 0, "caretaker"),
    CallLine(DANGER, ANY, 0, "manager"),
    CallLine(DANGER, ANY, 0, "dispatcher"),
    CallLine(DANGER, ANY, 10, "owner"),
    CallLine(DANGER, ANY, 10, "technician"),
    CallLine(HOLD_BUT_FIRING, ANY, 0, "caretaker"),
    CallLine(HOLD_BUT_FIRING, ANY, 0, "manager"),
    CallLine(HOLD_BUT_FIRING, ANY, 10, "dispatcher"),
    CallLine(HOLD_BUT_FIRING, ANY, 20, "owner"),
    CallLine(HOLD, ANY, 0, "caretaker"),
    CallLine(HOLD, ANY, 0, "manager"),
    CallLine(HOLD, ANY, 15, "dispatcher"),
    CallLine(HOLD, ANY, 30, "owner"),
    CallLine(WITHOUT_HEAT, ANY, 0, "manager"),
    CallLine(WITHOUT_HEAT, ANY, 0, "dispatcher"),
    CallLine(WITHOUT_HEAT, ANY, 30, "caretaker"),
    CallLine(WITHOUT_HEAT, ANY, 60, "owner"),
    CallLine(ANY, "urgent", 0, "manager"),
    CallLine(ANY, "urgent", 0, "dispatcher"),
    CallLine(ANY, "routine", 0, "dispatcher"),
)


def steps_for(lines: Sequence[CallLine], condition: str, level: str) -> list[CallStep]:
    """Return the steps for one kind of alert, the earliest first.

    Lines that name the condition count; where none does, those for any condition. The same of the class among them.
    """
    condition_lines = [line for line in lines if line.condition == condition] or [
        x for x in lines if x.condition == ANY
    ]
    fitting = [line for line in condition_lines if line.level == level] or [
        line for line in condition_lines if line.level == ANY
    ]
    fitting.sort(key=lambda line: line.after_minutes)
    return [CallStep(minutes, tuple(group)) for minutes, group in groupby(fitting, lambda line: line.after_minutes)]


def lines_from_json(rows: Iterable[Mapping[str, object]]) -> tuple[CallLine, ...]:
    """Return stored lines as values."""
    return tuple(
        CallLine(
            condition=str(row["condition"]),
            level=str(row["level"]),
            after_minutes=int(str(row["after_minutes"])),
            hears=str(row["hears"]),
            channel=str(row.get("channel", "")),
        )
        for row in rows
    )


def line_faults(lines: Sequence[CallLine], channels: Iterable[str]) -> Iterator[Fault]:
    """Yield what is wrong with the lines themselves, without asking who is there."""
    known_channels = {"", *channels}
    if len(lines) > MAX_LINES:
        yield Fault("too_many", f"A call list has at most {MAX_LINES} lines.", ())
    for n, line in enumerate(lines):
        if line.level not in (ANY, *LEVELS):
            yield Fault("bad_value", f"{line.level!r} is no class: {ANY}, {', '.join(LEVELS)}.", (n, "level"))
        if not 0 <= line.after_minutes <= MAX_AFTER_MINUTES:
            yield Fault("out_of_range", f"Minutes from 0 to {MAX_AFTER_MINUTES}.", (n, "after_minutes"))
        if line.hears not in ROLES and not line.hears.startswith("@"):
            yield Fault("bad_value", f"A role ({', '.join(ROLES)}), or @ and a user name.", (n, "hears"))
        if line.channel not in known_channels:
            yield Fault("bad_value", f"{line.channel!r} is no channel of this site.", (n, "channel"))
    for condition in INTERRUPTING:
        steps = steps_for(lines, condition, "hold")
        if not steps or steps[0].after_minutes > 0:
            name = condition.replace("_", " ")
            yield Fault("nobody_at_once", f"Of {name} nobody is told at once. It needs a line after 0 minutes.", ())
