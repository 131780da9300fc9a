"""Digests at the person's hour, once a day; what they say; and job slips."""

from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
from PIL import Image

from fleet import pipeline
from fleet.accounts.models import User
from fleet.notices.models import Notice, NoticeChoices
from fleet.notices.writing.digest_text import MAX_LINES
from tests.cast import DAY, NOW, Fleet
from tests.notices.reach import staff, told
from tests.stories import story

pytestmark = pytest.mark.django_db
SECOND, HOUR = timedelta(seconds=1), timedelta(hours=1)
SEVEN = datetime(2026, 1, 13, 12, 0, tzinfo=UTC)  # seven in the morning at the boilers, a Tuesday


@story
def staffed(fleet: Fleet) -> None:
    """Serviced a month ago, and the burner kept firing during a flush yesterday; people can be reached."""
    staff(fleet)
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW, burner_stopped=False), at=NOW)


@pytest.mark.parametrize(("at", "names"), [(SEVEN - SECOND, set()), (SEVEN, {"manager1", "dispatcher1"})])
def test_a_digest_comes_at_the_hour_and_by_default_to_manager_and_dispatcher(
    staffed: Fleet, at: datetime, names: set[str]
) -> None:
    NoticeChoices.objects.create(user=User.objects.get(username="owner1"), digest="none")
    pipeline.sweep(at=at)
    assert {name for name, when in told("digest") if when >= NOW} == names


def test_one_digest_a_day_however_often_the_sweep_runs(staffed: Fleet) -> None:
    for minute in range(0, 120, 20):
        pipeline.sweep(at=SEVEN + timedelta(minutes=minute))
    assert Notice.objects.filter(kind="digest", user__username="manager1").count() == 1


def test_after_eight_days_without_a_sweep_only_todays_digest_is_written(staffed: Fleet) -> None:
    pipeline.sweep(at=SEVEN + 8 * DAY)
    assert Notice.objects.filter(kind="digest", user__username="manager1").count() == 1


def test_the_owner_reads_on_mondays(staffed: Fleet) -> None:
    for day in range(8):  # from Monday to the Monday after it
        pipeline.sweep(at=NOW + day * DAY)
    assert [at for name, at in told("digest") if name == "owner1"] == [NOW, NOW + 7 * DAY]


def test_the_subject_says_what_is_new_and_the_worst_and_each_line_has_its_link(staffed: Fleet) -> None:
    pipeline.sweep(at=SEVEN)
    digest = Notice.objects.get(kind="digest", user__username="manager1")
    assert digest.subject.startswith("1 new hold, 1 in all: 12 Alder Terrace, Boiler 1")
    lines = [line for line in digest.text.splitlines() if line.startswith("* ")]
    assert 0 < len(lines) <= MAX_LINES
    links = [line for line in digest.text.splitlines() if line.startswith("  /")]
    assert len(links) == len(lines)
    assert digest.text.index("NEW") < digest.text.index("As of Tue 13 Jan 2026, 07:00.")


def test_the_chart_is_a_picture_with_a_text_beside_it(staffed: Fleet) -> None:
    pipeline.sweep(at=SEVEN)
    digest = Notice.objects.get(kind="digest", user__username="manager1")
    picture = Image.open(BytesIO(bytes(digest.chart or b"")))
    assert picture.size == (560, 120)
    assert "On hold or exposed, by day: 0 thirty days ago, 1 now, at most 1." in digest.text


@pytest.mark.parametrize(("says", "count"), [(True, 1), (False, 0)])
def test_with_nothing_to_say_it_says_so_in_one_line_or_is_not_sent(fleet: Fleet, says: bool, count: int) -> None:
    people = staff(fleet)
    fleet.post(fleet.serviced(NOW - 3 * DAY), at=NOW - 3 * DAY)
    fleet.post(fleet.serviced(NOW - 3 * DAY, "ALD12 B2"), at=NOW - 3 * DAY)
    pipeline.sweep(at=NOW - 2 * DAY)  # tells of what the visits left
    NoticeChoices.objects.create(user=people["manager"], says_nothing_new=says)
    pipeline.sweep(at=SEVEN)
    texts = Notice.objects.filter(kind="digest", user=people["manager"], created_at=SEVEN, status="waiting")
    assert [("Nothing new" in t.text) for t in texts] == [True] * count


def test_a_weekly_digest_whose_monday_was_missed_comes_with_the_next_sweep_and_once(staffed: Fleet) -> None:
    for hours in (0, 1, 24):
        pipeline.sweep(at=SEVEN + DAY + timedelta(hours=hours))  # Wednesday and Thursday; no sweep ran on Monday
    assert Notice.objects.filter(kind="digest", user__username="owner1").count() == 1


def test_what_a_digest_told_that_never_arrived_is_new_in_the_next(staffed: Fleet) -> None:
    pipeline.sweep(at=SEVEN)
    Notice.objects.filter(kind="digest").update(status="failed")
    pipeline.sweep(at=SEVEN + DAY)
    digest = Notice.objects.filter(kind="digest", user__username="manager1").latest("created_at")
    assert digest.subject.startswith("1 new hold")


def test_who_wants_no_empty_digest_gets_none_later_in_the_day_either(fleet: Fleet) -> None:
    people = staff(fleet)
    fleet.post(fleet.serviced(NOW - 3 * DAY), at=NOW - 3 * DAY)
    fleet.post(fleet.serviced(NOW - 3 * DAY, "ALD12 B2"), at=NOW - 3 * DAY)
    pipeline.sweep(at=NOW - 2 * DAY)
    NoticeChoices.objects.create(user=people["manager"], says_nothing_new=False)
    pipeline.sweep(at=SEVEN)
    fleet.post(fleet.flushed(SEVEN + HOUR, burner_stopped=False), at=SEVEN + HOUR)
    pipeline.sweep(at=SEVEN + 2 * HOUR)
    sent = Notice.objects.filter(kind="digest", user=people["manager"], created_at__gte=SEVEN)
    assert not sent.filter(status="waiting").exists()
    pipeline.sweep(at=SEVEN + DAY)
    assert sent.get(status="waiting").subject.startswith("1 new hold")
