"""The inspectors' scenarios through the database: register, posts and corrections as rows, the same answers out."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any
from uuid import UUID, uuid5

import pytest
from django.db import transaction
from django.db.models import Model

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
from fleet.rules.catalogue import Catalogue
from fleet.rules.values import AdoptedTerms, Evidence, VisitFact
from fleet.terms.models import Adoption
from fleet.visits import services
from fleet.visits.incoming import IncomingEntry, IncomingPaper, IncomingVisit, PaperFile, Person
from tests import kept
from tests.cast import LONG_AGO, shipped_catalogue
from tests.rules.scenarios.check import Seen, check
from tests.rules.scenarios.form import Posted, Scenario, read
from tests.rules.scenarios.run import until

pytestmark = pytest.mark.django_db
CASES = sorted((Path(__file__).resolve().parents[1] / "rules" / "scenarios" / "cases").glob("*.yaml"))
FIRST = datetime(2010, 1, 1, tzinfo=UTC)
LATEST = datetime(2060, 1, 1, tzinfo=UTC)


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_every_scenario_is_met_through_the_database(path: Path) -> None:
    wrong, listed = [], read(path)
    apart = next((s for s in listed if len({p.visit.posted_at for p in s.posted}) > 1), None)
    for told_in_part, group in groupby(listed, key=lambda s: s.evidence.register is None):
        scenarios = [moved(s) if is_movable(s) and s is not apart else s for s in group]
        with transaction.atomic(), shipped_catalogue() as folder:
            kept.once(("scenarios", told_in_part), partial(load_catalogue, folder, told_in_part))
            together = [s for s in scenarios if is_movable(s) and s is not apart]
            wrong += told_of(together, post_together)
            for scenario in (s for s in scenarios if s not in together):
                wrong += told_of([scenario], post_apart if scenario is apart else post_together)
            transaction.set_rollback(True)
    assert not wrong, "\n".join(wrong)


def is_movable(scenario: Scenario) -> bool:
    """Whether it may stand beside others: what was decided about an episode names it by the ids of the form."""
    return not scenario.acts


def moved(scenario: Scenario) -> Scenario:
    """The scenario with ids of its own, so that many stand in the database at once."""
    return move(scenario, scenario.name)


def move(value: Any, name: str) -> Any:
    """Whatever is told, with each id in it turned into another that follows from it and the name."""
    if isinstance(value, UUID):
        return uuid5(value, name)
    if isinstance(value, Catalogue):
        return value
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: move(getattr(value, f.name), name) for f in fields(value)})
    if isinstance(value, Mapping):
        return {key: move(each, name) for key, each in value.items()}
    if isinstance(value, (tuple, frozenset)):
        return type(value)(move(each, name) for each in value)
    return value


Post = Callable[[Sequence[tuple[Scenario, Boiler]]], None]


def told_of(scenarios: Sequence[Scenario], post: Post) -> list[str]:
    """What is answered otherwise than these say, told together; nothing of them is left in the database."""
    with transaction.atomic():
        told = list(zip(scenarios, register(scenarios), strict=True))
        write_people(told)
        post(told)
        found = [f"{scenario.name} {line}" for scenario, boiler in told for line in failures(scenario, boiler)]
        transaction.set_rollback(True)
    return found


def load_catalogue(folder: Path, told_in_part: bool) -> None:
    """The shipped catalogue; for a register told in part without the table that asks for the rest."""
    if not told_in_part:
        load_release(folder=folder, at=LONG_AGO)
        return
    content, _ = read_release(folder, 1)
    _keep_codes(content)
    stored = {file: rows for file, rows in content.as_json().items() if file != "needed_roles.csv"}
    Release.objects.create(number=1, digest=content.content_digest(), content=stored, loaded_at=LONG_AGO)


def failures(scenario: Scenario, boiler: Boiler) -> Iterator[str]:
    """What is answered otherwise than the scenario says, by rows."""
    names = {p.name: p.visit.id for p in scenario.posted}
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


# In this order each row finds those it points at.
TABLES = (Portfolio, Building, HeaderGroup, Boiler, Position, Device, Fitting, Setting, ServiceState, Paper, Adoption)


def register(scenarios: Sequence[Scenario]) -> list[Boiler]:
    """Write the registers: of each scenario its boiler, in a portfolio of its own."""
    rows: dict[type[Model], list[Model]] = {table: [] for table in TABLES}
    for number, scenario in enumerate(scenarios):
        for row in register_rows(scenario, f"SCENARIO-{number}"):
            rows[type(row)].append(row)
    for table in TABLES:
        table._default_manager.bulk_create(rows[table])
    own = {scenario.evidence.boiler for scenario in scenarios}
    return [row for row in rows[Boiler] if isinstance(row, Boiler) and row.id in own]


def register_rows(scenario: Scenario, ref: str) -> Iterator[Model]:
    """The scenario's register: its boiler, with a neighbour on the same header where one was visited."""
    evidence = scenario.evidence
    yield (portfolio := Portfolio(ref=ref, name="Scenario"))
    row = {"portfolio": portfolio}
    yield (building := Building(**row, ref="S", address="the building", zone=evidence.zone))
    shared = {e.position for p in scenario.posted if not p.visit.of_this_boiler for e in p.visit.entries}
    group = HeaderGroup(**row, building=building, ref="H") if shared else None
    first = min((f.since for f in (*evidence.fittings, *evidence.settings)), default=FIRST)
    house = {"building": building, "header_group": group, "since": first if evidence.register else FIRST, **row}
    yield (boiler := Boiler(id=evidence.boiler, ref="B1", name=evidence.name, **house))
    if group:
        yield group
        yield Boiler(id=uuid5(evidence.boiler, "neighbour"), ref="B2", name="the neighbour", **house)
    for place in evidence.positions:
        where = {"header_group": group} if place.id in shared else {"boiler": boiler}
        yield Position(id=place.id, ref=place.ref, name=place.name, role_id=place.role, **where, **row)
    yield from facts(evidence, boiler)
    for version, terms in enumerate(evidence.terms, start=1):
        yield Adoption(**row, version=version, posted_at=FIRST, **adopted(terms, evidence.zone))


