"""Things left undone and a boiler fired on hold: since when, until when, before, at and after."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from fleet.rules import judge
from fleet.rules.values import Condition, EntryFact, PaperFact, ServiceMode
from tests.rules.build import Boiler, act, at, ident, local, proof, see

BAD = proof("limit", trip_psi=13.5)


def told(boiler: Boiler, name: str, about: str = "") -> list[tuple[datetime, datetime | None]]:
    found: list[Condition] = [c for c in boiler.judged().conditions if c.condition == name and about in c.sentence]
    return [(c.since, c.until) for c in found if c.since >= at(0)]


def test_due_soon_begins_a_fortnight_before_and_ends_when_due() -> None:
    assert set(told(Boiler().service(), "due_soon")) == {
        (local(date(2026, 10, 1)) - timedelta(days=14), local(date(2026, 10, 1)))
    }


def test_an_urgent_deficiency_is_past_its_date_from_the_day_after_its_seventh() -> None:
    boiler = Boiler().service().visit(1, proof("control", trip_psi=7.5))
    assert told(boiler, "past_date", "operating control") == [(local(date(2025, 10, 24)), None)]


@pytest.mark.parametrize(("closed", "count"), [(8, 0), (9, 1)])
def test_put_right_in_time_it_is_never_past_its_date(closed: float, count: int) -> None:
    boiler = Boiler().service().visit(1, proof("control", trip_psi=7.5))
    assert (
        len(told(boiler.visit(closed, act("control", "adjust"), proof("control")), "past_date", "operating control"))
        == count
    )


def test_repaired_and_not_proven_runs_from_the_repair_to_the_proof() -> None:
    boiler = Boiler().service().visit(1, BAD).visit(2, act("limit", "repair"))
    assert told(boiler, "repaired_not_proven") == [(at(2), None)]
    assert told(boiler.visit(5, proof("limit")), "repaired_not_proven") == [(at(2), at(5))]


@pytest.mark.parametrize(("kind", "count"), [("annual_service", 0), ("season_start", 0), ("routine_check", 1)])
def test_a_season_begins_without_its_visit(kind: str, count: int) -> None:
    boiler = Boiler().service().visit(300, proof("limit"), kind=kind)
    found = [c for c in told(boiler, "season_without_visit") if c[0] == local(date(2026, 10, 1))]
    assert len(found) == count


def test_nothing_lapses_aloud_while_it_is_laid_up() -> None:
    # The caretaker's flush lapses within weeks where the boiler stays in service; laid up before that, nothing does.
    assert min(told(Boiler().service(), "lapsed"))[0] > at(20)
    assert told(Boiler().service().goes(20, ServiceMode.LAID_UP_WET), "lapsed") == []


def fired(*visits: tuple[float, tuple[EntryFact, ...], dict[str, object]]) -> list[tuple[datetime, datetime | None]]:
    """Hold but firing, of a boiler on hold from day 1 on and these visits after."""
    boiler = Boiler().service()
    boiler.visit(1, BAD)
    boiler.visits = [replace(visit, left_as="off_ready") for visit in boiler.visits]
    for day, entries, more in visits:
        who = str(more.pop("who", "technician")) if more else "technician"
        boiler.visit(day, *entries, who=who)
        boiler.visits[-1] = replace(boiler.visits[-1], **more)  # type: ignore[arg-type]
    return told(boiler, "hold_but_firing")


FIRING = proof("upper", "flush")
LOOKED = see("limit", "reset_pressed")
BEGINS = [
    (see("limit", "found_firing"), {}),
    (FIRING, {"who": "operator"}),
    (proof("valve"), {}),
    (LOOKED, {"state_on_arrival": "firing"}),
    (LOOKED, {"left_as": "firing"}),
    (LOOKED, {"left_as": "on_call"}),
    (FIRING, {"who": "operator", "left_as": "attended"}),
]
SAFE = [
    (LOOKED, {}),
    (FIRING, {"left_as": "off_ready"}),
    (FIRING, {"left_as": "off_locked"}),
    (FIRING, {"left_as": "attended"}),
    (LOOKED, {"state_on_arrival": "firing", "left_as": "off_locked"}),
]


@pytest.mark.parametrize(("entry", "more"), BEGINS)
def test_it_begins_with_any_word_that_it_fires(entry: EntryFact, more: dict[str, object]) -> None:
    assert fired((3, (entry,), dict(more))) == [(at(3), None)]


@pytest.mark.parametrize(("entry", "more"), SAFE)
def test_somebody_qualified_who_left_it_off_or_attended_did_not_leave_it_firing(
    entry: EntryFact, more: dict[str, object]
) -> None:
    assert fired((3, (entry,), dict(more))) == []


@pytest.mark.parametrize("code", ["found_off", "left_off"])
def test_it_ends_with_an_entry_that_found_or_left_it_off(code: str) -> None:
    seen = fired((3, (see("limit", "found_firing"),), {}), (4, (see("limit", code),), {"who": "operator"}))
    assert seen == [(at(3), at(4))]


def test_it_ends_with_the_hold() -> None:
    mended = (act("limit", "repair"), proof("limit"))
    seen = fired((3, (see("limit", "found_firing"),), {}), (4, mended, {}))
    assert seen == [(at(3), at(4) + timedelta(minutes=1))]


def test_it_begins_with_the_entry_and_not_with_the_visit() -> None:
    assert fired((3, (LOOKED, see("limit", "found_firing")), {})) == [(at(3) + timedelta(minutes=1), None)]


def test_a_boiler_left_firing_before_the_hold_is_told_from_the_hold_on() -> None:
    boiler = Boiler().service().visit(0.5, see("limit", "found_firing")).visit(1, see("limit", "jumper_found"))
    assert told(boiler, "hold_but_firing") == [(at(1), None)]


INSTANT = timedelta(microseconds=1)
CERTIFICATE = PaperFact("certificate", "boiler certificate", at(-100), date(2026, 3, 31))


def papers(*found: PaperFact) -> list[tuple[datetime, datetime | None]]:
    evidence = replace(Boiler().service().evidence(), papers=found)
    told = [c for c in judge(evidence, (), at(400)).conditions if c.condition == "certificate_running_out"]
    return [(c.since, c.until) for c in told]


def test_a_certificate_is_told_a_fortnight_before_the_day_after_its_last() -> None:
    assert papers(CERTIFICATE) == [(local(date(2026, 4, 1)) - timedelta(days=14), None)]


@pytest.mark.parametrize(
    ("came", "told"),
    [(-INSTANT, 0), (timedelta(0), 0), (INSTANT, 1)],
)
def test_a_newer_certificate_in_time_leaves_nothing_to_tell(came: timedelta, told: int) -> None:
    began = local(date(2026, 4, 1)) - timedelta(days=14)
    newer = replace(CERTIFICATE, since=began + came, until=date(2029, 3, 31))
    assert len([s for s in papers(CERTIFICATE, newer) if s[0] == began]) == told


def test_a_certificate_changes_no_standing() -> None:
    evidence = Boiler().service().evidence()
    expired = replace(evidence, papers=(replace(CERTIFICATE, until=date(2025, 12, 1)),))
    assert judge(expired, (), at(400)).standings == judge(evidence, (), at(400)).standings


def test_what_was_declared_is_reminded_of_by_its_date_and_says_so() -> None:
    boiler = Boiler()
    boiler.fittings = [
        replace(f, declared={"limit_trip": date(2025, 9, 20)}) if f.position == ident("limit") else f
        for f in boiler.fittings
    ]
    found = [c for c in boiler.judged().conditions if c.condition == "due_soon"]
    assert [(c.since, c.until) for c in found] == [
        (local(date(2026, 10, 1)) - timedelta(days=14), local(date(2026, 10, 1)))
    ]
    assert found[0].sentence.startswith("By what was declared")
