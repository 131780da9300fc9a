"""A small town in the database: every standing, every finding, every age; and what is concluded against the truth."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db.models import QuerySet

from fleet import pipeline
from fleet.accounts import installation
from fleet.accounts.models import Grant
from fleet.alerts.models import Alert, AlertAct
from fleet.assessments.models import Finding, Waiting
from fleet.board import queries
from fleet.board.models import Change
from fleet.catalog import queries as catalog
from fleet.catalog.services import load_release as load_catalogue
from fleet.deficiencies.life import level_at
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.jobs.models import Job, JobAct
from fleet.management.demo import load, parallel
from fleet.management.demo.desk import DemoDesk
from fleet.management.town.chance import Chance
from fleet.portfolio.models import Boiler, HeaderGroup, Portfolio
from fleet.visits.models import Entry, Seconding, Visit
from tests import kept
from tests.cast import LONG_AGO, ROOT, shipped_catalogue
from tests.town.town import NOW, stories

pytestmark = pytest.mark.django_db

ONE_BY_ONE = timedelta(days=5)
CANNOT = {"repeat_routine"}  # a repeat of what is routine is told as urgent before it could be


def load_town() -> None:
    """Load every portfolio of the town."""
    installation.note_kind("demo", NOW)
    load_catalogue(folder=ROOT / "fixtures" / "catalogue", at=LONG_AGO)
    for story in stories():
        load.load_portfolio(story, NOW, one_by_one=ONE_BY_ONE)


@pytest.fixture(scope="module", autouse=True)
def town(django_db_setup: Any, django_db_blocker: Any) -> Iterator[None]:
    """Loaded once; what each test does to it is rolled back."""
    with shipped_catalogue(), kept.made_for_a_file(django_db_blocker, load_town):
        yield


def keys() -> dict[Any, str]:
    return {b.id: f"{b.building.ref} {b.ref}" for b in Boiler.objects.select_related("building")}


def test_every_standing_is_on_the_board() -> None:
    shown = {row.standing for row in queries.board_rows(Boiler.objects.all(), NOW)}
    assert shown == {"hold", "exposed", "impaired", "due", "clear", "not_surveyed", "off"}


def test_every_finding_rule_was_found() -> None:
    found = {*Finding.objects.values_list("rule", flat=True), *Deficiency.objects.values_list("rule", flat=True)}
    assert set(catalog.catalogue_of(1).findings) - found == CANNOT


def test_there_are_open_deficiencies_of_every_age() -> None:
    open_ = Deficiency.objects.filter(closed_at=None, withdrawn=False, opened_at__lte=NOW)
    ages = [NOW - d.opened_at for d in open_]
    bounds = (timedelta(0), timedelta(days=1), timedelta(days=7), timedelta(days=30), timedelta(days=999))
    counts = [sum(low <= age < high for age in ages) for low, high in pairwise(bounds)]
    assert all(counts), counts


def test_every_failure_that_was_found_is_a_deficiency() -> None:
    """Of its boiler, by a rule it may be told by, opened in the visit that found it at the latest (five hours)."""
    told = defaultdict(list)
    names = keys()
    for row in Deficiency.objects.all():
        told[names[row.boiler_id], row.rule].append(row.opened_at)
    posted = {v.key for story in stories() for v in story.visits}
    missing = [
        f"{f.boiler} {f.trouble} {f.found_at}"
        for f in (f for story in stories() for f in story.truth)
        if f.how == "found"
        and f.visit in posted
        and not any(at <= f.found_at + timedelta(hours=5) for rule in f.rules for at in told[f.boiler, rule])
    ]
    assert missing == []


def without_a_cause(boilers: QuerySet[Boiler]) -> list[str]:
    """The holds of these boilers, open or over, that nothing in the truth or in a staged story accounts for."""
    causes: dict[str, set[str]] = defaultdict(set)
    for failure in (f for story in stories() for f in story.truth):
        causes[failure.boiler] |= set(failure.rules)
    names = keys()
    rows = Deficiency.objects.filter(withdrawn=False, boiler__in=boilers)
    holds = [d for d in rows if any(s["level"] == "hold" for s in d.levels)]
    return [f"{names[d.boiler_id]} {d.rule}" for d in holds if d.rule not in causes[names[d.boiler_id]]]


def test_no_hold_without_a_cause_in_the_truth() -> None:
    alone = Boiler.objects.filter(header_group=None)
    assert Deficiency.objects.filter(boiler__in=alone, levels__contains=[{"level": "hold"}]).count() > 30
    assert without_a_cause(alone) == []


def test_no_hold_of_a_neighbour_on_the_same_header() -> None:
    assert without_a_cause(Boiler.objects.exclude(header_group=None)) == []


def test_what_was_cleaned_away_before_anybody_looked_is_in_no_deficiency() -> None:
    names, lost = keys(), [f for story in stories() for f in story.truth if f.how == "lost"]
    for failure in lost:
        since, until = failure.failed_at, failure.repaired_at
        rows = Deficiency.objects.filter(rule__in=failure.rules, opened_at__range=(since, until))
        assert [d for d in rows if names[d.boiler_id] == failure.boiler] == []


def test_the_last_weeks_hold_what_people_decided() -> None:
    kinds = {*DeficiencyAct.objects.values_list("kind", flat=True), *AlertAct.objects.values_list("kind", flat=True)}
    assert kinds >= {"acknowledged"}
    assert set(JobAct.objects.values_list("kind", flat=True)) >= {"created", "plan", "accept"}


class Just(Chance):
    """Of everything that may happen exactly what is this likely does."""

    def __init__(self, likely: float) -> None:
        super().__init__("just")
        self.likely = likely

    def branch(self, *names: object) -> "Just":
        return self

    def happens(self, share: float) -> bool:
        return share == self.likely


def desks(likely: float) -> list[DemoDesk]:
    """Everybody of each portfolio, at a desk where one thing is sure."""
    return [_desk(portfolio, likely) for portfolio in Portfolio.objects.order_by("ref")]


def _desk(portfolio: Portfolio, likely: float) -> DemoDesk:
    roles: dict[str, list[str]] = defaultdict(list)
    people = {g.user.username: g for g in Grant.objects.filter(portfolio=portfolio).select_related("user")}
    for name, grant in people.items():
        roles[grant.role].append(name)
    return DemoDesk(Just(likely), portfolio, {name: g.user for name, g in people.items()}, roles, [])


def morning(likely: float, at: datetime = NOW) -> Counter[str]:
    """What is done in one more morning."""
    done: Counter[str] = Counter()
    for each in desks(likely):
        each.decide_morning(at)
        done.update(each.counts)
    return done


def test_people_at_the_desk_decide_on_deficiencies_and_alerts_through_the_pipeline() -> None:
    open_ = Deficiency.objects.filter(closed_at=None, withdrawn=False).order_by("-opened_at")
    waiting = next(d for d in open_ if level_at(d, NOW) == "routine")
    putting_off = _desk(waiting.portfolio, 0.35)
    putting_off._decide_deficiency(waiting, NOW)  # older than what a morning looks at
    assert putting_off.counts == {"deferred": 1}
    assert morning(0.25)["assigned"]
    assert morning(0.12)["repair_reported"]
    assert morning(0.08)["explained"]
    for likely, conditions, kind in (
        (0.5, ("hold", "past_date"), "acknowledged"),
        (0.08, ("due", "due_soon"), "shelved"),
    ):
        alert = Alert.objects.filter(until=None, condition__in=conditions, boiler__isnull=False)[0]
        at_desk = _desk(alert.portfolio, likely)
        at_desk._decide_alert(alert, NOW)  # raised earlier than what a morning looks at
        assert at_desk.counts == {f"alert.{kind}": 1}


def test_a_technician_declines_a_job_or_starts_what_he_accepted() -> None:
    assert morning(0.85)["job.created"]
    assert morning(0.8)["job.planned"]
    assert morning(0.07)["job.decline"]
    assert morning(0.8)["job.planned"]
    morning(0.85)
    accepted = Job.objects.filter(status="accepted")
    alone = [  # of its boiler, so that no other day starts another one
        job
        for job in accepted.select_related("technician", "portfolio")
        if accepted.filter(items__boiler__in=job.items.values("boiler")).distinct().count() == 1
    ]
    job = alone[0]
    boiler, since, willing = job.items.values_list("boiler", flat=True)[0], job.planned_since, _desk(job.portfolio, 0)
    assert job.technician
    assert boiler
    assert since
    willing.start_planned_jobs(boiler, job.technician.username, since + timedelta(days=1))
    assert "job.start" not in willing.counts
    willing.start_planned_jobs(boiler, job.technician.username, since)
    assert willing.counts["job.start"] == 1


def test_the_truth_goes_into_a_file_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "load_all", lambda *_: None)
    monkeypatch.setattr("fleet.management.demo.story.make", lambda *_: None)
    file = tmp_path / "truth.json"
    call_command("make_demo", "--seed", "11", "--houses", "5", "--years", "1.4", "--truth", str(file))
    told = json.loads(file.read_text())
    assert set(told) == {story.ref for story in stories()}
    assert {f["how"] for failures in told.values() for f in failures} >= {"found", "lost"}


def test_a_correction_waits_for_its_second_name() -> None:
    assert Waiting.objects.exists()
    assert Visit.objects.exclude(corrects=None).count() > Seconding.objects.count()


def test_two_boilers_share_a_meter() -> None:
    assert HeaderGroup.objects.count() == 2
    assert {g.boilers.count() for g in HeaderGroup.objects.all()} == {2}


def test_the_truth_is_nowhere_in_the_database() -> None:
    """Its own words stand in no visit, no change and no reason."""
    words = {f.trouble for story in stories() for f in story.truth} - {"jumper", "probe_scaled", "probe_bridged"}
    kept = (Visit, "note"), (Visit, "reason"), (Entry, "reason"), (Change, "sentence"), (Deficiency, "sentence")
    texts = "\n".join(text for model, name in kept for text in model.objects.values_list(name, flat=True))
    assert len(texts) > 10_000
    assert [w for w in sorted(words) if w in texts] == []


def test_the_same_portfolio_is_loaded_once() -> None:
    assert load.load_portfolio(stories()[0], NOW) is None


def test_a_rebuild_writes_nothing() -> None:
    assert pipeline.rebuild(at=NOW) == 0