def facts(evidence: Evidence, boiler: Boiler) -> Iterator[Model]:
    """Fittings, settings, service states and papers, each as told."""
    posted_at = evidence.register.at if evidence.register else FIRST
    row = {"portfolio_id": boiler.portfolio_id, "posted_at": posted_at}
    for fitting in evidence.fittings:
        if fitting.device:
            stamped = {"kind_id": fitting.kind, "attributes": dict(fitting.attributes)}
            yield Device(id=fitting.device, portfolio_id=boiler.portfolio_id, **stamped)
        declared = {code: day.isoformat() for code, day in fitting.declared.items()}
        where = {"position_id": fitting.position, "device_id": fitting.device}
        yield Fitting(**where, since=fitting.since, declared=declared, **row)
    for setting in evidence.settings:
        value = [str(v) for v in setting.value] if isinstance(setting.value, tuple) else setting.value
        where = {"position_id": setting.position} if setting.position else {"boiler": boiler}
        yield Setting(key=setting.key, value=value, since=setting.since, **where, **row)
    for change in evidence.services:
        yield ServiceState(boiler=boiler, state=change.state.value, since=change.since, **row)
    for paper in evidence.papers:
        told = {"kind": paper.kind, "name": paper.name, "since": paper.since, "until": paper.until}
        yield Paper(building=boiler.building, boiler=boiler, **told, **row)


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


def post_apart(told: Sequence[tuple[Scenario, Boiler]]) -> None:
    """Post what was posted, in that order, each as whoever was there; then whoever stands behind a correction."""
    for scenario, boiler in told:
        for posted in in_order(scenario):
            post_or_write(incoming(posted, boiler), boiler, told_at(posted))
        second(scenario, boiler)


