"""How the passing of time alone changes a proven position: what becomes due and lapses when, by what was adopted."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache

from fleet.calendar import (
    DueDates,
    HeatingSeason,
    Interval,
    calendar_due,
    day_of,
    day_start,
    nth_firing_day,
    season_due,
)
from fleet.rules.catalogue import ProcedureSpec
from fleet.rules.ledger.records import PositionSnapshot
from fleet.rules.values import AdoptedTerms, Evidence, LawInForce, Override, State

# A valve fitted new comes from the shop with its set pressure proven, a limit from its maker calibrated.
NEW_COUNTS = frozenset({"pop_test", "limit_calibration"})


@dataclass(slots=True)
class Clock:
    """How time alone changes a proven position: from `at` on it is in `state`, because of `procedure`.

    Never changed, as `PositionSnapshot`.
    """

    at: datetime
    state: State
    procedure: ProcedureSpec
    proved: datetime
    remind_at: datetime | None = None
    by_fitting: bool = False  # never passed: counted from the day the device was fitted


@dataclass(frozen=True, slots=True)
class IntervalTerms:
    """How often a procedure is asked for, after variant and override."""

    interval: Interval
    anchor: str
    grace_days: int


def adopted_timing(law: LawInForce, procedure: ProcedureSpec) -> IntervalTerms | None:
    """Return what the portfolio adopted for a procedure; None where it has no interval."""
    override = law.terms.overrides.get(procedure.code)
    if override is not None:
        return IntervalTerms(override.interval, override.anchor, override.grace_days)
    variant = law.catalogue.variants.get((procedure.code, law.terms.variants.get(procedure.code, "")))
    if variant is not None and variant.interval is not None and not variant.due_only:
        return IntervalTerms(variant.interval, variant.anchor, variant.grace_days)
    if procedure.interval is None:
        return None
    return IntervalTerms(procedure.interval, procedure.anchor, procedure.grace_days)


def is_looser_than_source(law: LawInForce, snapshot: PositionSnapshot) -> bool:
    """Whether a written override gives this kind more time for a proof than its source does."""
    for code, override in law.terms.overrides.items():
        procedure = law.catalogue.procedures.get(code)
        if (
            procedure
            and snapshot.kind in procedure.kinds
            and procedure.proof != "none"
            and _is_longer(override, procedure)
        ):
            return True
    return False


_ANY_DAY = date(2025, 10, 1)  # lengths are compared from it: a month is a month


def _is_longer(override: Override, procedure: ProcedureSpec) -> bool:
    if procedure.interval is None:
        return False
    override_day, theirs = override.interval.date_after(_ANY_DAY), procedure.interval.date_after(_ANY_DAY)
    more_grace = override.grace_days > procedure.grace_days
    return (
        override_day > theirs
        or (override_day == theirs and more_grace)
        or (override.anchor == "season" != procedure.anchor)
    )


def clock_steps(
    evidence: Evidence, snapshot: PositionSnapshot, law: LawInForce, full: Sequence[Clock] | None = None
) -> list[Clock]:
    """When it becomes due and lapses with no news: at most one step of each, worsening, in order.

    `full` is what `full_clocks` says of it, where that is known already.
    """
    full = full_clocks(evidence, snapshot, law) if full is None else full
    steps = [*full, *operator_clocks(evidence, snapshot, law), *_due_only_clocks(evidence, snapshot, law)]
    dues = [c for c in steps if c.state is State.DUE]
    due = min(dues, key=lambda c: (c.at, c.procedure.code), default=None)
    if due is not None:
        due = replace(due, remind_at=min(c.remind_at or c.at for c in dues))
    lapsed = min((c for c in steps if c.state is State.LAPSED), key=lambda c: (c.at, c.procedure.code), default=None)
    if due and lapsed and lapsed.at <= due.at:
        return [lapsed]
    return [c for c in (due, lapsed) if c is not None]


def full_clocks(evidence: Evidence, snapshot: PositionSnapshot, law: LawInForce) -> list[Clock]:
    """The clocks of the full proof; where several stand, the one that lasts longest keeps the position proven."""
    proofs = dict(snapshot.proofs)
    dated = []
    for procedure in full_proofs(evidence, snapshot, law):
        interval_terms = adopted_timing(law, procedure)
        if procedure.code in proofs and interval_terms is not None:
            dated.append((due_of(interval_terms, proofs[procedure.code], law.terms, evidence.zone), procedure))
    if not dated:
        return []
    due, procedure = max(dated, key=lambda pair: (pair[0].lapsed_on, pair[0].due_on, pair[1].code))
    at = proofs[procedure.code]
    return [
        Clock(due.due_at(evidence.zone), State.DUE, procedure, at),
        Clock(due.lapsed_at(evidence.zone), State.LAPSED, procedure, at),
    ]


def full_proofs(evidence: Evidence, snapshot: PositionSnapshot, law: LawInForce) -> list[ProcedureSpec]:
    """What gives this kind its full proof; a procedure retired since goes on counting for what it proved here."""
    retired_procedures = [
        evidence.procedure_by_code(code) for code, _ in snapshot.proofs if code not in law.catalogue.procedures
    ]
    return [
        *law.catalogue.proofs_of_kind(snapshot.kind, "full"),
        *(p for p in retired_procedures if p.proof == "full" and snapshot.kind in p.kinds),
    ]


def due_of(interval_terms: IntervalTerms, proved: datetime, terms: AdoptedTerms, zone: str) -> DueDates:
    """When something passed at `proved` is due and lapsed again."""
    return _due_dates(interval_terms, day_of(proved, zone), terms.season)


@lru_cache(8_192)  # asked again for every fact that leaves the proof what it was
def _due_dates(interval_terms: IntervalTerms, day: date, season: HeatingSeason | None) -> DueDates:
    if interval_terms.anchor == "season" and season is not None:
        return season_due(day, season, interval_terms.grace_days)
    return calendar_due(day, interval_terms.interval, interval_terms.grace_days)


def operator_clocks(evidence: Evidence, snapshot: PositionSnapshot, law: LawInForce) -> Iterator[Clock]:
    """The clocks of the proofs that an operator gives: due from the due day, lapsed after so many firing days."""
    for procedure in law.catalogue.proofs_of_kind(snapshot.kind, "partial"):
        proved, interval_terms = newest_pass(evidence, snapshot, procedure), adopted_timing(law, procedure)
        if proved is None or interval_terms is None:
            continue
        day = day_of(proved, evidence.zone)
        due = interval_terms.interval.date_after(day)
        due_at = day_start(due, evidence.zone)
        returned_at = snapshot.operator_due_at
        if returned_at is not None and proved < returned_at < due_at:
            due_at, due = returned_at, day_of(returned_at, evidence.zone)
        remind_at = day_start(due + timedelta(days=interval_terms.grace_days), evidence.zone)
        yield Clock(due_at, State.DUE, procedure=procedure, proved=proved, remind_at=remind_at)
        last = nth_firing_day(day, law.terms.operator_firing_days, evidence.firing_days)
        if last is not None:
            # Missing for that many whole firing days: lapsed as the day after the last of them begins.
            yield Clock(day_start(last + timedelta(days=1), evidence.zone), State.LAPSED, procedure, proved)


def _due_only_clocks(evidence: Evidence, snapshot: PositionSnapshot, law: LawInForce) -> Iterator[Clock]:
    """What makes a position due and never lapsed: due-only procedures, and variants more frequent than the proof."""
    for procedure in law.catalogue.proofs_of_kind(snapshot.kind, "due_only"):
        due_at = due_only_at(evidence, snapshot, procedure, law)
        if due_at is not None:
            yield due_at
    for code, name in law.terms.variants.items():
        variant = law.catalogue.variants.get((code, name))
        if variant is None or not variant.due_only or snapshot.kind not in law.catalogue.procedures[code].kinds:
            continue
        asked_for = law.catalogue.procedures[code]
        proved = newest_pass(evidence, snapshot, asked_for)
        if proved is not None and variant.interval is not None:
            interval_terms = IntervalTerms(variant.interval, variant.anchor, variant.grace_days)
            due = due_of(interval_terms, proved, law.terms, evidence.zone).due_at(evidence.zone)
            yield Clock(due, State.DUE, asked_for, proved)


def due_only_at(
    evidence: Evidence, snapshot: PositionSnapshot, procedure: ProcedureSpec, law: LawInForce
) -> Clock | None:
    """When a due-only procedure is due; at once where it was never passed and a new device does not stand for it."""
    interval_terms = adopted_timing(law, procedure)
    proved = newest_pass(evidence, snapshot, procedure)
    if interval_terms is None or snapshot.fitted_at is None:
        return None
    if proved is None and procedure.code not in NEW_COUNTS:
        return Clock(snapshot.fitted_at, State.DUE, procedure, snapshot.fitted_at, by_fitting=True)
    since = proved or snapshot.fitted_at
    due = due_of(interval_terms, since, law.terms, evidence.zone).due_at(evidence.zone)
    return Clock(due, State.DUE, procedure, since, by_fitting=proved is None)


def newest_pass(evidence: Evidence, snapshot: PositionSnapshot, procedure: ProcedureSpec) -> datetime | None:
    """The newest pass of this procedure or of one that covers it."""
    passes = [at for code, at in snapshot.proofs if evidence.procedure_by_code(code).covers_or_is(procedure.code)]
    return max(passes, default=None)
