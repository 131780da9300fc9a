"""Who corrects what and when, what a correction may not unhook, and the second qualified name."""

from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.db.utils import DatabaseError

from fleet import pipeline
from fleet.accounts.models import Qualification, User
from fleet.assessments.models import Verdict
from fleet.board.models import Change
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.pipeline import PostedVisit
from fleet.records.events import Cause
from fleet.visits.incoming import IncomingEntry, IncomingVisit
from fleet.visits.models import Seconding
from tests.cast import DAY, NOW, Fleet, make_person, standing
from tests.site_role import as_tables_owner
from tests.stories import story

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)
HOUR = timedelta(hours=1)


@story
def served(fleet: Fleet) -> None:
    """Serviced a month ago, flushed just now by the technician."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW), at=NOW)


def correction(old: IncomingVisit, **more: object) -> IncomingVisit:
    return replace(old, id=uuid4(), corrects=old.id, reason="wrong box", **more)  # type: ignore[arg-type]


def post(visit: IncomingVisit, by: User, at: datetime) -> list[PostedVisit]:
    return pipeline.post_visits([visit], by=by, at=at)


def refused(visit: IncomingVisit, by: User, at: datetime) -> tuple[int, list[tuple[str, tuple[str | int, ...]]]]:
    with pytest.raises(Refused) as caught:
        post(visit, by, at)
    return caught.value.status, [(f.code, f.at) for f in caught.value.faults]


@pytest.mark.parametrize(("hours", "allowed"), [(timedelta(), True), (24 * HOUR, True), (24 * HOUR + SECOND, False)])
def test_an_author_corrects_within_a_day_of_posting(served: Fleet, hours: timedelta, allowed: bool) -> None:
    made = correction(served.flushed(NOW), note="again")
    if allowed:
        assert post(made, served.technician, NOW + hours)[0].created
    else:
        assert refused(made, served.technician, NOW + hours) == (403, [("not_yours_to_correct", ("corrects",))])


def test_another_technician_does_not_correct_it(served: Fleet) -> None:
    other = make_person("theo", served.portfolio, "technician", "technician")
    assert refused(correction(served.flushed(NOW)), other, NOW)[0] == 403


@pytest.mark.parametrize("role", ["manager", "owner"])
def test_a_manager_or_owner_of_the_building_corrects_it_later(served: Fleet, role: str) -> None:
    boss = make_person("ines", served.portfolio, role)
    assert post(correction(served.flushed(NOW)), boss, NOW + 9 * DAY)[0].created


def test_a_manager_of_another_building_does_not(served: Fleet) -> None:
    from fleet.accounts.models import Grant
    from fleet.portfolio.models import Building

    elsewhere = Building.objects.create(portfolio=served.portfolio, ref="X", address="Elsewhere", zone="UTC")
    boss = make_person("ines", None, "")
    Grant.objects.create(user=boss, portfolio=served.portfolio, role="manager", building=elsewhere)
    assert refused(correction(served.flushed(NOW)), boss, NOW)[0] == 403


def test_a_second_successor_is_refused_and_told_which_is_the_first(served: Fleet) -> None:
    first = correction(served.flushed(NOW))
    post(first, served.technician, NOW)
    with pytest.raises(Refused, match=str(first.id)) as caught:
        post(correction(served.flushed(NOW)), served.technician, NOW)
    assert (caught.value.status, caught.value.faults[0].code) == (409, "corrected_already")


def test_a_correction_is_told_with_its_reason(served: Fleet) -> None:
    post(correction(served.flushed(NOW)), served.technician, NOW)
    change = Change.objects.get(kind="visit.corrected")
    assert change.subject == served.flushed(NOW).id
    assert change.after == "corrected"
    assert change.who == "rosa"


def test_what_the_old_visit_closed_reopens(served: Fleet) -> None:
    served.post(served.flushed(NOW + HOUR, burner_stopped=False), at=NOW + HOUR)
    repair = served.repaired(NOW + 2 * HOUR)
    served.post(repair, at=NOW + 2 * HOUR)
    closed = Deficiency.objects.get(rule="flush_keeps_firing").status
    served.post(correction(repair, entries=repair.entries[:2]), at=NOW + 3 * HOUR)
    row = Deficiency.objects.get(rule="flush_keeps_firing")
    assert closed == "closed"
    assert row.status == "repaired"
    assert row.closed_at is None
    assert standing(served.bench(), NOW + 3 * HOUR) == "hold"


def test_a_void_correction_leaves_nothing_of_the_visit(served: Fleet) -> None:
    failed = served.flushed(NOW + HOUR, burner_stopped=False)
    served.post(failed, at=NOW + HOUR)
    gone = correction(failed, void=True, entries=())
    served.post(gone, at=NOW + HOUR)
    served.second(gone, at=NOW + HOUR)
    assert not Verdict.objects.filter(entry__visit=failed.id).exists()
    assert Deficiency.objects.get(rule="flush_keeps_firing").status == "withdrawn"


def new_limit(fleet: Fleet, device: UUID | None = None, kind: str = "limit_control") -> IncomingVisit:
    entry = IncomingEntry(
        act="replace",
        code="",
        position=fleet.bench().places["limit"],
        at=NOW - 5 * DAY,
        kind=kind,
        values={"set_psi": 8.0},
        device=device,
    )
    return fleet.visit(NOW - 5 * DAY, [entry])


def tripped(fleet: Fleet, at: datetime) -> IncomingVisit:
    readings = {"trip_psi": 7.9, "stayed_off_minutes": 4.0, "psi_when_checked": 2.0, "call_on": True}
    return fleet.visit(at, [fleet.bench().test_entry(at, "limit_trip", "limit", "pass", **readings)])


DROPPED = (422, [("device_has_later_evidence", ("corrects",))])


def test_a_correction_that_drops_a_device_with_later_evidence_is_refused(served: Fleet) -> None:
    old = new_limit(served)
    served.post(old, tripped(served, NOW - DAY))
    without = correction(old, entries=served.flushed(NOW - 5 * DAY).entries)
    assert refused(without, served.technician, NOW) == DROPPED


def test_a_void_that_drops_one_is_refused_where_it_says_void(served: Fleet) -> None:
    old = new_limit(served)
    served.post(old, tripped(served, NOW - DAY))
    gone = correction(old, void=True, entries=())
    assert refused(gone, served.technician, NOW) == (422, [("device_has_later_evidence", ("void",))])


def later_limit(fleet: Fleet) -> IncomingVisit:
    """Another limit a day later, as found and as left."""
    at = NOW - 4 * DAY
    made = new_limit(fleet)
    entries = tuple(replace(e, at=at) for e in made.entries) + tripped(fleet, at).entries
    return replace(made, id=uuid4(), performed_at=at, entries=entries)


def test_evidence_before_it_was_fitted_or_of_its_successor_is_not_about_it(served: Fleet) -> None:
    old = new_limit(served)
    served.post(tripped(served, NOW - 6 * DAY), old, later_limit(served), tripped(served, NOW - DAY))
    without = correction(old, entries=served.flushed(NOW - 5 * DAY).entries)
    assert post(without, served.technician, NOW)[0].created


def test_evidence_between_its_fitting_and_its_successors_is(served: Fleet) -> None:
    old = new_limit(served)
    served.post(old, tripped(served, NOW - 4 * DAY - HOUR), later_limit(served))
    without = correction(old, entries=served.flushed(NOW - 5 * DAY).entries)
    assert refused(without, served.technician, NOW) == DROPPED


def test_a_correction_that_restates_the_device_is_accepted(served: Fleet) -> None:
    old = new_limit(served)
    served.post(old, tripped(served, NOW - DAY))
    assert post(correction(old, note="the other way round"), served.technician, NOW)[0].created


def test_once_the_later_visit_is_void_the_device_may_go(served: Fleet) -> None:
    old, later = new_limit(served), tripped(served, NOW - DAY)
    served.post(old, later)
    served.post(correction(later, void=True, entries=()))
    assert post(correction(old, void=True, entries=()), served.technician, NOW)[0].created


def corrected(fleet: Fleet) -> IncomingVisit:
    """A failure that its author says never was."""
    failed = fleet.flushed(NOW + HOUR, burner_stopped=False)
    fleet.post(failed, at=NOW + HOUR)
    made = correction(failed, void=True, entries=())
    fleet.post(made, at=NOW + HOUR)
    return made


def second(visit: UUID, by: User, at: datetime = NOW + 2 * HOUR) -> Seconding:
    return pipeline.second_correction(visit=visit, by=by, at=at, cause=Cause(who="theo", request_id="phone-0002"))


def test_a_second_qualified_name_is_kept_once_and_told(served: Fleet) -> None:
    made, theo = corrected(served), make_person("theo", served.portfolio, "technician", "technician")
    second(made.id, theo)
    change = Change.objects.get(kind="visit.seconded")
    assert change.subject == made.id
    assert change.boiler_id == made.boiler
    assert change.request_id == "phone-0002"
    with pytest.raises(Refused) as caught:
        second(made.id, theo)
    assert (caught.value.status, caught.value.faults[0].code) == (409, "seconded_already")
    assert Seconding.objects.get().by == theo


def test_the_poster_is_not_the_second(served: Fleet) -> None:
    made = corrected(served)
    with pytest.raises(Refused) as caught:
        second(made.id, served.technician)
    assert (caught.value.status, caught.value.faults[0].code) == (403, "own_correction")


@pytest.mark.parametrize(
    ("since", "until", "qualified"),
    [
        (NOW, None, True),
        (NOW + 2 * HOUR, None, True),
        (NOW + 2 * HOUR + SECOND, None, False),
        (NOW, NOW + 2 * HOUR, False),
        (NOW, NOW + 2 * HOUR + SECOND, True),
    ],
)
def test_the_second_is_qualified_at_that_time(
    served: Fleet, since: datetime, until: datetime | None, qualified: bool
) -> None:
    made, theo = corrected(served), make_person("theo", served.portfolio, "technician")
    Qualification.objects.create(user=theo, code="technician", since=since, until=until)
    if qualified:
        assert second(made.id, theo).visit_id == made.id
        return
    with pytest.raises(Refused) as caught:
        second(made.id, theo)
    assert caught.value.faults[0].code == "not_qualified"


def test_only_a_correction_that_stands_takes_a_second_name(served: Fleet) -> None:
    made, theo = corrected(served), make_person("theo", served.portfolio, "technician", "technician")
    with pytest.raises(Refused) as plain:
        second(served.flushed(NOW).id, theo)
    served.post(correction(replace(made, corrects=None)), at=NOW + HOUR)
    with pytest.raises(Refused) as superseded:
        second(made.id, theo)
    with pytest.raises(Refused) as unknown:
        second(uuid4(), theo)
    codes = [r.value.faults[0].code for r in (plain, superseded, unknown)]
    assert codes == ["not_a_correction", "corrected_already", "unknown_visit"]


@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET id = id"])
def test_a_second_name_is_neither_changed_nor_removed(served: Fleet, statement: str) -> None:
    second(corrected(served).id, make_person("theo", served.portfolio, "technician", "technician"))
    with (
        pytest.raises(DatabaseError, match="never changed or removed"),
        as_tables_owner(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement.format("visits_seconding"))
