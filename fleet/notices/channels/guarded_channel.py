"""Keeps the promise of every channel that it raises nothing: one message must not stop those behind it."""

import logging
from dataclasses import dataclass
from datetime import datetime

from fleet.notices.channels.contract import Channel, DeliveryOutcome, DeliveryResult, OutgoingMessage, Receiver

LOGGER = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class GuardedChannel:
    """A channel whose own faults become an unknown outcome and a line in the log."""

    name: str
    channel: Channel

    def send(self, message: OutgoingMessage, receiver: Receiver, at: datetime) -> DeliveryResult:
        """Try once. Whether something left before the fault is not known."""
        try:
            return self.channel.send(message, receiver, at)
        except Exception as error:
            LOGGER.exception("the channel %s failed", self.name)
            sentence = f"The channel failed on its own account: {type(error).__name__}."
            return DeliveryResult(DeliveryOutcome.UNKNOWN, sentence)

    def address_faults(self, address: str) -> list[str]:
        """Return what is wrong with an address, in sentences."""
        return self.channel.address_faults(address)
