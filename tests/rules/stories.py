"""Random stories of the cast for the properties: visits, work, findings, pauses, in no order."""

from dataclasses import replace
from datetime import datetime, timedelta

from hypothesis import strategies as st

from fleet.rules.values import AdoptedTerms, EntryFact, Evidence, Judgement, ServiceMode, Standing, StandingSegment
from tests.rules.build import FULL, SEASON, START, Boiler, act, at, proof, remove, see, swap, turn

FIVE = (Standing.HOLD, Standing.EXPOSED, Standing.IMPAIRED, Standing.DUE, Standing.CLEAR)

PASSES: list[EntryFact] = [
    *(proof(ref) for ref in FULL),
    proof("upper", "flush"),
    proof("upper", "evaporation"),
    proof("lower", "evaporation"),
]

BAD_NEWS: list[EntryFact] = [
    proof("upper", "flush", water="none"),
    proof("upper", "flush", burner_stopped=False),
    proof("upper", "flush", recovery="slow"),
    proof("upper", "slow_drain", burner_stopped=False),
    proof("upper", "evaporation", burner_stopped=False),
    proof("upper", "slow_drain", trip_in=0.5),
    proof("lower", "slow_drain", locked_out=False),
    proof("lower", "button_test", outcome="fail"),
    proof("control", trip_psi=7.5),
    proof("limit", trip_psi=13.5),
    proof("limit", outcome="fail"),
    proof("limit", restarted_by_hand=False),
    proof("valve", lifted=False),
    proof("siphon_a", passes_water=False),
    proof("siphon_b", passes_water=False),
    see("limit", "lockout_found"),
    see("lower", "lockout_found"),
    see("limit", "jumper_found"),
    see("lower", "probe_bridged"),
    see("valve", "valve_blocked"),
]

NO_NEWS: list[EntryFact] = [
    proof("upper", "flush", burner_firing=False),
    proof("limit", call_on=False),
    proof("valve", gauge_psi=3.0),
    proof("valve", after_lift="drips"),
    proof("upper", "flush", sediment="very_dirty"),
    proof("lower", "button_test"),
    see("upper", "cause_found"),
    see("limit", "cause_found"),
]

WORK: list[EntryFact] = [
    act("chamber", "open_clean"),
    act("chamber", "rod"),
    act("upper", "repair"),
    act("upper", "jumper_fitted"),
    act("lower", "replace_part"),
    act("siphon_a", "clear"),
    act("siphon_b", "clear"),
    act("control", "adjust"),
    act("limit", "repair"),
    act("limit", "jumper_removed"),
    act("limit", "reset"),
    swap("upper"),
    swap("limit", set_psi=8.0),
    swap("valve", set_psi=15.0),
    swap("siphon_b"),
    remove("upper"),
    turn("limit", set_psi=8.5),
]

days = st.integers(-20, 420).map(lambda d: d + 0.25)
people = st.sampled_from(["technician", "operator", "", "operator|technician"])
entries = st.one_of(*(st.sampled_from(pool) for pool in (PASSES, PASSES, BAD_NEWS, NO_NEWS, WORK)))
visits = st.tuples(days, st.lists(entries, min_size=1, max_size=6), people)
services = st.tuples(days, st.sampled_from([ServiceMode.IN_SERVICE, ServiceMode.HOT_STANDBY, ServiceMode.LAID_UP_WET]))


@st.composite
def stories(draw: st.DrawFn, surveyed: bool = False) -> Boiler:
    """A boiler with a handful of random visits; `surveyed` begins with a full service."""
    boiler = Boiler(one_siphon=draw(st.booleans()))
    if surveyed:
        boiler.service(-21)
    for day, told, who in draw(st.lists(visits, max_size=7)):
        boiler.visit(day, *told, who=who)
    for day, state in draw(st.lists(services, max_size=3)):
        boiler.goes(day, state)
    for day, needed in draw(st.lists(st.tuples(days, st.booleans()), max_size=2)):
        boiler.sets(day, "upper", "needed", needed)
    if draw(st.booleans()):
        boiler.terms += (AdoptedTerms(at(draw(days)), SEASON, operator_firing_days=10),)
    return boiler


def last_fact(evidence: Evidence) -> datetime:
    """When the newest fact happened."""
    visits_ = [e.at for v in evidence.visits for e in v.entries]
    dated = [x.since for x in (*evidence.fittings, *evidence.settings, *evidence.services)]
    return max([START, *visits_, *dated, *(t.since for t in evidence.terms if t.since)])


def without_pause(boiler: Boiler) -> Boiler:
    """The same story of a boiler that never left service."""
    boiler.services = []
    return boiler


def says(judged: Judgement, when: datetime) -> StandingSegment:
    """The segment that holds at that instant."""
    return next(
        s for s in judged.standings if (s.since is None or s.since <= when) and (s.until is None or when < s.until)
    )


def later_than(since: datetime, judged: Judgement) -> list[datetime]:
    """That instant, and every later one at which the standing changes."""
    return [since, *(s.since for s in judged.standings if s.since and s.since > since)]


def with_visit(boiler: Boiler, when: datetime, entry: EntryFact, who: str = "technician") -> Boiler:
    """The same story with one more visit."""
    more = replace(boiler, visits=list(boiler.visits), fittings=[], settings=[], services=list(boiler.services))
    more.settings = list(boiler.settings)
    more.visit((when - at()) / timedelta(days=1), entry, who=who)
    return more
