"""Papers of others through the database: who may post one, what it proves, what it ends, and with whose name."""

from dataclasses import replace
from datetime import datetime, timedelta
from uuid import uuid4

import pytest

from fleet import pipeline
from fleet.assessments.models import Verdict, Waiting
from fleet.board.models import Change
from fleet.catalog.queries import catalogue_at
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.evidence import gather_evidence
from fleet.jobs.evidence import newest_passes
from fleet.reading.standing_history import standing_at
from fleet.rules import judge
from fleet.visits.incoming import IncomingVisit
from fleet.visits.models import PaperOfOthers
from fleet.visits.queries import people_of
from tests.cast import DAY, NOW, Fleet, make_person, standing
from tests.shop_papers import SERIAL, TESTED_AT, paper, paper_visit, shop_test, stamp_serial
from tests.stories import story

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)


@story
def serviced(fleet: Fleet) -> None:
    """Serviced a month ago by the technician; the valve's serial is on record."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    stamp_serial(fleet, NOW - 30 * DAY)


@story
def failed(fleet: Fleet) -> None:
    """The valve did not lift five days ago, and was then worked on."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    stamp_serial(fleet, NOW - 30 * DAY)
    fleet.post(valve_failed(fleet, NOW - 5 * DAY), at=NOW - 5 * DAY)


