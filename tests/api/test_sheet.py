"""The work sheet: what stands on it, why, and in which order."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fleet import pipeline
from fleet.rules.answers.readiness import LEAVING_CHECKS
from fleet.terms.models import Adoption
from fleet.visits.incoming import IncomingEntry
from tests import kept
from tests.api.conftest import SetClock
from tests.api.phone import Phone
from tests.cast import DAY, NOW, Fleet

pytestmark = [pytest.mark.django_db, pytest.mark.xdist_group("sheet")]  # one process makes the scene once
Row = tuple[int, str, str, str]


def sheet(phone: Phone, fleet: Fleet, key: str = "ALD12 B1") -> Any:
    response = phone.get(f"/api/v1/boilers/{fleet.bench(key).boiler.id}/sheet/")
    assert response.status_code == 200, response.content
    return response.json()


def lines(told: Any) -> list[Any]:
    return [line for group in told["groups"] for line in group["lines"]]


def rows(told: Any) -> list[Row]:
    return [(g["number"], n["place"], n["procedure"], n["because"]) for g in told["groups"] for n in g["lines"]]


def line(told: Any, procedure: str, place: str, phase: str = "as_found") -> Any:
    wanted = (procedure, place, phase)
    return next(n for n in lines(told) if (n["procedure"], n["place"], n["phase"]) == wanted)


@pytest.fixture(scope="module")
def serviced(fleet: Fleet, django_db_blocker: Any) -> Iterator[Fleet]:
    """The first boiler only; rolled back with the fleet."""
    with kept.made_for_a_file(
        django_db_blocker, lambda: fleet.post(fleet.serviced(NOW - 30 * DAY), fleet.flushed(NOW - DAY))
    ):
        yield fleet


@pytest.fixture
def failed(serviced: Fleet) -> Fleet:
    """The flush failed an hour ago."""
    serviced.post(serviced.flushed(NOW - timedelta(hours=1), burner_stopped=False))
    return serviced


def test_where_nothing_is_asked_the_order_of_work_stands_all_the_same(serviced: Fleet, rosa: Phone) -> None:
    told = sheet(rosa, serviced)
    assert [g["number"] for g in told["groups"]] == list(range(9))
    assert all(g["title"] and g["always"] for g in told["groups"])
    assert [n["because"] for n in lines(told)] == []


def test_a_new_boiler_is_proven_in_the_order_of_work(fleet: Fleet, rosa: Phone) -> None:
    told = sheet(rosa, fleet, "ALD12 B2")
    assert rows(told) == [
        (2, "operating control", "operating_control_trip", "due"),
        (2, "high limit", "limit_trip", "due"),
        (3, "lower cutoff", "slow_drain", "due"),
        (3, "upper cutoff", "slow_drain", "due"),
        (4, "safety valve", "lever_lift", "due"),
        (5, "control siphon", "siphon_check", "due"),
        (5, "limit siphon", "siphon_check", "due"),
        (5, "float chamber", "chamber_open_inspect", "due"),
        (7, "upper cutoff", "slow_drain", "to_be_touched"),
    ]


def test_nothing_is_opened_before_everything_was_tried_as_found(failed: Fleet, rosa: Phone) -> None:
    for key in ("ALD12 B1", "ALD12 B2", "QUA48 B1"):
        told = sheet(rosa, failed, key)
        placed = {(n["phase"], g["number"]) for g in told["groups"] for n in g["lines"]}
        assert placed
        assert all({"as_found": number <= 5, "repair": number == 5, "as_left": number == 7}[p] for p, number in placed)


def test_a_failure_is_put_right_and_proven_by_what_found_it(failed: Fleet, rosa: Phone) -> None:
    told = sheet(rosa, failed)
    assert rows(told) == [
        (5, "upper cutoff", "", "failed"),
        (7, "upper cutoff", "flush", "failed"),
        (7, "upper cutoff", "slow_drain", "to_be_touched"),
    ]
    repair = lines(told)[0]
    assert repair["why"] == "The burner kept firing while the upper cutoff was flushed."
    assert repair["first_act"].startswith("Switch the burner off by hand now.")
    assert repair["level"] == "hold"
    assert repair["deficiency"]


def test_an_open_hold_comes_before_everything(failed: Fleet, serviced: Fleet, rosa: Phone) -> None:
    (first,) = sheet(rosa, failed)["first"]
    assert first["act"].startswith("Switch the burner off by hand now.")
    assert sheet(rosa, failed, "ALD12 B2")["first"] == []


def test_what_was_touched_is_proven_as_left(serviced: Fleet, rosa: Phone) -> None:
    bench = serviced.bench()
    serviced.post(
        serviced.visit(NOW - timedelta(hours=1), [bench.action_entry(NOW - timedelta(hours=1), "adjust", "limit")])
    )
    found = line(sheet(rosa, serviced), "limit_trip", "high limit", "as_left")
    assert found["because"] == "touched"
    assert "was adjusted" in found["why"]


def test_what_hangs_on_a_failed_path_is_tried_after_it_is_cleared(serviced: Fleet, rosa: Phone) -> None:
    bench, at = serviced.bench(), NOW - timedelta(hours=1)
    serviced.post(serviced.visit(at, [bench.test_entry(at, "siphon_check", "siphon-2", "fail", passes_water=False)]))
    told = sheet(rosa, serviced)
    assert (5, "limit siphon", "", "failed") in rows(told)
    assert "hangs on a failed path" in line(told, "limit_trip", "high limit", "as_left")["why"]


def test_what_is_only_presumed_failed_is_tried_as_found(serviced: Fleet, rosa: Phone) -> None:
    bench, at = serviced.bench(), NOW - timedelta(hours=1)
    seen = IncomingEntry(act="observe", code="lockout_found", position=bench.places["limit"], at=at)
    serviced.post(serviced.visit(at, [seen]))
    found = line(sheet(rosa, serviced), "operating_control_trip", "operating control")
    assert found["because"] == "failed"


def test_what_is_not_there_has_to_be_fitted(serviced: Fleet, rosa: Phone) -> None:
    bench, at = serviced.bench(), NOW - timedelta(hours=1)
    gone = IncomingEntry(act="remove", code="", position=bench.places["limit"], at=at)
    serviced.post(serviced.visit(at, [gone]))
    assert (5, "high limit", "", "failed") in rows(sheet(rosa, serviced))


@pytest.mark.parametrize(("days", "because"), [(-31, None), (-30, "soon"), (-1, "soon"), (0, "due")])
def test_what_is_due_within_a_month_comes_along(
    days: int, because: str | None, serviced: Fleet, rosa: Phone, clock_at: SetClock
) -> None:
    due = datetime(2026, 10, 1, 4, 0, tzinfo=UTC)  # the season's first local midnight
    Adoption.objects.create(portfolio=serviced.portfolio, version=1, season="10-01/09-30", posted_at=NOW)
    clock_at(due + days * DAY)
    found = [n["because"] for n in lines(sheet(rosa, serviced)) if n["procedure"] == "limit_trip"]
    assert found == ([because] if because else [])


def test_what_is_done_every_week_is_not_brought_forward(serviced: Fleet, rosa: Phone, clock_at: SetClock) -> None:
    due = datetime(2026, 1, 18, 5, 0, tzinfo=UTC)  # a week after the flush, local midnight
    asked = []
    for at in (due - timedelta(seconds=1), due):
        clock_at(at)
        asked.append([n["because"] for n in lines(sheet(rosa, serviced)) if n["procedure"] == "flush"])
    assert asked == [[], ["due"]]


def test_a_copy_ends_where_a_local_day_brings_something(serviced: Fleet, rosa: Phone, clock_at: SetClock) -> None:
    day = datetime(2026, 5, 1, 4, 0, tzinfo=UTC)  # thirty days before the season ends, the building's midnight
    path = f"/api/v1/boilers/{serviced.bench().boiler.id}/sheet/"
    pipeline.sweep(at=day - DAY)
    clock_at(day - timedelta(seconds=1))
    before = rosa.get(path)
    clock_at(day)
    after = rosa.send("GET", path, headers={"If-None-Match": before["ETag"]})
    assert [("season ends" in a.json()["season"]) for a in (before, after)] == [False, True]


@pytest.mark.parametrize(("day", "seasonal"), [("2026-07-02", False), ("2026-07-03", True), ("2026-10-01", False)])
def test_the_season_asks_from_ninety_days_before_it_starts(
    day: str, seasonal: bool, serviced: Fleet, rosa: Phone, clock_at: SetClock
) -> None:
    at = datetime.fromisoformat(f"{day}T12:00:00-04:00")
    clock_at(at)
    told = sheet(rosa, serviced)
    asked = {n["procedure"] for n in lines(told) if n["because"] == "season"}
    assert ("starts on Thu 01 Oct 2026. The work" in told["season"]) is seasonal
    assert (asked >= {"slow_drain", "limit_trip", "lever_lift", "three_cycles"}) is seasonal
    assert "evaporation" not in asked  # the slow drain will do


def test_what_was_passed_for_the_season_is_not_asked_again(serviced: Fleet, rosa: Phone, clock_at: SetClock) -> None:
    at = datetime(2026, 8, 3, 14, 0, tzinfo=UTC)
    serviced.post(serviced.serviced(at), at=at)
    clock_at(at + DAY)
    asked = {n["procedure"] for n in lines(sheet(rosa, serviced)) if n["because"] == "season"}
    assert asked.isdisjoint({"slow_drain", "limit_trip", "lever_lift"})
    assert "ladder_read_back" in asked


def test_every_line_says_why_and_its_cautions_before_its_steps(fleet: Fleet, rosa: Phone) -> None:
    for one in lines(sheet(rosa, fleet, "ALD12 B2")):
        names = list(one)
        assert one["why"].endswith(".")
        assert names.index("cautions") < names.index("steps") < names.index("readings")
        assert not one["procedure"] or (one["cautions"] and one["steps"] and one["source"])


def test_a_line_says_what_to_read_by_which_limit_and_what_was_read_last(serviced: Fleet, rosa: Phone) -> None:
    bench = serviced.bench()
    serviced.post(
        serviced.visit(NOW - timedelta(hours=1), [bench.action_entry(NOW - timedelta(hours=1), "adjust", "limit")])
    )
    found = line(sheet(rosa, serviced), "limit_trip", "high limit", "as_left")
    reading = next(r for r in found["readings"] if r["name"] == "trip_psi")
    assert reading["unit"] == "psi"
    assert reading["required"] is True
    assert reading["low"] == -5
    assert reading["high"] == 60
    assert reading["accept"].startswith("within 1 psi of its set point")
    assert found["set_points"] == {"set_psi": 8}
    assert (found["last"]["outcome"], found["last"]["readings"]["trip_psi"]) == ("pass", 7.9)


def test_a_set_point_is_what_was_set_last(serviced: Fleet, rosa: Phone) -> None:
    bench, at = serviced.bench(), NOW - timedelta(hours=1)
    setting = IncomingEntry(act="set", code="", position=bench.places["limit"], at=at, values={"set_psi": 7})
    serviced.post(serviced.visit(at, [setting]))
    assert line(sheet(rosa, serviced), "limit_trip", "high limit", "as_left")["set_points"] == {"set_psi": 7}


def test_the_sheet_says_who_may_and_when_it_takes_two(fleet: Fleet, rosa: Phone) -> None:
    told = sheet(rosa, fleet, "ALD12 B2")
    drain, trip = line(told, "slow_drain", "lower cutoff"), line(told, "limit_trip", "high limit")
    assert drain["who"] == ["technician"]
    assert drain["second_person"] is True
    assert trip["second_person"] is False
    assert told["people"] == 2


def test_minutes_are_those_of_the_lines_and_of_the_visit(failed: Fleet, rosa: Phone) -> None:
    told = sheet(rosa, failed)
    assert told["minutes"] == 30 + 45 + sum(n["minutes"] or 0 for n in lines(told)) == 30 + 45 + 10 + 45


def test_it_ends_with_the_leaving_checks_and_begins_with_the_caution(fleet: Fleet, rosa: Phone) -> None:
    told = sheet(rosa, fleet)
    assert told["leaving_checks"] == LEAVING_CHECKS
    assert all(word in told["caution"] for word in ("Local codes", "maker's instructions", "licensed person"))


def test_a_repair_that_was_proven_leaves_the_sheet(failed: Fleet, rosa: Phone) -> None:
    failed.post(failed.repaired(NOW - timedelta(minutes=30)))
    assert lines(sheet(rosa, failed)) == []


def test_nothing_is_fired_to_try_a_control_that_is_blind(serviced: Fleet, rosa: Phone) -> None:
    bench, at = serviced.bench(), NOW - timedelta(hours=1)
    seen = IncomingEntry(act="observe", code="lockout_found", position=bench.places["limit"], at=at)
    blind = [
        bench.test_entry(at, "siphon_check", r, "fail", passes_water=False)
        for r in sorted(bench.places)
        if "siphon" in r
    ]
    serviced.post(serviced.visit(at, [seen, *blind]))
    asked = {n["phase"] for n in lines(sheet(rosa, serviced)) if n["procedure"] == "operating_control_trip"}
    assert asked == {"as_left"}


def kind_rows(phone: Phone, fleet: Fleet, kind: str, key: str = "ALD12 B1") -> list[Row]:
    response = phone.get(f"/api/v1/boilers/{fleet.bench(key).boiler.id}/sheet/?kind={kind}")
    assert response.status_code == 200, response.content
    return rows(response.json())


def test_a_routine_check_has_its_things_and_nothing_else(serviced: Fleet, rosa: Phone) -> None:
    assert kind_rows(rosa, serviced, "routine_check") == [(2, "upper cutoff", "flush", "visit")]


def test_a_routine_check_of_a_boiler_on_hold_shows_the_hold_first(failed: Fleet, rosa: Phone) -> None:
    told = rosa.get(f"/api/v1/boilers/{failed.bench().boiler.id}/sheet/?kind=routine_check").json()
    assert told["first"][0]["act"].startswith("Switch the burner off by hand now.")


@pytest.mark.parametrize("kind", ["annual_service", "season_start"])
def test_a_service_lists_all_that_its_answer_will_ask_for_whatever_is_due(
    serviced: Fleet, rosa: Phone, kind: str
) -> None:
    """Everything was proven a month ago, and the visit that does none of it misses only what the sheet lists."""
    asked = {(place, code) for _, place, code, _ in kind_rows(rosa, serviced, kind)}
    at = NOW - timedelta(hours=1)
    bench = serviced.bench()
    seen = IncomingEntry(act="observe", code="found_firing", position=None, at=at)
    visit = bench.compose_visit(kind, at, [serviced.technician.id], [seen], left_as="on_call")
    missing = serviced.post(visit)[0].parse_body()["readiness"]["missing"]
    names = {str(place): name for place, name in bench.boiler.positions.values_list("id", "name")}
    missed = {names[item["position"]] for item in missing if item["what"] == "service"}
    assert missed
    assert missed <= {place for place, _ in asked}


@pytest.mark.parametrize("kind", ["follow_up", "no_heat", "season_shutdown", "inspection"])
def test_any_other_kind_is_as_without_one(failed: Fleet, rosa: Phone, kind: str) -> None:
    assert kind_rows(rosa, failed, kind) == rows(sheet(rosa, failed))


def test_an_unknown_kind_is_refused(fleet: Fleet, rosa: Phone) -> None:
    response = rosa.get(f"/api/v1/boilers/{fleet.bench().boiler.id}/sheet/?kind=party")
    assert response.status_code == 400
    assert response.json()["errors"][0]["pointer"] == "/kind"


def test_the_sheets_of_two_kinds_have_tags_of_their_own(serviced: Fleet, rosa: Phone) -> None:
    path = f"/api/v1/boilers/{serviced.bench().boiler.id}/sheet/"
    tag = rosa.get(f"{path}?kind=routine_check")["ETag"]
    again = rosa.send("GET", f"{path}?kind=routine_check", headers={"If-None-Match": tag})
    other = rosa.send("GET", f"{path}?kind=annual_service", headers={"If-None-Match": tag})
    assert again.status_code == 304
    assert other.status_code == 200
