"""Bad input, by name: each is refused with its code and place, or, where the domain says so, accepted and judged.

What has no shape at all (NaN, 1e400, NUL, a million entries, hours that do not exist) is refused at the door; here it
meets the core as well, in case another door lets it through.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any
from uuid import UUID, uuid4

import pytest

from fleet.board.models import Change, Pulse
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.portfolio.models import Boiler, Device
from fleet.visits.incoming import IncomingEntry, IncomingVisit, Person
from fleet.visits.models import Entry, Reading, Visit
from tests.cast import DAY, NOW, Fleet

pytestmark = pytest.mark.django_db

NOWHERE = UUID("b8a2f1de-0000-4000-8000-000000000000")
Make = Callable[[Fleet], IncomingVisit]
HERE = ("entries", 0)


def flush(fleet: Fleet, **more: Any) -> IncomingVisit:
    """A flush with its one entry changed."""
    visit = fleet.flushed(NOW)
    return replace(visit, entries=(replace(visit.entries[0], **more),))


def reading(name: str, value: Any) -> Make:
    """The limit's trip with one reading changed."""

    def make(fleet: Fleet) -> IncomingVisit:
        readings = {"trip_psi": 7.9, "stayed_off_minutes": 4.0, "psi_when_checked": 2.0, "call_on": True, name: value}
        return fleet.visit(NOW, [fleet.bench().test_entry(NOW, "limit_trip", "limit", "pass", **readings)])

    return make


def occupants(*acts: str) -> Make:
    """Devices put in and out of the limit's place."""

    def make(fleet: Fleet) -> IncomingVisit:
        place = fleet.bench().places["limit"]
        kinds = {"fit": "limit_control", "replace": "limit_control", "remove": ""}
        return fleet.visit(NOW, [IncomingEntry(a, "", place, NOW, kind=kinds[a]) for a in acts])

    return make


def twice(fleet: Fleet) -> IncomingVisit:
    """One device in two places."""
    places = [fleet.bench().places[f"siphon-{n}"] for n in (1, 2)]
    return fleet.visit(NOW, [IncomingEntry("replace", "", p, NOW, kind="siphon", device=NOWHERE) for p in places])


def elsewhere(fleet: Fleet) -> IncomingVisit:
    return flush(fleet, position=fleet.bench("ALD12 B2").places["upper"])


def backwards(fleet: Fleet) -> IncomingVisit:
    visit = fleet.repaired(NOW - DAY)
    first = replace(visit.entries[0], at=NOW - DAY / 2)
    return replace(visit, entries=(first, *visit.entries[1:]))


def before_the_boiler(fleet: Fleet) -> IncomingVisit:
    return fleet.flushed(Boiler.objects.get(id=fleet.bench().boiler.id).since - DAY)


REFUSED: dict[str, tuple[Make, str, tuple[str | int, ...]]] = {
    "a boiler that isn't there": (lambda f: replace(flush(f), boiler=NOWHERE), "unknown_boiler", ("boiler",)),
    "a position of another boiler": (elsewhere, "unknown_position", (*HERE, "position")),
    "a position that isn't there": (lambda f: flush(f, position=NOWHERE), "unknown_position", (*HERE, "position")),
    "no position": (lambda f: flush(f, position=None), "unknown_position", (*HERE, "position")),
    "a procedure nobody knows": (lambda f: flush(f, code="polish"), "unknown_procedure", (*HERE, "test")),
    "a procedure that doesn't fit": (
        lambda f: flush(f, code="lever_lift", readings={}),
        "procedure_does_not_fit",
        (*HERE, "test"),
    ),
    "a reading nobody knows": (reading("colour", 1.0), "unknown_reading", (*HERE, "readings", "colour")),
    "a reading above its range": (reading("trip_psi", 60.1), "not_possible", (*HERE, "readings", "trip_psi")),
    "a reading below its range": (reading("trip_psi", -5.1), "not_possible", (*HERE, "readings", "trip_psi")),
    "a reading of another type": (reading("trip_psi", "7.9"), "wrong_type", (*HERE, "readings", "trip_psi")),
    "NaN": (reading("trip_psi", math.nan), "not_possible", (*HERE, "readings", "trip_psi")),
    "1e400": (reading("trip_psi", float("1e400")), "not_possible", (*HERE, "readings", "trip_psi")),
    "the future": (lambda f: f.flushed(NOW + DAY), "in_the_future", ("performed_at",)),
    "before the boiler existed": (before_the_boiler, "before_the_boiler", ("performed_at",)),
    "entries out of order": (backwards, "out_of_order", ("entries", 1, "performed_at")),
    "two occupants": (occupants("replace", "fit"), "position_taken", ("entries", 1, "fit", "position")),
    "a fit into what this visit filled": (
        occupants("remove", "fit", "fit"),
        "position_taken",
        ("entries", 2, "fit", "position"),
    ),
    "nothing to take out": (occupants("remove", "remove"), "position_empty", ("entries", 1, "remove", "position")),
    "one device in two places": (twice, "device_twice", ("entries", 1, "replace", "with", "id")),
    "somebody nobody knows": (
        lambda f: replace(flush(f), people=(Person(NOWHERE),)),
        "unknown_person",
        ("people", 0, "user"),
    ),
    "a million entries": (
        lambda f: replace(flush(f), entries=flush(f).entries * 1_000_000),
        "too_many",
        ("entries",),
    ),
    "a correction of nothing": (
        lambda f: replace(flush(f), corrects=NOWHERE, reason="x"),
        "unknown_visit",
        ("corrects",),
    ),
}