@story
def unstamped(fleet: Fleet) -> None:
    """As `failed`, but the register does not have the valve's serial."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(valve_failed(fleet, NOW - 5 * DAY), at=NOW - 5 * DAY)


def valve_failed(fleet: Fleet, at: datetime) -> IncomingVisit:
    bench = fleet.bench()
    lift = bench.test_entry(at, "lever_lift", "valve", "fail", gauge_psi=6.0, lifted=False, discharged=False)
    return fleet.visit(at, [lift, bench.action_entry(at, "repair", "valve")])


def post(fleet: Fleet, visit: IncomingVisit, at: datetime = NOW) -> dict[str, object]:
    return pipeline.post_visits([visit], by=fleet.caretaker, at=at)[0].parse_body()


def refusal(fleet: Fleet, visit: IncomingVisit) -> tuple[int, list[str]]:
    with pytest.raises(Refused) as caught:
        post(fleet, visit)
    return caught.value.status, [f.code for f in caught.value.faults]


def valve_state(fleet: Fleet, at: datetime = NOW) -> tuple[str, str]:
    evidence, _ = gather_evidence(fleet.bench().boiler.id, NOW)
    place = fleet.bench().places["valve"]
    segments = [s for s in judge(evidence, (), NOW).states if s.position == place]
    now = next(s for s in segments if (s.since is None or s.since <= at) and (s.until is None or at < s.until))
    return now.state.value, now.reason.sentence


def _known(fleet: Fleet, known_at: datetime) -> str:
    return standing_at(fleet.bench().boiler.id, NOW, known_at).standing


def is_held(fleet: Fleet) -> bool:
    return Deficiency.objects.filter(rule="valve_no_lift", closed_at=None).exists()


def test_a_caretaker_posts_the_shops_paper_and_it_proves_the_valve(serviced: Fleet) -> None:
    answer = post(serviced, paper_visit(serviced))
    assert Verdict.objects.get(entry__visit=answer["visit"]).proves == "full"
    assert valve_state(serviced)[1].endswith("Sat 10 Jan 2026, on paper of Harbor Valve Shop.")


def test_it_proves_from_the_instant_of_its_test_on(serviced: Fleet) -> None:
    post(serviced, paper_visit(serviced))
    before, at, after = (valve_state(serviced, TESTED_AT + step)[1] for step in (-SECOND, 0 * SECOND, SECOND))
    assert "paper" not in before
    assert "paper" in at
    assert "paper" in after


def test_it_answers_nothing_about_firing(serviced: Fleet) -> None:
    assert post(serviced, paper_visit(serviced))["readiness"] is None


def test_its_poster_and_those_named_on_it_prove_nothing_by_it(failed: Fleet) -> None:
    lift = failed.bench().test_entry(TESTED_AT, "lever_lift", "valve", gauge_psi=6.0, lifted=True, discharged=True)
    assert refusal(failed, paper_visit(failed, lift)) == (422, ["not_of_this_body"])


def test_a_paper_with_bad_news_counts_at_once(serviced: Fleet) -> None:
    bad = replace(shop_test(serviced, opens_psi=19.0), outcome="fail")
    post(serviced, paper_visit(serviced, bad))
    assert standing(serviced.bench()) == "hold"


def test_bad_news_counts_from_a_body_that_does_not_do_the_test(serviced: Fleet) -> None:
    drain = serviced.bench().test_entry(TESTED_AT, "slow_drain", "upper", "fail", burner_firing=True)
    post(serviced, paper_visit(serviced, drain, paper=paper(body="inspector")))
    assert standing(serviced.bench()) == "hold"


def test_out_of_a_hold_it_waits_and_says_for_what(failed: Fleet) -> None:
    answer = post(failed, paper_visit(failed, shop_test(failed, SERIAL)))
    assert answer["paper_lacks"] == ["No second qualified person stands behind the paper."]
    assert answer["waits_for_second"] is True
    assert is_held(failed) is True
    assert standing(failed.bench()) == "hold"
    assert list(Waiting.objects.values_list("subject", "lacks")) == [("paper", answer["paper_lacks"])]


def test_a_second_qualified_person_ends_the_hold_from_the_test_on(failed: Fleet) -> None:
    visit = paper_visit(failed, shop_test(failed, SERIAL))
    post(failed, visit)
    failed.second(visit)
    states = [valve_state(failed, TESTED_AT + step)[0] for step in (-SECOND, 0 * SECOND, SECOND)]
    assert states == ["failed", "proven", "proven"]
    assert is_held(failed) is False
    assert Waiting.objects.exists() is False
    assert Change.objects.filter(kind="visit.seconded").last().sentence == "nora seconded the paper."  # type: ignore[union-attr]


def test_what_was_known_before_the_second_name_is_kept(failed: Fleet) -> None:
    visit = paper_visit(failed, shop_test(failed, SERIAL))
    post(failed, visit)
    failed.second(visit, at=NOW + DAY)
    known = [_known(failed, NOW + DAY + step) for step in (-SECOND, 0 * SECOND)]
    assert known[0] == "hold" != known[1]


@pytest.mark.parametrize("who", ["poster", "unqualified"])
def test_neither_the_poster_nor_somebody_unqualified_seconds_it(failed: Fleet, who: str) -> None:
    visit = paper_visit(failed, shop_test(failed, SERIAL))
    post(failed, visit)
    by = failed.caretaker if who == "poster" else make_person("ines", failed.portfolio, "manager")
    with pytest.raises(Refused) as caught:
        pipeline.second_correction(visit=visit.id, by=by, at=NOW)
    assert caught.value.status == 403
    assert is_held(failed) is True


@pytest.mark.parametrize("serial", ["", "V-2002"])
def test_a_second_name_does_not_stand_in_for_the_serial(failed: Fleet, serial: str) -> None:
    visit = paper_visit(failed, shop_test(failed, serial))
    post(failed, visit)
    failed.second(visit)
    assert is_held(failed) is True
    assert Waiting.objects.get().subject == "paper"


def test_a_serial_put_on_record_later_ends_the_hold(unstamped: Fleet) -> None:
    visit = paper_visit(unstamped, shop_test(unstamped, SERIAL))
    post(unstamped, visit)
    unstamped.second(visit)
    assert Waiting.objects.get().lacks == ["The register does not have the serial of the safety valve."]
    stamp_serial(unstamped, NOW)
    assert is_held(unstamped) is False
    assert valve_state(unstamped, TESTED_AT)[0] == "proven"


def test_a_withdrawn_paper_holds_again(failed: Fleet) -> None:
    visit = paper_visit(failed, shop_test(failed, SERIAL))
    post(failed, visit)
    failed.second(visit)
    void = replace(visit, id=uuid4(), corrects=visit.id, reason="other valve", void=True, entries=(), paper=None)
    post(failed, void)
    assert is_held(failed) is True
    assert standing(failed.bench()) == "hold"


def test_a_corrected_paper_needs_its_own_second_name(failed: Fleet) -> None:
    visit = paper_visit(failed, shop_test(failed, SERIAL))
    post(failed, visit)
    failed.second(visit)
    again = replace(visit, id=uuid4(), corrects=visit.id, reason="misread", paper=paper(number="1002"))
    post(failed, again)
    assert is_held(failed)
    failed.second(again)
    assert not is_held(failed)


def test_a_newer_failure_stands_against_a_paper_posted_late(serviced: Fleet) -> None:
    serviced.post(valve_failed(serviced, NOW - DAY), at=NOW - DAY)
    visit = paper_visit(serviced, shop_test(serviced, SERIAL))
    answer = post(serviced, visit)
    serviced.second(visit)
    assert answer["newer_facts_stand"] is True
    assert is_held(serviced) is True
    assert standing(serviced.bench()) == "hold"


def test_the_same_visit_again_is_a_repeat(serviced: Fleet) -> None:
    visit = paper_visit(serviced)
    assert post(serviced, visit) == post(serviced, visit, NOW + DAY)
    assert PaperOfOthers.objects.count() == 1


@pytest.mark.parametrize(
    "same", [{}, {"number": "10-01"}, {"name": "HARBOR  valve shop."}, {"name": "Harbour Valve", "file": paper().file}]
)
def test_the_same_paper_in_another_visit_is_refused(serviced: Fleet, same: dict[str, object]) -> None:
    post(serviced, paper_visit(serviced))
    assert refusal(serviced, paper_visit(serviced, paper=paper(**same))) == (409, ["paper_posted_already"])


def test_another_bodys_paper_of_that_number_is_another(serviced: Fleet) -> None:
    post(serviced, paper_visit(serviced))
    other = paper(name="Mill Street Valves", dated_on=TESTED_AT.date() + DAY)
    assert post(serviced, paper_visit(serviced, paper=other))["verdicts"]


def test_a_withdrawn_paper_may_be_posted_anew(serviced: Fleet) -> None:
    visit = paper_visit(serviced)
    post(serviced, visit)
    post(serviced, replace(visit, id=uuid4(), corrects=visit.id, reason="typo", void=True, entries=(), paper=None))
    assert post(serviced, paper_visit(serviced))["verdicts"]


def test_a_correction_keeps_the_papers_number(serviced: Fleet) -> None:
    visit = paper_visit(serviced)
    post(serviced, visit)
    assert post(serviced, replace(visit, id=uuid4(), corrects=visit.id, reason="typo", note="again"))["verdicts"]


def test_two_visits_posted_together_do_not_share_a_paper(serviced: Fleet) -> None:
    with pytest.raises(Refused) as caught:
        pipeline.post_visits([paper_visit(serviced), paper_visit(serviced)], by=serviced.caretaker, at=NOW)
    assert [(f.code, f.at) for f in caught.value.faults] == [("paper_posted_already", (1, "paper", "number"))]
    assert not PaperOfOthers.objects.exists()


@pytest.mark.parametrize(("serial", "settled"), [("", True), (SERIAL, True), ("V-2002", False)])
def test_a_job_is_settled_by_what_the_paper_proves_and_by_no_more(serviced: Fleet, serial: str, settled: bool) -> None:
    post(serviced, paper_visit(serviced, shop_test(serviced, serial)))
    wanted = (serviced.bench().places["valve"], "valve_shop_test")
    passes = newest_passes([wanted], catalogue_at(NOW))
    assert passes == ({wanted: TESTED_AT} if settled else {})


def test_who_holds_the_paper_was_not_at_the_boiler(serviced: Fleet) -> None:
    post(serviced, paper_visit(serviced))
    met = people_of([serviced.bench().boiler.id], NOW - 5 * DAY, NOW)
    assert met == []
