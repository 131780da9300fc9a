"""The channel of webhooks: one signed POST to an address that a person named, and what its status means.

What a receiver must do to be safe against repeats (`fleet/notices/RECEIVERS.md`): check the signature over the body as
it came, refuse a timestamp more than five minutes away from its own clock, and remember the ids that it acted on.
"""

from dataclasses import dataclass, field
from datetime import datetime

from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult, OutgoingMessage, Receiver
from fleet.notices.channels.outbound.http_post import (
    AddressRefused,
    AnswerLost,
    HttpAnswer,
    NotSent,
    OutboundPolicy,
    post_once,
)
from fleet.notices.channels.outbound.retry_time import read_retry_after
from fleet.notices.channels.outbound.target_url import UnfitTarget, read_target
from fleet.notices.channels.webhook.signed_payload import compose_payload, signature_headers

GONE = 410
ASKS_FOR_PAUSE = (429, 503)


@dataclass(frozen=True, slots=True)
class WebhookChannel:
    """Sends to addresses that the policy allows."""

    policy: OutboundPolicy = field(default_factory=OutboundPolicy)

    def send(self, message: OutgoingMessage, receiver: Receiver, at: datetime) -> DeliveryResult:
        """Try once. The id is the notice's, the timestamp is that of this attempt."""
        if not receiver.secrets:
            return DeliveryResult(DeliveryOutcome.FAILED, "The destination has no secret to sign with.")
        body = compose_payload(message)
        headers = {"Content-Type": "application/json", **signature_headers(message, body, receiver.secrets, at)}
        try:
            answer = post_once(receiver.address, headers, body.encode(), self.policy)
        except (UnfitTarget, AddressRefused) as fault:  # a name, and the operator's networks, may be put right
            return DeliveryResult(DeliveryOutcome.FAILED, str(fault))
        except NotSent as failure:
            return DeliveryResult(DeliveryOutcome.FAILED, f"The receiver did not take it: {failure}.")
        except AnswerLost:
            return DeliveryResult(DeliveryOutcome.UNKNOWN, "The request was sent and its answer was lost.")
        return _read_status(answer, at)

    def address_faults(self, address: str) -> list[str]:
        """Return what is wrong with an address as far as it is seen without asking for its name."""
        try:
            read_target(address, self.policy.networks)
        except UnfitTarget as fault:
            return [str(fault)]
        return []


def _read_status(answer: HttpAnswer, at: datetime) -> DeliveryResult:
    status = answer.status
    if 200 <= status < 300:
        return DeliveryResult(DeliveryOutcome.SENT, f"The receiver answered {status}.")
    if status == GONE:
        return DeliveryResult(DeliveryOutcome.REFUSED, "The receiver answered 410: this address is gone for good.")
    if 300 <= status < 400:
        return DeliveryResult(DeliveryOutcome.FAILED, f"The receiver answered {status}: a redirect is not followed.")
    if status < 200:
        return DeliveryResult(DeliveryOutcome.UNKNOWN, f"The receiver answered {status} and nothing after it.")
    pause = read_retry_after(answer.retry_after, at) if status in ASKS_FOR_PAUSE else None
    return DeliveryResult(DeliveryOutcome.FAILED, f"The receiver answered {status}.", pause)
