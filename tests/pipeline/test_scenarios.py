"""The inspectors' scenarios through the database: register, posts and corrections as rows, the same answers out."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from functools import partial
from itertools import groupby
from pathlib import Path
from uuid import UUID, uuid5

import pytest
from django.db import transaction

from fleet import pipeline
from fleet.accounts.models import Grant, Qualification, User
from fleet.calendar import day_of
from fleet.catalog.models import Release
from fleet.catalog.parse import read_release
from fleet.catalog.services import _keep_codes, load_release
from fleet.errors import Refused
from fleet.evidence import gather_evidence
from fleet.portfolio.models import (
    Boiler,
    Building,
    Device,
    Fitting,
    HeaderGroup,
    Paper,
    Portfolio,
    Position,
    ServiceState,
    Setting,
)
from fleet.reading import standing_history
from fleet.records.events import Cause
from fleet.rules import ReplayCache, judge
from fleet.rules.values import AdoptedTerms, Evidence, VisitFact
from fleet.terms.models import Adoption
from fleet.visits import services
from fleet.visits.incoming import IncomingEntry, IncomingPaper, IncomingVisit, PaperFile, Person
from tests import kept
from tests.cast import LONG_AGO, shipped_catalogue
from tests.rules.scenarios.check import Seen, check
from tests.rules.scenarios.form import Posted, Scenario, read, visit_id
from tests.rules.scenarios.run import until

pytestmark = pytest.mark.django_db
CASES = sorted((Path(__file__).resolve().parents[1] / "rules" / "scenarios" / "cases").glob("*.yaml"))
FIRST = datetime(2010, 1, 1, tzinfo=UTC)
LATEST = datetime(2060, 1, 1, tzinfo=UTC)


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_every_scenario_is_met_through_the_database(path: Path) -> None:
    wrong, listed = [], read(path)
    apart = next((s for s in listed if len({p.visit.posted_at for p in s.posted}) > 1), None)
    for told_in_part, scenarios in groupby(listed, key=lambda s: s.evidence.register is None):
        with transaction.atomic(), shipped_catalogue() as folder:
            kept.once(("scenarios", told_in_part), partial(load_catalogue, folder, told_in_part))
            for scenario in scenarios:
                post = post_apart if scenario is apart else post_together
                with transaction.atomic():
                    wrong += [f"{scenario.name} {told}" for told in failures(scenario, post)]
                    transaction.set_rollback(True)
            transaction.set_rollback(True)
    assert not wrong, "\n".join(wrong)


def load_catalogue(folder: Path, told_in_part: bool) -> None:
    """The shipped catalogue; for a register told in part without the table that asks for the rest."""
    if not told_in_part:
        load_release(folder=folder, at=LONG_AGO)
        return
    content, _ = read_release(folder, 1)
    _keep_codes(content)
    stored = {file: rows for file, rows in content.as_json().items() if file != "needed_roles.csv"}
    Release.objects.create(number=1, digest=content.content_digest(), content=stored, loaded_at=LONG_AGO)


def failures(scenario: Scenario, post: Callable[[Scenario, Boiler], None]) -> Iterator[str]:
    """What is answered otherwise than the scenario says, by rows."""
    boiler = register(scenario)
    post(scenario, boiler)
    names = {p.name: visit_id(p.name) for p in scenario.posted}
    for known_at, moments in groupby(scenario.moments, key=lambda m: m.known_at):
        evidence, _ = gather_evidence(boiler.id, LATEST, known_at)
        whole, part = ReplayCache(), ReplayCache()  # several moments are often asked of the same evidence
        for moment in moments:
            so_far = until(evidence, moment.at)
            now = judge(evidence, scenario.acts, moment.at, whole)
            then = judge(so_far, scenario.acts, moment.at, part if so_far != evidence else whole)
            for outcome in check(Seen(moment, evidence, now, then, names)):
                if not outcome.met:
                    yield f"line {moment.line}: {outcome.what}: expected {outcome.expected}, got {outcome.got}"
            told = standing_history.standing_at(boiler.id, moment.at, known_at=moment.known_at)
            holds = next(s for s in now.standings if s.until is None or moment.at < s.until)
            if told.standing != holds.standing.value:
                yield f"line {moment.line}: the door says {told.standing}, the rules {holds.standing}"


def register(scenario: Scenario) -> Boiler:
    """Write the scenario's register: its boiler, with a neighbour on the same header where one was visited."""
    evidence = scenario.evidence
    portfolio = Portfolio.objects.create(ref="SCENARIO", name="Scenario")
    row = {"portfolio": portfolio}
    building = Building.objects.create(**row, ref="S", address="the building", zone=evidence.zone)
    shared = {e.position for p in scenario.posted if not p.visit.of_this_boiler for e in p.visit.entries}
    group = HeaderGroup.objects.create(**row, building=building, ref="H") if shared else None
    first = min((f.since for f in (*evidence.fittings, *evidence.settings)), default=FIRST)
    house = {"building": building, "header_group": group, "since": first if evidence.register else FIRST, **row}
    boiler = Boiler.objects.create(id=evidence.boiler, ref="B1", name=evidence.name, **house)
    if group:
        Boiler.objects.create(id=uuid5(evidence.boiler, "neighbour"), ref="B2", name="the neighbour", **house)
    for place in evidence.positions:
        where = {"header_group": group} if place.id in shared else {"boiler": boiler}
        Position.objects.create(id=place.id, ref=place.ref, name=place.name, role_id=place.role, **where, **row)
    facts(evidence, boiler)
    for version, terms in enumerate(evidence.terms, start=1):
        Adoption.objects.create(**row, version=version, posted_at=FIRST, **adopted(terms, evidence.zone))
    return boiler


