"""The channel of e-mail: one notice to one address, and what the mail server's reply means.

A mail to one address has one recipient, so a server that takes half the recipients takes each whole or not at all.
"""

import re
import smtplib
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.core.mail import EmailMultiAlternatives
from django.core.validators import validate_email

from fleet.notices.channels.connecting import describe_failure
from fleet.notices.channels.contract import SEND_SECONDS, DeliveryOutcome, DeliveryResult, OutgoingMessage, Receiver
from fleet.notices.channels.deadline import Deadline
from fleet.notices.channels.email.folder_backend import MailFolderBackend
from fleet.notices.channels.email.mail_message import compose_mail, one_line
from fleet.notices.channels.email.smtp_backend import DeadlineBackend
from fleet.notices.channels.settings import MailSettings

MAX_ADDRESS_LENGTH = 254
MAX_REPLY_SHOWN = 200
ENHANCED_CODE = re.compile(r"(5\.\d{1,3}\.\d{1,3})\b")  # RFC 3463
# The address itself is at fault, so that it is of no more use. All other refusals are of the message, or of the site
# as a sender (5.7.1): were these for good, one entry in a list of bad senders would end everybody's address.
CODES_OF_ADDRESS = {"5.1.1", "5.1.2", "5.1.3", "5.1.6", "5.1.10", "5.2.1"}
REPLIES_OF_ADDRESS = (550, 551, 553)  # RFC 5321, of servers that say no more than that


@dataclass(frozen=True, slots=True)
class EmailChannel:
    """Sends by the operator's mail server, or into a folder."""

    settings: MailSettings
    seconds: float = SEND_SECONDS

    def send(self, message: OutgoingMessage, receiver: Receiver, at: datetime) -> DeliveryResult:
        """Try once. The mail's date is that of the notice, not `at`, so that a repeat is the same mail."""
        if faults := self.address_faults(receiver.address):
            return DeliveryResult(DeliveryOutcome.REFUSED, faults[0])
        mail = compose_mail(message, receiver.address, self.settings)
        if self.settings.folder:
            return self._keep_in_folder(mail)
        return _send_by_server(DeadlineBackend(self.settings, Deadline.in_seconds(self.seconds)), mail)

    def address_faults(self, address: str) -> list[str]:
        """Return what is wrong with an address. A domain may be internationalized, the name before the @ not."""
        name = address.rpartition("@")[0]
        try:
            validate_email(address)
        except ValidationError:
            return ["This is not an e-mail address."]
        if len(address) > MAX_ADDRESS_LENGTH:
            return [f"An e-mail address has at most {MAX_ADDRESS_LENGTH} characters."]
        return [] if name.isascii() else ["Before the @ an e-mail address may hold ASCII letters only."]

    def _keep_in_folder(self, mail: EmailMultiAlternatives) -> DeliveryResult:
        try:
            MailFolderBackend(self.settings.folder).send_messages([mail])  # type: ignore[arg-type]  # asked before
        except OSError as error:
            return DeliveryResult(DeliveryOutcome.FAILED, f"The folder of mails cannot be written: {error.strerror}.")
        return DeliveryResult(DeliveryOutcome.SENT, "Kept in the folder of mails; sent to nobody.")


def _send_by_server(backend: DeadlineBackend, mail: EmailMultiAlternatives) -> DeliveryResult:
    try:
        backend.send_messages([mail])
    except smtplib.SMTPRecipientsRefused as refusal:
        code, reply = next(iter(refusal.recipients.values()))
        return _read_refusal(code, reply, "the recipient")
    except smtplib.SMTPDataError as refusal:
        return _read_refusal(refusal.smtp_code, refusal.smtp_error, "the message")
    except smtplib.SMTPResponseException as refusal:  # greeting, encryption, signing in, sender: not the recipient's
        return DeliveryResult(
            DeliveryOutcome.FAILED, f"The mail server answered {refusal.smtp_code} before the recipient."
        )
    except OSError as error:
        if backend.exchange and backend.exchange.is_message_handed_over:
            return DeliveryResult(DeliveryOutcome.UNKNOWN, "The mail server took the message and its reply was lost.")
        return DeliveryResult(
            DeliveryOutcome.FAILED, f"The mail server did not take it: {_describe_mail_failure(error)}."
        )
    finally:
        backend.close()  # also where it was opened in part
    return DeliveryResult(DeliveryOutcome.SENT, "The mail server accepted the message.")


def _read_refusal(code: int, reply: bytes | str, subject: str) -> DeliveryResult:
    text = one_line(reply.decode("utf-8", "replace") if isinstance(reply, bytes) else reply)
    enhanced = ENHANCED_CODE.match(text)
    is_plain_refusal = subject == "the recipient" and code in REPLIES_OF_ADDRESS
    is_of_address = enhanced[1] in CODES_OF_ADDRESS if enhanced else is_plain_refusal
    outcome = DeliveryOutcome.REFUSED if is_of_address else DeliveryOutcome.FAILED
    return DeliveryResult(outcome, f"The mail server answered {code} to {subject}: {text[:MAX_REPLY_SHOWN]}")


def _describe_mail_failure(error: OSError) -> str:
    if isinstance(error, smtplib.SMTPNotSupportedError):
        return "it offers no encryption or no way to sign in"
    return describe_failure(error)
