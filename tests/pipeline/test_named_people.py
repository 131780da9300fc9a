"""Whoever is named at another's visit counts only by a word of his own: by poster, named, seconded and denied."""

from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.db.utils import DatabaseError

from fleet import pipeline
from fleet.accounts.models import Qualification, User
from fleet.alerts.models import Alert
from fleet.assessments.models import Readiness, Verdict, Waiting
from fleet.board.models import Change
from fleet.catalog.queries import catalogue_at
from fleet.deficiencies.models import Deficiency
from fleet.errors import Refused
from fleet.evidence import gather_evidence
from fleet.jobs.evidence import newest_passes
from fleet.management.demo import visit_entries
from fleet.reading.standing_history import standing_at
from fleet.rules.values import VisitFact
from fleet.rules.vocabulary import NameReply
from fleet.visits import services
from fleet.visits.incoming import IncomingEntry, IncomingVisit, Person
from fleet.visits.models import NameAnswer, Visit
from fleet.visits.queries import people_of
from fleet.visits.services import NewVisit
from tests.cast import DAY, LONG_AGO, NOW, Fleet, make_person, standing
from tests.pipeline.named_people_table import NOBODY, NORA, OPERATOR, ROSA, TABLE, Told
from tests.site_role import as_tables_owner
from tests.stories import story

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)


