"""The channels that this site has, by name. The name stands in call lists, destinations and attempts."""

from collections.abc import Mapping

from fleet.notices.channels.contract import Channel

CHANNELS: dict[str, Channel] = {}


def channels_in_use() -> Mapping[str, Channel]:
    """Return the channels by name."""
    return CHANNELS
