"""Two portfolios with something of everything, and people of every role: what the walk over access looks at."""

from dataclasses import dataclass, replace
from datetime import timedelta
from uuid import UUID

from fleet import pipeline
from fleet.accounts import refused_posts
from fleet.accounts.absences import AbsenceRequest, record_absence
from fleet.accounts.models import Absence, Grant, RefusedPost, User
from fleet.alerts.models import Alert
from fleet.deficiencies.models import Deficiency
from fleet.jobs.calls import CallRequest
from fleet.jobs.models import TenantCall
from fleet.notices.models import Notice
from fleet.notices.outbox import NoticeDraft, add_notice
from fleet.pipeline import JobRequest
from fleet.portfolio.models import Boiler, Building, Fitting, Portfolio
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from tests.cards.board import hang_card
from tests.cast import DAY, NOW, Fleet, make_person, register
from tests.portfolio.sheets import CATALOGUE

ROLES = ("technician", "caretaker", "dispatcher", "manager", "owner", "inspector", "office")
UNKNOWN = UUID("0f0e0d0c-0b0a-4908-8706-050403020100")
Ids = dict[str, UUID]  # of each kind of thing one


@dataclass(frozen=True)
class Person:
    """Somebody with one role in the whole portfolio or in one building, or with none now."""

    user: User
    role: str  # "" for whoever holds none now
    reach: str  # "whole", "house", or "none"

    def sees(self, place: str) -> bool:
        """Whether a grant of theirs covers what lies there: "own", "elsewhere" in the portfolio, or "foreign"."""
        return place in {"whole": ("own", "elsewhere"), "house": ("own",)}.get(self.reach, ())


@dataclass(frozen=True)
class Streets:
    """Who there is, and what lies where."""

    people: list[Person]
    places: dict[str, Ids]

    def before(self, person: Person) -> list[tuple[str, Ids]]:
        """What to lay before somebody: for one house alone, elsewhere in the portfolio is another thing than here."""
        return [(p, ids) for p, ids in self.places.items() if p != "elsewhere" or person.reach == "house"]


def make_streets(fleet: Fleet) -> Streets:
    """Alder Terrace (own), Quarry Lane of the same portfolio (elsewhere), and Alder Terrace of another (foreign)."""
    other = _neighbours()
    people = [Person(make_person("nobody", None, ""), "", "none")]
    house = fleet.bench("ALD12 B1").boiler.building
    for role in ROLES:
        people.append(Person(make_person(f"{role}.whole", fleet.portfolio, role), role, "whole"))
        people.append(Person(_granted(f"{role}.house", fleet.portfolio, role, building=house), role, "house"))
    people.append(Person(_once_everything(fleet.portfolio), "", "none"))
    places = {"own": of(fleet, "ALD12 B1"), "elsewhere": of(fleet, "QUA48 B1"), "foreign": of(other, "ALD12 B1")}
    return Streets(people, places)


def _neighbours() -> Fleet:
    portfolio = Portfolio.objects.create(ref="BRICKYARD", name="Brickyard Row Homes")
    rows = [r for r in parse_sheet(register(), CATALOGUE) if r.building_ref == "ALD12"]
    pipeline.change_register(portfolio=portfolio, rows=rows, at=NOW - 900 * DAY, cause=Cause(who="office"))
    technician = make_person("rosa.next.door", portfolio, "technician", "technician")
    return Fleet(portfolio, technician, technician, technician)


def _granted(name: str, portfolio: Portfolio, role: str, building: Building) -> User:
    user = make_person(name, None, "")
    Grant.objects.create(user=user, portfolio=portfolio, role=role, building=building)
    return user


def _once_everything(portfolio: Portfolio) -> User:
    """Somebody who had every role, each until a second ago: one that went on anywhere would let them in there."""
    user = make_person("once.everything", None, "")
    for role in ROLES:
        Grant.objects.create(user=user, portfolio=portfolio, role=role, until=NOW - timedelta(seconds=1))
    return user


def of(fleet: Fleet, key: str) -> Ids:
    """One of everything of a boiler: a failed flush brings visit, deficiency and alert; a job asks for it."""
    bench = fleet.bench(key)
    visit = fleet.flushed(NOW - DAY, key, burner_stopped=False)
    fleet.post(visit, at=NOW - DAY)
    boiler = Boiler.objects.get(id=bench.boiler.id)
    deficiency = Deficiency.objects.get(boiler=boiler, rule="flush_keeps_firing")
    asked = JobRequest(deficiencies=[deficiency.id])
    job = pipeline.create_job(building=boiler.building_id, request=asked, by=fleet.technician, at=NOW - DAY)
    sheet = pipeline.receive_import(
        portfolio=fleet.portfolio, content=b"no sheet", name="no-sheet.csv", by=fleet.technician, at=NOW - DAY
    )
    told = refused_posts.SentPost("POST /api/v1/visits/", "desk-00001", b"{}", boiler.id, 422, [])
    assert refused_posts.keep_refused_post(sent=told, user=fleet.technician, at=NOW - DAY)
    alert = Alert.objects.filter(boiler=boiler, until=None).order_by("id").first()
    fitting = Fitting.objects.filter(position=bench.places["upper"]).first()
    assert alert
    assert fitting
    assert fitting.device_id
    return {
        "portfolio": boiler.portfolio_id,
        "building": boiler.building_id,
        "boiler": boiler.id,
        "position": bench.places["upper"],
        "device": fitting.device_id,
        "visit": visit.id,
        "deficiency": deficiency.id,
        "alert": alert.id,
        "job": job.id,
        "call": _call_of(fleet.technician, boiler).id,
        "of": sheet.id,
        "post": RefusedPost.objects.get(boiler=boiler).id,
        "grant": Grant.objects.get(user=fleet.technician, role="technician").id,
        "person": fleet.technician.id,
        "notice": _slip_of(fleet.technician, boiler).id,
        "absence": _absence_of(fleet.technician, boiler.portfolio_id).id,
        "card": hang_card(fleet, NOW - DAY, key).card.id,
    }


def _call_of(user: User, boiler: Boiler) -> TenantCall:
    """A tenant's call from the building."""
    return pipeline.take_call(building=boiler.building_id, request=CallRequest("noise"), by=user, at=NOW - DAY)


def _slip_of(user: User, boiler: Boiler) -> Notice:
    """A message to somebody about a building."""
    key = f"slip of {boiler.id}"
    draft = NoticeDraft(boiler.portfolio_id, user, "slip", key, level="urgent", subject="A slip", text="A slip")
    return add_notice(replace(draft, building=boiler.building_id), NOW - DAY)


def _absence_of(user: User, portfolio: UUID) -> Absence:
    request = AbsenceRequest(user.id, NOW + DAY, None, stand_in=None, reason="holiday")
    return record_absence(portfolio=portfolio, request=request, by=user, at=NOW - DAY)