@story
def manned(fleet: Fleet) -> None:
    """Serviced a month ago. Beside Rosa and the caretaker there are Nora, a technician, and those at the desk."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    make_person("nora", fleet.portfolio, "technician", "technician")
    for name, role in (("mona", "manager"), ("dana", "dispatcher"), ("otto", "owner"), ("ivan", "inspector")):
        make_person(name, fleet.portfolio, role)


@story
def on_hold(fleet: Fleet) -> None:
    """As `manned`, and the flush failed five days ago: a hold."""
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    make_person("nora", fleet.portfolio, "technician", "technician")
    make_person("mona", fleet.portfolio, "manager")
    fleet.post(fleet.flushed(NOW - 5 * DAY, burner_stopped=False), at=NOW - 5 * DAY)


def user(name: str) -> User:
    return User.objects.get(username=name)


def naming(visit: IncomingVisit, *names: str) -> IncomingVisit:
    return replace(visit, people=tuple(Person(user=user(name).id) for name in names))


def post(visit: IncomingVisit, poster: str, at: datetime = NOW) -> IncomingVisit:
    pipeline.post_visits([visit], by=user(poster) if poster else None, at=at)
    return visit


def reply(visit: UUID, name: str, answer: NameReply = NameReply.SECONDED, at: datetime = NOW) -> NameAnswer:
    return pipeline.reply_to_naming(visit=visit, by=user(name), reply=answer, at=at)


def refusal(visit: UUID, name: str, answer: NameReply = NameReply.SECONDED) -> tuple[str, int]:
    with pytest.raises(Refused) as refused:
        reply(visit, name, answer)
    return refused.value.faults[0].code, refused.value.status


def fact(fleet: Fleet, visit: UUID, known_at: datetime | None = None) -> VisitFact:
    evidence, _ = gather_evidence(fleet.bench().boiler.id, NOW, known_at)
    return next(v for v in evidence.visits if v.id == visit)


@pytest.mark.parametrize("told", TABLE, ids=str)
def test_a_visit_is_worth_its_poster_and_whoever_seconded_it(manned: Fleet, told: Told) -> None:
    visit = post(naming(manned.flushed(NOW - DAY), *told.named.split()), told.poster)
    for answer, names in ((NameReply.SECONDED, told.seconded), (NameReply.DENIED, told.denied)):
        for name in names.split():
            reply(visit.id, name, answer)
    assert fact(manned, visit.id).qualifications == told.worth


@pytest.mark.parametrize("told", TABLE, ids=str)
def test_a_visit_waits_for_whoever_is_named_and_silent_and_would_add_to_it(manned: Fleet, told: Told) -> None:
    visit = post(naming(manned.flushed(NOW - DAY), *told.named.split()), told.poster)
    for answer, names in ((NameReply.SECONDED, told.seconded), (NameReply.DENIED, told.denied)):
        for name in names.split():
            reply(visit.id, name, answer)
    held = {"rosa": ROSA, "nora": NORA, "bram": OPERATOR}
    silent = set(told.named.split()) - {told.poster} - {*told.seconded.split(), *told.denied.split()}
    asked = {str(user(name).id) for name in silent if held[name] - told.worth}
    row = Waiting.objects.filter(visit=visit.id).first()
    assert (set(row.people) if row else set()) == asked
    assert row is None or (row.subject, row.counts_as) == ("names", sorted(told.worth))


def drained(fleet: Fleet, at: datetime) -> list[IncomingEntry]:
    bench = fleet.bench()
    return [bench.test_entry(at, "slow_drain", "upper", burner_firing=True, burner_stopped=True, trip_in=2.5)]


@pytest.mark.parametrize(
    ("answer", "proves"),
    [(None, ("", "")), (NameReply.SECONDED, ("partial", "full")), (NameReply.DENIED, ("", ""))],
)
def test_what_is_proven_follows_the_word_of_the_one_named(
    manned: Fleet, answer: NameReply | None, proves: tuple[str, str]
) -> None:
    flush = manned.bench().test_entry(NOW - DAY, "flush", "upper", **visit_entries.GOOD_FLUSH)
    visit = post(naming(manned.visit(NOW - DAY, [flush, *drained(manned, NOW - DAY)]), "rosa"), "bram")
    if answer:
        reply(visit.id, "rosa", answer)
    rows = Verdict.objects.filter(entry__visit=visit.id).order_by("entry__number")
    assert tuple(rows.values_list("proves", flat=True)) == proves


def test_what_waits_for_a_name_says_so_in_its_verdict(manned: Fleet) -> None:
    visit = post(naming(manned.visit(NOW - DAY, drained(manned, NOW - DAY)), "nora"), "bram")
    verdict = Verdict.objects.get(entry__visit=visit.id)
    assert "is named and has not seconded the visit" in verdict.sentence
    reply(visit.id, "nora", NameReply.DENIED)
    assert "Nobody present may prove it" in Verdict.objects.get(entry__visit=visit.id).sentence


def test_a_caretakers_post_that_names_the_technician_ends_no_hold_until_she_seconds_it(on_hold: Fleet) -> None:
    visit = post(naming(on_hold.repaired(NOW - DAY), "nora"), "bram", at=NOW - DAY)
    assert standing(on_hold.bench()) == "hold"
    assert Deficiency.objects.filter(rule="flush_keeps_firing", closed_at=None).exists()
    reply(visit.id, "nora")
    assert standing(on_hold.bench()) != "hold"
    assert not Deficiency.objects.filter(rule="flush_keeps_firing", closed_at=None).exists()


def test_after_her_denial_the_hold_stays_and_nothing_waits(on_hold: Fleet) -> None:
    visit = post(naming(on_hold.repaired(NOW - DAY), "nora"), "bram", at=NOW - DAY)
    reply(visit.id, "nora", NameReply.DENIED)
    assert standing(on_hold.bench()) == "hold"
    assert not Waiting.objects.exists()


def test_no_clock_lets_a_waiting_visit_count(on_hold: Fleet) -> None:
    visit = post(naming(on_hold.repaired(NOW - DAY), "nora"), "bram", at=NOW - DAY)
    pipeline.sweep(at=NOW + 400 * DAY)
    assert standing(on_hold.bench(), NOW + 400 * DAY) == "hold"
    assert Waiting.objects.get().visit_id == visit.id


def test_bad_news_counts_at_once_from_whoever_is_named(manned: Fleet) -> None:
    visit = post(naming(manned.flushed(NOW - DAY, burner_stopped=False), "nora"), "bram")
    assert standing(manned.bench()) == "hold"
    reply(visit.id, "nora", NameReply.DENIED)
    assert standing(manned.bench()) == "hold"


def test_a_reset_that_names_a_technician_is_one_of_somebody_not_qualified_until_she_seconds_it(manned: Fleet) -> None:
    bench = manned.bench()
    pressed = IncomingEntry("observe", "reset_pressed", bench.places["limit"], NOW - DAY)
    visit = post(naming(manned.visit(NOW - DAY, [pressed]), "nora"), "bram")
    by_stranger = Deficiency.objects.filter(rule="reset_unqualified", closed_at=None, withdrawn=False)
    assert by_stranger.exists()
    reply(visit.id, "nora")
    assert not by_stranger.exists()


def test_what_stands_against_firing_is_answered_only_with_her_word(manned: Fleet) -> None:
    visit = post(naming(manned.repaired(NOW - DAY), "bram", "nora"), "bram")
    assert not Readiness.objects.filter(visit=visit.id).exists()
    reply(visit.id, "nora")
    assert Readiness.objects.filter(visit=visit.id).exists()


def test_a_boiler_is_surveyed_only_with_her_word(fleet: Fleet) -> None:
    make_person("nora", fleet.portfolio, "technician", "technician")
    visit = post(naming(fleet.serviced(NOW - DAY), "nora"), "bram")
    assert standing(fleet.bench()) == "not_surveyed"
    reply(visit.id, "nora")
    assert standing(fleet.bench()) != "not_surveyed"


def test_a_second_is_known_from_its_own_instant_on(on_hold: Fleet) -> None:
    visit = post(naming(on_hold.repaired(NOW - 2 * DAY), "nora"), "bram", at=NOW - 2 * DAY)
    reply(visit.id, "nora", at=NOW - DAY)
    boiler = on_hold.bench().boiler.id
    asked = [standing_at(boiler, NOW, known_at=NOW - DAY + step).standing for step in (-SECOND, 0 * SECOND, SECOND)]
    assert asked[0] == "hold"
    assert "hold" not in asked[1:]


def test_a_denial_is_known_from_its_own_instant_on(manned: Fleet) -> None:
    visit = post(naming(manned.flushed(NOW - 2 * DAY), "rosa"), "mona", at=NOW - 2 * DAY)
    reply(visit.id, "rosa", NameReply.DENIED, at=NOW - DAY)
    worth = [fact(manned, visit.id, NOW - DAY + step).qualifications for step in (-SECOND, 0 * SECOND, SECOND)]
    assert worth == [OPERATOR, NOBODY, NOBODY]


def test_a_late_second_ends_the_holds_alert_as_a_papers_does_and_leaves_what_was_raised(on_hold: Fleet) -> None:
    alert = Alert.objects.get(condition="hold", until=None)
    visit = post(naming(on_hold.repaired(NOW - 2 * DAY), "nora"), "bram", at=NOW - 2 * DAY)
    assert Alert.objects.get(id=alert.id).until is None
    reply(visit.id, "nora", at=NOW)
    after = Alert.objects.get(id=alert.id)
    assert (after.since, after.raised_at) == (alert.since, alert.raised_at)
    assert after.until is not None


def test_both_answers_are_told_as_changes(manned: Fleet) -> None:
    visit = post(naming(manned.flushed(NOW - DAY), "rosa", "nora"), "bram")
    reply(visit.id, "nora")
    reply(visit.id, "rosa", NameReply.DENIED)
    told = Change.objects.filter(kind__in=("visit.seconded", "visit.denied")).order_by("sentence")
    assert [change.sentence for change in told] == [
        "nora seconded the visit that names them.",
        "rosa denied the visit that names them.",
    ]


SECONDED, DENIED = NameReply.SECONDED, NameReply.DENIED


@pytest.mark.parametrize(
    ("before", "answer", "code"),
    [
        (SECONDED, SECONDED, "seconded_already"),
        (SECONDED, DENIED, "seconded_already"),
        (DENIED, SECONDED, "denied_already"),
        (DENIED, DENIED, "denied_already"),
    ],
)
def test_a_word_is_given_once(manned: Fleet, before: NameReply, answer: NameReply, code: str) -> None:
    visit = post(naming(manned.flushed(NOW - DAY), "nora"), "bram")
    reply(visit.id, "nora", before)
    assert refusal(visit.id, "nora", answer) == (code, 409)


@pytest.mark.parametrize("answer", [SECONDED, DENIED])
def test_only_whoever_is_named_and_was_qualified_then_has_a_word(manned: Fleet, answer: NameReply) -> None:
    visit = post(naming(manned.flushed(NOW - DAY), "nora", "bram"), "mona")
    assert refusal(visit.id, "mona", answer) == ("own_visit", 403)
    assert refusal(visit.id, "rosa", answer) == ("not_named", 403)
    assert reply(visit.id, "bram", answer).answer == answer  # an operator has a word, though the desk relayed it
    assert refusal(uuid4(), "nora", answer) == ("unknown_visit", 404)


@pytest.mark.parametrize(("held_until", "is_refused"), [(-SECOND, True), (0 * SECOND, True), (SECOND, False)])
def test_the_day_of_the_visit_decides_who_was_qualified(manned: Fleet, held_until: timedelta, is_refused: bool) -> None:
    performed_at = NOW - DAY
    Qualification.objects.filter(user__username="nora").update(since=LONG_AGO, until=performed_at + held_until)
    visit = post(naming(manned.flushed(performed_at), "nora"), "bram")
    if is_refused:
        assert refusal(visit.id, "nora") == ("not_qualified", 403)
    else:
        assert reply(visit.id, "nora").answer == SECONDED


def write_rows_as_before(monkeypatch: pytest.MonkeyPatch, **values: object) -> None:
    """Have visits written as the migrations left the rows that they found."""
    write_row = services._visit_row

    def write_older_row(new: NewVisit) -> Visit:
        row = write_row(new)
        for name, value in values.items():
            setattr(row, name, value)
        return row

    monkeypatch.setattr(services, "_visit_row", write_older_row)


def test_a_visit_posted_before_names_were_asked_counts_as_it_did(
    on_hold: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_rows_as_before(monkeypatch, names_need_second=False, operator_relay="anybody")
    visit = post(naming(on_hold.repaired(NOW - DAY), "nora"), "bram")
    assert fact(on_hold, visit.id).qualifications == NORA
    assert standing(on_hold.bench()) != "hold"
    assert not Waiting.objects.exists()
    assert [refusal(visit.id, "nora", answer) for answer in NameReply] == [("names_not_asked", 422)] * 2


@pytest.mark.parametrize(
    ("poster", "named", "worth"),
    [
        ("nora", "rosa", OPERATOR),
        ("bram", "nora", OPERATOR),
        ("", "rosa", OPERATOR),
        ("nora", "nora bram", NORA | OPERATOR),
    ],
)
def test_a_visit_posted_before_only_the_desk_relayed_counts_as_it_did(
    manned: Fleet, monkeypatch: pytest.MonkeyPatch, poster: str, named: str, worth: frozenset[str]
) -> None:
    write_rows_as_before(monkeypatch, operator_relay="anybody")
    visit = post(naming(manned.flushed(NOW - DAY), *named.split()), poster)
    assert fact(manned, visit.id).qualifications == worth
    if "bram" in named:
        assert refusal(visit.id, "bram", SECONDED) == ("not_qualified", 403)


def test_a_correction_needs_a_word_of_its_own(manned: Fleet) -> None:
    first = post(naming(manned.visit(NOW - DAY, drained(manned, NOW - DAY)), "nora"), "bram", at=NOW - DAY)
    reply(first.id, "nora", at=NOW - DAY)
    restated = replace(first, id=uuid4(), corrects=first.id, reason="trip height")
    post(restated, "bram", at=NOW - DAY / 2)
    assert fact(manned, restated.id).qualifications == NOBODY
    assert refusal(first.id, "nora") == ("corrected_already", 409)
    reply(restated.id, "nora")
    assert fact(manned, restated.id).qualifications == NORA


def test_the_word_of_who_is_named_is_not_the_second_name_of_a_correction(on_hold: Fleet) -> None:
    failed = Visit.objects.get(entries__outcome="fail")
    gone = replace(on_hold.flushed(failed.performed_at), id=uuid4(), corrects=failed.id, reason="wrong box")
    post(naming(gone, "nora"), "mona")
    reply(gone.id, "nora")
    assert standing(on_hold.bench()) == "hold"
    pipeline.second_correction(visit=gone.id, by=user("nora"), at=NOW)
    assert standing(on_hold.bench()) != "hold"


def test_the_second_name_of_a_correction_is_no_word_of_who_is_named(on_hold: Fleet) -> None:
    failed = Visit.objects.get(entries__outcome="fail")
    gone = replace(on_hold.flushed(failed.performed_at), id=uuid4(), corrects=failed.id, reason="wrong box")
    post(naming(gone, "nora"), "mona")
    pipeline.second_correction(visit=gone.id, by=user("rosa"), at=NOW)
    assert fact(on_hold, gone.id).qualifications == NOBODY
    assert Waiting.objects.get(visit=gone.id).people == [str(user("nora").id)]


def test_a_correction_may_wait_for_both(on_hold: Fleet) -> None:
    failed = Visit.objects.get(entries__outcome="fail")
    gone = replace(on_hold.flushed(failed.performed_at), id=uuid4(), corrects=failed.id, reason="wrong box")
    post(naming(gone, "nora"), "mona")
    row = Waiting.objects.get(visit=gone.id)
    assert (row.subject, row.people) == ("correction", [str(user("nora").id)])


def test_a_job_is_settled_by_a_pass_only_with_the_word_of_who_may_give_it(manned: Fleet) -> None:
    visit = post(naming(manned.visit(NOW - DAY, drained(manned, NOW - DAY)), "nora"), "bram")
    wanted = (manned.bench().places["upper"], "slow_drain")
    before = newest_passes([wanted], catalogue_at(NOW))
    reply(visit.id, "nora")
    assert (before[wanted], newest_passes([wanted], catalogue_at(NOW))[wanted]) == (NOW - 30 * DAY, NOW - DAY)


def test_who_denied_a_visit_was_not_at_the_boiler(manned: Fleet) -> None:
    visit = post(naming(manned.flushed(NOW - DAY), "nora"), "bram")
    met = partial(people_of, [manned.bench().boiler.id], NOW - 5 * DAY, NOW)
    assert [person.username for person, _ in met()] == ["nora"]
    reply(visit.id, "nora", NameReply.DENIED)
    assert met() == []


@pytest.mark.parametrize("statement", ["DELETE FROM visits_nameanswer", "UPDATE visits_nameanswer SET id = id"])
def test_an_answer_is_neither_changed_nor_removed(manned: Fleet, statement: str) -> None:
    reply(post(naming(manned.flushed(NOW - DAY), "nora"), "bram").id, "nora")
    with pytest.raises(DatabaseError, match="never changed"), as_tables_owner(), connection.cursor() as cursor:
        cursor.execute(statement)


def test_a_rebuild_of_waiting_and_answered_visits_writes_nothing(on_hold: Fleet) -> None:
    post(naming(on_hold.repaired(NOW - 2 * DAY), "nora"), "bram", at=NOW - 2 * DAY)
    denied = post(naming(on_hold.flushed(NOW - DAY), "nora"), "bram", at=NOW - DAY)
    reply(denied.id, "nora", NameReply.DENIED)
    pipeline.sweep(at=NOW)
    assert pipeline.rebuild(at=NOW) == 0
