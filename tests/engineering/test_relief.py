"""Relief capacity against the check table of published values, section 2.2."""

import pytest

from fleet.engineering.relief import relief, required_lb_h


@pytest.mark.parametrize(
    ("output", "stamps", "required", "adequate"),
    [
        (1_600_000, [900, 750], 1600, True),
        (1_600_000, [1500], 1600, False),
        (1_000_000, [1000], 1000, True),
        (1_000_000, [999.9], 1000, False),
        (1_000_000, [1100, None], 1000, None),
        (1_000_000, [], 1000, False),
    ],
)
def test_stamps_together_cover_the_output_or_do_not(
    output: float, stamps: list[float | None], required: float, adequate: bool | None
) -> None:
    found = relief(output, stamps)
    assert (found.required_lb_h, found.adequate) == (required, adequate)


def test_under_the_surface_rule_the_greater_of_the_two_counts() -> None:
    assert required_lb_h(1_000_000, 150, "oil_gas", "firetube") == 1200


@pytest.mark.parametrize("output", [0, -1, float("nan")])
def test_an_output_that_cannot_be_is_refused(output: float) -> None:
    with pytest.raises(ValueError, match="no such boiler"):
        required_lb_h(output)


def test_an_unknown_firing_is_refused() -> None:
    with pytest.raises(ValueError, match="no row"):
        required_lb_h(1_000_000, firing="peat")
