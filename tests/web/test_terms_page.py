"""The terms beside the source's intervals; an owner adopts the next version on the page."""

import pytest
from django.test import Client

from fleet.terms.models import Adoption
from tests.cast import Fleet, make_person
from tests.web.conftest import SetClock, SignIn

pytestmark = pytest.mark.django_db
BASE = {"season": "10-01/05-31", "urgent_days": "7", "due_soon_days": "14", "operator_firing_days": "30"}
OWN = {"procedure": "slow_drain", "interval": "3 mo", "grace_days": "10", "source": "the insurer's letter of May 2025"}


@pytest.fixture
def owner(fleet: Fleet, clock: SetClock, sign_in: SignIn) -> Client:
    return sign_in(make_person("otis", fleet.portfolio, "owner"))


def adopt(client: Client, fleet: Fleet, version: int = 0, **change: str) -> tuple[int, str]:
    answer = client.post(f"/terms/{fleet.portfolio.id}/adopt/", {**BASE, "version": str(version), **change})
    return answer.status_code, answer.content.decode()


def page(client: Client, fleet: Fleet) -> str:
    return " ".join(client.get(f"/terms/{fleet.portfolio.id}/").content.decode().split())


def test_an_interval_of_ones_own_stands_beside_the_sources(fleet: Fleet, owner: Client) -> None:
    assert adopt(owner, fleet, **OWN)[0] == 302
    shown = page(owner, fleet)
    own = shown[shown.index("<strong>Slow drain") :][:400]
    assert "every 3 mo, 10 days of grace" in own
    assert "of its own, by the insurer&#x27;s letter of May 2025; the source: 1 y" in own.replace("12 mo", "1 y")
    assert "Version 1, for all time" in shown


def test_the_next_version_keeps_what_the_form_does_not_change(fleet: Fleet, owner: Client) -> None:
    adopt(owner, fleet, **OWN)
    assert adopt(owner, fleet, 1, starts_on="2026-01-20", urgent_days="5")[0] == 302
    newest = Adoption.objects.get(version=2)
    assert (newest.urgent_days, list(newest.overrides), str(newest.starts_on)) == (5, ["slow_drain"], "2026-01-20")
    assert adopt(owner, fleet, 2, starts_on="2026-01-21", procedure="slow_drain")[0] == 302
    assert Adoption.objects.get(version=3).overrides == {}


@pytest.mark.parametrize(
    ("change", "status", "fault"),
    [
        ({"version": "3"}, 412, "is now the newest"),
        ({"urgent_days": "soon"}, 422, "Urgent days: a whole number."),
        ({"urgent_days": "0"}, 422, "between 1 and 90"),
        ({"starts_on": "tomorrow"}, 422, "written like 2027-01-31"),
        ({"starts_on": "2026-01-20"}, 422, "The first terms hold for all time"),
        ({"season": "winter"}, 422, "Write a season like 10-01/05-31"),
        ({**OWN, "interval": "often"}, 422, "Write an interval like 3 mo or 1 w."),
        ({**OWN, "source": ""}, 422, "An override must name its source."),
        ({"variant": "slow_drain never"}, 422, "no published variant"),
    ],
)
def test_what_is_refused_says_why_and_adopts_nothing(
    fleet: Fleet, owner: Client, change: dict[str, str], status: int, fault: str
) -> None:
    answered, shown = adopt(owner, fleet, **change)
    assert answered == status
    assert fault in shown
    assert not Adoption.objects.exists()


def test_a_manager_reads_the_terms_and_adopts_none(fleet: Fleet, clock: SetClock, sign_in: SignIn) -> None:
    manager = sign_in(make_person("mona", fleet.portfolio, "manager"))
    assert "Adopt other terms" not in page(manager, fleet)
    assert adopt(manager, fleet)[0] == 403


def test_terms_of_another_portfolio_are_not_found(fleet: Fleet, clock: SetClock, sign_in: SignIn) -> None:
    assert sign_in(fleet.outsider).get(f"/terms/{fleet.portfolio.id}/").status_code == 404
