"""Every screen of the site with something on it, by the name of its route; and which routes show none."""

from dataclasses import dataclass, replace
from datetime import timedelta
from urllib.parse import urlencode
from uuid import UUID, uuid4

from django.contrib.auth.tokens import default_token_generator
from django.urls import reverse
from django.utils import timezone
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from fleet import pipeline
from fleet.accounts import keys, owner_links
from fleet.accounts.models import Grant, Qualification, User
from fleet.deficiencies.models import Deficiency
from fleet.jobs.models import Job
from fleet.notices.models import Notice
from fleet.notices.writing import links
from fleet.portfolio.models import Building, Portfolio
from fleet.reports import shared_links
from fleet.visits.incoming import Person
from fleet.web.urls import urlpatterns
from tests.cast import DAY, Fleet, make_fleet, make_person
from tests.jobs.crew import crew
from tests.notices.reach import give_address
from tests.portfolio.sheets import row, sheet
from tests.web.boiler_room import WATER, equip, fit, put_down, visits

FLUE_GAS = {"o2_percent": "6.2", "stack_f": "395", "room_f": "72", "fuel": "natural_gas"}

# Routes that answer with no page of their own.
ACTS = {
    "deficiency-act",
    "visit-second",
    "visit-reply",
    "job-make",
    "job-act",
    "day-plan",
    "absence-record",
    "absence-end",
    "call-take",
    "register-add",
    "register-building-change",
    "register-boiler-change",
    "register-hand-in",
    "register-decide",
    "key-make",
    "key-revoke",
    "feed-make",
    "feed-revoke",
    "alert-act",
    "alerts-looked",
    "units-choose",
    "telephone-keep",
    "asked-answer",
    "session-end",
    "sessions-end-others",
    "sign-out",
    "report-share",
    "link-end",
    "card-pin-set",
    "call-list-change",
    "own-address-add",
    "own-address-change",
    "own-choices",
    "person-add",
    "terms-adopt",
    "person-role",
    "person-role-end",
    "person-qualification",
    "wall-card-end",
}
FILES = {
    "engineering-csv",
    "visit-pdf",
    "figures-csv",
    "register-sheet",
    "boiler-year-pdf",
    "portfolio-pdf",
    "portfolio-csv",
    "shared-pdf",
    "visit-sheet-file",
    "visit-sheet-manifest",
    "visit-sheet-worker",
    "wall-card-print",
}
# The last but one is what the owner's door leads to; the visit sheet's screens are drawn by its own script, and walked
# in tests/web/test_visit_sheet.py.
# What a card's address opens is walked in tests/web/card.
PARTS = {
    "board-rows",
    "fresh",
    "healthz",
    "readyz",
    "metrics",
    "open-portfolio",
    "visit-sheet",
    "card",
    "card-form",
    "card-logged",
}

# Pages of the person who looks, or of no boiler.
OWN_PAGES = (
    "register-page",
    "account-page",
    "people-page",
    "asked-page",
    "account-password",
    "self-check",
    "sign-in",
    "shared-links",
    "own-notices",
    "notices-sent",
)


@dataclass(frozen=True)
class Town:
    """Who looks, and at what: addresses by the name of the route, or of the route and a state of it."""

    manager: User
    addresses: dict[str, str]


def routes() -> set[str]:
    """The names of all that can be asked for."""
    return {str(route.name) for route in urlpatterns}


