"""The channel of web push: one encrypted message to one phone's app, by the push service that its browser named."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult, OutgoingMessage, Receiver
from fleet.notices.channels.outbound.delivery import OutgoingRequest, deliver_request
from fleet.notices.channels.outbound.http_post import OutboundPolicy
from fleet.notices.channels.outbound.target_url import UnfitTarget, read_target
from fleet.notices.channels.settings import PushSettings
from fleet.notices.channels.web_push.push_payload import compose_push, encrypt_push
from fleet.notices.channels.web_push.site_push_key import authorization_header, derive_push_key
from fleet.notices.channels.web_push.subscription import PushSubscription, UnfitSubscription, read_subscription

GONE_STATUSES = (404, 410)  # RFC 8030: the subscription has ended
LIFETIME = timedelta(hours=24)  # how long the push service keeps it for a phone that is off


@dataclass(frozen=True, slots=True)
class WebPushChannel:
    """Sends to the phones that subscribed to this site's key. An address is the subscription as JSON."""

    settings: PushSettings
    policy: OutboundPolicy = field(default_factory=OutboundPolicy)

    def send(self, message: OutgoingMessage, receiver: Receiver, at: datetime) -> DeliveryResult:
        """Try once. A repeat replaces the message before it, at the push service and on the phone."""
        try:
            subscription = read_subscription(receiver.address)
            headers = self._push_headers(message, subscription, at)
        except (UnfitSubscription, UnfitTarget) as fault:
            return DeliveryResult(DeliveryOutcome.FAILED, str(fault))
        body = encrypt_push(compose_push(message), subscription)
        return deliver_request(OutgoingRequest(subscription.endpoint, headers, body, GONE_STATUSES), self.policy, at)

    def address_faults(self, address: str) -> list[str]:
        """Return what is wrong with a subscription as far as it is seen without connecting to its endpoint."""
        try:
            read_target(read_subscription(address).endpoint, self.policy.networks)
        except (UnfitSubscription, UnfitTarget) as fault:
            return [str(fault)]
        return []

    def _push_headers(self, message: OutgoingMessage, subscription: PushSubscription, at: datetime) -> dict[str, str]:
        origin = read_target(subscription.endpoint, self.policy.networks).origin
        key = derive_push_key(self.settings.secret)
        return {
            "Authorization": authorization_header(key, origin, self.settings.contact, at),
            "Content-Type": "application/octet-stream",
            "Content-Encoding": "aes128gcm",
            "TTL": str(int(LIFETIME.total_seconds())),
            "Urgency": "high" if message.is_danger else "normal",
            "Topic": message.id.hex,  # 32 letters, as many as a topic may have: a message waiting there is replaced
        }
