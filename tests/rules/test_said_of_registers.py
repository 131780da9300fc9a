"""What is said of a register that leaves something out, or whose numbers do not go together."""

from dataclasses import replace
from datetime import UTC, date, datetime
from uuid import UUID

import pytest

from fleet.rules.answers.register_gaps import GapSpan, register_gap_conditions, register_gap_spans
from fleet.rules.answers.unsurveyed import portfolio_conditions
from fleet.rules.capacity import compare_capacity, explain_input_for_output, surface_counts, with_known_output
from fleet.rules.needed_roles import RegisterGap, explain_always_needed, find_register_gaps, grace_end, in_words
from fleet.rules.values import AdoptedTerms, JudgedDeficiency, Level, LevelSegment, Value
from tests.rules.build import ZONE, catalogue, local
from tests.rules.build import Boiler as SmallBoiler

PORTFOLIO = UUID(int=1)


def day(number: int) -> datetime:
    return datetime(2026, 1, number, tzinfo=UTC)


@pytest.mark.parametrize(
    ("boilers", "at", "sentence"),
    [
        (1, 3, "One boiler has not been surveyed: what protects it is not known."),
        (2, 3, "2 boilers have not been surveyed: what protects them is not known."),
        (1, 9, "One boiler had not been surveyed."),
        (2, 9, "2 boilers had not been surveyed."),
    ],
)
def test_a_portfolio_says_how_many_boilers_nobody_surveyed(boilers: int, at: int, sentence: str) -> None:
    (found,) = portfolio_conditions(PORTFOLIO, [[(day(1), day(5))]] * boilers, day(at))
    assert found.sentence == sentence


UNKNOWN = "what such a boiler needs: until it is on record, nobody knows whether it is there."


@pytest.mark.parametrize(
    ("boilers", "at", "sentence"),
    [
        (1, 3, f"One boiler's register leaves out {UNKNOWN}"),
        (2, 3, f"The registers of 2 boilers leave out {UNKNOWN}"),
        (1, 9, f"One boiler's register left out {UNKNOWN}"),
        (2, 9, f"The registers of 2 boilers left out {UNKNOWN}"),
    ],
)
def test_a_portfolio_says_how_many_registers_leave_something_out(boilers: int, at: int, sentence: str) -> None:
    (found,) = register_gap_conditions(PORTFOLIO, [[GapSpan(day(1), day(5), None)]] * boilers, day(at))
    assert (found.condition, found.subject, found.sentence) == ("not_on_record", PORTFOLIO, sentence)


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ([], ""),
        (["High limit"], "high limit"),
        (["High limit", "Safety valve"], "high limit and safety valve"),
        (["High limit", "Safety valve", "its fuel"], "high limit, safety valve and its fuel"),
    ],
)
def test_gaps_are_said_as_one_list(names: list[str], said: str) -> None:
    assert in_words(RegisterGap(name, name) for name in names) == said


@pytest.mark.parametrize(
    ("missing", "name"),
    [
        ("construction", "its construction"),
        ("fuel", "its fuel"),
        ("draft", "its draft"),
        ("output_btu_h", "its output or its burner's input"),
    ],
)
def test_what_is_not_known_of_the_boiler_itself_is_a_gap_by_its_name(missing: str, name: str) -> None:
    boiler: dict[str, Value] = {
        "construction": "cast_iron",
        "fuel": "natural_gas",
        "draft": "natural",
        "output_btu_h": 1_000_000.0,
    }
    del boiler[missing]
    gaps = [gap for gap in find_register_gaps(catalogue(), boiler, (), None) if not gap.roles]
    assert [(gap.code, gap.name) for gap in gaps] == [(missing, name)]
    assert gaps[0].hazard == ("over_pressure" if missing == "output_btu_h" else "")


def test_an_input_on_record_answers_for_the_output() -> None:
    gaps = find_register_gaps(catalogue(), {}, (), 1_250_000.0)
    assert [gap.code for gap in gaps if not gap.roles] == ["construction", "fuel", "draft"]


def test_a_role_that_is_always_needed_says_what_to_do_instead() -> None:
    assert explain_always_needed("Safety valve") == (
        "Every such boiler needs this: safety valve. Leave the place empty instead; it is then not fitted."
    )


def test_what_is_not_on_record_is_urgent_from_the_day_after_sixty() -> None:
    asked = local(date(2025, 11, 3), 9)
    assert grace_end(asked, ZONE) == local(date(2026, 1, 3))


STANDS_IN = "the burner's input stands for the output"
FAR_UNDER = f"{STANDS_IN} on record, 599,999 Btu/h, which is under 60% of it"


