"""What a scenario expects of its moments: one expectation a line, in symbolic names."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from fleet.rules.values import FIRING_ANSWERS, Level, Standing, State
from tests.rules.scenarios.entries import Register
from tests.rules.scenarios.nodes import Here

ANSWERS = (*FIRING_ANSWERS, "none")  # none: the visit did not have the boiler in hand
CONDITIONS = (
    "hold",
    "exposed",
    "due",
    "lapsed",
    "due_soon",
    "against_firing",
    "past_date",
    "repaired_not_proven",
    "season_without_visit",
    "hold_but_firing",
    "firing_while_off",
    "certificate_running_out",
    "building_without_heat",
)
VERDICTS = ("pass", "fail", "inconclusive", "not_a_test", "not_done", "noted")
GRADES = ("good", "drifted", "failed", "none")
PROVES = ("full", "partial", "due_only", "none")
STATE_REASONS = (
    "not_fitted",
    "touched",
    "never_proven",
    "path",
    "due",
    "lapsed",
    "clear",
    "not_guarded",
    "not_surveyed",
    "off",
)
MARKS = ("declared", "doubtful", "looser")
WHOLE = "boiler"  # in the place of a position: the boiler as a whole
NEVER = "never"


@dataclass(frozen=True)
class Cast:
    """What moments may name: positions, rules, and visits with the number of their entries."""

    register: Register
    visits: Mapping[str, int]

    @property
    def rules(self) -> set[str]:
        """Everything that can stand as a reason."""
        return {*self.register.catalogue.findings, *STATE_REASONS}


@dataclass(frozen=True)
class Expectation:
    """One thing that must be so: of what (`subject`), and what is wanted; its key says how it is looked up."""

    key: str
    line: int
    subject: str = ""
    want: str | frozenset[tuple[str, ...]] = ""
    at: datetime | None = None
    number: int = 0


@dataclass(frozen=True)
class Moment:
    """An instant, what was known when, and what must be so."""

    line: int
    at: datetime
    known_at: datetime | None
    expected: tuple[Expectation, ...] = field(default=())


Reader = Callable[[Here, Cast], Iterator[Expectation]]


def moments(here: Here, cast: Cast) -> tuple[Moment, ...]:
    """The moments of a scenario; one that expects nothing would be a check that can't fail."""
    found = tuple(_moment(item, cast) for item in here.items())
    if not found:
        raise here.wrong("at least one moment belongs here")
    return found


def _moment(here: Here, cast: Cast) -> Moment:
    told = here.keys({"at", "known_at", "at_least", *_READ}, ("at",))
    zone = cast.register.zone
    loose = "at_least" in told and told["at_least"].flag()
    if loose and "deficiencies" not in told:
        raise told["at_least"].wrong("at_least belongs to deficiencies")
    expected = [e for key, read in _READ.items() if key in told for e in read(told[key], cast)]
    if loose:
        expected = [e if e.key != "deficiencies" else _loosened(e, told["deficiencies"]) for e in expected]
    if not expected:
        raise here.wrong("nothing is expected of this moment")
    known = told["known_at"].instant(zone) if "known_at" in told else None
    return Moment(here.line, told["at"].instant(zone), known, tuple(expected))


def _loosened(expected: Expectation, here: Here) -> Expectation:
    if not expected.want:
        raise here.wrong("at least none is always so")
    return Expectation("at_least", expected.line, want=expected.want)


def _standing(here: Here, cast: Cast) -> Iterator[Expectation]:
    yield Expectation("standing", here.line, want=here.one_of([s.value for s in Standing], "standing"))


def _reasons(here: Here, cast: Cast) -> Iterator[Expectation]:
    for item in here.items():
        rule, ref = _placed(item, cast.rules, cast)
        yield Expectation("reasons", item.line, ref, rule)


def _placed(here: Here, codes: set[str], cast: Cast) -> tuple[str, str]:
    """`code` or `code@position`."""
    code, at, ref = here.text("a code").partition("@")
    if code not in codes:
        raise here.wrong(f"unknown code {code!r}")
    if at and ref not in cast.register.places:
        raise here.wrong(f"unknown position {ref!r}")
    return code, ref