def furnish() -> Town:
    """A year of work, a plugged siphon, a failed circuit, a correction that waits, jobs, a sheet handed in."""
    fleet, now = make_fleet(), timezone.now()
    manager = make_person("mona", fleet.portfolio, "manager")
    Grant.objects.create(user=manager, portfolio=fleet.portfolio, role="office")
    equip(fleet)
    put_down(fleet, **WATER)
    fit(fleet, "limit-circuit", "limit_circuit", "limit_circuit")
    serviced = [fleet.serviced(now - days * DAY) for days in (400, 30)]
    fleet.post(*serviced, *visits(fleet, now - 2 * DAY, 4), at=now)
    waits = _break(fleet)
    named = fleet.visit(now - DAY / 2, [fleet.bench().action_entry(now - DAY / 2, "open_clean", "chamber")])
    named = replace(named, people=(Person(user=manager.id),))
    Qualification.objects.create(user=manager, code="technician", since=now - 900 * DAY)
    pipeline.post_visits([named], by=fleet.caretaker, at=now)
    _jobs(fleet)
    keys.make_unscoped_key(user=manager, name="Phone", expires_at=now + DAY)
    content = sheet(row(kind="limit"), row(kind="limit", zone="Nowhere")).encode()
    sent = pipeline.receive_import(portfolio=fleet.portfolio, content=content, name="s.csv", by=manager, at=now)
    boiler = fleet.bench().boiler
    _ask(fleet, manager)
    one = Deficiency.objects.filter(boiler=boiler, closed_at=None).order_by("opened_at").first()
    assert one is not None
    ids = {"boiler": boiler.id, "building": boiler.building_id, "visit": waits, "named": named.id, "deficiency": one.id}
    ids |= {"manager": manager.id, "technician": fleet.technician.id}
    give_address(manager, at=now)
    pipeline.sweep(at=timezone.now())
    ids["notice"] = Notice.objects.filter(kind="call", user=manager).latest("created_at").id
    ids["address"] = give_address(manager, "webhook", at=now).id
    secrets = _share_each_kind(fleet, manager)
    more = {"position": fleet.bench().places["upper"], "portfolio": fleet.portfolio.id, "import": sent.id}
    return Town(manager, _addresses({**ids, **more}, secrets, fleet.outsider))


def _share_each_kind(fleet: Fleet, manager: User) -> dict[str, str]:
    """Share a report of each kind; the secret of its address by the screen's name."""
    boiler = fleet.bench().boiler
    visit = boiler.visits.exclude(readiness=None).order_by("performed_at").last()
    assert visit is not None
    subjects = {
        "shared-report": shared_links.boiler_subject(boiler),
        "shared-report, a visit": shared_links.visit_subject(visit),
        "shared-report, a portfolio": shared_links.portfolio_subject(fleet.portfolio),
    }
    at = timezone.now()
    return {
        name: shared_links.share_report(subject=subject, by=manager, days=30, at=at).secret
        for name, subject in subjects.items()
    }


def _addresses(ids: dict[str, object], secrets: dict[str, str], newcomer: User) -> dict[str, str]:
    boiler = {"boiler_id": ids["boiler"]}
    house = {"building_id": ids["building"]}
    plain = (
        "board",
        "wall",
        "deficiencies-page",
        "figures-page",
        "calculator",
        "sources",
        "trade-words",
        "licenses",
        "jobs-page",
        "job-new",
        "day-book",
        "day-slips",
        "alert-feed",
        "naming-visits",
    )
    uid = urlsafe_base64_encode(force_bytes(newcomer.pk))
    token = default_token_generator.make_token(newcomer)
    flue_gas, ladder = (reverse("calculation-page", args=[code]) for code in ("flue_gas", "ladder"))
    return {
        **{name: reverse(name) for name in (*plain, *OWN_PAGES)},
        "building-page": reverse("building-page", kwargs=house),
        "deficiency-page": reverse("deficiency-page", args=[ids["deficiency"]]),
        "boiler-page": reverse("boiler-page", kwargs=boiler),
        "wall-card": reverse("wall-card", kwargs=boiler),
        "position-page": reverse("position-page", kwargs={**boiler, "position_id": ids["position"]}),
        "visit-page": reverse("visit-page", args=[ids["visit"]]),
        "visit-page, named at it": reverse("visit-page", args=[ids["named"]]),
        "calculation-page": f"{flue_gas}?{urlencode(FLUE_GAS)}",
        "calculation-page, a caution": f"{ladder}?cut_out_psi=16&limit_psi=15",
        "calculation-page, faults": f"{flue_gas}?o2_percent=21",
        **_day_book_addresses(ids),
        "job-new, a building": f"{reverse('job-new')}?building={ids['building']}",
        "find": f"{reverse('find')}?q=alder",
        "board, nothing found": "/?q=maple",
        "register-building": reverse("register-building", kwargs=house),
        "register-boiler": reverse("register-boiler", kwargs=boiler),
        "register-import-page": reverse("register-import-page", args=[ids["portfolio"]]),
        "register-report": reverse("register-report", args=[ids["import"]]),
        **{name: reverse("shared-report", args=[secret]) for name, secret in secrets.items()},
        **_notice_and_portfolio_addresses(ids),
        "welcome": reverse("welcome", args=[uid, token]),
        "owner-door": reverse("owner-door", args=[owner_links.make_token()]),
        "no such page": "/boilers/none/",
    }


