"""The channels that this site has, by name. The name stands in call lists, destinations and attempts."""

from collections.abc import Mapping

from django.conf import settings

from fleet.notices.channels.contract import Channel
from fleet.notices.channels.email.email_channel import EmailChannel
from fleet.notices.channels.settings import ChannelSettings


def channels_in_use() -> Mapping[str, Channel]:
    """Return the channels by name; one without its settings is not offered."""
    told: ChannelSettings = settings.CHANNEL_SETTINGS
    channels: dict[str, Channel] = {}
    if told.mail is not None:
        channels["email"] = EmailChannel(told.mail)
    return channels
