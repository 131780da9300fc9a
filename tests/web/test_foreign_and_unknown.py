"""At every page and form that names a thing in its address, what is foreign answers like what nobody knows."""

import re
from typing import Any
from uuid import UUID

import pytest
from django.test import Client
from django.urls import reverse

from fleet.accounts import keys
from fleet.accounts.models import BrowserSession, User
from fleet.jobs import feeds
from fleet.notices.outbox import NoticeDraft, add_notice
from fleet.portfolio.models import Portfolio
from fleet.reports import shared_links
from fleet.web.urls import urlpatterns
from tests.api.streets import UNKNOWN, make_streets
from tests.cast import NOW, make_fleet, make_person
from tests.notices.reach import give_address
from tests.web.conftest import SetClock, SignIn
from tests.web.test_access import without_mark

pytestmark = pytest.mark.django_db
PLACE = re.compile(r"<(\w+):(\w+)>")
# The slug of these is part of what is looked up, so that another one is another question.
KINDS = {
    "register-sheet": ("csv", "xlsx"),
    "register-decide": ("confirm", "withdraw"),
    "job-act": ("plan", "start", "cancel", "accept", "decline", "withdraw"),
    "engineering-csv": ("water", "steam", "combustion"),
    "own-address-change": ("first", "remove", "secret"),
    "report-share": ("visit", "portfolio", "boiler_year"),
}
NAMED = {r.name: PLACE.findall(str(r.pattern)) for r in urlpatterns if "<uuid:" in str(r.pattern)}


@pytest.fixture
def foreign(clock: SetClock, db: Any) -> dict[str, UUID]:
    """One of everything of a portfolio that the person asking has nothing to do with."""
    streets = make_streets(make_fleet("ALD12", "QUA48"))
    ids = dict(streets.places["own"])
    owner = User.objects.get(username="manager.whole")
    Client().force_login(owner)
    ids["key"] = keys.create_key(user=owner, name="Phone", scopes=["read"], at=NOW).key.id
    ids["feed"] = feeds.make_feed(user=owner, portfolio=ids["portfolio"], whole=True, at=NOW).feed.id
    ids["session"] = BrowserSession.objects.get(user=owner).id
    ids["import"] = ids["of"]
    report = shared_links.portfolio_subject(Portfolio.objects.get(id=ids["portfolio"]))
    ids["submission"] = UNKNOWN  # of a card: what its secret opens is walked in tests/web/card
    ids["link"] = shared_links.share_report(subject=report, by=owner, days=7, at=NOW).link.id
    destination = give_address(owner)
    ids["destination"] = destination.id
    draft = NoticeDraft(ids["portfolio"], owner, "slip", "the key", level="urgent", subject="A slip", text="A slip")
    ids["notice"] = add_notice(draft, NOW).id
    return ids


@pytest.fixture
def stranger(foreign: dict[str, UUID], sign_in: SignIn) -> Client:
    """Somebody with every right elsewhere."""
    elsewhere = Portfolio.objects.create(ref="FAR", name="Far Homes")
    return sign_in(make_person("olive", elsewhere, "owner"))


def test_there_are_routes_to_walk() -> None:
    assert len(NAMED) > 18


@pytest.mark.parametrize("method", ["get", "post"])
def test_what_is_foreign_answers_like_what_nobody_knows(
    foreign: dict[str, UUID], stranger: Client, method: str
) -> None:
    seen = 0
    for name, places in NAMED.items():
        for word in KINDS.get(str(name), ("start",)):

            def answer(known: bool, name: Any = name, places: Any = places, word: str = word) -> tuple[int, bytes]:
                ids = {**foreign, "subject": foreign[word.removesuffix("_year")]} if name == "report-share" else foreign
                texts = {
                    place: (ids[place.removesuffix("_id")] if known else UNKNOWN) if kind == "uuid" else word
                    for kind, place in places
                }
                response = getattr(stranger, method)(reverse(name, kwargs=texts))
                content = without_mark(response.content)
                for named in texts.values():
                    content = content.replace(str(named).encode(), b"...")
                return response.status_code, content

            there, nowhere = answer(True), answer(False)
            assert (name, word, there) == (name, word, nowhere)
            assert there[0] in (400, 403, 404, 405)
            seen += there[0] == 404
    assert seen > 8
