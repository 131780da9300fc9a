"""What a notice looks like as an e-mail."""

import email
import email.policy
from email.message import EmailMessage

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.notices.channels.contract import InlineImage, OutgoingMessage
from fleet.notices.channels.email.mail_message import compose_mail
from fleet.notices.channels.settings import MailSettings
from tests.notices.channels.loopback import MESSAGE, message_with

SETTINGS = MailSettings("smtp", "Sorrelgate Homes", "notices@boilers.example", host="127.0.0.1", port=25)
PNG = b"\x89PNG\r\n\x1a\n" + bytes(20)
STOP = "https://boilers.example/stop/abc"
WRITTEN = {
    "Content-Type", "MIME-Version", "Subject", "From", "To", "Message-ID", "Date", "Auto-Submitted",
    "Content-Transfer-Encoding", "Importance", "List-Unsubscribe", "List-Unsubscribe-Post",
}  # fmt: skip


def read_mail(message: OutgoingMessage, address: str = "vera@sorrelgate.example") -> EmailMessage:
    """Compose a mail and read it as its receiver does."""
    raw = compose_mail(message, address, SETTINGS).message().as_bytes(linesep="\r\n")
    read = email.message_from_bytes(raw, policy=email.policy.default)
    assert isinstance(read, EmailMessage)
    return read


def test_the_message_id_is_the_notice_s_and_the_date_is_that_of_the_notice() -> None:
    mail = read_mail(MESSAGE)
    assert mail["Message-ID"] == "<0198f3c2-7c1e-7b7a-9a54-2f6d3f0c9a11@boilers.example>"
    assert mail["Date"].datetime == MESSAGE.created_at
    assert mail["Auto-Submitted"] == "auto-generated"


def test_a_second_attempt_is_the_same_mail() -> None:
    first, second = (compose_mail(MESSAGE, "vera@sorrelgate.example", SETTINGS).message().as_bytes() for _ in "12")
    assert first == second


def test_one_click_ends_notices_where_an_address_for_it_is_given() -> None:
    mail = read_mail(message_with(stop_url=STOP))
    assert mail["List-Unsubscribe"] == f"<{STOP}>"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert read_mail(MESSAGE)["List-Unsubscribe"] is None


def test_one_click_is_for_https_only() -> None:
    mail = read_mail(message_with(stop_url="http://127.0.0.1:8000/stop/abc"))
    assert mail["List-Unsubscribe"] == "<http://127.0.0.1:8000/stop/abc>"
    assert mail["List-Unsubscribe-Post"] is None


@pytest.mark.parametrize("url", ["https://a/\r\nBcc: x@y.example", "https://a/> , <https://b/", "javascript:x"])
def test_an_address_to_stop_at_that_is_none_makes_no_header(url: str) -> None:
    mail = read_mail(message_with(stop_url=url))
    assert mail["List-Unsubscribe"] is None
    assert mail["Bcc"] is None


def test_html_and_its_pictures_belong_together_beside_the_text() -> None:
    image = InlineImage("chart", PNG, "Two boilers on hold.")
    mail = read_mail(message_with(html='<p>Hold</p><img src="cid:chart">', images=(image,)))
    assert mail.get_content_type() == "multipart/related"
    alternatives, picture = mail.iter_parts()
    assert [part.get_content_type() for part in alternatives.iter_parts()] == ["text/plain", "text/html"]
    assert picture["Content-ID"] == "<chart>"
    assert picture.get_content_disposition() == "inline"
    assert picture.get_content() == PNG


def test_whoever_reads_text_only_is_told_what_a_picture_shows_and_where_to_answer() -> None:
    image = InlineImage("chart", PNG, "Two boilers on hold.")
    mail = read_mail(message_with(html="<p>Hold</p>", images=(image,), answer_url="https://boilers.example/answer/a"))
    body = mail.get_body(("plain",))
    assert body is not None
    text = body.get_content()
    assert "Two boilers on hold." in text
    assert "https://boilers.example/answer/a" in text


def test_what_is_in_the_text_already_is_not_said_twice() -> None:
    url = "https://boilers.example/answer/a"
    mail = read_mail(message_with(text=f"Answer at {url}", answer_url=url))
    assert mail.get_content().count(url) == 1


def test_only_danger_is_marked_as_important() -> None:
    assert read_mail(message_with(is_danger=True))["Importance"] == "high"
    assert read_mail(MESSAGE)["Importance"] is None


@pytest.mark.parametrize("name", ["Peñón Court, Caldera 2", "Ørsted hall", "煤气", " ".join(["boiler"] * 28)])
def test_a_subject_arrives_as_it_was_written(name: str) -> None:
    assert read_mail(message_with(subject=name))["Subject"] == name


def test_a_very_long_subject_is_cut() -> None:
    assert read_mail(message_with(subject="Peñón " * 60))["Subject"].strip() == ("Peñón " * 60)[:200].strip()


def test_no_line_of_a_mail_is_longer_than_mail_may_be() -> None:
    raw = compose_mail(message_with(subject="ö" * 200, text="x" * 5000), "a@b.example", SETTINGS).message().as_bytes()
    assert max(len(line) for line in raw.splitlines()) <= 998  # RFC 5322


@given(subject=st.text(max_size=300), text=st.text(st.characters(codec="utf-8"), max_size=300))
def test_whatever_somebody_wrote_becomes_no_header(subject: str, text: str) -> None:
    subject = subject.encode("utf-8", "ignore").decode()
    mail = read_mail(message_with(subject=f"{subject}\r\nBcc: x@y.example", text=f"{text}\r\nBcc: x@y.example"))
    assert set(mail.keys()) <= WRITTEN
    assert mail["To"] == "vera@sorrelgate.example"


def test_a_picture_s_name_becomes_no_header() -> None:
    image = InlineImage("chart>\r\nX-Bad: 1", PNG, "A chart.")
    mail = read_mail(message_with(html="<p>Hold</p>", images=(image,)))
    picture = list(mail.iter_parts())[1]
    assert picture["Content-ID"] == "<chartX-Bad1>"
    assert picture["X-Bad"] is None
