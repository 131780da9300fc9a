"""A glass without a line is empty until a blowdown shows water: by whom, how soon, and with nothing fed in between."""

from dataclasses import replace

import pytest

from fleet.rules.values import EntryFact
from tests.rules.build import act
from tests.rules.plant import Plant, look, proof

NO_LINE = look(None, "no_line_visible", burner_firing=False)
BLOWN = proof("glass", "gauge_glass_blowdown")
FULL, EMPTY = ["glass_full"], ["glass_empty_off"]


def after(minutes: float, *entries: EntryFact, who: str = "technician", left: float = 1.0) -> list[str]:
    """What is open after a glass without a line on day 1, and these entries so many minutes later."""
    return Plant().service().visit(1, NO_LINE).visit(left + minutes / 1440, *entries, who=who).open()


@pytest.mark.parametrize(
    ("who", "rules"),
    [("", EMPTY), ("operator", EMPTY), ("fire_side", EMPTY), ("technician", FULL), ("operator|technician", FULL)],
)
def test_a_blowdown_shows_water_only_to_somebody_who_is_more_than_an_operator(who: str, rules: list[str]) -> None:
    assert after(30, BLOWN, who=who) == rules


@pytest.mark.parametrize(("minutes", "rules"), [(59.9, FULL), (60, FULL), (60.1, EMPTY)])
def test_a_blowdown_answers_a_glass_without_a_line_for_an_hour(minutes: float, rules: list[str]) -> None:
    assert after(minutes, BLOWN) == rules


@pytest.mark.parametrize(
    ("between", "rules"),
    [
        (act("body", "feed_water"), EMPTY),
        (act("body", "refill"), EMPTY),
        (proof("feeder"), EMPTY),
        (act("body", "drain"), FULL),
        (look("body", "boiler_cool"), FULL),
        (proof("gauge"), FULL),
    ],
)
def test_a_blowdown_after_water_was_fed_says_nothing_of_what_was_seen_before(
    between: EntryFact, rules: list[str]
) -> None:
    assert [r for r in after(10, between, BLOWN) if r in (*FULL, *EMPTY)] == rules


@pytest.mark.parametrize(
    ("blowdown", "rules"),
    [
        (proof("glass", "gauge_glass_blowdown", glass_in=-0.1), EMPTY),
        (proof("glass", "gauge_glass_blowdown", glass_in=0.0), []),
        (proof("glass", "gauge_glass_blowdown", glass_in=4.0), []),
        (proof("glass", "gauge_glass_blowdown", outcome="inconclusive"), EMPTY),
        (proof("glass", "gauge_glass_blowdown", outcome="not_done"), EMPTY),
    ],
)
def test_where_the_line_stands_after_the_blowdown_decides(blowdown: EntryFact, rules: list[str]) -> None:
    assert [r for r in after(10, blowdown) if r in (*FULL, *EMPTY)] == rules


def test_what_another_entry_found_as_well_stays_after_the_blowdown() -> None:
    unseen = look("glass", "no_line_visible", burner_firing=False)
    boiler = Plant().service().visit(1, unseen, look("glass", "glass_empty", burner_firing=False))
    assert boiler.visit(1.01, BLOWN).open("glass") == EMPTY


@pytest.mark.parametrize(("kind", "rules"), [("glass_full", FULL), ("no_line_visible", EMPTY)])
def test_only_a_glass_said_to_be_full_is_full_after_its_own_visits_blowdown(kind: str, rules: list[str]) -> None:
    boiler = Plant().service().visit(1, BLOWN, look(None, kind, burner_firing=False))
    assert boiler.open() == rules


def test_a_blowdown_of_the_visit_before_does_not_make_a_glass_full() -> None:
    boiler = Plant().service().visit(1, BLOWN).visit(1.01, look(None, "glass_full", burner_firing=False))
    assert boiler.open() == EMPTY


def fed(minutes: float, *between: EntryFact, who: str = "technician", burner_firing: bool | None = False) -> bool:
    """Whether feeding so long after an empty glass, with these entries before it, counts as fired dry."""
    boiler = Plant().service().visit(1, look("glass", "glass_empty", burner_firing=burner_firing))
    if between:
        boiler.visit(1 + minutes / 2880, *between, who=who)
    return "dry_fired" in boiler.visit(1 + minutes / 1440, act("body", "feed_water")).open()


@pytest.mark.parametrize(("hours", "dry"), [(7.99, True), (8, True), (8.01, False)])
def test_found_empty_with_its_burner_off_a_boiler_is_hot_for_eight_hours(hours: float, dry: bool) -> None:
    assert fed(60 * hours) is dry


