"""A register that leaves something out, through the database: its alert, its standing, and what puts it right."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid5

import pytest

from fleet import pipeline
from fleet.accounts.models import User
from fleet.alerts.models import Alert
from fleet.board import queries
from fleet.board.models import Change
from fleet.catalog import queries as catalog
from fleet.catalog.services import load_release
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.management.demo.visit_entries import GOOD_LIFT, VisitWriter
from fleet.portfolio.models import Boiler, Portfolio, Position
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from fleet.visits.incoming import IncomingEntry, RegisterAnswer
from fleet.visits.models import Visit
from fleet.visits.register_gaps import gaps_of_boiler
from tests import kept
from tests.cast import LONG_AGO, NOW, ROOT, make_person, shipped_catalogue

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
URGENT_AT = datetime(2026, 3, 14, 4, tzinfo=NOW.tzinfo)  # midnight in New York, the day after sixty days
INSTANT = timedelta(microseconds=1)


@pytest.fixture(autouse=True)
def shipped() -> Iterator[None]:
    with shipped_catalogue() as folder:
        kept.once("shipped catalogue", lambda: load_release(folder=folder, at=LONG_AGO))
        yield


def hand_in(
    portfolio: Portfolio, *left_out: str, at: datetime = NOW, fitted_on: date | None = None, empty: str = ""
) -> Any:
    """Put Alder Terrace's first boiler on record as the demonstration's sheet has it, without these places.

    `fitted_on` is the day of the limit, where that is another. `empty` is a place that the sheet leaves empty.
    """
    sheet = (ROOT / "fixtures" / "demo" / "register.csv").read_text()
    rows = [r for r in parse_sheet(sheet, catalog.catalogue_of(1)) if r.boiler_key == ("ALD12", "B1")]
    kept = [
        replace(r, fitted_on=fitted_on) if fitted_on and r.position_ref == "limit" else r
        for r in rows
        if r.position_ref not in left_out
    ]
    bare = {"kind": "", "attributes": (), "declared": (), "fitted_on": None}
    kept = [replace(r, **bare) if r.position_ref == empty else r for r in kept]
    return pipeline.change_register(portfolio=portfolio, rows=kept, at=at, cause=Cause(who="office"))


@pytest.fixture
def portfolio() -> Portfolio:
    return Portfolio.objects.create(ref="ALDER", name="Alder")


def alerts() -> list[tuple[str, str, str]]:
    rows = Alert.objects.filter(boiler=None, condition="not_on_record", until=None)
    return [(a.level, a.sentence, str(a.subject)) for a in rows]


def test_a_whole_register_raises_nothing(portfolio: Portfolio) -> None:
    hand_in(portfolio)
    assert alerts() == []
    assert not Deficiency.objects.filter(rule="not_on_record").exists()


def test_what_a_register_leaves_out_is_one_deficiency_and_one_alert_of_the_portfolio(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit", "glass", "safeguard")
    (deficiency,) = Deficiency.objects.filter(rule="not_on_record")
    assert deficiency.sentence == "Not on record: gauge glass, high limit and flame safeguard."
    (alert,) = alerts()
    assert alert[1].startswith("One boiler's register leaves out what such a boiler needs")
    assert (alert[0], alert[2]) == ("routine", str(portfolio.id))


@pytest.mark.parametrize(
    ("at", "level", "standing"),
    [
        (URGENT_AT - INSTANT, "routine", "not_surveyed"),
        (URGENT_AT, "urgent", "impaired"),
        (URGENT_AT + INSTANT, "urgent", "impaired"),
    ],
)
def test_after_sixty_days_it_is_urgent_by_time_alone(
    portfolio: Portfolio, at: datetime, level: str, standing: str
) -> None:
    hand_in(portfolio, "limit")
    pipeline.sweep(at=at)
    assert [found for found, *_ in alerts()] == [level]
    found = queries.standing_of(Boiler.objects.get().id, at)
    assert found is not None
    assert found.standing == standing


def test_a_place_put_on_record_with_the_day_it_was_fitted_takes_the_alert_back(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit")
    hand_in(portfolio, at=NOW + DAY)
    assert alerts() == []
    (alert,) = Alert.with_withdrawn.filter(condition="not_on_record")
    assert alert.withdrawn
    (deficiency,) = Deficiency.objects.filter(rule="not_on_record")
    assert deficiency.withdrawn


def test_what_is_fitted_later_ends_the_alert_on_its_day(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit")
    hand_in(portfolio, at=NOW + DAY, fitted_on=date(2026, 1, 13))
    (alert,) = Alert.objects.filter(condition="not_on_record")
    assert (alert.until, alert.level) == (datetime(2026, 1, 13, 5, tzinfo=NOW.tzinfo), "routine")
    (deficiency,) = Deficiency.objects.filter(rule="not_on_record")
    assert deficiency.closed_at == alert.until


def test_a_place_is_left_out_until_the_day_on_which_it_is_fitted(portfolio: Portfolio) -> None:
    hand_in(portfolio, fitted_on=date(2026, 1, 13))
    fitted_at = datetime(2026, 1, 13, 5, tzinfo=NOW.tzinfo)
    assert [gaps(at) for at in (fitted_at - INSTANT, fitted_at, fitted_at + INSTANT)] == [["high_limit"], [], []]


def test_a_place_that_the_sheet_leaves_empty_is_on_record(portfolio: Portfolio) -> None:
    hand_in(portfolio, empty="valve")
    assert (gaps(), state("safety_valve")) == ([], "not_fitted")
    with pytest.raises(Refused) as refused:
        answered(portfolio, RegisterAnswer("safety_valve", "there"), at=NOW + DAY)
    assert [f.code for f in refused.value.faults] == ["not_asked"]


def test_no_alert_is_raised_about_the_time_before_the_register_came(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit")
    assert not Alert.with_withdrawn.filter(since__lt=NOW, condition__in=("hold", "not_on_record", "past_date")).exists()


def test_a_rebuild_of_registers_with_gaps_writes_nothing(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit", "valve")
    pipeline.sweep(at=URGENT_AT)
    assert pipeline.rebuild(at=URGENT_AT) == 0


def technician(portfolio: Portfolio) -> User:
    return make_person("rosa", portfolio, "technician", "technician")


def answered(portfolio: Portfolio, *answers: RegisterAnswer, at: datetime = NOW, who: User | None = None) -> None:
    who = who or User.objects.filter(username="rosa").first() or technician(portfolio)
    bench = VisitWriter.for_boiler(Boiler.objects.get())
    entries = [IncomingEntry(act="observe", code="found_firing", position=None, at=at)]
    visit = bench.compose_visit("follow_up", at, [who.id], entries, register_answers=answers)
    pipeline.post_visits([visit], by=who, at=at)


def gaps(at: datetime = NOW) -> list[str]:
    boiler = Boiler.objects.get()
    return [g.code for g in gaps_of_boiler(boiler, catalog.catalogue_of(1), at)]


def state(role: str, at: datetime = NOW) -> str:
    return next(s.state for s in queries.states_of(Boiler.objects.get().id, at) if s.position.role_id == role)


def test_what_a_visit_finds_there_is_on_record_and_has_proven_nothing(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit", "glass")
    answered(portfolio, RegisterAnswer("high_limit", "there"), RegisterAnswer("gauge_glass", "not_seen"), at=NOW + DAY)
    assert gaps(NOW + DAY) == ["gauge_glass", "high_limit_set_psi", "siphon_of_high_limit"]
    assert state("high_limit", NOW + DAY) == "never_proven"
    (deficiency,) = Deficiency.objects.filter(rule="not_on_record", withdrawn=False)
    said = "Not on record: gauge glass, set pressure of the high limit and siphon of the high limit."
    assert (deficiency.closed_at, deficiency.sentence) == (None, said)


def test_what_a_visit_finds_none_of_is_not_fitted_where_every_boiler_needs_it(portfolio: Portfolio) -> None:
    hand_in(portfolio, "valve")
    answered(portfolio, RegisterAnswer("safety_valve", "none"), at=NOW + DAY)
    assert (gaps(NOW + DAY), state("safety_valve", NOW + DAY)) == ([], "not_fitted")
    found = queries.standing_of(Boiler.objects.get().id, NOW + DAY)
    assert found is not None
    assert found.standing == "hold"


def test_what_may_be_none_here_is_answered_with_its_reason(portfolio: Portfolio) -> None:
    hand_in(portfolio, "alarm")
    answered(portfolio, RegisterAnswer("co_alarm", "none", reason="Ines Okafor, 12 Jan 2026: detectors in the hall."))
    assert gaps() == []
    assert not Deficiency.objects.filter(rule__startswith="not_fitted", withdrawn=False).exists()


@pytest.mark.parametrize(
    ("answer", "code", "field"),
    [
        (RegisterAnswer("safety_valve", "there"), "not_asked", "role"),
        (RegisterAnswer("co_alarm", "none"), "required", "reason"),
        (RegisterAnswer("lower_cutoff", "there"), "required", "kind"),
        (RegisterAnswer("lower_cutoff", "there", kind="limit_control"), "device_does_not_fit", "kind"),
        (RegisterAnswer("lower_cutoff", "not_seen", kind="probe_cutoff"), "device_does_not_fit", "kind"),
    ],
)
def test_an_answer_that_cannot_be_is_refused_with_its_place(
    portfolio: Portfolio, answer: RegisterAnswer, code: str, field: str
) -> None:
    hand_in(portfolio, "lower", "alarm")
    with pytest.raises(Refused) as refused:
        answered(portfolio, answer)
    assert [(f.code, f.at) for f in refused.value.faults] == [(code, ("register_answers", 0, field))]


def test_nobody_answers_without_a_technicians_qualification(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit")
    bram = make_person("bram", portfolio, "caretaker", "operator")
    with pytest.raises(Refused) as refused:
        answered(portfolio, RegisterAnswer("high_limit", "there"), who=bram)
    assert [f.code for f in refused.value.faults] == ["not_qualified"]
    assert gaps() == ["high_limit"]


def test_an_answer_posted_again_adds_nothing(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit")
    for _ in range(2):
        answered(portfolio, RegisterAnswer("high_limit", "there"), at=NOW + DAY)
    assert Position.objects.filter(role="high_limit").count() == 1
    assert pipeline.rebuild(at=NOW + DAY) == 0


def corrected(portfolio: Portfolio, *answers: RegisterAnswer, at: datetime, void: bool = False) -> None:
    """Correct, or make void, the visit that answered what the register leaves out."""
    who = User.objects.get(username="rosa")
    bench = VisitWriter.for_boiler(Boiler.objects.get())
    wrong = Visit.objects.exclude(register_answers=[]).get(corrects=None)
    seen = [IncomingEntry(act="observe", code="found_firing", position=None, at=wrong.performed_at)]
    more = {"register_answers": answers, "corrects": wrong.id, "void": void}
    visit = bench.compose_visit("follow_up", wrong.performed_at, [who.id], [] if void else seen, **more)
    pipeline.post_visits([replace(visit, id=uuid5(wrong.id, "correction"))], by=who, at=at)


VALVE_THERE = RegisterAnswer("safety_valve", "there")


def test_a_correction_in_the_same_words_leaves_what_was_put_on_record(portfolio: Portfolio) -> None:
    hand_in(portfolio, "valve")
    answered(portfolio, VALVE_THERE, at=NOW + DAY)
    corrected(portfolio, VALVE_THERE, at=NOW + 2 * DAY)
    assert gaps(NOW + 2 * DAY) == ["safety_valve_set_psi"]
    assert state("safety_valve", NOW + 2 * DAY) == "never_proven"
    assert Position.objects.filter(role="safety_valve").count() == 1
    assert pipeline.rebuild(at=NOW + 2 * DAY) == 0


@pytest.mark.parametrize("void", [False, True])
@pytest.mark.parametrize("answer", [VALVE_THERE, RegisterAnswer("safety_valve", "none")], ids=["there", "none"])
def test_a_valve_that_no_visit_speaks_of_any_more_counts_as_not_fitted(
    portfolio: Portfolio, answer: RegisterAnswer, void: bool
) -> None:
    hand_in(portfolio, "valve")
    answered(portfolio, answer, at=NOW + DAY)
    corrected(portfolio, at=NOW + 2 * DAY, void=void)
    assert state("safety_valve", NOW + 2 * DAY) == "not_fitted"
    found = queries.standing_of(Boiler.objects.get().id, NOW + 2 * DAY)
    assert found is not None
    assert found.standing == "hold"


def test_what_was_none_here_is_needed_again_when_its_answer_is_taken_back(portfolio: Portfolio) -> None:
    hand_in(portfolio, "alarm")
    answered(portfolio, RegisterAnswer("co_alarm", "none", reason="Ines Okafor: detectors in the hall."), at=NOW + DAY)
    missing = Deficiency.objects.filter(rule__startswith="not_fitted")
    assert not missing.exists()
    corrected(portfolio, at=NOW + 2 * DAY, void=True)
    assert missing.get().closed_at is None


def test_a_correction_drops_no_answer_that_a_later_visit_stands_on(portfolio: Portfolio) -> None:
    hand_in(portfolio, "valve")
    answered(portfolio, VALVE_THERE, at=NOW + DAY)
    who, bench = User.objects.get(username="rosa"), VisitWriter.for_boiler(Boiler.objects.get())
    lift = bench.test_entry(NOW + 2 * DAY, "lever_lift", "safety-valve", **GOOD_LIFT)
    later = bench.compose_visit("follow_up", NOW + 2 * DAY, [who.id], [lift])
    pipeline.post_visits([later], by=who, at=NOW + 2 * DAY)
    with pytest.raises(Refused) as refused:
        corrected(portfolio, at=NOW + 2 * DAY)
    assert [f.code for f in refused.value.faults] == ["device_has_later_evidence"]
    assert state("safety_valve", NOW + 2 * DAY) == "proven"


def test_an_answer_that_a_correction_changes_is_refused_with_what_to_do(portfolio: Portfolio) -> None:
    hand_in(portfolio, "valve")
    answered(portfolio, VALVE_THERE, at=NOW + DAY)
    with pytest.raises(Refused) as refused:
        corrected(portfolio, RegisterAnswer("safety_valve", "none"), at=NOW + 2 * DAY)
    assert [f.code for f in refused.value.faults] == ["not_asked"]
    assert "Leave it out here" in str(refused.value.faults[0].message)


def test_a_second_answer_of_one_place_is_refused(portfolio: Portfolio) -> None:
    hand_in(portfolio, "lower")
    two = [RegisterAnswer("lower_cutoff", "there", kind=kind) for kind in ("probe_cutoff", "float_cutoff")]
    with pytest.raises(Refused) as refused:
        answered(portfolio, *two)
    assert [(f.code, f.at) for f in refused.value.faults] == [("double", ("register_answers", 1, "role"))]
    assert gaps() == ["lower_cutoff"]


def test_two_visits_of_one_post_put_one_place_on_record_or_nothing(portfolio: Portfolio) -> None:
    hand_in(portfolio, "limit")
    who, bench = technician(portfolio), VisitWriter.for_boiler(Boiler.objects.get())
    visits = []
    for at in (NOW - 2 * DAY, NOW - DAY):
        entries = [IncomingEntry(act="observe", code="found_firing", position=None, at=at)]
        answer = RegisterAnswer("high_limit", "there")
        visits.append(bench.compose_visit("follow_up", at, [who.id], entries, register_answers=(answer,)))
    with pytest.raises(Refused) as refused:
        pipeline.post_visits(visits, by=who, at=NOW)
    assert {f.code for f in refused.value.faults} == {"not_asked"}
    assert gaps() == ["high_limit"]


def test_an_event_says_not_fitted_where_no_reason_can_excuse_it(portfolio: Portfolio) -> None:
    hand_in(portfolio, "valve")
    answered(portfolio, RegisterAnswer("safety_valve", "none", reason="the owner says so"), at=NOW + DAY)
    event = Change.objects.get(kind="register.answered")
    assert "is not fitted" in event.sentence
