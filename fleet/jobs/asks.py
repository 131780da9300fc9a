"""What one boiler asks for on a visit, and why: it failed, was touched, is due, or the season asks for it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

from fleet.board.models import StateSegment
from fleet.calendar import day_of
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency
from fleet.jobs import suggest, work
from fleet.rules.catalogue import Catalogue, ProcedureSpec
from fleet.rules.finding_codes import ends_by_word_alone
from fleet.rules.values import AdoptedTerms
from fleet.rules.vocabulary import EntryAct
from fleet.rules.wording import join_with_or, local_day

NEAR_START_WITHIN = timedelta(
    days=90
)  # a visit up to this long before the season starts counts for it (common practice)
NEAR_END_WITHIN = timedelta(days=30)  # laying up is prepared within this time before the season ends (common practice)
MAX_EARLY_INTERVAL = timedelta(days=31)
START_PROCEDURES = ("season_restart_check", "normal_restart")
END_PROCEDURES = ("lay_up_wet", "lay_up_dry")
DOWN_STATES = ("failed", "intermittent", "not_fitted")


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing to do. `phase` is as_found, repair or as_left; `because` is the kind of cause, `why` its sentence."""

    position: UUID | None
    procedure: str
    phase: str
    because: str  # failed, touched, to_be_touched, due, soon, season, visit
    why: str
    level: str = "routine"
    deficiency: UUID | None = None
    act: str = ""


@dataclass(frozen=True, slots=True)
class NearSeason:
    """Which end of the heating season is near, if one is, and its day."""

    near: str  # start, end or ""
    day: date | None
    sentence: str


@dataclass(frozen=True, slots=True)
class WorkFacts:
    """What is stored about one boiler and its places, read before the work sheet is composed."""

    release: Catalogue
    roles: Mapping[UUID | None, str]
    kinds: Mapping[UUID, str]
    paths: Mapping[UUID, Sequence[UUID]]
    passed: Mapping[tuple[UUID, str], datetime]
    names: Mapping[UUID, str]
    states: Sequence[StateSegment]
    open: Sequence[Deficiency]
    at: datetime
    zone: str


def near_season(terms: AdoptedTerms, day: date) -> NearSeason:
    """Return whether a season start or shutdown is near on a local day."""
    if terms.season is None:
        return NearSeason("", None, "The portfolio heats all year: no season starts or ends.")
    start, end = terms.season.first_start_on_or_after(day), terms.season.end_on_or_after(day)
    if not terms.season.contains(day) and start - day <= NEAR_START_WITHIN:
        return NearSeason(
            "start", start, f"The season starts on {_day_in_words(start)}. The work for it is on this sheet."
        )
    if terms.season.contains(day) and end - day <= NEAR_END_WITHIN:
        return NearSeason("end", end, f"The season ends on {_day_in_words(end)}. Laying up is on this sheet.")
    return NearSeason("", None, f"No season start or shutdown is near; the next start is on {_day_in_words(start)}.")


def _day_in_words(day: date) -> str:
    return local_day(datetime(day.year, day.month, day.day, 12, tzinfo=UTC), "UTC")


def all_asks(facts: WorkFacts, near: NearSeason, more: Iterable[Ask] = ()) -> list[Ask]:
    """Return everything the boiler asks for, each thing once, with its gravest cause; `more` is what else is asked."""
    asks_by_key: dict[tuple[UUID | None, str, str, UUID | None], Ask] = {}
    asks = [*_deficiency_asks(facts), *_state_asks(facts), *_season_asks(facts, near), *more]
    for ask in [*asks, *_touch_asks(facts, asks)]:
        # Two repairs at one place are two things; one procedure at one place is done once.
        key = (ask.position, ask.procedure, ask.phase, ask.deficiency if ask.phase == "repair" else None)
        asks_by_key.setdefault(key, ask)
    return list(asks_by_key.values())