@pytest.mark.parametrize("hours", [1, 8, 9, 24 * 30])
def test_found_empty_while_it_fired_it_is_hot_until_somebody_qualified_has_looked(hours: float) -> None:
    assert fed(60 * hours, burner_firing=True)
    assert fed(60 * hours, look("body", "boiler_cool"), who="operator", burner_firing=True)
    assert not fed(60 * hours, look("body", "boiler_cool"), burner_firing=True)


@pytest.mark.parametrize("seen", ["found_firing", "light_off_bang"])
def test_a_fire_under_an_empty_boiler_makes_it_hot_again(seen: str) -> None:
    assert fed(60 * 24, look("burner", seen))


def test_a_fire_from_before_it_was_empty_heated_water() -> None:
    boiler = Plant().service().visit(0.5, look("burner", "found_firing"))
    boiler.visit(1, look("glass", "glass_empty", burner_firing=False)).visit(1.5, act("body", "feed_water"))
    assert "dry_fired" not in boiler.open()


@pytest.mark.parametrize(
    ("entry", "dry"),
    [
        (act("body", "feed_water"), True),
        (act("body", "refill"), True),
        (proof("feeder"), True),
        (proof("feeder", outcome="not_done"), False),
        (proof("feeder", feeds_when_low=False), False),
        (act("body", "drain"), False),
    ],
)
def test_what_brings_water_in_counts_as_fed(entry: EntryFact, dry: bool) -> None:
    boiler = Plant().service().visit(1, look("glass", "glass_empty", burner_firing=True)).visit(1.1, entry)
    assert ("dry_fired" in boiler.open()) is dry


def test_fed_a_second_time_it_is_the_first_time_that_counted() -> None:
    boiler = Plant().service().visit(1, look("glass", "glass_empty", burner_firing=True))
    boiler.visit(1.1, act("body", "feed_water")).visit(1.2, act("body", "feed_water"))
    assert [f.rule for f in boiler.findings()].count("dry_fired") == 1


# a level read, in inches, over the upper cutoff's last trip of 2.5 in and the lower's of 1.5
def level(inches: float, *, firing: bool = True, found: str = "unknown", **readings: object) -> list[str]:
    entry = proof("glass", "level_observation", glass_in=inches, burner_firing=firing, **readings)  # type: ignore[arg-type]
    boiler = Plant().service().visit(1, entry)
    boiler.visits[-1] = replace(boiler.visits[-1], state_on_arrival=found)
    places = {p.id: p.ref for p in boiler.evidence().positions}
    return sorted(places[f.position] for f in boiler.findings() if f.rule == "cutoff_below_trip" and f.position)


@pytest.mark.parametrize(
    ("inches", "accused"),
    [(2.1, []), (2.01, []), (2.0, ["upper"]), (1.99, ["upper"]), (1.01, ["upper"]), (1.0, ["lower", "upper"])],
)
def test_half_an_inch_under_its_trip_a_cutoff_must_have_acted(inches: float, accused: list[str]) -> None:
    assert level(inches) == accused


def test_a_level_that_bounces_or_a_burner_that_is_off_accuses_nobody() -> None:
    assert level(1.0, steady=False) == []
    assert level(1.0, firing=False) == []
    assert level(1.0, steady=True) == ["lower", "upper"]


@pytest.mark.parametrize(("seconds", "accused"), [(9.9, []), (10.0, []), (10.1, ["lower"])])
def test_within_its_own_delay_a_cutoff_may_let_the_burner_fire(seconds: float, accused: list[str]) -> None:
    boiler = Plant().sets(-1, "lower", "fixed_delay_s", 10.0).sets(-1, "upper", "fixed_delay_s", 20.0).service()
    low = proof("glass", "level_observation", glass_in=0.5, burner_firing=True, firing_seconds=seconds)
    places = {p.id: p.ref for p in boiler.evidence().positions}
    found = [f for f in boiler.visit(1, low).findings() if f.rule == "cutoff_below_trip"]
    assert [places[f.position] for f in found if f.position] == accused


@pytest.mark.parametrize("code", ["level_observation", "gauge_glass_blowdown"])
@pytest.mark.parametrize(("inches", "rules"), [(-0.1, EMPTY), (0.0, []), (0.1, [])])
def test_a_level_read_under_the_glass_is_no_line(code: str, inches: float, rules: list[str]) -> None:
    low = proof("glass", code, glass_in=inches, burner_firing=False)
    assert [r for r in Plant().service().visit(1, low).open() if r in EMPTY] == rules
