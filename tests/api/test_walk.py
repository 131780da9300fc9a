"""Every route, every list, for every role and reach, at what is one's own, elsewhere, foreign, unknown.

What one may not see answers like the unknown, word for word; what one sees but may not do is 403; the rest gets past
the door, whatever is then said of an empty body.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import pytest
from django.db import transaction
from django.test import Client

from api import urls
from fleet.accounts import policy
from fleet.accounts.models import User
from tests import kept
from tests.api.phone import Phone
from tests.api.streets import UNKNOWN, Ids, Person, Streets, make_streets
from tests.cast import Fleet

OUTSIDE = {401, 403, 404}
METHODS = ("get", "post", "put", "patch", "delete")
HERE = "/api/"
PLACE = r"<\w+:(\w+)>"
NOTHING: Mapping[str, UUID] = defaultdict(lambda: UNKNOWN)


@dataclass(frozen=True)
class Row:
    """What a route asks: who sees what its address names, who may do this, and whether in the whole portfolio only.

    `answer` is the status of an empty body or question from whoever gets past the door.
    """

    see: str
    do: str = ""
    whole: bool = False
    answer: int = 200


# Without a row here a new route fails: (method, name in api/urls.py).
OPEN = {("get", "schema"), ("get", "docs"), ("get", "calendar")}  # for anybody; the last by its secret alone
# For anybody signed in: they show nobody's buildings, or what belongs to the caller alone.
ONES_OWN = {
    ("get", "calculations"),
    ("post", "calculation"),
    ("get", "calendar-feeds"),
    ("post", "calendar-feeds"),
    ("delete", "calendar-feed"),
    ("get", "link-list"),
    ("post", "link-list"),
    ("delete", "link"),
    ("get", "asked"),
    ("post", "answer-asked"),
    ("get", "keys"),
    ("get", "destinations"),
    ("post", "destinations"),
    ("delete", "destination"),
    ("post", "destination-secret"),
    ("get", "notice-choices"),
    ("post", "notice-choices"),
    ("post", "acknowledge-notice"),
    ("get", "naming-visits"),
    ("post", "keys"),
    ("delete", "key"),
    ("post", "revoke-key"),
    ("get", "procedures"),
    ("get", "field-words"),
    ("get", "field-day"),
    ("get", "sources"),
    ("get", "procedure"),
}
SEEN = "board.see"
# Every list: who sees what it holds, and of what kind that is.
LISTS = {
    "portfolios": (SEEN, "portfolio"),
    "buildings": ("register.see", "building"),
    "boilers": (SEEN, "boiler"),
    "all-positions": (SEEN, "position"),
    "devices": (SEEN, "device"),
    "visits": ("visit.see", "visit"),
    "deficiencies": (SEEN, "deficiency"),
    "alerts": (SEEN, "alert"),
    "jobs": ("job.see", "job"),
    "calls": ("job.see", "call"),
    "refused-posts": ("post.see_refused", "post"),
    "cards": ("card.see", "card"),
    "notices": ("notice.see", "notice"),
}
ROWS: dict[tuple[str, str], Row] = {
    ("get", "portfolio"): Row(SEEN),
    ("get", "building"): Row("register.see"),
    ("get", "boiler"): Row(SEEN),
    ("get", "history"): Row(SEEN),
    ("get", "sheet"): Row("visit.see"),
    ("get", "field-pack"): Row("visit.see"),
    ("get", "positions"): Row(SEEN),
    ("get", "standing"): Row(SEEN),
    ("get", "position"): Row(SEEN),
    ("get", "device"): Row(SEEN),
    ("get", "visit"): Row("visit.see"),
    ("get", "visit-facts"): Row("visit.see"),
    ("get", "visit-report"): Row("visit.see"),
    ("post", "second"): Row("visit.see", "visit.second", answer=422),
    ("post", "deny"): Row("visit.see", "visit.reply", answer=422),
    ("get", "deficiency"): Row(SEEN),
    ("post", "assign"): Row(SEEN, "deficiency.assign", answer=400),
    ("post", "report-repair"): Row(SEEN, "deficiency.report_repair", answer=400),
    ("post", "defer"): Row(SEEN, "deficiency.defer", answer=400),
    ("post", "explain"): Row(SEEN, "deficiency.explain", answer=400),
    ("get", "alert"): Row(SEEN),
    ("post", "acknowledge"): Row(SEEN, "alert.acknowledge", answer=428),
    ("post", "shelve"): Row(SEEN, "alert.shelve", answer=400),
    ("get", "notice"): Row("notice.see"),
    ("get", "call-list"): Row("call_list.see", whole=True),
    ("post", "call-list"): Row("call_list.see", "call_list.adopt", whole=True, answer=400),
    ("get", "absences"): Row(SEEN),
    ("post", "absences"): Row(SEEN, answer=400),
    ("post", "end-absence"): Row(SEEN, "absence.record", whole=True, answer=204),
    ("get", "terms"): Row("terms.see", whole=True),
    ("post", "terms"): Row("terms.see", "terms.adopt", whole=True, answer=428),
    ("get", "people"): Row("people.see", whole=True),
    ("get", "role-history"): Row("people.see", whole=True),
    ("post", "people"): Row("people.see", "people.change", whole=True, answer=400),
    ("post", "qualifications"): Row("people.see", "people.change", whole=True, answer=400),
    ("post", "end-grant"): Row("people.see", "people.change", whole=True),
    ("get", "register"): Row("register.see"),
    ("post", "register-imports"): Row("register.see", "register.change", whole=True, answer=415),
    ("get", "register-import"): Row("register.see", "register.change", whole=True),
    ("get", "register-import-lines"): Row("register.see", "register.change", whole=True),
    ("post", "register-import-confirm"): Row("register.see", "register.change", whole=True, answer=428),
    ("post", "register-import-withdraw"): Row("register.see", "register.change", whole=True, answer=428),
    ("post", "boiler-cards"): Row(SEEN, "card.make", answer=409),
    ("post", "revoke-card"): Row("card.see", "card.make"),
    ("get", "refused-post"): Row("post.see_refused"),
    ("get", "job"): Row("job.see"),
    ("post", "plan"): Row("job.see", "job.plan", answer=400),
    ("post", "accept"): Row("job.see", "job.answer", answer=428),
    ("post", "decline"): Row("job.see", "job.answer", answer=400),
    ("post", "start"): Row("job.see", "job.answer", answer=428),
    ("post", "withdraw"): Row("job.see", "job.plan", answer=400),
    ("post", "cancel"): Row("job.see", "job.cancel", answer=400),
}
# Hashes, not ids: tried in tests/api/test_photos.py and test_paper_files.py.
HASHED = {("get", "photograph"), ("put", "photograph"), ("get", "picture")}
HASHED |= {("get", "paper-file"), ("put", "paper-file"), ("get", "paper-content")}
# Whose ids stand in the question or the body: tried one by one below.
ASKED = {
    ("get", "suggested-jobs"),
    ("get", "day-book"),
    ("post", "jobs"),
    ("post", "calls"),
    ("post", "visits"),
    ("post", "check-visit"),
    ("get", "changes"),
    ("get", "call-times"),
    ("get", "figures"),
    ("get", "forecast"),
}


def routes() -> Iterator[tuple[str, str, str]]:
    """(method, name, address with its places) of every route of the API."""
    for route in urls.urlpatterns:
        if route.name == "nowhere":
            continue
        view = getattr(route.callback, "view_class", None)
        offered = [m for m in METHODS if hasattr(view, m)] if view else ["get"]
        yield from ((method, route.name, str(route.pattern)) for method in offered)


@pytest.fixture(scope="module")
def streets(fleet: Fleet, django_db_blocker: Any) -> Iterator[Streets]:
    with kept.made_for_a_file(django_db_blocker, lambda: make_streets(fleet)) as made:
        yield made


@pytest.fixture(scope="module")
def keyed(streets: Streets, django_db_blocker: Any) -> dict[str, Phone]:
    with django_db_blocker.unblock():
        return {p.user.username: Phone.of(p.user) for p in streets.people}


@pytest.fixture
def phones(keyed: dict[str, Phone], db: Any) -> dict[str, Phone]:
    return keyed


def test_every_route_has_its_row() -> None:
    listed = {("get", name) for name in LISTS}
    assert {(m, n) for m, n, _ in routes()} == {*OPEN, *ONES_OWN, *listed, *ROWS, *ASKED, *HASHED}


def at(address: str, ids: Mapping[str, UUID]) -> str:
    """The address with these ids in its places."""
    return re.sub(PLACE, lambda found: str(ids[found[1]]), address)


def test_without_a_name_nothing_is_shown(db: Any) -> None:
    for method, name, address in routes():
        if (method, name) not in OPEN:
            answer = Client().generic(method.upper(), HERE + at(address, NOTHING))
            assert (method, name, answer.status_code) == (method, name, 401)


def reached(row: Row, person: Person, place: str, address: str) -> set[int] | None:
    """What the table allows: the statuses of the refusal, None where one gets past the door."""
    # Elsewhere in the portfolio is the same portfolio.
    near = place == "elsewhere" and person.reach == "house" and "portfolio" in address
    inside = (person.sees(place) or near) and (person.reach == "whole" or not row.whole)
    if not inside or person.role not in policy.ACTIONS[row.see]:
        return {404}
    return {403} if row.do and person.role not in policy.ACTIONS[row.do] else None


def sent(phone: Phone, method: str, address: str) -> Any:
    """One request with nothing in it, and nothing left of it."""
    with transaction.atomic():
        answer = phone.send(method.upper(), HERE + address, b"{}" if method in ("post", "put", "patch") else b"")
        transaction.set_rollback(True)
    return answer


def test_every_role_meets_the_table_at_every_route(streets: Streets, phones: dict[str, Phone]) -> None:
    wrong, seen = [], Counter[tuple[str, str, bool]]()
    answers: dict[tuple[str, str], set[int]] = defaultdict(set)
    for method, name, address in routes():
        row = ROWS.get((method, name))
        unknown: Any = None
        for person in streets.people if row else ():
            if person.reach != "house":  # to whoever has the role in one house it is what it is to the one before
                unknown = sent(phones[person.user.username], method, at(address, NOTHING))
            for place, ids in streets.before(person):
                answer = sent(phones[person.user.username], method, at(address, ids))
                refusal, status = reached(row, person, place, address), answer.status_code
                seen[method, name, refusal is None] += 1
                if refusal is None:
                    answers[method, name].add(status)
                alike = refusal != {404} or answer.content == unknown.content
                good = status in refusal if refusal else status not in OUTSIDE and status < 500
                if not (good and alike and unknown.status_code == 404):
                    wrong.append((method, name, person.user.username, place, status, alike, unknown.status_code))
    print(f"\n{seen.total()} cases of route, role and object")
    assert wrong == []
    assert {(*route, let_in) for route in ROWS for let_in in (True, False)} == set(seen)
    assert answers == {route: {row.answer} for route, row in ROWS.items()}


@pytest.mark.parametrize("name", LISTS)
def test_a_list_holds_what_may_be_seen_and_nothing_else(name: str, streets: Streets, phones: dict[str, Phone]) -> None:
    see, kind = LISTS[name]
    for person in streets.people:
        answer = phones[person.user.username].get(f"/api/v1/{name.removeprefix('all-')}/?limit=200")
        assert answer.status_code == 200
        told = answer.content.decode()
        for place, ids in streets.before(person):
            near = kind == "portfolio" and place == "elsewhere" and person.reach == "house"
            visible = (person.sees(place) or near) and person.role in policy.ACTIONS[see]
            assert (person.user.username, place, str(ids[kind]) in told) == (person.user.username, place, visible)


def naming(ids: Ids) -> dict[str, tuple[str, str, Any]]:
    """Requests that name things in the question or the body."""
    visit = {
        "id": "0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a77",
        "boiler": str(ids["boiler"]),
        "kind": "routine_check",
        "performed_at": "2026-01-12T08:00:00-05:00",
        "people": [{"name": "Pat"}],
        "entries": [],
    }
    feed = {"portfolio": str(ids["portfolio"])}
    return {
        "suggested-jobs": ("GET", f"/api/v1/jobs/suggested/?building={ids['building']}", b""),
        "calls": ("POST", "/api/v1/calls/", {"building": str(ids["building"]), "kind": "noise"}),
        "day-book": ("GET", f"/api/v1/day-book/?portfolio={ids['portfolio']}&day=2026-01-13", b""),
        "jobs": ("POST", "/api/v1/jobs/", {"building": str(ids["building"]), "procedures": []}),
        "visits": ("POST", "/api/v1/visits/", visit),
        "calendar-feeds": ("POST", "/api/v1/calendar-feeds/", feed),
        "link-list": (
            "POST",
            "/api/v1/shared-links/",
            {"kind": "boiler_year", "subject": str(ids["boiler"])},
        ),
        "changes": ("GET", f"/api/v1/changes/?boiler={ids['boiler']}", b""),
        "figures": ("GET", f"/api/v1/figures/?boiler={ids['boiler']}", b""),
        "forecast": ("GET", f"/api/v1/figures/forecast/?portfolio={ids['portfolio']}", b""),
        "boilers": ("GET", f"/api/v1/boilers/?portfolio={ids['portfolio']}", b""),
    }


@pytest.mark.parametrize("what", naming(defaultdict(lambda: UNKNOWN)))
def test_what_a_question_or_a_body_names_is_as_unknown_where_it_is_not_ones_own(
    what: str, streets: Streets, phones: dict[str, Phone]
) -> None:
    for person in streets.people:

        def told(named: Ids, phone: Phone = phones[person.user.username]) -> tuple[int, str]:
            method, address, body = naming(named)[what]
            answer = phone.send(method, address, body)
            return answer.status_code, without_ids(answer.content, named)

        unknown = told(defaultdict(lambda: UNKNOWN))
        for place, ids in streets.places.items():
            if person.sees(place) or (what in BY_PORTFOLIO and person.reach == "house" and place == "elsewhere"):
                continue
            assert (person.user.username, place, told(ids)) == (person.user.username, place, unknown)


BY_PORTFOLIO = {
    "day-book",
    "calendar-feeds",
    "forecast",
    "boilers",
}  # elsewhere in the portfolio is the portfolio all the same


def without_ids(content: bytes, ids: Ids) -> str:
    """An answer may say back what was asked, and a list carries its own seal."""
    text = content.decode()
    for named in {str(UNKNOWN), *map(str, ids.values())}:
        text = text.replace(named, "…")
    return re.sub(r'"(next|after)": ?"[^"]*"', "", text)


def inside(ids: Ids, own: Ids, person: str) -> dict[str, tuple[str, Any]]:
    """Posts about one's own things that name another thing in their body."""
    place, procedure = str(ids["position"]), {"position": str(ids["position"]), "procedure": "slow_drain"}
    entry = {"test": "flush", "position": place, "outcome": "not_done", "why": "no_access"}
    visit = {**naming(own)["visits"][2], "entries": [entry]}
    fine = {**visit, "entries": [{**entry, "position": str(own["position"])}]}
    correction = {**fine, "corrects": str(ids["visit"]), "reason": "Mistyped."}
    return {
        "a position in a visit": ("/api/v1/visits/", visit),
        "a visit that is corrected": ("/api/v1/visits/", correction),
        "a position in a job": ("/api/v1/jobs/", {"building": str(own["building"]), "procedures": [procedure]}),
        "a deficiency in a job": (
            "/api/v1/jobs/",
            {"building": str(own["building"]), "deficiencies": [str(ids["deficiency"])]},
        ),
        "who was there": ("/api/v1/visits/", {**fine, "people": [{"user": person}]}),
    }


@pytest.mark.parametrize("what", inside(defaultdict(lambda: UNKNOWN), defaultdict(lambda: UNKNOWN), ""))
def test_what_is_not_ones_own_is_as_unknown_inside_a_body(
    what: str, fleet: Fleet, streets: Streets, phones: dict[str, Phone]
) -> None:
    manager, own, told = phones["manager.whole"], streets.places["own"], []
    stranger = User.objects.get(username="nobody")
    for ids, person in ((streets.places["foreign"], str(stranger.id)), (defaultdict(lambda: UNKNOWN), str(UNKNOWN))):
        address, body = inside(ids, own, person)[what]
        with transaction.atomic():
            answer = manager.send("POST", address, body)
            transaction.set_rollback(True)
        told.append((answer.status_code, without_ids(answer.content, {**ids, "person": person})))
    assert told[0] == told[1]
    assert told[0][0] in (404, 422), told