def in_order(scenario: Scenario) -> list[Posted]:
    """What was posted, in the order of its posting."""
    return sorted(scenario.posted, key=lambda p: p.visit.posted_at)


def post_or_write(visit: IncomingVisit, boiler: Boiler, at: datetime) -> None:
    """Post; what is refused for what a paper can't tell is written as rows, for the rules do not lean on the door."""
    try:
        pipeline.post_visits([visit], by=poster(visit), at=at)
    except Refused as refused:
        if any(f.code not in ("not_on_paper", "not_of_this_body") for f in refused.faults):
            raise
        services.add_visit(incoming=visit, boiler=boiler, posted_at=at, posted_by=poster(visit))


def post_together(told: Sequence[tuple[Scenario, Boiler]]) -> None:
    """Post all of it in one go, as a past is told: each boiler is judged once. What is refused is posted apart."""
    past = [(one, past_visit(p, one[1])) for one in told for p in in_order(one[0])]
    at = max((visit.posted_at for _, visit in past), default=FIRST)
    try:
        pipeline.post_past_visits([visit for _, visit in past], at=at, cause=Cause(who=""))
    except Refused as refused:
        numbers = {fault.at[0] for fault in refused.faults if fault.at}
        at_fault = [one for n, (one, _) in enumerate(past) if n in numbers] if numbers else list(told)
        if at_fault == list(told) and len(told) > 1:  # a correction's faults do not say whose
            for one in told:
                post_together([one])
            return
        post_apart([one for one in told if one in at_fault])
        if others := [one for one in told if one not in at_fault]:
            post_together(others)
    else:
        for scenario, boiler in told:
            second(scenario, boiler)


def past_visit(posted: Posted, boiler: Boiler) -> pipeline.PastVisit:
    """The visit with whoever was there as its poster."""
    visit = incoming(posted, boiler)
    return pipeline.PastVisit(visit, who_was_at(posted), told_at(posted))


def poster(visit: IncomingVisit) -> User:
    """Whoever was there posts it himself."""
    return User.objects.get(id=visit.people[0].user)


def second(scenario: Scenario, boiler: Boiler) -> None:
    """Let whoever stands behind a correction do so."""
    seconded = [(p.visit.id, p.seconded_at) for p in scenario.posted if p.seconded_at]
    by = second_person(boiler.portfolio_id) if seconded else None
    for visit, at in seconded:
        pipeline.second_correction(visit=visit, by=by, at=at)


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
        people=(Person(user=who_was_at(posted).id),),
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


def who_was_at(posted: Posted) -> User:
    """Whoever did the work of a visit: somebody of its own."""
    return User(id=uuid5(posted.visit.id, "person"), username=str(posted.visit.id))


def write_people(told: Sequence[tuple[Scenario, Boiler]]) -> None:
    """Write who was at each visit, of the portfolio, with exactly the qualifications that were there."""
    rows: list[Model] = []
    for posted, boiler in ((p, boiler) for scenario, boiler in told for p in scenario.posted):
        rows.append(user := who_was_at(posted))
        rows.append(manager_grant(user, boiler.portfolio_id))
        rows += (Qualification(user=user, code=code, since=FIRST) for code in posted.visit.qualifications)
    for table in (User, Grant, Qualification):
        table._default_manager.bulk_create([row for row in rows if isinstance(row, table)])


def manager_grant(user: User, portfolio: UUID) -> Grant:
    """The role in which one may correct what others posted."""
    return Grant(user=user, portfolio_id=portfolio, role="manager")


def second_person(portfolio: UUID) -> User:
    """A technician of the portfolio who was at no visit."""
    user, is_new = User.objects.get_or_create(username="second")
    manager_grant(user, portfolio).save()
    if is_new:
        Qualification.objects.create(user=user, code="technician", since=FIRST)
    return user
