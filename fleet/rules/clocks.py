"""How the passing of time alone changes a proven position: what becomes due and lapses when, by what was adopted."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import lru_cache

from fleet.calendar import Due, Interval, Season, calendar_due, day_of, day_start, nth_firing_day, season_due
from fleet.rules.catalogue import Procedure
from fleet.rules.ledger import Snapshot
from fleet.rules.values import Evidence, Law, Override, State, Terms

NEW_COUNTS = frozenset({"pop_test"})  # a valve fitted new comes from the shop with its set pressure proven


@dataclass(slots=True)
class Clock:
    """How time alone changes a proven position: from `at` on it is in `state`, because of `procedure`.

    Never changed, as `Snapshot`.
    """

    at: datetime
    state: State
    procedure: Procedure
    proved: datetime
    remind_at: datetime | None = None
    by_fitting: bool = False  # never passed: counted from the day the device was fitted


@dataclass(frozen=True, slots=True)
class Timing:
    """How often a procedure is asked for, after variant and override."""

    interval: Interval
    anchor: str
    grace_days: int


def timing(law: Law, procedure: Procedure) -> Timing | None:
    """Return what the portfolio adopted for a procedure; None where it has no interval."""
    own = law.terms.overrides.get(procedure.code)
    if own is not None:
        return Timing(own.interval, own.anchor, own.grace_days)
    variant = law.catalogue.variants.get((procedure.code, law.terms.variants.get(procedure.code, "")))
    if variant is not None and variant.interval is not None and not variant.due_only:
        return Timing(variant.interval, variant.anchor, variant.grace_days)
    if procedure.interval is None:
        return None
    return Timing(procedure.interval, procedure.anchor, procedure.grace_days)


def looser(law: Law, here: Snapshot) -> bool:
    """Whether a written override gives this kind more time for a proof than its source does."""
    for code, own in law.terms.overrides.items():
        procedure = law.catalogue.procedures.get(code)
        if procedure and here.kind in procedure.kinds and procedure.proof != "none" and _longer(own, procedure):
            return True
    return False


_ANY_DAY = date(2025, 10, 1)  # lengths are compared from it: a month is a month


def _longer(own: Override, procedure: Procedure) -> bool:
    if procedure.interval is None:
        return False
    mine, theirs = own.interval.after(_ANY_DAY), procedure.interval.after(_ANY_DAY)
    more_grace = own.grace_days > procedure.grace_days
    return mine > theirs or (mine == theirs and more_grace) or (own.anchor == "season" != procedure.anchor)


def clocks(evidence: Evidence, here: Snapshot, law: Law, full: Sequence[Clock] | None = None) -> list[Clock]:
    """When it becomes due and lapses with no news: at most one step of each, worsening, in order.

    `full` is what `full_clocks` says of it, where that is known already.
    """
    full = full_clocks(evidence, here, law) if full is None else full
    found = [*full, *operator_clocks(evidence, here, law), *_due_only(evidence, here, law)]
    dues = [c for c in found if c.state is State.DUE]
    due = min(dues, key=lambda c: (c.at, c.procedure.code), default=None)
    if due is not None:
        due = replace(due, remind_at=min(c.remind_at or c.at for c in dues))
    lapsed = min((c for c in found if c.state is State.LAPSED), key=lambda c: (c.at, c.procedure.code), default=None)
    if due and lapsed and lapsed.at <= due.at:
        return [lapsed]
    return [c for c in (due, lapsed) if c is not None]


def full_clocks(evidence: Evidence, here: Snapshot, law: Law) -> list[Clock]:
    """The clocks of the full proof; where several stand, the one that lasts longest keeps the position proven."""
    proofs = dict(here.proofs)
    dated = []
    for procedure in full_proofs(evidence, here, law):
        asked = timing(law, procedure)
        if procedure.code in proofs and asked is not None:
            dated.append((due_of(asked, proofs[procedure.code], law.terms, evidence.zone), procedure))
    if not dated:
        return []
    due, procedure = max(dated, key=lambda pair: (pair[0].lapsed, pair[0].due, pair[1].code))
    at = proofs[procedure.code]
    return [
        Clock(due.due_at(evidence.zone), State.DUE, procedure, at),
        Clock(due.lapsed_at(evidence.zone), State.LAPSED, procedure, at),
    ]


def full_proofs(evidence: Evidence, here: Snapshot, law: Law) -> list[Procedure]:
    """What gives this kind its full proof; a procedure retired since goes on counting for what it proved here."""
    gone = [evidence.procedure(code) for code, _ in here.proofs if code not in law.catalogue.procedures]
    return [*law.catalogue.proofs(here.kind, "full"), *(p for p in gone if p.proof == "full" and here.kind in p.kinds)]


def due_of(asked: Timing, proved: datetime, terms: Terms, zone: str) -> Due:
    """When something passed at `proved` is due and lapsed again."""
    return _due(asked, day_of(proved, zone), terms.season)


@lru_cache(8_192)  # asked again for every fact that leaves the proof what it was
def _due(asked: Timing, day: date, season: Season | None) -> Due:
    if asked.anchor == "season" and season is not None:
        return season_due(day, season, asked.grace_days)
    return calendar_due(day, asked.interval, asked.grace_days)


def operator_clocks(evidence: Evidence, here: Snapshot, law: Law) -> Iterator[Clock]:
    """The clocks of the proofs that an operator gives: due from the due day, lapsed after so many firing days."""
    for procedure in law.catalogue.proofs(here.kind, "partial"):
        proved, asked = newest(evidence, here, procedure), timing(law, procedure)
        if proved is None or asked is None:
            continue
        day = day_of(proved, evidence.zone)
        due = asked.interval.after(day)
        told = day_start(due + timedelta(days=asked.grace_days), evidence.zone)
        yield Clock(day_start(due, evidence.zone), State.DUE, procedure, proved, told)
        last = nth_firing_day(day, law.terms.operator_firing_days, evidence.firing_days)
        if last is not None:
            # Missing for that many whole firing days: lapsed as the day after the last of them begins.
            yield Clock(day_start(last + timedelta(days=1), evidence.zone), State.LAPSED, procedure, proved)


def _due_only(evidence: Evidence, here: Snapshot, law: Law) -> Iterator[Clock]:
    """What makes a position due and never lapsed: due-only procedures, and variants more frequent than the proof."""
    for procedure in law.catalogue.proofs(here.kind, "due_only"):
        found = due_only_at(evidence, here, procedure, law)
        if found is not None:
            yield found
    for code, name in law.terms.variants.items():
        variant = law.catalogue.variants.get((code, name))
        if variant is None or not variant.due_only or here.kind not in law.catalogue.procedures[code].kinds:
            continue
        asked_for = law.catalogue.procedures[code]
        proved = newest(evidence, here, asked_for)
        if proved is not None and variant.interval is not None:
            asked = Timing(variant.interval, variant.anchor, variant.grace_days)
            due = due_of(asked, proved, law.terms, evidence.zone).due_at(evidence.zone)
            yield Clock(due, State.DUE, asked_for, proved)


def due_only_at(evidence: Evidence, here: Snapshot, procedure: Procedure, law: Law) -> Clock | None:
    """When a due-only procedure is due; at once where it was never passed and a new device does not stand for it."""
    asked = timing(law, procedure)
    proved = newest(evidence, here, procedure)
    if asked is None or here.fitted_at is None:
        return None
    if proved is None and procedure.code not in NEW_COUNTS:
        return Clock(here.fitted_at, State.DUE, procedure, here.fitted_at, by_fitting=True)
    since = proved or here.fitted_at
    due = due_of(asked, since, law.terms, evidence.zone).due_at(evidence.zone)
    return Clock(due, State.DUE, procedure, since, by_fitting=proved is None)


def newest(evidence: Evidence, here: Snapshot, procedure: Procedure) -> datetime | None:
    """The newest pass of this procedure or of one that covers it."""
    passes = [at for code, at in here.proofs if evidence.procedure(code).covers_or_is(procedure.code)]
    return max(passes, default=None)