@pytest.mark.parametrize(
    ("output", "input_btu_h", "why"),
    [
        (None, None, ""),
        (None, 0.0, ""),
        (1_000_000.0, None, ""),
        (None, 1_000_000.0, f"{STANDS_IN}, which is not on record"),
        (0.0, 1_000_000.0, f"{STANDS_IN}, which is not on record"),
        (599_999.0, 1_000_000.0, FAR_UNDER),
        (600_000.0, 1_000_000.0, ""),
        (600_001.0, 1_000_000.0, ""),
    ],
)
def test_an_output_that_is_missing_or_under_six_tenths_of_the_input_is_not_counted(
    output: float | None, input_btu_h: float | None, why: str
) -> None:
    boiler: dict[str, Value] = {"output_btu_h": output}
    assert explain_input_for_output(boiler, input_btu_h) == why
    assert with_known_output(boiler, input_btu_h)["output_btu_h"] == (input_btu_h if why else output)


OUTPUT_ONLY, GREATER_OF = AdoptedTerms(None, None), AdoptedTerms(None, None, relief_rule="greater_of")


@pytest.mark.parametrize(
    ("construction", "terms", "counts"),
    [
        ("firetube", GREATER_OF, True),
        ("watertube", GREATER_OF, True),
        (None, GREATER_OF, True),
        ("cast_iron", GREATER_OF, False),
        ("firetube", OUTPUT_ONLY, False),
    ],
)
def test_the_surface_counts_by_the_greater_of_rule_and_never_of_cast_iron(
    construction: str | None, terms: AdoptedTerms, counts: bool
) -> None:
    boiler: dict[str, Value] = {"output_btu_h": 1_000_000.0, "construction": construction}
    assert surface_counts(boiler, terms) is counts
    assert (compare_capacity(boiler, terms, [2_000.0]) is None) is counts


# lb/h for each square foot: what the tables of S7, S10 and S11 ask for, by firing and construction
@pytest.mark.parametrize(
    ("firing", "construction", "needed"),
    [
        ("hand", "firetube", 5.0),
        ("stoker", "firetube", 7.0),
        ("oil_gas", "firetube", 8.0),
        ("hand", "watertube", 6.0),
        ("stoker", "watertube", 8.0),
        ("oil_gas", "watertube", 10.0),
        (None, "firetube", 8.0),
        ("oil_gas", None, 10.0),
        ("sails", "firetube", 10.0),
    ],
)
def test_what_is_not_known_of_firing_or_construction_asks_for_most(
    firing: str | None, construction: str | None, needed: float
) -> None:
    boiler: dict[str, Value] = {"output_btu_h": 1_000.0, "heating_surface_ft2": 100.0}
    boiler |= {"firing": firing, "construction": construction}
    found = compare_capacity(boiler, GREATER_OF, [2_000.0])
    assert found is not None
    assert found.required_lb_h == pytest.approx(100.0 * needed)


@pytest.mark.parametrize("output", [None, 0.0, -1.0])
def test_without_an_output_what_is_needed_is_not_known(output: float | None) -> None:
    assert compare_capacity({"output_btu_h": output}, OUTPUT_ONLY, [2_000.0]) is None
    assert compare_capacity({"output_btu_h": 1.0}, OUTPUT_ONLY, [2_000.0]) is not None


def test_a_surface_not_on_record_is_a_capacity_not_known_by_the_rule_adopted() -> None:
    boiler = SmallBoiler(terms=(replace(SmallBoiler().terms[0], relief_rule="greater_of"),))
    boiler.sets(-30, None, "output_btu_h", 1_000_000.0).sets(-30, None, "construction", "firetube").service()
    boiler.sets(-30, "valve", "capacity_lb_h", 2_000.0)
    (found,) = [d for d in boiler.judged().deficiencies if d.rule == "capacity_unknown"]
    assert found.sentence == (
        "The heating surface is not on record: by the rule adopted the capacity that is needed is not known."
    )


def gap(rule: str, opened: int, closed: int | None, urgent: int | None) -> JudgedDeficiency:
    """A deficiency of the boiler: routine from its first day, urgent from another on if any."""
    begun, turned = day(opened), day(urgent) if urgent else None
    levels = [LevelSegment(begun, turned, Level.ROUTINE)]
    levels += [LevelSegment(turned, None, Level.URGENT)] if turned else []
    return JudgedDeficiency(
        None, rule, 1, begun, None, tuple(levels), "s", (), closed_at=day(closed) if closed else None
    )


def test_the_gaps_of_a_register_are_spans_in_order_each_with_when_it_becomes_urgent() -> None:
    told = [gap("not_on_record", 5, None, 9), gap("gauge_range", 2, None, 3), gap("not_on_record", 1, 4, None)]
    assert register_gap_spans(told) == (GapSpan(day(1), day(4), None), GapSpan(day(5), None, day(9)))


@pytest.mark.parametrize(("at", "level"), [(8, Level.ROUTINE), (9, Level.URGENT), (10, Level.URGENT)])
def test_a_portfolios_gaps_are_urgent_from_the_first_that_is(at: int, level: Level) -> None:
    spans = [[GapSpan(day(1), None, day(9))], [GapSpan(day(2), None, None)]]
    (found,) = register_gap_conditions(PORTFOLIO, spans, day(at))
    assert found.level is level
