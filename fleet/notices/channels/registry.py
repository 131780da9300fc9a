"""The channels that this site has, by name. The name stands in call lists, destinations and attempts."""

from collections.abc import Mapping
from functools import cache

from django.conf import settings

from fleet.notices.channels.contract import Channel
from fleet.notices.channels.email.email_channel import EmailChannel
from fleet.notices.channels.outbound.http_post import OutboundPolicy
from fleet.notices.channels.settings import ChannelSettings
from fleet.notices.channels.tls_trust import trusting_context
from fleet.notices.channels.webhook.webhook_channel import WebhookChannel


@cache
def channels_in_use() -> Mapping[str, Channel]:
    """Return the channels of this site by name, those that its settings give what they need."""
    return make_channels(settings.CHANNEL_SETTINGS)


def make_channels(given: ChannelSettings) -> dict[str, Channel]:
    """Return the channels that these settings allow."""
    channels: dict[str, Channel] = {}
    policy = OutboundPolicy(networks=given.networks, tls_context=trusting_context(given.ca_file))
    channels["webhook"] = WebhookChannel(policy)
    if given.mail:
        channels["email"] = EmailChannel(given.mail)
    return channels
