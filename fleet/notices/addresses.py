"""A person's own addresses and choices: added, confirmed, ordered, ended; secrets changed with an overlap."""

import base64
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from uuid import UUID
from zoneinfo import available_timezones

from django.db import transaction
from django.db.models import QuerySet

from fleet.accounts.models import Grant, User
from fleet.errors import Fault, Refused
from fleet.notices.channels.contract import Channel
from fleet.notices.models import Destination, Notice, NoticeChoices
from fleet.notices.outbox import CONFIRM, NoticeDraft, add_notice
from fleet.notices.writing.address_text import write_confirmation
from fleet.records.row_spans import not_ended

MAX_ADDRESSES = 8
MAX_CONFIRMATIONS_PER_HOUR = 5  # nobody fills another's mailbox from here
SECRET_OVERLAP = timedelta(hours=24)  # both secrets sign meanwhile
CONFIRMED_AT_ONCE = frozenset({"web_push"})  # the signed-in browser itself gave it
DIGEST_KINDS = ("daily", "weekly", "none")


@dataclass(frozen=True, slots=True)
class NewAddress:
    """An address with the secret that signs what is sent there ("" none); the secret is shown once."""

    destination: Destination
    secret: str


def addresses_of(user: User) -> QuerySet[Destination]:
    """Return a person's addresses in use or waiting to be confirmed, and those that their receivers refused."""
    rows = Destination.objects.filter(user=user)
    return (rows.filter(ended_at=None) | rows.filter(end_reason="refused")).order_by("rank", "made_at", "id")


@transaction.atomic
def add_address(
    *, user: User, channel: str, address: str, label: str, channels: Mapping[str, Channel], at: datetime
) -> NewAddress:
    """Add an address and send to it what confirms it. Raises Refused with every fault."""
    User.objects.select_for_update().get(id=user.id)
    faults = list(_address_faults(user, channel=channel, address=address, channels=channels, at=at))
    if faults:
        raise Refused.from_faults(faults, status=422)
    secret = _new_secret() if channel == "webhook" else ""
    rank = addresses_of(user).count()
    row = Destination.objects.create(
        user=user,
        channel=channel,
        address=address,
        label=label[:100],
        rank=rank,
        secret=secret,
        made_at=at,
        confirmed_at=at if channel in CONFIRMED_AT_ONCE else None,
    )
    if row.confirmed_at is None:
        _send_confirmation(row, at)
    return NewAddress(row, secret)


def _address_faults(
    user: User, channel: str, address: str, channels: Mapping[str, Channel], at: datetime
) -> Iterator[Fault]:
    used = Destination.objects.filter(user=user, ended_at=None)
    if channel not in channels:
        yield Fault("bad_value", f"One of {', '.join(sorted(channels)) or 'no channel: none is set up'}.", ("channel",))
        return
    for sentence in channels[channel].address_faults(address):
        yield Fault("bad_address", sentence, ("address",))
    if used.filter(channel=channel, address=address).exists():
        yield Fault("known", "You have this address already.", ("address",))
    if used.count() >= MAX_ADDRESSES:
        yield Fault("too_many", f"You have {MAX_ADDRESSES} addresses. Remove one first.", ("address",))
    recent = Notice.objects.filter(user=user, kind=CONFIRM, created_at__gt=at - timedelta(hours=1))
    if recent.count() >= MAX_CONFIRMATIONS_PER_HOUR:
        yield Fault("too_often", "Several addresses were tried within this hour. Try again later.", ("address",))


def _new_secret() -> str:
    return "whsec_" + base64.b64encode(secrets.token_bytes(24)).decode()


