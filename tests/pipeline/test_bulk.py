"""Many visits posted together, their facts first and one judgement, come to the same as one by one."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction

from fleet import pipeline
from fleet.alerts.models import Alert
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Visit
from tests.cast import DAY, NOW, Fleet, conclusions, make_fleet

pytestmark = pytest.mark.django_db
KEYS = ("ALD12 B1", "ALD12 B2", "QUA48 B1")


@pytest.fixture
def fleet(db: Any) -> Fleet:
    return make_fleet("ALD12", "QUA48")


def corrected(old: IncomingVisit, **more: object) -> IncomingVisit:
    return replace(old, id=uuid4(), corrects=old.id, reason="wrong box", **more)  # type: ignore[arg-type]


def story(fleet: Fleet) -> list[IncomingVisit]:
    """Services, a failure with its repair, one corrected, one void, and a repair told again."""
    wrong = fleet.flushed(NOW - 3 * DAY, "ALD12 B2", burner_stopped=False)
    never = fleet.flushed(NOW - 4 * DAY, "ALD12 B1", recovery="slow")
    repair = fleet.repaired(NOW - 8 * DAY)
    return [
        *(fleet.serviced(NOW - 40 * DAY, key) for key in KEYS[:2]),
        fleet.flushed(NOW - 9 * DAY, burner_stopped=False),
        repair,
        wrong,
        never,
        corrected(wrong, entries=fleet.flushed(NOW - 3 * DAY, "ALD12 B2").entries),
        corrected(never, void=True, entries=()),
        corrected(repair, note="the other hand"),
    ]


def outcome(fleet: Fleet, batches: Sequence[Sequence[IncomingVisit]]) -> Any:
    """All that is concluded of the three after these posts; the database is as before afterwards."""
    with transaction.atomic():
        for batch in batches:
            fleet.post(*batch)
        found = [conclusions(fleet.bench(key).boiler.id) for key in KEYS]
        whole = sorted(Alert.objects.filter(boiler=None).values_list("condition", "since", "until", "sentence"))
        assert pipeline.rebuild(at=NOW) == 0
        transaction.set_rollback(True)
    return found, whole


def test_together_or_one_by_one_or_in_parts_comes_to_the_same(fleet: Fleet) -> None:
    visits = story(fleet)
    one_by_one = outcome(fleet, [[v] for v in visits])
    assert outcome(fleet, [visits]) == one_by_one
    assert outcome(fleet, [visits[:5], visits[5:]]) == one_by_one


def test_a_visit_corrected_out_of_a_hold_in_the_same_batch_waits_for_its_second(fleet: Fleet) -> None:
    wrong = fleet.flushed(NOW - DAY, burner_stopped=False)
    right = corrected(wrong, entries=fleet.flushed(NOW - DAY).entries)
    assert [p.created for p in fleet.post(wrong, right, wrong)] == [True, True, True]
    assert Deficiency.objects.get(rule="flush_keeps_firing").status == "open"  # until somebody else stands behind it


def test_a_visit_corrected_in_the_same_batch_where_nothing_is_lifted_leaves_no_trace(fleet: Fleet) -> None:
    wrong = fleet.flushed(NOW - DAY, sediment="very_dirty")
    fleet.post(wrong, corrected(wrong, entries=fleet.flushed(NOW - DAY).entries))
    assert not Deficiency.objects.filter(rule="flush_dirty").exists()


def test_a_seconded_correction_takes_the_deficiency_back(fleet: Fleet) -> None:
    wrong = fleet.flushed(NOW - DAY, burner_stopped=False)
    right = corrected(wrong, entries=fleet.flushed(NOW - DAY).entries)
    fleet.post(wrong, right)
    fleet.second(right)
    assert Deficiency.objects.get(rule="flush_keeps_firing").status == "withdrawn"


def test_one_bad_visit_refuses_all_with_the_faults_of_each_in_its_place(fleet: Fleet) -> None:
    good, ahead = fleet.flushed(NOW), fleet.flushed(NOW + DAY)
    nowhere = replace(fleet.flushed(NOW - DAY), boiler=uuid4())
    with pytest.raises(Refused) as caught:
        fleet.post(good, ahead, nowhere, replace(corrected(good), corrects=uuid4()))
    assert [(f.code, f.at) for f in caught.value.faults] == [
        ("in_the_future", (1, "performed_at")),
        ("unknown_boiler", (2, "boiler")),
        ("unknown_visit", (3, "corrects")),
    ]
    assert Visit.objects.count() == 0
