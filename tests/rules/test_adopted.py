"""What a portfolio adopts in writing: the relief rule, the widest gauge; from its midnight on and not before."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from fleet.calendar import Interval
from fleet.rules.capacity import compare_capacity
from fleet.rules.values import AdoptedTerms, Evidence, Override, Value
from tests.rules.build import SEASON, Boiler, ident, local
from tests.rules.plant import Plant
from tests.rules.test_properties import judged

MIDNIGHT = local(date(2025, 11, 1))
INSTANT = timedelta(microseconds=1)
FIRST = AdoptedTerms(None, SEASON)


def stamped(capacity: float | None = 1200.0, **boiler: Any) -> Boiler:
    """A boiler of 1,000,000 Btu/h with one valve stamped for so many lb/h."""
    made = Boiler().sets(-40, "valve", "capacity_lb_h", capacity).sets(-40, None, "output_btu_h", 1_000_000.0)
    for key, value in boiler.items():
        made.sets(-40, None, key, value)
    return made.service()


def rules_open(evidence: Evidence) -> list[str]:
    about = {"capacity_short", "capacity_unknown", "gauge_range"}
    return [d.rule for d in judged(evidence).deficiencies if d.closed_at is None and d.rule in about]


@pytest.mark.parametrize(
    ("rule", "boiler", "found"),
    [
        ("output_only", {"heating_surface_ft2": 200.0}, []),
        ("greater_of", {"heating_surface_ft2": 150.0, "construction": "firetube"}, []),  # 8 x 150 = 1,200: equal passes
        ("greater_of", {"heating_surface_ft2": 150.1, "construction": "firetube"}, ["capacity_short"]),
        ("greater_of", {"heating_surface_ft2": 120.0, "construction": "watertube"}, []),  # 10 x 120
        ("greater_of", {"heating_surface_ft2": 121.0, "construction": "watertube"}, ["capacity_short"]),
        ("greater_of", {"heating_surface_ft2": 121.0}, ["capacity_short"]),  # not known how: the row that asks for most
        ("greater_of", {"heating_surface_ft2": 190.0, "construction": "firetube", "firing": "hand"}, []),  # 5 x 190
        ("greater_of", {}, ["capacity_unknown"]),
        ("greater_of", {"construction": "cast_iron"}, []),  # by output alone (S11)
    ],
)
def test_the_rule_adopted_decides_what_the_valve_must_carry(
    rule: str, boiler: dict[str, Any], found: list[str]
) -> None:
    evidence = replace(stamped(**boiler).evidence(), terms=(replace(FIRST, relief_rule=rule),))
    assert rules_open(evidence) == found


@pytest.mark.parametrize(
    ("since", "until", "spans"),
    [
        (MIDNIGHT - INSTANT, MIDNIGHT, [(MIDNIGHT - INSTANT, MIDNIGHT)]),
        (MIDNIGHT, MIDNIGHT + INSTANT, [(MIDNIGHT, MIDNIGHT + INSTANT)]),
        (
            MIDNIGHT - INSTANT,
            MIDNIGHT + INSTANT,
            [(MIDNIGHT - INSTANT, MIDNIGHT), (MIDNIGHT, MIDNIGHT + INSTANT)],
        ),
        (None, None, [(None, MIDNIGHT), (MIDNIGHT, None)]),
        (MIDNIGHT, None, [(MIDNIGHT, None)]),
    ],
)
def test_each_instant_has_one_law_and_no_law_has_a_span_of_no_length(
    since: datetime | None, until: datetime | None, spans: list[tuple[datetime | None, datetime | None]]
) -> None:
    evidence = replace(Boiler().evidence(), terms=(FIRST, replace(FIRST, since=MIDNIGHT)))
    assert [(begin, end) for begin, end, _ in evidence.laws_between(since, until)] == spans


@pytest.mark.parametrize(("most", "found"), [(60.0, []), (30.0, []), (29.9, ["gauge_range"])])
def test_the_widest_gauge_is_the_one_adopted(most: float, found: list[str]) -> None:
    evidence = replace(Plant().service().evidence(), terms=(replace(FIRST, gauge_most_psi=most),))
    assert rules_open(evidence) == found


def test_what_is_adopted_later_is_wrong_from_its_midnight_on() -> None:
    later = replace(FIRST, since=MIDNIGHT, gauge_most_psi=25.0)
    evidence = replace(Plant().service().evidence(), terms=(FIRST, later))
    (found,) = [d for d in judged(evidence).deficiencies if d.rule == "gauge_range"]
    assert (found.opened_at, found.position) == (MIDNIGHT, ident("gauge"))


def test_what_a_later_rule_allows_closes_with_the_gauges_proof_or_at_once_where_none_is_named() -> None:
    strict, later = replace(FIRST, gauge_most_psi=25.0), replace(FIRST, since=MIDNIGHT)
    found = [
        d
        for d in judged(replace(Plant().service().evidence(), terms=(strict, later))).deficiencies
        if d.rule == "gauge_range"
    ]
    assert [d.repaired_at for d in found] == [MIDNIGHT]


@pytest.mark.parametrize(
    ("code", "interval", "grace", "marked"),
    [
        ("limit_trip", "12 mo", 30, False),
        ("limit_trip", "12 mo", 31, True),
        ("limit_trip", "13 mo", 0, True),
        ("limit_trip", "6 mo", 14, False),
        ("limit_trip", "6 mo", 60, False),  # more grace for less time
        ("slow_drain", "24 mo", 30, False),  # no proof of a limit
    ],
)
def test_an_override_that_gives_more_time_than_its_source_is_marked(
    code: str, interval: str, grace: int, marked: bool
) -> None:
    own = Override(Interval.parse(interval), "season", grace, "the owner's insurer, in writing")
    evidence = replace(Boiler().service().evidence(), terms=(replace(FIRST, overrides={code: own}),))
    newest = [s for s in judged(evidence).states if s.position == ident("limit")][-1]
    assert ("looser" in newest.marks) is marked


@pytest.mark.parametrize(
    ("code", "ref", "anchor", "marked"),
    [
        ("flush", "upper", "", False),
        ("flush", "upper", "season", True),  # from every week to every season
        ("three_cycles", "control", "", False),  # proves nothing, so no time for a proof is given
        ("ladder_read_back", "limit", "", False),
    ],
)
def test_only_more_time_for_a_proof_is_marked(code: str, ref: str, anchor: str, marked: bool) -> None:
    own = Override(Interval.parse("1 w" if code == "flush" else "60 mo"), anchor, 0, "in writing")
    evidence = replace(Boiler().service().evidence(), terms=(replace(FIRST, overrides={code: own}),))
    newest = [s for s in judged(evidence).states if s.position == ident(ref)][-1]
    assert ("looser" in newest.marks) is marked


@pytest.mark.parametrize("output", [None, 0.0, -1.0, True, "much"])
def test_without_a_figure_for_the_output_nothing_is_compared(output: Value) -> None:
    assert compare_capacity({"output_btu_h": output}, FIRST, [900.0]) is None


SURFACES: list[tuple[dict[str, Value], float | None]] = [
    ({"heating_surface_ft2": 200.0, "construction": "firetube"}, 1600.0),
    ({"heating_surface_ft2": 200.0, "construction": "firetube", "firing": "stoker"}, 1400.0),
    ({"heating_surface_ft2": 200.0, "construction": "watertube", "firing": "hand"}, 1200.0),
    ({"heating_surface_ft2": 200.0, "construction": "brick", "firing": "hand"}, 2000.0),  # the row that asks for most
    ({"heating_surface_ft2": 200.0, "construction": "cast_iron"}, 1000.0),
    ({"heating_surface_ft2": 10.0, "construction": "firetube"}, 1000.0),  # the output asks for more
    ({"heating_surface_ft2": True, "construction": "firetube"}, None),
]


@pytest.mark.parametrize(("boiler", "required"), SURFACES)
def test_the_greater_of_output_and_surface_is_needed(boiler: dict[str, Value], required: float | None) -> None:
    found = compare_capacity(
        {"output_btu_h": 1_000_000.0, **boiler}, replace(FIRST, relief_rule="greater_of"), [500.0, 700.0]
    )
    assert (found.required_lb_h if found else None) == required
    assert found is None or found.installed_lb_h == 1200.0


def test_one_unknown_stamp_makes_the_sum_unknown() -> None:
    found = compare_capacity({"output_btu_h": 1_000_000.0}, FIRST, [5000.0, None])
    assert found is not None
    assert (found.installed_lb_h, found.adequate) == (None, None)
