"""The form of a scenario, for people who know boilers.

A file holds one scenario, or `scenarios:` (a list) beside `shared:` (what they have in common: `zone`, `boiler`,
`terms`, `people`) and `work:` (named lists of entries; an entry `{work: name}` stands for all of them). `like: file`
takes `shared` and `work` from another file. A scenario changes the shared boiler and people key by key and place by
place (`limit:` with nothing behind it is taken out); terms of its own replace the shared ones. A scenario:

    scenario: A flush with the burner off neither renews nor fails.     # one sentence: what it proves
    source: domain 4                                                    # where that is written (optional)
    known_fault: sentence                                               # only while the rules answer wrongly
    zone: America/New_York
    boiler: {name, since, output_btu_h, cutoffs_needed, lowest_safe_line_in, heating_surface_ft2, construction, firing,
      fuel, draft, heats, positions, posted, part}
      posted: 2026-01-02              # when the register was posted, `since` if left out; then it is asked for the rest
      part: yes                       # the story tells only a part of the register; nobody asks for what it leaves out
      positions:                                                        # your own word for each place
        upper: {role, kind, name, hangs_on, attributes, settings, needed, fitted, declared: {procedure: day}}
    terms: {season: 10-01/05-31, urgent_days, due_soon_days, operator_firing_days, variants: {procedure: variant},
      overrides: {procedure: {interval: 24 mo, anchor: season, grace_days, source}}, gauge_most_psi,
      relief_rule: output_only | greater_of, from}
    services: [{state: laid_up_wet, since: 2026-06-01}]
    register:                                                           # what changes in it after the first day
      - {since: 2026-01-02, position: limit, settings: {set_psi: 9}}    # or hangs_on, needed, kind, attributes
      - {since: 2026-01-02, cutoffs_needed: 1}                          # of the boiler as a whole
    papers: [{kind: certificate, name: boiler certificate, since: 2025-04-01, until: 2026-03-31}]
    acts: [{defer: rule, position, episode: 1, at, until}, {report_repair: rule, position, at}]
    people: {Vera: [technician, {code: fire_side, from: day, until: day}], Otto: [operator]}
    visits:                                                             # each in the words of the API
      - {id: first, kind, performed_at, posted_at, people: [Vera], state_on_arrival, left_as, call_for_heat,
         entries: [...], leaving_checks: all, corrects: id, reason, void, seconded: {by: Nora, at: instant}, note,
         paper: {body: valve_shop, name, number, dated_on},   # of others: the entries are the body's word
         neighbour: yes}              # done at another boiler of the header group, on positions shared with this one
    moments:
      - at: 2026-10-01 09:00
        known_at: 2026-10-02          # only visits posted by then
        standing: due
        reasons: [due, lapsed@valve]  # rules that must be among the reasons, `@position` where it matters
        states: {upper: proven}
        marks: {lower: [declared]}
        deficiencies: [{rule, position, level}]       # exactly those open then; level may be left out
        at_least: yes                 # others may be open too
        readiness: {visit: first, answer: something_does, missing: [touched@limit]}     # each must be among the missing
        due: {valve: 2026-10-01}      # by what was done until then and nothing after; `never`
        lapses: {valve: 2026-10-31}
        conditions: [{condition, subject, since}]     # must hold; subject a position, `boiler`, or {rule, position}
        no_conditions: [hold_but_firing]
        verdicts: [{visit: first, entry: 1, outcome, grade, proves}]            # entries are counted from 1
        waits: [first]                # exactly these corrections and papers wait for a second qualified name

Times without an offset are the building's; one that happens twice or never there is refused. A day alone is its first
instant. A position left out of `kind` has the one its role allows; `kind:` with nothing behind it is an empty place.
Without `terms` the season is 10-01/05-31 and everything else as shipped. `leaving_checks: all` answers each with yes.
Whatever is unknown or of a wrong type is refused with its file and line.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from uuid import UUID, uuid5

from fleet.catalog.parse import read_release
from fleet.rules.answers.readiness import LEAVING_CHECKS
from fleet.rules.catalogue import Catalogue
from fleet.rules.values import ActFact, Evidence, OthersPaper, Value, VisitFact
from fleet.rules.vocabulary import PAPER_BODIES
from tests.rules.scenarios import later, setup
from tests.rules.scenarios.entries import Place, Register, Work, entries
from tests.rules.scenarios.expected import Cast, Moment, moments
from tests.rules.scenarios.nodes import Broken, Here, merged, root

SHARED = {"zone", "boiler", "terms", "people"}
SCENARIO = SHARED | {"scenario", "source", "known_fault", "services", "register", "papers", "acts", "visits", "moments"}
VISIT = {
    "id",
    "kind",
    "performed_at",
    "posted_at",
    "people",
    "call_for_heat",
    "state_on_arrival",
    "left_as",
    "entries",
    "leaving_checks",
    "corrects",
    "reason",
    "void",
    "seconded",
    "neighbour",
    "note",
    "paper",
}
KINDS = (
    "annual_service",
    "season_start",
    "season_shutdown",
    "follow_up",
    "no_heat",
    "routine_check",
    "restart",
    "inspection",
)
ARRIVALS = ("firing", "standing_by", "locked_out", "off", "no_power", "unknown")
LEFT = ("firing", "on_call", "off_ready", "off_locked", "attended")


@dataclass(frozen=True)
class Posted:
    """A visit with its name, and when somebody stood behind it as a second."""

    name: str
    visit: VisitFact
    seconded_at: datetime | None


@dataclass(frozen=True)
class Scenario:
    """One scenario: the register in `evidence`, what was posted, and what must follow."""

    name: str
    file: str
    line: int
    evidence: Evidence
    posted: tuple[Posted, ...]
    moments: tuple[Moment, ...]
    known_fault: str = ""
    acts: tuple[ActFact, ...] = ()


@cache
def catalogue() -> Catalogue:
    """The catalogue that comes with the code."""
    return read_release(Path(__file__).resolve().parents[3] / "fixtures" / "catalogue", 1)[1]


def read(path: Path) -> list[Scenario]:
    """The scenarios of a file; Broken at the first thing in it that is not of the form."""
    top = root(path)
    if "scenarios" not in top.pairs():
        return [_scenario(top, {}, {})]
    told = top.keys({"like", "scenarios", "shared", "work"})
    shared, work = _in_common(told)
    if "like" in told:
        below = root(path.parent / told["like"].text("a file")).keys({"shared", "work"})
        more, done = _in_common(below)
        shared, work = {**more, **shared}, {**done, **work}
    found = [_scenario(item, shared, work) for item in told["scenarios"].items()]
    if not found:
        raise told["scenarios"].wrong("no scenario stands here")
    return found


@cache
def scenarios_of(path: Path) -> tuple[Scenario, ...]:
    """The scenarios of a file that stands still, read once in a process."""
    return tuple(read(path))


def outline(path: Path) -> list[tuple[int, str]]:
    """The line of each scenario of a file and its known fault, "" for none; nothing else of it is read."""
    top = root(path).pairs()
    found = top["scenarios"].items() if "scenarios" in top else [root(path)]
    told = [(item.line, item.pairs()) for item in found]
    return [(line, keys["known_fault"].text("a sentence") if "known_fault" in keys else "") for line, keys in told]


def _in_common(told: Mapping[str, Here]) -> tuple[dict[str, Here], dict[str, list[Here]]]:
    shared = told["shared"].keys(SHARED) if "shared" in told else {}
    work = {n: h.items() for n, h in told["work"].pairs().items()} if "work" in told else {}
    return shared, work


def _scenario(here: Here, shared: Mapping[str, Here], work: Work) -> Scenario:
    told = {**shared, **here.keys(SCENARIO, ("scenario", "moments"))}
    for name in ("zone", "boiler"):
        if name not in told:
            raise here.wrong(f"'{name}' is missing")
    evidence, places = _evidence(told, shared)
    zone = evidence.zone
    register = Register(evidence.catalogue, zone, places, work)
    own = told["people"].pairs() if "people" in told else {}
    people = setup.people(dict(merged(own, shared["people"].pairs() if "people" in shared else {})), zone)
    posted = tuple(_visits(told["visits"], people, register)) if "visits" in told else ()
    cast = Cast(register, {p.name: len(p.visit.entries) for p in posted})
    return Scenario(
        name=told["scenario"].text("a sentence"),
        file=here.file,
        line=here.line,
        evidence=evidence,
        posted=posted,
        moments=moments(told["moments"], cast),
        known_fault=told["known_fault"].text("a sentence") if "known_fault" in told else "",
        acts=tuple(later.acts(told["acts"], register)) if "acts" in told else (),
    )


def _evidence(told: Mapping[str, Here], shared: Mapping[str, Here]) -> tuple[Evidence, dict[str, Place]]:
    zone = setup.zone(told["zone"])
    below = shared.get("boiler")
    common = below if below is not told["boiler"] else None
    evidence, places = setup.boiler(told["boiler"], common, zone, catalogue())
    if "terms" in told:
        evidence = replace(evidence, terms=setup.terms(told["terms"], zone, catalogue()))
    if "register" in told:
        evidence = later.register(told["register"], evidence, places)
    if "papers" in told:
        evidence = replace(evidence, papers=tuple(later.papers(told["papers"], zone)))
    if "services" in told:
        evidence = replace(evidence, services=tuple(setup.services(told["services"], zone)))
    return evidence, places


def _visits(here: Here, people: setup.People, register: Register) -> Iterator[Posted]:
    """The visits; a correction names one that stands before it and that nobody corrected yet."""
    open_: set[str] = set()
    seen: set[str] = set()
    for number, item in enumerate(here.items(), start=1):
        told = item.keys(VISIT, ("kind", "performed_at", "people"))
        name = told["id"].text("a name") if "id" in told else f"visit {number}"
        if name in seen:
            raise item.wrong(f"another visit is {name!r} already")
        corrects = told["corrects"].one_of(open_, "visit to correct") if "corrects" in told else ""
        visit = replace(_visit(name, item, told, people, register), void=_void(item, told))
        visit = replace(visit, of_this_boiler=not ("neighbour" in told and told["neighbour"].flag()))
        visit = replace(visit, corrects=visit_id(corrects) if corrects else None)
        yield Posted(name, visit, _seconded(told, people, register))
        seen.add(name)
        open_ = (open_ | {name}) - {corrects}


def _seconded(told: Mapping[str, Here], people: setup.People, register: Register) -> datetime | None:
    """When a qualified person who was not at the visit stood behind the correction."""
    if "seconded" not in told:
        return None
    here = told["seconded"]
    second = here.keys({"by", "at"}, ("by", "at"))
    name, at = second["by"].one_of(people, "person"), second["at"].instant(register.zone)
    if "corrects" not in told and "paper" not in told:
        raise here.wrong("only a correction or a paper is seconded")
    if name in told["people"].words(people, "person") or "technician" not in setup.held_at(people, [name], at):
        raise here.wrong("the second is another qualified person")
    return at


def _void(here: Here, told: Mapping[str, Here]) -> bool:
    """Only a correction can be void, and gives its reason; a void visit never was, so it has no entries."""
    void = "void" in told and told["void"].flag()
    if void and "corrects" not in told:
        raise told["void"].wrong("only a correction can be void")
    if "corrects" in told and "reason" not in told:
        raise here.wrong("a correction gives its reason")
    if void == bool("entries" in told and told["entries"].items()):
        raise here.wrong("a void visit has no entries" if void else "a visit has at least one entry")
    return void


def _visit(name: str, here: Here, told: dict[str, Here], people: setup.People, register: Register) -> VisitFact:
    at = told["performed_at"].instant(register.zone)
    posted = told["posted_at"].instant(register.zone) if "posted_at" in told else at
    if posted < at:
        raise told["posted_at"].wrong("a visit is posted once it was performed")
    names = told["people"].words(people, "person")
    id_ = visit_id(name)
    if "call_for_heat" in told:
        told["call_for_heat"].flag()
    return VisitFact(
        id=id_,
        kind=told["kind"].one_of(KINDS, "kind of visit"),
        at=at,
        posted_at=posted,
        entries=entries(id_, told["entries"].items() if "entries" in told else [], at, register),
        qualifications=frozenset() if "paper" in told else setup.held_at(people, names, at),
        paper=_paper(told["paper"]) if "paper" in told else None,
        state_on_arrival=told["state_on_arrival"].one_of(ARRIVALS, "state")
        if "state_on_arrival" in told
        else "unknown",
        left_as=told["left_as"].one_of(LEFT, "state") if "left_as" in told else "",
        leaving_checks=_checks(told["leaving_checks"]) if "leaving_checks" in told else {},
    )


def _paper(here: Here) -> OthersPaper:
    """The paper of another body on which the entries rest."""
    told = here.keys({"body", "name", "number", "dated_on"}, ("body", "name", "number", "dated_on"))
    return OthersPaper(
        body=told["body"].one_of(PAPER_BODIES, "body"),
        name=told["name"].text("the name of the body"),
        number=told["number"].text("the number of the paper"),
        dated_on=setup.day(told["dated_on"]),
    )


def visit_id(name: str) -> UUID:
    """The id that follows from a visit's symbolic name."""
    return uuid5(setup.BOILER, f"visit {name}")


def _checks(here: Here) -> dict[str, Value]:
    """Yes or no to each; `all` is yes to all. Who was told may be a list, as the API has it."""
    if not here.is_map:
        here.one_of(("all",), "answer to all leaving checks")
        return dict.fromkeys(LEAVING_CHECKS, True)
    told = here.keys(LEAVING_CHECKS)
    return {name: bool(value.items()) if value.is_list else value.flag() for name, value in told.items()}


__all__ = ["Broken", "Moment", "Posted", "Scenario", "catalogue", "read", "visit_id"]
