"""The channel of webhooks: one signed POST to an address that a person named, and what its status means.

What a receiver must do to be safe against repeats (`fleet/notices/RECEIVERS.md`): check the signature over the body as
it came, refuse a timestamp more than five minutes away from its own clock, and remember the ids that it acted on.
"""

from dataclasses import dataclass, field
from datetime import datetime

from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult, OutgoingMessage, Receiver
from fleet.notices.channels.outbound.delivery import OutgoingRequest, deliver_request
from fleet.notices.channels.outbound.http_post import OutboundPolicy
from fleet.notices.channels.outbound.target_url import UnfitTarget, read_target
from fleet.notices.channels.webhook.signed_payload import compose_payload, signature_headers

GONE_STATUSES = (410,)


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
        request = OutgoingRequest(receiver.address, headers, body.encode(), GONE_STATUSES)
        return deliver_request(request, self.policy, at)

    def address_faults(self, address: str) -> list[str]:
        """Return what is wrong with an address as far as it is seen without asking for its name."""
        try:
            read_target(address, self.policy.networks)
        except UnfitTarget as fault:
            return [str(fault)]
        return []
