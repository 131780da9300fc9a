"""The channel of services: one message to one person by the operator's template, sent in a process of its own."""

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from urllib.parse import urlsplit

from fleet.notices.channels.contract import SEND_SECONDS, DeliveryOutcome, DeliveryResult, OutgoingMessage, Receiver
from fleet.notices.channels.services.person_address import PLACE, address_faults, fill_template

PROGRAM = "fleet.notices.channels.services.send_once"
CODE_FOLDER = Path(__file__).resolve().parents[4]  # what holds the package `fleet`
BEGUN = "begun"
# Nothing else of the environment reaches the process: neither secrets of the site nor proxies.
PASSED_ON = ("PATH", "LANG", "LC_ALL", "PYTHONPYCACHEPREFIX", "PYTHONDONTWRITEBYTECODE")


@dataclass(frozen=True, slots=True)
class ServicesChannel:
    """Sends by the services that the operator's templates name."""

    templates: Mapping[str, str]
    seconds: float = SEND_SECONDS

    def send(self, message: OutgoingMessage, receiver: Receiver, at: datetime) -> DeliveryResult:
        """Try once. A service has no id for a message, so a repeat can be seen by people only."""
        if faults := self.address_faults(receiver.address):
            return DeliveryResult(DeliveryOutcome.FAILED, faults[0])  # the operator may have taken the service away
        order = {
            "url": fill_template(receiver.address, self.templates),
            "hosts": _named_hosts(self.templates[receiver.address.partition(":")[0]]),
            "title": message.subject,
            "body": _message_body(message),
            "is_danger": message.is_danger,
        }
        return _run_sender(json.dumps(order), self.seconds)

    def address_faults(self, address: str) -> list[str]:
        """Return what is wrong with an address of the form `service:number or handle`."""
        return address_faults(address, self.templates)


def _named_hosts(template: str) -> list[str]:
    """Return the host that the operator wrote into a template; it may be in the operator's own network."""
    try:
        host = urlsplit(template.replace(PLACE, "x")).hostname
    except ValueError:
        return []
    return [host] if host else []


def _message_body(message: OutgoingMessage) -> str:
    is_link_missing = message.answer_url and message.answer_url not in message.text
    return f"{message.text}\n{message.answer_url}" if is_link_missing else message.text


def _run_sender(order: str, seconds: float) -> DeliveryResult:
    environment = {name: os.environ[name] for name in PASSED_ON if name in os.environ}
    try:
        process = subprocess.run(
            [sys.executable, "-m", PROGRAM],
            input=order,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,  # the library's own log may hold addresses and tokens
            cwd=CODE_FOLDER,
            env={**environment, "HOME": "/nonexistent"},  # no .netrc, no configuration of somebody's
            text=True,
            timeout=seconds,
            check=False,
        )
    except subprocess.TimeoutExpired as late:
        return _read_late(late.stdout)
    except OSError as error:
        return DeliveryResult(DeliveryOutcome.FAILED, f"The sending program did not start: {error.strerror}.")
    return _read_report(process.stdout)


def _read_late(output: bytes | str | None) -> DeliveryResult:
    """A process that was ended: what had begun may have arrived."""
    text = output.decode() if isinstance(output, bytes) else output or ""
    if BEGUN in text.splitlines():
        return DeliveryResult(DeliveryOutcome.UNKNOWN, "The service did not answer in time.")
    return DeliveryResult(DeliveryOutcome.FAILED, "The time was over before anything was sent.")


def _read_report(output: str) -> DeliveryResult:
    lines = output.splitlines()
    try:
        report = json.loads(lines[-1])
    except (IndexError, ValueError):
        outcome = DeliveryOutcome.UNKNOWN if BEGUN in lines else DeliveryOutcome.FAILED
        return DeliveryResult(outcome, "The sending program ended without a report.")
    if report["is_sent"]:
        return DeliveryResult(DeliveryOutcome.SENT, "The service accepted the message.")
    if report["may_have_left"]:
        return DeliveryResult(DeliveryOutcome.UNKNOWN, "The request was sent and its answer was lost.")
    if report["is_refused"]:
        return DeliveryResult(DeliveryOutcome.FAILED, "The service lies in a network that the template does not name.")
    statuses = ", ".join(str(status) for status in report["statuses"])
    return DeliveryResult(DeliveryOutcome.FAILED, f"The service answered {statuses or 'nothing'}.")