def facts(evidence: Evidence, boiler: Boiler) -> None:
    """Fittings, settings, service states and papers, each as told."""
    posted_at = evidence.register.at if evidence.register else FIRST
    row = {"portfolio_id": boiler.portfolio_id, "posted_at": posted_at}
    for fitting in evidence.fittings:
        device = None
        if fitting.device:
            stamped = {"kind_id": fitting.kind, "attributes": dict(fitting.attributes)}
            device = Device.objects.create(id=fitting.device, portfolio_id=boiler.portfolio_id, **stamped)
        declared = {code: day.isoformat() for code, day in fitting.declared.items()}
        Fitting.objects.create(
            position_id=fitting.position, device=device, since=fitting.since, declared=declared, **row
        )
    for setting in evidence.settings:
        value = [str(v) for v in setting.value] if isinstance(setting.value, tuple) else setting.value
        where = {"position_id": setting.position} if setting.position else {"boiler": boiler}
        Setting.objects.create(key=setting.key, value=value, since=setting.since, **where, **row)
    for change in evidence.services:
        ServiceState.objects.create(boiler=boiler, state=change.state.value, since=change.since, **row)
    for paper in evidence.papers:
        told = {"kind": paper.kind, "name": paper.name, "since": paper.since, "until": paper.until}
        Paper.objects.create(building=boiler.building, boiler=boiler, **told, **row)


def adopted(terms: AdoptedTerms, zone: str) -> dict[str, object]:
    """The columns of an adoption; an instant of a scenario is the midnight of its day."""
    season = terms.season
    own = {
        code: {"interval": str(o.interval), "anchor": o.anchor, "grace_days": o.grace_days, "source": o.source}
        for code, o in terms.overrides.items()
    }
    return {
        "starts_on": day_of(terms.since, zone) if terms.since else None,
        "season": f"{season.start_month:02}-{season.start_day:02}/{season.end_month:02}-{season.end_day:02}"
        if season
        else "",
        "urgent_days": terms.urgent_days,
        "due_soon_days": terms.due_soon_days,
        "operator_firing_days": terms.operator_firing_days,
        "variants": dict(terms.variants),
        "overrides": own,
        "gauge_most_psi": terms.gauge_most_psi,
        "relief_rule": terms.relief_rule,
    }


