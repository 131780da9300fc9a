"""One posted visit: what it changes, and what a repeat changes."""

from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.alerts.models import Alert
from fleet.board.models import Change, Pulse
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import Entry, Reading, Visit
from tests.cast import DAY, NOW, Fleet, standing
from tests.stories import story

pytestmark = pytest.mark.django_db


@story
def clear(fleet: Fleet) -> None:
    """Boiler 1 of Alder Terrace, serviced a month ago and flushed a day ago."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW - DAY), at=NOW - DAY)


def test_a_serviced_and_flushed_boiler_is_clear(clear: Fleet) -> None:
    assert standing(clear.bench()) == "clear"


def test_a_boiler_nobody_visited_is_not_surveyed(fleet: Fleet) -> None:
    assert standing(fleet.bench()) == "not_surveyed"


def test_a_failed_flush_puts_the_boiler_on_hold_with_its_reason(clear: Fleet) -> None:
    body = clear.post(clear.flushed(NOW, burner_stopped=False))[0].parse_body()
    assert (body["standing"]["before"], body["standing"]["after"]) == ("clear", "hold")
    assert body["standing"]["reasons"][0]["rule"] == "flush_keeps_firing"


def test_a_failed_flush_opens_one_deficiency_and_raises_one_hold(clear: Fleet) -> None:
    clear.post(clear.flushed(NOW, burner_stopped=False))
    assert Deficiency.objects.get().status == "open"
    assert Alert.objects.get(condition="hold", until=None).since == NOW


def test_something_stands_against_firing_after_a_failed_flush(clear: Fleet) -> None:
    failed = replace(clear.flushed(NOW, burner_stopped=False), kind="follow_up")
    body = clear.post(failed)[0].parse_body()
    assert body["readiness"]["answer"] == "something_does"
    assert body["verdicts"][0]["outcome"] == "fail"


def test_repair_and_proof_return_the_alert_to_normal_and_close_the_deficiency(clear: Fleet) -> None:
    clear.post(clear.flushed(NOW - timedelta(hours=2), burner_stopped=False), at=NOW - timedelta(hours=2))
    clear.post(clear.repaired(NOW))
    assert standing(clear.bench()) == "clear"
    assert Deficiency.objects.get().status == "closed"
    assert Alert.objects.get(condition="hold").until == NOW


def test_the_answer_to_a_routine_check_names_the_older_one_that_is_open(clear: Fleet) -> None:
    failed = replace(clear.flushed(NOW - timedelta(hours=2), burner_stopped=False), kind="follow_up")
    clear.post(failed, at=NOW - timedelta(hours=2))
    body = clear.post(clear.flushed(NOW))[0].parse_body()
    assert body["readiness"] is None
    assert (body["older_readiness"]["visit"], body["older_readiness"]["answer"]) == (str(failed.id), "something_does")


def test_a_repair_with_its_proof_leaves_nothing_found(clear: Fleet) -> None:
    clear.post(clear.flushed(NOW - timedelta(hours=2), burner_stopped=False), at=NOW - timedelta(hours=2))
    assert clear.post(clear.repaired(NOW))[0].parse_body()["readiness"]["answer"] == "nothing_found_by_this_visit"


def test_a_visit_posted_late_counts_from_when_it_was_performed(clear: Fleet) -> None:
    clear.post(clear.flushed(NOW - 3 * DAY, burner_stopped=False))
    assert Alert.objects.get(condition="hold", until=None).since == NOW - 3 * DAY


def test_a_pass_after_a_late_failure_with_nothing_done_leaves_the_boiler_on_hold(clear: Fleet) -> None:
    # The pass of yesterday stands already; the failure of the day before it comes late.
    body = clear.post(clear.flushed(NOW - 2 * DAY, burner_stopped=False))[0].parse_body()
    assert body["standing"]["after"] == "hold"
    assert body["newer_facts_stand"] is True


def test_a_repeat_is_answered_as_the_first_time_and_writes_nothing(clear: Fleet) -> None:
    visit = clear.flushed(NOW, burner_stopped=False)
    first = clear.post(visit)[0]
    before = (Pulse.objects.get().version, Change.objects.count(), Visit.objects.count())
    again = clear.post(visit, at=NOW + DAY)[0]
    assert again.body == first.body
    assert again.created is False
    assert (Pulse.objects.get().version, Change.objects.count(), Visit.objects.count()) == before


def test_other_content_under_a_known_id_is_refused_with_409(clear: Fleet) -> None:
    visit = clear.flushed(NOW)
    clear.post(visit)
    other = clear.flushed(NOW, sediment="dirty")
    with pytest.raises(Refused) as refused:
        clear.post(other)
    assert (refused.value.status, refused.value.faults[0].code) == (409, "id_taken")


def test_changes_carry_the_pulse_that_ordered_them(clear: Fleet) -> None:
    clear.post(clear.flushed(NOW, burner_stopped=False))
    pulse = Pulse.objects.get()
    kinds = list(Change.objects.filter(version=pulse.version).order_by("number").values_list("kind", flat=True))
    # hold, and hold but firing: the flush itself proved that the burner fires
    assert kinds == ["standing.changed", "deficiency.changed", "alert.raised", "alert.raised"]


def test_a_correction_takes_the_place_of_the_visit_it_names(clear: Fleet) -> None:
    wrong = clear.flushed(NOW - timedelta(hours=1), burner_stopped=False)
    clear.post(wrong)
    right = clear.flushed(NOW - timedelta(hours=1))
    restated = _correcting(right, wrong.id)
    (told,) = clear.post(restated)
    assert told.parse_body()["waits_for_second"] is True
    assert standing(clear.bench()) == "hold"
    clear.second(restated)
    assert standing(clear.bench()) == "clear"
    assert Deficiency.objects.get().status == "withdrawn"


def test_a_visit_is_corrected_once(clear: Fleet) -> None:
    wrong = clear.flushed(NOW - timedelta(hours=1), burner_stopped=False)
    clear.post(wrong)
    first, second = (_correcting(clear.flushed(NOW - timedelta(hours=1)), wrong.id) for _ in range(2))
    clear.post(first)
    with pytest.raises(Refused) as refused:
        clear.post(second)
    assert refused.value.faults[0].code == "corrected_already"
    assert str(first.id) in refused.value.faults[0].message


def _correcting(visit: IncomingVisit, old: UUID) -> IncomingVisit:
    return replace(visit, id=uuid4(), corrects=old, reason="wrong box ticked")


def test_a_refused_visit_leaves_nothing_behind(clear: Fleet) -> None:
    before = (Visit.objects.count(), Entry.objects.count(), Reading.objects.count(), Pulse.objects.get().version)
    with pytest.raises(Refused):
        clear.post(clear.flushed(NOW + DAY))
    assert (
        Visit.objects.count(),
        Entry.objects.count(),
        Reading.objects.count(),
        Pulse.objects.get().version,
    ) == before


def test_one_post_takes_the_same_number_of_queries_however_long_the_history(clear: Fleet) -> None:
    clear.post(clear.flushed(NOW - timedelta(hours=9)))
    few = _queries(clear, NOW - timedelta(hours=8))
    for hours in range(7, 1, -1):
        clear.post(clear.flushed(NOW - timedelta(hours=hours)))
    assert _queries(clear, NOW) == few


def _queries(fleet: Fleet, at: datetime) -> int:
    visit = fleet.flushed(at)
    with CaptureQueriesContext(connection) as captured:
        fleet.post(visit, at=at)
    return len(captured)
