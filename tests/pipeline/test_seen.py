"""What is seen of the boiler as a whole has no position, and counts all the same."""

import pytest

from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.rules.values import Value
from fleet.visits.incoming import IncomingEntry
from tests.cast import DAY, NOW, Fleet, standing

pytestmark = pytest.mark.django_db


def seen(code: str, **readings: Value) -> IncomingEntry:
    """One observation without a position."""
    return IncomingEntry(act="observe", code=code, position=None, at=NOW, readings=readings)


def test_a_smell_of_gas_puts_the_boiler_on_hold_and_says_to_get_out_first(fleet: Fleet) -> None:
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    body = fleet.post(fleet.visit(NOW, [seen("gas_smell")]))[0].parse_body()
    assert standing(fleet.bench()) == "hold"
    assert body["findings"][0]["first_act"].startswith("Get everybody out and call from outside.")


def test_its_deficiency_belongs_to_the_boiler(fleet: Fleet) -> None:
    fleet.post(fleet.visit(NOW, [seen("gas_smell")]))
    assert Deficiency.objects.get(rule="people_in_danger").position_id is None


def test_what_belongs_to_a_place_is_refused_without_one(fleet: Fleet) -> None:
    with pytest.raises(Refused) as refused:
        fleet.post(fleet.visit(NOW, [seen("jumper_found")]))
    assert [(f.code, f.at) for f in refused.value.faults] == [("unknown_position", ("entries", 0, "position"))]


@pytest.mark.parametrize(
    ("readings", "code"), [({"trip_psi": 1.0}, "unknown_reading"), ({"burner_firing": 1}, "wrong_type")]
)
def test_only_whether_the_burner_fired_is_written_beside_it(
    fleet: Fleet, readings: dict[str, Value], code: str
) -> None:
    with pytest.raises(Refused) as refused:
        fleet.post(fleet.visit(NOW, [seen("gas_smell", **readings)]))
    assert refused.value.faults[0].code == code