def _send_confirmation(row: Destination, at: datetime) -> None:
    grant = Grant.objects.filter(not_ended(at), user=row.user).order_by("portfolio", "id").first()
    if grant is None:
        raise Refused("no_role", "You have no role in any portfolio, so nothing is told to you.", status=409)
    text = write_confirmation(row)
    draft = NoticeDraft(
        grant.portfolio_id,
        row.user,
        kind=CONFIRM,
        key=f"confirm {row.id}",
        level="routine",
        subject=text.subject,
        text=text.text,
        html=text.html,
        data={"destination": str(row.id)},
    )
    add_notice(draft, at)


def confirm_address(*, destination: UUID, at: datetime) -> Destination | None:
    """Confirm an address, from the message that was sent there. None where it is unknown or ended."""
    Destination.objects.filter(id=destination, ended_at=None, confirmed_at=None).update(confirmed_at=at)
    return Destination.objects.filter(id=destination, ended_at=None).first()


def remove_address(*, destination: UUID, user: User, at: datetime) -> bool:
    """End an address of one's own; return whether there was one."""
    rows = addresses_of(user).filter(id=destination)
    return rows.update(ended_at=at, end_reason="removed") == 1


def put_first(*, destination: UUID, user: User) -> bool:
    """Make an address of one's own the first that is tried; return whether there was one."""
    rows = list(addresses_of(user).filter(ended_at=None))
    rows.sort(key=lambda row: row.id != destination)
    for rank, row in enumerate(rows):
        Destination.objects.filter(id=row.id).update(rank=rank)
    return bool(rows) and rows[0].id == destination


@transaction.atomic
def change_secret(*, destination: UUID, user: User, at: datetime) -> NewAddress | None:
    """Give a webhook of one's own a new secret; the one before signs beside it for a day. None where it has none."""
    row = Destination.objects.select_for_update().filter(id=destination, user=user, ended_at=None).first()
    if row is None or not row.secret:
        return None
    row.previous_secret, row.previous_until, row.secret = row.secret, at + SECRET_OVERLAP, _new_secret()
    row.save(update_fields=["previous_secret", "previous_until", "secret"])
    return NewAddress(row, row.secret)


@dataclass(frozen=True, slots=True)
class WantedChoices:
    """What a person wants: quiet hours (both or none), zone ("" the building's), digest, its hour, single notices."""

    quiet_from: time | None
    quiet_until: time | None
    zone: str
    digest: str
    digest_hour: int
    says_nothing_new: bool
    single: bool


def choices_of(user: User) -> NoticeChoices | None:
    """Return what a person chose; None where nothing was chosen."""
    return NoticeChoices.objects.filter(user=user).first()


def keep_choices(*, user: User, choices: WantedChoices) -> NoticeChoices:
    """Store a person's choices. Raises Refused (422) with every fault."""
    faults = list(_choice_faults(choices))
    if faults:
        raise Refused.from_faults(faults, status=422)
    values = {name: getattr(choices, name) for name in WantedChoices.__slots__}
    return NoticeChoices.objects.update_or_create(user=user, defaults=values)[0]


def _choice_faults(choices: WantedChoices) -> Iterator[Fault]:
    if (choices.quiet_from is None) != (choices.quiet_until is None):
        yield Fault("required", "Quiet hours need a beginning and an end.", ("quiet_until",))
    if choices.zone and choices.zone not in available_timezones():
        yield Fault("bad_value", "This is no time zone, such as America/New_York.", ("zone",))
    if choices.digest not in DIGEST_KINDS:
        yield Fault("bad_value", f"One of {', '.join(DIGEST_KINDS)}.", ("digest",))
    if not 0 <= choices.digest_hour <= 23:
        yield Fault("out_of_range", "An hour from 0 to 23.", ("digest_hour",))


def stop_kind(*, user: UUID, kind: str) -> bool:
    """End digests, or single notices, for a person; nothing else can be stopped. Return whether it could."""
    if kind not in ("digest", "single"):
        return False
    values = {"digest": "none"} if kind == "digest" else {"single": False}
    if not User.objects.filter(id=user).exists():
        return False
    NoticeChoices.objects.update_or_create(user_id=user, defaults=values)
    return True