def _states(here: Here, cast: Cast) -> Iterator[Expectation]:
    for ref, value in here.keys(cast.register.places).items():
        yield Expectation("states", value.line, ref, value.one_of([s.value for s in State], "state"))


def _marks(here: Here, cast: Cast) -> Iterator[Expectation]:
    for ref, value in here.keys(cast.register.places).items():
        yield Expectation("marks", value.line, ref, ", ".join(sorted(value.words(MARKS, "mark"))))


def _deficiencies(here: Here, cast: Cast) -> Iterator[Expectation]:
    found: set[tuple[str, ...]] = set()
    for item in here.items():
        told = item.keys({"rule", "position", "level"}, ("rule",))
        rule, ref = _subject(told, cast)
        level = told["level"].one_of([v.value for v in Level], "class") if "level" in told else ""
        found.add((rule, ref, level))
    yield Expectation("deficiencies", here.line, want=frozenset(found))


def _subject(told: dict[str, Here], cast: Cast) -> tuple[str, str]:
    rule = told["rule"].one_of(cast.register.catalogue.findings, "rule")
    ref = told["position"].one_of({*cast.register.places, WHOLE}, "position") if "position" in told else WHOLE
    return rule, ref


def _readiness(here: Here, cast: Cast) -> Iterator[Expectation]:
    told = here.keys({"visit", "answer", "missing"}, ("visit", "answer"))
    visit = told["visit"].one_of(cast.visits, "visit")
    yield Expectation("readiness", here.line, visit, told["answer"].one_of(ANSWERS, "answer"))
    for item in told["missing"].items() if "missing" in told else ():
        yield Expectation("missing", item.line, visit, item.text("a code"))


def _due(here: Here, cast: Cast) -> Iterator[Expectation]:
    yield from _dates("due", here, cast)


def _lapses(here: Here, cast: Cast) -> Iterator[Expectation]:
    yield from _dates("lapses", here, cast)


def _dates(key: str, here: Here, cast: Cast) -> Iterator[Expectation]:
    for ref, value in here.keys(cast.register.places).items():
        never = not value.is_null and value.text() == NEVER
        yield Expectation(key, value.line, ref, at=None if never else value.instant(cast.register.zone))


def _conditions(here: Here, cast: Cast) -> Iterator[Expectation]:
    for item in here.items():
        told = item.keys({"condition", "subject", "since"}, ("condition", "subject"))
        subject = told["subject"]
        if subject.is_map:
            ref = "@".join(_subject(subject.keys({"rule", "position"}, ("rule",)), cast))
        else:
            ref = subject.one_of({*cast.register.places, WHOLE}, "subject")
        since = told["since"].instant(cast.register.zone) if "since" in told else None
        yield Expectation("conditions", item.line, ref, told["condition"].one_of(CONDITIONS, "condition"), since)


def _no_conditions(here: Here, cast: Cast) -> Iterator[Expectation]:
    for item in here.items():
        yield Expectation("no_conditions", item.line, want=item.one_of(CONDITIONS, "condition"))


def _verdicts(here: Here, cast: Cast) -> Iterator[Expectation]:
    words = {"outcome": VERDICTS, "grade": GRADES, "proves": PROVES}
    for item in here.items():
        told = item.keys({"visit", "entry", *words}, ("visit", "entry"))
        visit, number = told["visit"].one_of(cast.visits, "visit"), told["entry"].whole()
        if not 1 <= number <= cast.visits[visit]:
            raise told["entry"].wrong(f"{visit!r} has entries 1 to {cast.visits[visit]}")
        asked = [w for w in words if w in told]
        if not asked:
            raise item.wrong("an outcome, grade or proves belongs here")
        for word in asked:
            yield Expectation(word, item.line, visit, told[word].one_of(words[word], word), number=number)


def _waits(here: Here, cast: Cast) -> Iterator[Expectation]:
    names = here.words(cast.visits, "visit")
    yield Expectation("waits", here.line, want=frozenset((name,) for name in names))


_READ: dict[str, Reader] = {
    "standing": _standing,
    "reasons": _reasons,
    "states": _states,
    "marks": _marks,
    "deficiencies": _deficiencies,
    "readiness": _readiness,
    "due": _due,
    "lapses": _lapses,
    "conditions": _conditions,
    "no_conditions": _no_conditions,
    "verdicts": _verdicts,
    "waits": _waits,
}
