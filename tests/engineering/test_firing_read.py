"""The input by whichever was read in full: the gas meter first, else nozzle and pump."""

import pytest

from fleet.engineering.firing import read_input_btu_h
from fleet.errors import Refused

GAS = (10.0, 36.0, 1_000.0)
OIL = (5.0, 100.0, 140_000.0)


@pytest.mark.parametrize(
    ("read", "btu_h"),
    [
        ((*GAS, None, None, None), 1_000_000.0),
        ((None, None, None, *OIL), 700_000.0),
        ((*GAS, *OIL), 1_000_000.0),
        ((10.0, 36.0, None, *OIL), 700_000.0),
        ((10.0, 36.0, None, None, None, None), None),
        ((None,) * 6, None),
    ],
)
def test_the_input_is_worked_out_from_what_was_read_in_full(
    read: tuple[float | None, ...], btu_h: float | None
) -> None:
    assert read_input_btu_h(*read) == (None if btu_h is None else pytest.approx(btu_h))


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(Refused):
        read_input_btu_h(10.0, 36.0, 100.0)