def _notice_and_portfolio_addresses(ids: dict[str, object]) -> dict[str, str]:
    return {
        "portfolio-status": reverse("portfolio-status", args=[ids["portfolio"]]),
        "terms-page": reverse("terms-page", args=[ids["portfolio"]]),
        "person-new": reverse("person-new", args=[ids["portfolio"]]),
        "role-history-page": reverse("role-history-page", args=[ids["portfolio"], ids["manager"]]),
        "notice-page": reverse("notice-page", args=[ids["notice"]]),
        "call-list": reverse("call-list", args=[ids["portfolio"]]),
        "notice-answer": path_of(links.answer_address(UUID(str(ids["notice"])))),
        "notices-stop": path_of(links.stop_address(UUID(str(ids["manager"])), "digest")),
        "address-confirm": path_of(links.confirm_address_link(UUID(str(ids["address"])))),
    }


def _day_book_addresses(ids: dict[str, object]) -> dict[str, str]:
    """The pages of the dispatcher's day: tomorrow, when a job is planned."""
    tomorrow = f"day={(timezone.now() + DAY).date().isoformat()}"
    return {
        "day-book, tomorrow": f"{reverse('day-book')}?{tomorrow}",
        "day-slips, tomorrow": f"{reverse('day-slips')}?{tomorrow}",
        "call-new": reverse("call-new"),
        "call-new, a building": f"{reverse('call-new')}?building={ids['building']}",
        "absence-page": f"{reverse('absence-page')}?{tomorrow}&person={ids['technician']}",
    }


def path_of(address: str) -> str:
    """The path of a link in a message."""
    return address[address.index("/notices/") :]


def _break(fleet: Fleet) -> object:
    """Plug a siphon, let the circuit fail, correct a hold away; the correction."""
    bench, at = fleet.bench(), timezone.now()
    plugged = bench.test_entry(at - DAY, "siphon_check", "siphon-2", "fail", passes_water=False)
    circuit = {"burner_firing": True, "switch_opened": True, "burner_stopped": False, "fuel_shut": False}
    opened = bench.test_entry(at - DAY, "limit_circuit_trip", "limit-circuit", "fail", **circuit)
    fleet.post(bench.compose_visit("no_heat", at - DAY, [fleet.technician.id], [plugged, opened]), at=at)
    bad = fleet.flushed(at - DAY / 24, "ALD12 B2", burner_stopped=False)
    good = replace(fleet.flushed(at - DAY / 24, "ALD12 B2"), id=uuid4(), corrects=bad.id, reason="the wrong switch")
    fleet.post(bad, at=at)
    fleet.post(good, at=at)
    return good.id


def _ask(fleet: Fleet, manager: User) -> None:
    """Another portfolio asks the manager to do a job, to take a role, to be named as qualified."""
    other = Portfolio.objects.create(ref="ELSE", name="Elsewhere Homes")
    house = Building.objects.create(portfolio=other, ref="ELM1", address="1 Elm Walk", zone="America/New_York")
    at, end = timezone.now(), timezone.now() + DAY
    more = {"minutes": 30, "level": "urgent", "status": "asked", "status_since": at, "judged_at": at, "created_at": at}
    times = {"planned_since": end, "planned_until": end + DAY / 48, "ends_at": end + DAY}
    Job.objects.create(portfolio=other, building=house, technician=manager, **more, **times)
    Grant.objects.create(user=manager, portfolio=other, role="technician", waits_since=at)
    Qualification.objects.create(user=manager, portfolio=other, code="fire_side", since=at, waits_since=at)
    User.objects.filter(id=manager.id).update(is_asked=True)


def _jobs(fleet: Fleet) -> None:
    """One planned, one to plan."""
    office, at = crew(fleet), timezone.now()
    office.plan(office.make(("limit", "limit_trip"), at=at), at + timedelta(days=1), at=at)
    office.make(("upper", "slow_drain"), at=at)
