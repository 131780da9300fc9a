"""One attempt over HTTP as a channel answers for it: sent, or what stood against it."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from fleet.notices.channels.contract import DeliveryOutcome, DeliveryResult
from fleet.notices.channels.outbound.answer_meaning import read_status
from fleet.notices.channels.outbound.http_post import AddressRefused, AnswerLost, NotSent, OutboundPolicy, post_once
from fleet.notices.channels.outbound.target_url import UnfitTarget


@dataclass(frozen=True, slots=True)
class OutgoingRequest:
    """What is posted, and which statuses end the address."""

    url: str
    headers: Mapping[str, str]
    body: bytes
    gone_statuses: Collection[int]


def deliver_request(request: OutgoingRequest, policy: OutboundPolicy, at: datetime) -> DeliveryResult:
    """Post once. Nothing is raised."""
    try:
        answer = post_once(request.url, request.headers, request.body, policy)
    except (UnfitTarget, AddressRefused) as fault:  # a name, and the operator's networks, may be put right
        return DeliveryResult(DeliveryOutcome.FAILED, str(fault))
    except NotSent as failure:
        return DeliveryResult(DeliveryOutcome.FAILED, f"The receiver did not take it: {failure}.")
    except AnswerLost:
        return DeliveryResult(DeliveryOutcome.UNKNOWN, "The request was sent and its answer was lost.")
    return read_status(answer.status, answer.retry_after, request.gone_statuses, at)