def post_apart(scenario: Scenario, boiler: Boiler) -> None:
    """Post what was posted, in that order, each as whoever was there; then whoever stands behind a correction."""
    for posted in sorted(scenario.posted, key=lambda p: p.visit.posted_at):
        post_or_write(incoming(posted, boiler), boiler, told_at(posted))
    second(scenario, boiler)


def post_or_write(visit: IncomingVisit, boiler: Boiler, at: datetime) -> None:
    """Post; what is refused for what a paper can't tell is written as rows, for the rules do not lean on the door."""
    try:
        pipeline.post_visits([visit], by=poster(visit), at=at)
    except Refused as refused:
        if any(f.code not in ("not_on_paper", "not_of_this_body") for f in refused.faults):
            raise
        services.add_visit(incoming=visit, boiler=boiler, posted_at=at, posted_by=poster(visit))


def post_together(scenario: Scenario, boiler: Boiler) -> None:
    """Post all of it in one go, as a past is told: the boiler is judged once. What is refused is posted apart."""
    listed = sorted(scenario.posted, key=lambda p: p.visit.posted_at)
    arriving = [(incoming(p, boiler), told_at(p)) for p in listed]
    past = [pipeline.PastVisit(v, poster(v), at) for v, at in arriving]
    try:
        pipeline.post_past_visits(past, at=max((p.posted_at for p in past), default=FIRST), cause=Cause(who=""))
    except Refused:
        post_apart(scenario, boiler)
    else:
        second(scenario, boiler)


def poster(visit: IncomingVisit) -> User:
    """Whoever was there posts it himself."""
    return User.objects.get(id=visit.people[0].user)


def second(scenario: Scenario, boiler: Boiler) -> None:
    """Let whoever stands behind a correction do so."""
    for one in scenario.posted:
        if one.seconded_at:
            by = person(frozenset({"technician"}), "second", boiler.portfolio_id)
            pipeline.second_correction(visit=one.visit.id, by=by, at=one.seconded_at)


def told_at(posted: Posted) -> datetime:
    """When it is posted: an entry may be done after the visit is said to be posted."""
    return max([posted.visit.posted_at, *(e.at for e in posted.visit.entries)])


def incoming(posted: Posted, boiler: Boiler) -> IncomingVisit:
    """The visit as it arrives."""
    visit = posted.visit
    return IncomingVisit(
        id=visit.id,
        boiler=boiler.id if visit.of_this_boiler else uuid5(boiler.id, "neighbour"),
        kind=visit.kind,
        performed_at=visit.at,
        entries=tuple(_entries(visit)),
        people=(Person(user=person(visit.qualifications, str(visit.id), boiler.portfolio_id).id),),
        state_on_arrival=visit.state_on_arrival,
        left_as=visit.left_as,
        leaving_checks=dict(visit.leaving_checks),
        corrects=visit.corrects,
        reason="as the scenario says" if visit.corrects else "",
        void=visit.void,
        paper=_paper(visit),
    )


def _paper(visit: VisitFact) -> IncomingPaper | None:
    told, file = visit.paper, PaperFile("paper.pdf", "0" * 64, 1, "application/pdf")
    return IncomingPaper(told.body, told.name, told.number, told.dated_on, file) if told else None


def _entries(visit: VisitFact) -> Iterator[IncomingEntry]:
    for e in visit.entries:
        told = {"phase": e.phase, "outcome": e.outcome, "why": e.why, "readings": dict(e.readings)}
        fitted = {"kind": e.kind, "values": dict(e.values), "device": e.device}
        yield IncomingEntry(act=e.act, code=e.code, position=e.position, at=e.at, **told, **fitted)


def person(qualifications: frozenset[str], name: str, portfolio: UUID) -> User:
    """Somebody of the portfolio who holds exactly these."""
    user, made = User.objects.get_or_create(username=name)
    Grant.objects.get_or_create(user=user, portfolio_id=portfolio, role="manager")  # corrects what others posted
    for code in qualifications if made else ():
        Qualification.objects.create(user=user, code=code, since=FIRST)
    return user
