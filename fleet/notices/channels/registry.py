"""The channels that this site has, by name. The name stands in call lists, destinations and attempts."""

from collections.abc import Mapping
from functools import cache

from django.conf import settings

from fleet.notices.channels.contract import Channel
from fleet.notices.channels.email.email_channel import EmailChannel
from fleet.notices.channels.guarded_channel import GuardedChannel
from fleet.notices.channels.outbound.http_post import OutboundPolicy
from fleet.notices.channels.services.services_channel import ServicesChannel
from fleet.notices.channels.settings import ChannelSettings
from fleet.notices.channels.tls_trust import trusting_context
from fleet.notices.channels.web_push.site_push_key import derive_push_key, public_key_text
from fleet.notices.channels.web_push.web_push_channel import WebPushChannel
from fleet.notices.channels.webhook.webhook_channel import WebhookChannel


@cache
def channels_in_use() -> Mapping[str, Channel]:
    """Return the channels of this site by name, those that its settings give what they need."""
    return make_channels(settings.CHANNEL_SETTINGS)


def make_channels(channel_settings: ChannelSettings) -> Mapping[str, Channel]:
    """Return the channels that these settings allow."""
    channels: dict[str, Channel] = {}
    policy = OutboundPolicy(networks=channel_settings.networks, tls_context=trusting_context(channel_settings.ca_file))
    channels["webhook"] = WebhookChannel(policy)
    if channel_settings.push:
        channels["web_push"] = WebPushChannel(channel_settings.push, policy)
    if channel_settings.services:
        channels["service"] = ServicesChannel(channel_settings.services)
    if channel_settings.mail:
        channels["email"] = EmailChannel(channel_settings.mail)
    return {name: GuardedChannel(name, channel) for name, channel in channels.items()}


def push_public_key() -> str:
    """Return the key that a browser subscribes with, '' where this site sends no web push."""
    push = settings.CHANNEL_SETTINGS.push
    return public_key_text(derive_push_key(push.secret)) if push else ""