def _deficiency_asks(facts: WorkFacts) -> Iterator[Ask]:
    """Yield the repair and the proof of each open deficiency.

    What is presumed failed, or fails nothing, is tested as found instead. Behind a failed path it is tested as left: a
    control that is blind must not be fired to see whether it acts.
    """
    down = {s.position_id for s in facts.states if s.state in DOWN_STATES}
    for row in facts.open:
        rule, level = facts.release.findings.get(row.rule), level_at(row, facts.at) or "routine"
        code, act = _proof_procedure(row, facts), rule.first_act if rule else ""
        there = row.position_id is None or row.position_id in facts.kinds
        if rule and rule.fails in ("presumed", "none") and code and there:
            phase = "as_left" if down & _paths_behind(facts, row.position_id) else "as_found"
            yield Ask(
                row.position_id,
                code,
                phase=phase,
                because="failed",
                why=row.sentence,
                level=level,
                deficiency=row.id,
                act=act,
            )
            continue
        yield Ask(
            row.position_id,
            "",
            phase="repair",
            because="failed",
            why=row.sentence,
            level=level,
            deficiency=row.id,
            act=act,
        )
        if code:
            yield Ask(
                row.position_id,
                code,
                phase="as_left",
                because="failed",
                why=f"Proves the repair: {row.sentence}",
                level=level,
                deficiency=row.id,
            )


def _paths_behind(facts: WorkFacts, place: UUID | None) -> set[UUID]:
    """Return every path a place hangs on, directly or through another path."""
    paths: set[UUID] = set()
    waiting = list(facts.paths.get(place, ())) if place else []
    while waiting:
        path = waiting.pop()
        if path not in paths:
            paths.add(path)
            waiting.extend(facts.paths.get(path, ()))
    return paths


def _proof_procedure(row: Deficiency, facts: WorkFacts) -> str:
    """Return the quickest procedure that closes it at a place of this role, else the test that found it, else ""."""
    found_by = row.opened_by.code if row.opened_by and row.opened_by.act == EntryAct.TEST else ""
    if ends_by_word_alone(row.rule, row.position_id):
        return ""
    role = facts.roles.get(row.position_id) if row.position_id else None
    closing_codes = [procedure.code for procedure in facts.release.closing_procedures(row.clears_by, role)]
    return work.quickest_code(closing_codes, facts.release) or (
        found_by if found_by in facts.release.procedures else ""
    )


def _state_asks(facts: WorkFacts) -> Iterator[Ask]:
    repaired = {row.position_id for row in facts.open}
    for segment in facts.states:
        place, sentence = segment.position_id, str(segment.reason["sentence"])
        if segment.state in DOWN_STATES:
            if place not in repaired:
                yield from _down_asks(facts, segment)
            continue
        touched = segment.reason["rule"] == "touched"
        soon = segment.since is not None and segment.since > facts.at
        because = "touched" if touched else "soon" if soon else "due"
        level = suggest.LEVEL_BY_STATE.get(segment.state, "routine")
        for code in _needed_procedures(facts, segment):
            if soon and _is_frequent(facts.release.procedures[code]):
                continue  # what is due again within a month is not done early
            yield Ask(
                place, code, phase="as_left" if touched else "as_found", because=because, why=sentence, level=level
            )


def _is_frequent(procedure: ProcedureSpec) -> bool:
    """Whether a procedure is due again too soon to be done early."""
    day = date(2025, 10, 1)  # any day: intervals in months and days are compared from it
    return procedure.interval is not None and procedure.interval.date_after(day) - day <= MAX_EARLY_INTERVAL


def _down_asks(facts: WorkFacts, segment: StateSegment) -> Iterator[Ask]:
    """Yield what a place asks for that is down without a deficiency: fitting a device, or a proof after the repair."""
    place, sentence = segment.position_id, str(segment.reason["sentence"])
    if segment.state == "not_fitted":
        yield Ask(place, "", phase="repair", because="failed", why=sentence, level="urgent")
        return
    code = suggest.procedure_of(segment, facts.release, facts.kinds.get(place, ""))
    if code:
        yield Ask(place, code, phase="as_left", because="failed", why=sentence, level="urgent")


