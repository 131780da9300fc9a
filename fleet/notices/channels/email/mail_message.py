"""One notice as an e-mail with text, HTML and pictures. Nothing that somebody wrote can become a header of its own."""

import re
from email.mime.image import MIMEImage
from email.utils import format_datetime, formataddr

from django.core.mail import EmailMultiAlternatives

from fleet.notices.channels.contract import InlineImage, OutgoingMessage
from fleet.notices.channels.settings import MailSettings

MAX_SUBJECT_LENGTH = 200
ONE_CLICK = "List-Unsubscribe=One-Click"  # RFC 8058
URL_IN_HEADER = re.compile(r"https?://[\x21-\x3b\x3d\x3f-\x7e]{1,900}")  # printable ASCII without <, > and spaces


class MailWithPictures(EmailMultiAlternatives):
    """A mail whose pictures belong to its HTML and are no attachments."""

    mixed_subtype = "related"


def compose_mail(message: OutgoingMessage, address: str, settings: MailSettings) -> EmailMultiAlternatives:
    """Return the notice as a mail to one address. Every attempt composes the same mail."""
    mail = MailWithPictures(
        subject=one_line(message.subject)[:MAX_SUBJECT_LENGTH],
        body=_plain_text(message),
        from_email=formataddr((one_line(settings.sender_name), settings.sender_address)),
        to=[address],
        headers=_mail_headers(message, settings.domain),
    )
    if message.html:
        mail.attach_alternative(message.html, "text/html")
        for image in message.images:
            mail.attach(_inline_part(image))
    return mail


def message_id(message: OutgoingMessage, domain: str) -> str:
    """Return the Message-ID of a notice, the same at every attempt (RFC 5322), so that a repeat is seen as one."""
    return f"<{message.id}@{domain}>"


def one_line(text: str) -> str:
    """Return a text as one line: line ends, tabs and other control characters become spaces."""
    return " ".join("".join(character if character.isprintable() else " " for character in text).split())


def _mail_headers(message: OutgoingMessage, domain: str) -> dict[str, str]:
    headers = {
        "Message-ID": message_id(message, domain),
        "Date": format_datetime(message.created_at),
        "Auto-Submitted": "auto-generated",  # RFC 3834: no out-of-office answers to it
    }
    if message.is_danger:
        headers["Importance"] = "high"  # RFC 2156
    if URL_IN_HEADER.fullmatch(message.stop_url):
        headers["List-Unsubscribe"] = f"<{message.stop_url}>"
        if message.stop_url.startswith("https://"):  # one click is for HTTPS only, as RFC 8058 has it
            headers["List-Unsubscribe-Post"] = ONE_CLICK
    return headers


def _plain_text(message: OutgoingMessage) -> str:
    """Return the text with what a reader without pictures and HTML would miss."""
    added = [image.text for image in message.images] + [message.answer_url]
    return "\n\n".join([message.text, *(text for text in added if text and text not in message.text)])


def _inline_part(image: InlineImage) -> MIMEImage:
    name = re.sub(r"[^A-Za-z0-9._-]", "", image.name)
    part = MIMEImage(image.png, _subtype="png")
    part.add_header("Content-ID", f"<{name}>")
    part.add_header("Content-Disposition", "inline", filename=f"{name}.png")
    return part
