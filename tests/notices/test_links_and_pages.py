"""The links in messages ask before they act, work once and for their person only; the pages show what each may see."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core import signing
from django.db.models import F
from django.test import Client

from fleet import pipeline
from fleet.accounts.models import Grant, User
from fleet.alerts.models import Alert
from fleet.notices.addresses import add_address, confirm_address
from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult
from fleet.notices.channels.email.mail_message import compose_mail
from fleet.notices.channels.settings import MailSettings
from fleet.notices.delivery import deliver_next, message_of
from fleet.notices.models import CallList, Destination, Notice, NoticeChoices
from fleet.notices.outbox import NoticeDraft, add_notice
from fleet.notices.writing import links
from fleet.pipeline import answered_notices
from fleet.portfolio.models import Boiler, Building
from tests.cast import DAY, NOW, Fleet, make_person
from tests.notices.reach import KeptChannel, give_address, staff
from tests.stories import story

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@story
def held(fleet: Fleet) -> None:
    """Staffed, and on hold since just now."""
    staff(fleet)
    fleet.post(fleet.serviced(NOW - 30 * DAY), at=NOW - 30 * DAY)
    fleet.post(fleet.flushed(NOW, burner_stopped=False), at=NOW)


def signed_in(name: str) -> Client:
    client = Client()
    client.force_login(User.objects.get(username=name))
    return client


def path_of(address: str) -> str:
    return address[address.index("/notices/") :]


def call_of(name: str) -> Notice:
    return Notice.objects.get(kind="call", user__username=name)


def is_acknowledged() -> bool:
    return not Alert.objects.filter(until=None, condition="hold", acknowledged_at=None).exists()


def test_opening_the_link_asks_and_changes_nothing(held: Fleet) -> None:
    path = path_of(links.answer_address(call_of("manager1").id))
    for _ in range(3):  # a program that scans mail follows it, too
        assert "Yes, I see to it" in Client().get(path).content.decode()
    assert not is_acknowledged()


def test_the_page_that_asks_and_the_one_that_thanks_name_the_boiler(held: Fleet) -> None:
    path = path_of(links.answer_address(call_of("manager1").id))
    assert "12 Alder Terrace, Boiler 1: " in Client().get(path).content.decode()
    assert "12 Alder Terrace, Boiler 1: " in Client().post(path).content.decode()


def test_saying_yes_acknowledges_once_and_the_link_is_over(held: Fleet) -> None:
    path = path_of(links.answer_address(call_of("manager1").id))
    assert Client().post(path).status_code == 200
    assert is_acknowledged()
    assert Client().post(path).status_code == 410
    assert Client().get(path).status_code == 410


def test_who_may_not_acknowledge_gets_no_link_and_a_made_one_does_nothing(held: Fleet) -> None:
    notice = call_of("bram")  # a caretaker
    assert "/notices/answer/" not in notice.text
    assert Client().post(path_of(links.answer_address(notice.id))).status_code == 410
    assert not is_acknowledged()


@pytest.mark.parametrize("change", [lambda token: token[:-1], lambda token: "x" + token, lambda _token: "none"])
def test_a_changed_link_is_not_found(held: Fleet, change: object) -> None:
    token = signing.dumps(str(call_of("manager1").id), salt=links.ANSWER_SALT)
    assert Client().post(f"/notices/answer/{change(token)}/").status_code == 404  # type: ignore[operator]
    assert not is_acknowledged()


@pytest.mark.parametrize(("age", "status"), [(links.ANSWER_TIME - MINUTE, 200), (links.ANSWER_TIME + MINUTE, 404)])
def test_the_link_expires(held: Fleet, monkeypatch: pytest.MonkeyPatch, age: timedelta, status: int) -> None:
    path = path_of(links.answer_address(call_of("manager1").id))
    real = signing.time.time
    monkeypatch.setattr(signing.time, "time", lambda: real() + age.total_seconds())
    assert Client().get(path).status_code == status


def test_a_link_to_acknowledge_is_no_link_to_stop(held: Fleet) -> None:
    token = signing.dumps(str(call_of("manager1").id), salt=links.ANSWER_SALT)
    assert Client().get(f"/notices/stop/{token}/").status_code == 404


def test_one_click_stops_the_digest_and_never_a_hold(held: Fleet) -> None:
    manager = User.objects.get(username="manager1")
    path = path_of(links.stop_address(manager.id, "digest"))
    assert Client().get(path).status_code == 200
    assert not NoticeChoices.objects.exists()
    answer = Client(enforce_csrf_checks=True).post(path, {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200
    assert NoticeChoices.objects.get(user=manager).digest == "none"
    held.post(held.flushed(NOW, "ALD12 B2", burner_stopped=False), at=NOW + MINUTE)
    assert Notice.objects.filter(kind="call", user=manager).count() == 2


def test_a_new_address_hears_only_the_question_until_it_says_yes(held: Fleet) -> None:
    rosa, channel = held.technician, KeptChannel()
    new = add_address(
        user=rosa, channel="email", address="rosa@sorrelgate.example", label="", channels={"email": channel}, at=NOW
    )
    deliver_next(channels={"email": channel}, at=NOW, but_not=[n.id for n in Notice.objects.exclude(kind="confirm")])
    assert [address for address, _ in channel.got] == ["rosa@sorrelgate.example"]
    path = path_of(links.confirm_address_link(new.destination.id))
    assert "Is this your address?" in Client().get(path).content.decode()
    assert Destination.objects.get(id=new.destination.id).confirmed_at is None
    assert "Confirmed" in Client().post(path).content.decode()
    assert Destination.objects.get(id=new.destination.id).confirmed_at is not None


def test_a_webhook_is_confirmed_by_taking_the_first_message(held: Fleet) -> None:
    taken = KeptChannel()
    new = add_address(
        user=held.technician,
        channel="webhook",
        address="https://hooks.sorrelgate.example/",
        label="",
        channels={"webhook": taken},
        at=NOW,
    )
    assert new.secret.startswith("whsec_")
    others = [n.id for n in Notice.objects.exclude(kind="confirm")]
    deliver_next(channels={"webhook": taken}, at=NOW, but_not=others)
    assert Destination.objects.get(id=new.destination.id).confirmed_at == NOW


def test_a_link_to_an_address_that_was_removed_is_over(held: Fleet) -> None:
    place = give_address(held.technician)
    Destination.objects.filter(id=place.id).update(ended_at=NOW)
    assert confirm_address(destination=place.id, at=NOW) is None
    assert Client().get(path_of(links.confirm_address_link(place.id))).status_code == 404


def test_what_was_sent_is_seen_by_its_reader_and_by_who_answers_for_the_portfolio(held: Fleet) -> None:
    page = signed_in("manager1").get("/notices/").content.decode()
    assert "to bram" in page
    assert "to manager1" in page
    own = signed_in("bram").get("/notices/").content.decode()
    assert "to bram" in own
    assert "to manager1" not in own
    assert signed_in("olga").get(f"/notices/{call_of('bram').id}/").status_code == 404


def test_another_reader_gets_no_link_that_acts_in_somebodys_name(held: Fleet) -> None:
    address = f"/notices/{call_of('manager1').id}/"
    assert "/notices/answer/" in signed_in("manager1").get(address).content.decode()
    assert "/notices/answer/" not in signed_in("dispatcher1").get(address).content.decode()


def test_every_attempt_is_shown_with_its_answer(held: Fleet) -> None:
    busy = KeptChannel(lambda _m, _r: DeliveryResult(DeliveryOutcome.FAILED, "The server is busy."))
    while deliver_next(channels={"email": busy}, at=NOW):
        pass
    page = signed_in("manager1").get(f"/notices/{call_of('manager1').id}/").content.decode()
    assert "The server is busy." in page


def lines(*hears: str, after: int = 0) -> dict[str, list[str]]:
    conditions = ["danger", "hold", "hold_but_firing", "building_without_heat"]
    return {
        "condition": [c for c in conditions for _ in hears],
        "level": ["any"] * len(conditions) * len(hears),
        "after": [str(after)] * len(conditions) * len(hears),
        "hears": list(hears) * len(conditions),
        "channel": [""] * len(conditions) * len(hears),
    }


def adopt(fleet: Fleet, name: str = "manager1", version: str = "0", **sent: list[str]) -> tuple[int, str]:
    path = f"/notices/call-list/{fleet.portfolio.id}/change/"
    answer = signed_in(name).post(path, {"version": version, **sent})
    return answer.status_code, answer.content.decode()


def test_a_list_without_holes_is_adopted_and_the_next_one_needs_its_version(held: Fleet) -> None:
    assert adopt(held, **lines("manager", "caretaker"))[0] == 302
    assert CallList.objects.count() == 1
    assert adopt(held, **lines("manager"))[0] == 412
    assert adopt(held, version="1", **lines("manager"))[0] == 302


@pytest.mark.parametrize(
    ("sent", "hole"),
    [
        (lines("inspector"), "A hold at 12 Alder Terrace would reach nobody: the list names inspector"),
        (lines("@nobody.here"), "nobody.here has no role in this portfolio"),
        (lines("manager", after=5), "Of hold nobody is told at once"),
        ({"condition": ["any"], "level": ["urgent"], "after": ["0"], "hears": ["manager"], "channel": [""]}, "Of hold"),
    ],
)
def test_a_list_that_leaves_a_hold_to_nobody_is_refused_and_names_the_hole(
    held: Fleet, sent: dict[str, list[str]], hole: str
) -> None:
    status, page = adopt(held, **sent)
    assert status == 422
    assert hole in page
    assert not CallList.objects.exists()


def test_only_managers_and_owners_adopt_a_list(held: Fleet) -> None:
    assert adopt(held, "dispatcher1", **lines("manager"))[0] == 403
    assert adopt(held, "olga", **lines("manager"))[0] == 404


def test_the_list_is_shown_as_clock_times_without_telling_anybody(held: Fleet) -> None:
    before = Notice.objects.count()
    moment = datetime.fromisoformat("2026-01-17T02:10")
    page = signed_in("manager1").get(
        f"/notices/call-list/{held.portfolio.id}/", {"what": "hold", "at": moment.isoformat()}
    )
    text = " ".join(page.content.decode().split())
    assert "<strong>Sat 02:10</strong> bram, manager1: at once with the first act." in text
    assert "<strong>Sat 02:25</strong> If nobody answered: dispatcher1." in text
    assert "<strong>Sat 02:40</strong> If nobody answered: owner1." in text
    assert "<strong>Sat 02:55</strong> Nobody is left to tell: that is an alert of its own." in text
    assert Notice.objects.count() == before


def test_a_portfolio_in_which_nobody_gave_an_address_says_so(fleet: Fleet) -> None:
    make_person("manager2", fleet.portfolio, "manager")
    assert "Nobody in Sorrelgate Homes gave an address" in signed_in("manager2").get("/notices/").content.decode()


def test_quiet_hours_across_midnight_are_kept_and_half_of_them_refused(held: Fleet) -> None:
    choices = {"digest": "daily", "digest_hour": "6", "zone": "America/New_York"}
    client = signed_in("bram")
    path = "/account/notices/choices/"
    assert client.post(path, {**choices, "quiet_from": "22:00", "quiet_until": "06:00"}).status_code == 302
    assert client.post(path, {**choices, "quiet_from": "22:00", "quiet_until": ""}).status_code == 422
    assert client.post(path, {**choices, "quiet_from": "25:00", "quiet_until": "06:00"}).status_code == 422
    assert client.post(path, {**choices, "zone": "Nowhere/Town"}).status_code == 422
    assert NoticeChoices.objects.get(user=held.caretaker).quiet_from.hour == 22  # type: ignore[union-attr]


def test_an_acknowledgment_by_link_is_on_record_with_its_reason(held: Fleet) -> None:
    pipeline.acknowledge_notice(notice=call_of("manager1").id, by=User.objects.get(username="manager1"), at=NOW)
    act = Alert.objects.get(condition="hold").acts.get()
    assert (act.by.username, act.reason) == ("manager1", "By the link in the message.")


def test_going_back_to_a_wider_list_that_would_reach_nobody_here_is_refused(held: Fleet) -> None:
    building = held.bench().boiler.building_id
    own = f"?building={building}"
    path = f"/notices/call-list/{held.portfolio.id}/change/"
    sent = {"version": "0", **lines("caretaker")}
    assert signed_in("manager1").post(path + own, sent).status_code == 302
    assert signed_in("manager1").post(path, {"version": "0", **lines("inspector")}).status_code == 302
    answer = signed_in("manager1").post(path + own, {"version": "1", "wider": "yes"})
    assert answer.status_code == 422
    assert "A hold at 12 Alder Terrace would reach nobody: the list names inspector" in answer.content.decode()


def test_an_alert_that_changed_under_the_link_is_acknowledged_all_the_same(
    held: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, changed = answered_notices.act_on_alert, []

    def change_first(**what: Any) -> Alert:
        if not changed:  # the sweep, or a post, gave it another version meanwhile
            changed.append(Alert.objects.filter(id=what["alert"]).update(version=F("version") + 1))
        return real(**what)

    monkeypatch.setattr(answered_notices, "act_on_alert", change_first)
    assert Client().post(path_of(links.answer_address(call_of("manager1").id))).status_code == 200
    assert is_acknowledged()


def test_a_link_that_found_nothing_to_acknowledge_is_not_used_up(held: Fleet) -> None:
    path = path_of(links.answer_address(call_of("manager1").id))
    grants = Grant.objects.filter(user__username="manager1")
    grants.update(role="caretaker")
    assert Client().post(path).status_code == 410
    grants.update(role="manager")
    assert Client().post(path).status_code == 200


def test_quiet_hours_alone_leave_the_digest_as_usual_for_the_role(held: Fleet) -> None:
    page = signed_in("owner1").get("/account/notices/").content.decode()
    assert '<option value="weekly" selected>' in page
    page = signed_in("bram").get("/account/notices/").content.decode()
    assert '<option value="none" selected>' in page


def test_a_call_of_a_cold_building_leads_to_the_page_of_that_building(held: Fleet) -> None:
    held.post(held.flushed(NOW, "ALD12 B2", burner_stopped=False), at=NOW + MINUTE)
    building = held.bench().boiler.building_id
    texts = Notice.objects.filter(kind="call", user__username="manager1").values_list("text", flat=True)
    assert any(f"/buildings/{building}/" in text for text in texts)
    assert signed_in("manager1").get(f"/buildings/{building}/").status_code == 200


def test_whoever_was_told_stands_in_one_line_and_who_comes_next_at_the_clock(held: Fleet) -> None:
    pipeline.sweep(at=NOW + 20 * MINUTE)
    text = call_of("owner1").text
    assert "Told as well: bram, manager1, dispatcher1." in text
    assert "If nobody answers by 09:10: dispatcher1." in call_of("manager1").text


def test_a_manager_of_one_building_sees_and_adopts_there_alone(held: Fleet) -> None:
    here = held.bench().boiler.building
    elsewhere = Building.objects.create(portfolio=held.portfolio, ref="ELSE", address="2 Elm", zone="UTC")
    manager = User.objects.create_user("single", password="oak-valve-2609")
    Grant.objects.create(user=manager, portfolio=held.portfolio, role="manager", building=here)
    give_address(manager)
    client, path = signed_in("single"), f"/notices/call-list/{held.portfolio.id}/"
    assert client.get(f"/notices/{call_of('bram').id}/").status_code == 200
    drafts = [
        NoticeDraft(held.portfolio.id, held.caretaker, "call", str(house), "hold", "Hold", "Hold", building=house)
        for house in (None, elsewhere.id)
    ]
    for notice in (*(add_notice(draft, NOW).id for draft in drafts), uuid4()):
        assert client.get(f"/notices/{notice}/").status_code == 404
    assert client.get(f"{path}?building={elsewhere.id}").status_code == 404
    assert client.get(f"{path}?building={uuid4()}").status_code == 404
    sent = {"version": "0", **lines("manager")}
    assert client.post(f"{path}change/", sent).status_code == 403
    assert client.post(f"{path}change/?building={elsewhere.id}", sent).status_code == 404
    assert client.post(f"{path}change/?building={here.id}", sent).status_code == 302
    assert CallList.objects.get().building_id == here.id


def test_a_form_of_another_site_cannot_answer_confirm_or_change(held: Fleet) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(User.objects.get(username="manager1"))
    place = give_address(held.technician)
    for path in (
        path_of(links.answer_address(call_of("manager1").id)),
        path_of(links.confirm_address_link(place.id)),
        "/account/notices/choices/",
        f"/notices/call-list/{held.portfolio.id}/change/",
    ):
        assert client.post(path).status_code == 403
    assert not is_acknowledged()


def test_what_somebody_wrote_stays_text_in_a_mail(held: Fleet) -> None:
    boiler = held.bench("ALD12 B2").boiler
    Boiler.objects.filter(id=boiler.id).update(name="<img src=x>\r\nBcc: all@sorrelgate.example")
    held.post(held.flushed(NOW, "ALD12 B2", burner_stopped=False), at=NOW + MINUTE)
    notice = Notice.objects.filter(kind="call", user__username="manager1").latest("created_at")
    assert "<img" not in notice.html
    assert "&lt;img src=x&gt;" in notice.html
    assert "\n" not in notice.subject
    settings = MailSettings("smtp", "Sorrelgate Homes", "notices@boilers.example", host="localhost")
    mail = compose_mail(message_of(notice), "manager1@sorrelgate.example", settings).message()
    assert mail["Bcc"] is None