def _needed_procedures(facts: WorkFacts, segment: StateSegment) -> list[str]:
    """Return the procedures a state asks for: after a touch the quickest of each group that the touch needs."""
    kind = facts.kinds.get(segment.position_id, "")
    _, _, needs = str(segment.reason["sentence"]).partition(" needs ")
    for (of, _), rule in facts.release.touches.items():
        if of == kind and needs == f"{_needs_in_words(rule.needs, facts.release)} since.":
            return [code for code in (work.quickest_code(group, facts.release) for group in rule.needs) if code]
    code = suggest.procedure_of(segment, facts.release, kind)
    return [code] if code else []


def _needs_in_words(needs: Sequence[frozenset[str]], release: Catalogue) -> str:
    """Return what a touch needs, in the words of the rules."""
    names_by_group = ([release.procedures[c].name.lower() for c in g if c in release.procedures] for g in needs)
    return " and ".join(sorted(join_with_or(names) for names in names_by_group))


def _touch_asks(facts: WorkFacts, asks: Sequence[Ask]) -> Iterator[Ask]:
    """Yield the proofs needed after what the work on this sheet itself will touch."""
    for ask in asks:
        procedure = facts.release.procedures.get(ask.procedure)
        touch = "open" if ask.phase == "repair" else procedure.voids if procedure else ""
        if not touch or ask.position is None:
            continue
        work_done = procedure.name if procedure and ask.phase != "repair" else "The repair"
        hanging = [(p, "path") for p, paths in facts.paths.items() if ask.position in paths]
        for place, how in [(ask.position, touch), *hanging]:
            why = f"{work_done} touches the {facts.names[place]}: it has to be proven after that."
            for code in _procedures_after_touch(facts, place, how):
                if code != ask.procedure or place != ask.position:
                    yield Ask(place, code, phase="as_left", because="to_be_touched", why=why)


def _procedures_after_touch(facts: WorkFacts, place: UUID, touch: str) -> Iterator[str]:
    rule = facts.release.touches.get((facts.kinds.get(place, ""), touch))
    for group in rule.needs if rule else ():
        code = work.quickest_code(group, facts.release)
        if code:
            yield code


def _season_asks(facts: WorkFacts, near: NearSeason) -> Iterator[Ask]:
    """Yield what a near season start asks for and has not passed yet, and laying up when the season ends."""
    for place, kind in facts.kinds.items():
        fitting_procedures = [p for p in facts.release.procedures.values() if kind in p.kinds]
        if near.near == "start" and near.day:
            for procedure in season_procedures(fitting_procedures, facts.release):
                if not _has_passed_since(facts, place, procedure, near.day - NEAR_START_WITHIN):
                    yield Ask(
                        place, procedure.code, phase=_season_phase(procedure), because="season", why=near.sentence
                    )
        if near.near == "end":
            for procedure in (p for p in fitting_procedures if p.code in END_PROCEDURES):
                why = f"{near.sentence} Lay it up wet or dry, as the boiler maker says."
                yield Ask(place, procedure.code, phase="as_left", because="season", why=why)


def season_procedures(procedures: Sequence[ProcedureSpec], release: Catalogue) -> list[ProcedureSpec]:
    """Return the season's procedures: of full proofs the quickest, all others anchored on the season, the restart."""
    anchored = [p for p in procedures if p.anchor == "season"]
    full = work.quickest_code([p.code for p in anchored if p.proof == "full"], release)
    return [
        p for p in procedures if (p in anchored and (p.proof != "full" or p.code == full)) or p.code in START_PROCEDURES
    ]


def _season_phase(procedure: ProcedureSpec) -> str:
    return "as_left" if procedure.code in START_PROCEDURES else "as_found"


def _has_passed_since(facts: WorkFacts, place: UUID, procedure: ProcedureSpec, day: date) -> bool:
    """Whether the procedure, or one that covers it, was passed on `day` or later."""
    covering = (p.code for p in facts.release.procedures.values() if p.covers_or_is(procedure.code))
    return any(day_of(at, facts.zone) >= day for code in covering if (at := facts.passed.get((place, code))))