def kept() -> tuple[int, ...]:
    """Everything a visit could leave behind."""
    counts = (m.objects.count() for m in (Visit, Entry, Reading, Device, Change, Deficiency))
    return (*counts, Pulse.objects.get().version)


@pytest.mark.parametrize("name", REFUSED)
def test_it_is_refused_in_its_place_and_nothing_is_kept(name: str, fleet: Fleet) -> None:
    make, code, place = REFUSED[name]
    before = kept()
    with pytest.raises(Refused) as caught:
        fleet.post(make(fleet))
    assert [(f.code, f.at) for f in caught.value.faults] == [(code, place)]
    assert kept() == before


def test_all_faults_of_a_visit_are_told_at_once(fleet: Fleet) -> None:
    wrong = replace(fleet.flushed(NOW + DAY), people=(Person(NOWHERE),), corrects=NOWHERE, reason="x")
    wrong = replace(
        wrong, entries=(replace(wrong.entries[0], code="polish"), replace(wrong.entries[0], position=NOWHERE))
    )
    with pytest.raises(Refused) as caught:
        fleet.post(wrong)
    assert {f.code for f in caught.value.faults} == {
        "unknown_visit",
        "in_the_future",
        "unknown_person",
        "unknown_procedure",
        "unknown_position",
    }


def test_the_same_id_with_other_content_is_a_conflict(fleet: Fleet) -> None:
    fleet.post(fleet.flushed(NOW))
    with pytest.raises(Refused) as caught:
        fleet.post(replace(fleet.flushed(NOW), note="other"))
    assert (caught.value.status, [(f.code, f.at) for f in caught.value.faults]) == (409, [("id_taken", ("id",))])


def test_a_visit_corrected_twice_names_its_first_correction(fleet: Fleet) -> None:
    old = fleet.flushed(NOW)
    first, second = (replace(old, id=uuid4(), corrects=old.id, reason="x") for _ in range(2))
    fleet.post(old, first)
    with pytest.raises(Refused, match=str(first.id)) as caught:
        fleet.post(second)
    assert (caught.value.status, caught.value.faults[0].at) == (409, ("corrects",))


def test_a_correction_of_another_boilers_visit_is_refused(fleet: Fleet) -> None:
    fleet.post(fleet.flushed(NOW))
    wrong = replace(fleet.flushed(NOW, "ALD12 B2"), corrects=fleet.flushed(NOW).id, reason="x")
    with pytest.raises(Refused) as caught:
        fleet.post(wrong)
    assert [(f.code, f.at) for f in caught.value.faults] == [("unknown_visit", ("corrects",))]


def test_a_fit_into_a_place_that_is_filled_on_record_is_a_clash_of_facts_and_is_accepted(fleet: Fleet) -> None:
    # Who stood there before is for the judge: a later post may tell of an earlier removal.
    assert fleet.post(occupants("fit")(fleet))[0].created


def test_a_claim_its_readings_contradict_is_accepted_as_failed_with_a_question(fleet: Fleet) -> None:
    body = fleet.post(flush(fleet, readings={**fleet.flushed(NOW).entries[0].readings, "burner_stopped": False}))[0]
    verdict = body.parse_body()["verdicts"][0]
    assert verdict["outcome"] == "fail"
    assert verdict["question"]
