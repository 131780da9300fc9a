"""A year of one boiler, for its insurer or inspector: proofs, holds, certificates, make-up, by present knowledge."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from fleet.accounts.people import counting_qualifications
from fleet.assessments.models import Verdict
from fleet.assessments.reading_names import reading_name
from fleet.assessments.sources import spelled_out
from fleet.board.models import StateSegment
from fleet.board.queries import standing_of, states_of
from fleet.calendar import day_of
from fleet.catalog.queries import catalogue_at
from fleet.deficiencies.models import Deficiency
from fleet.figures.makeup import makeup_per_month
from fleet.portfolio.models import Boiler, Paper, Position
from fleet.portfolio.queries import current_papers, positions_of
from fleet.rules.catalogue import Catalogue
from fleet.rules.values import Level
from fleet.rules.wording import ADVICE_CAUTION, local_day
from fleet.visits.models import Attendance, Reading, Visit

YEAR = timedelta(days=365)
STILL_OPEN = "still open"
PROTECTING_PARTS = ("protection", "output_path", "input_path")


@dataclass(frozen=True, slots=True)
class ProofLine:
    """One test of one place: its day, name, outcome, readings, who did it with what qualification, limit and source."""

    day: str
    test: str
    outcome: str
    readings: str
    people: str
    limit: str
    source: str


@dataclass(frozen=True, slots=True)
class PlaceYear:
    """A place that protects: its state now, why, and its tests of the year, the newest first."""

    name: str
    state: str
    reason: str
    proofs: list[ProofLine]


@dataclass(frozen=True, slots=True)
class HoldLine:
    """A stretch in which the boiler was not to be left firing: its days, how long, and why."""

    opened: str
    closed: str
    days: int
    sentence: str


@dataclass(frozen=True, slots=True)
class QualifiedPeople:
    """What people are qualified for in a portfolio, and from when to when, by person: one query for a whole report."""

    spans: Mapping[UUID, Sequence[tuple[str, datetime, datetime | None]]]

    @classmethod
    def of_portfolio(cls, portfolio: UUID) -> "QualifiedPeople":
        """Read the qualifications that count in a portfolio."""
        spans: dict[UUID, list[tuple[str, datetime, datetime | None]]] = {}
        rows = counting_qualifications(portfolio).values_list("user", "code", "since", "until").order_by("code")
        for user, code, since, until in rows:
            spans.setdefault(user, []).append((code, since, until))
        return cls(spans)

    def name_with_codes(self, person: Attendance, at: datetime) -> str:
        """Return a name, and in brackets what the person was qualified for on that day."""
        held_spans = self.spans.get(person.user_id, ()) if person.user_id else ()
        codes = [c for c, since, until in held_spans if since <= at and (until is None or at < until)]
        return (
            f"{person.display_name} ({', '.join(c.replace('_', ' ') for c in codes)})" if codes else person.display_name
        )


def compose_boiler_year(boiler: Boiler, at: datetime) -> dict[str, object]:
    """Return everything on the report of the 365 days before `at`, as texts."""
    zone, since = boiler.building.zone, at - YEAR
    standing = standing_of(boiler.id, at)
    visits = Visit.objects.filter(boiler=boiler, performed_at__gt=since, performed_at__lte=at, corrected_by=None)
    makeup = makeup_per_month(Boiler.objects.filter(id=boiler.id), day_of(since, zone), day_of(at, zone))
    return {
        "title": "A year of one boiler",
        "boiler": f"{boiler.building.address}, {boiler.name}",
        "period": f"{local_day(since, zone)} to {local_day(at, zone)}",
        "standing": standing.standing.replace("_", " ") if standing else "not surveyed",
        "reason": standing.reasons[0]["sentence"] if standing and standing.reasons else "",
        "first_act": standing.then if standing else "",
        "places": [_place_json(p) for p in _place_years(boiler, since, at)],
        "holds": [_hold_json(h) for h in _hold_lines(boiler, since, at)],
        "papers": [_paper_line(p) for p in current_papers(boiler.building, at) if p.boiler_id in (None, boiler.id)],
        "makeup": [(f"{m.first:%b %Y}", f"{m.gallons:.0f} gal" if m.days else "not known") for m in makeup],
        "visits": visits.filter(void=False).count(),
        "caution": ADVICE_CAUTION,
        "as_of": f"As of {local_day(at, zone)}",
    }


def _place_years(boiler: Boiler, since: datetime, at: datetime) -> Iterator[PlaceYear]:
    release = catalogue_at(at)
    positions = [
        p
        for p in positions_of(Boiler.objects.filter(id=boiler.id))
        if release.roles[p.role_id].part in PROTECTING_PARTS
    ]
    states = {s.position_id: s for s in states_of(boiler.id, at)}
    verdicts, qualified = _verdicts_by_place(positions, since, at), QualifiedPeople.of_portfolio(boiler.portfolio_id)
    for position in sorted(positions, key=lambda p: (release.roles[p.role_id].hazard, p.name)):
        lines = [_proof_line(v, release, boiler.building.zone, qualified) for v in verdicts.get(position.id, ())]
        yield PlaceYear(position.name, *_state_words(states.get(position.id)), proofs=lines)


def _state_words(segment: StateSegment | None) -> tuple[str, str]:
    return (segment.state.replace("_", " "), str(segment.reason["sentence"])) if segment else ("not judged", "")


def _verdicts_by_place(positions: Iterable[Position], since: datetime, at: datetime) -> dict[UUID, list[Verdict]]:
    rows = Verdict.objects.filter(
        entry__position__in=[p.id for p in positions],
        entry__act="test",
        entry__performed_at__gt=since,
        entry__performed_at__lte=at,
        entry__visit__corrected_by=None,
        entry__visit__void=False,
    )
    rows = rows.select_related("entry__visit").prefetch_related("entry__readings", "entry__visit__people__user")
    by_place: dict[UUID, list[Verdict]] = {}
    for verdict in rows.order_by("-entry__performed_at", "-entry__number"):
        by_place.setdefault(verdict.entry.position_id, []).append(verdict)  # type: ignore[arg-type]
    return by_place


def _proof_line(verdict: Verdict, release: Catalogue, zone: str, qualified: QualifiedPeople) -> ProofLine:
    entry = verdict.entry
    procedure = release.procedures.get(entry.code)
    outcome = verdict.outcome.replace("_", " ")
    return ProofLine(
        day=local_day(entry.performed_at, zone),
        test=procedure.name if procedure else entry.code,
        outcome=f"{outcome}, {verdict.proves}"
        if verdict.proves in ("full", "partial") and verdict.outcome == "pass"
        else outcome,
        readings="; ".join(_reading_text(r, release, entry.code) for r in entry.readings.all() if r.number is not None),
        people=", ".join(qualified.name_with_codes(person, entry.performed_at) for person in entry.visit.people.all()),
        limit=verdict.limit,
        source=spelled_out(verdict.source) if verdict.source else "",
    )


def _reading_text(reading: Reading, release: Catalogue, code: str) -> str:
    procedure = release.procedures.get(code)
    spec = procedure.readings.get(reading.name) if procedure else None
    return f"{reading_name(reading.name)} {reading.number:g} {spec.unit if spec else ''}".rstrip()


def _hold_lines(boiler: Boiler, since: datetime, at: datetime) -> Iterator[HoldLine]:
    rows = Deficiency.objects.filter(boiler=boiler, withdrawn=False, opened_at__lte=at)
    zone = boiler.building.zone
    for row in rows.order_by("-opened_at", "id"):
        was_hold = any(s["level"] == Level.HOLD for s in row.levels)
        if not was_hold or (row.closed_at is not None and row.closed_at <= since):
            continue
        days = ((row.closed_at or at) - row.opened_at).days
        closed = local_day(row.closed_at, zone) if row.closed_at else STILL_OPEN
        yield HoldLine(local_day(row.opened_at, zone), closed, days, sentence=row.sentence)


def _place_json(place: PlaceYear) -> dict[str, object]:
    proofs = [{name: getattr(line, name) for name in ProofLine.__dataclass_fields__} for line in place.proofs]
    return {"name": place.name.capitalize(), "state": place.state, "reason": place.reason, "proofs": proofs}


def _hold_json(hold: HoldLine) -> dict[str, object]:
    """Return a hold as texts; `span` is the whole of its time in words."""
    is_open = hold.closed == STILL_OPEN
    stretch = f"Since {hold.opened}, {STILL_OPEN}" if is_open else f"{hold.opened} to {hold.closed}"
    span = f"{stretch}, {hold.days} day{'' if hold.days == 1 else 's'}"
    shown = {"opened": hold.opened, "closed": hold.closed, "days": str(hold.days), "span": span}
    return {**shown, "sentence": hold.sentence}


def _paper_line(paper: Paper) -> str:
    return f"{paper.name or paper.kind.replace('_', ' ')}, valid until {paper.until:%a %d %b %Y}"
