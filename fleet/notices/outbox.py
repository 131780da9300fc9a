"""The outbox: notices are added in the transaction that caused them, folded where they are too many, and claimed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from fleet.accounts.models import User
from fleet.notices.models import FOLDED, WAITING, Notice, NoticeChoices
from fleet.notices.quiet_hours import end_of_quiet

MAX_PER_HOUR = 10  # to one person; more are told together
FOLD_DELAY = timedelta(minutes=10)  # how long they are gathered
MAX_FOLDED_LINES = 40
CLAIM_TIME = timedelta(minutes=2)  # longer than any attempt: after that the worker that had it is taken for dead
DEFAULT_ZONE = "UTC"
CONFIRM = "confirm"  # asks at a new address whether it is the person's own
PULSE = "pulse"  # in a digest's data: the version of the portfolio's pulse that it was written at
KEPT_HERE = ("channel", "may_answer", "state", PULSE)  # in a notice's data, for this site alone
SENT_ALONE = ("digest", CONFIRM)  # neither folded nor counted: one says it all, the other goes to one address only


@dataclass(frozen=True, slots=True)
class NoticeDraft:
    """What is to be told to one person. `zone` is that of the building, for quiet hours; `interrupts` passes them."""

    portfolio: UUID
    user: User
    kind: str
    key: str
    level: str
    subject: str
    text: str
    html: str = ""
    data: dict[str, object] = field(default_factory=dict)
    building: UUID | None = None
    zone: str = DEFAULT_ZONE
    interrupts: bool = False
    chart: bytes | None = None
    id: UUID | None = None


def add_notice(draft: NoticeDraft, at: datetime) -> Notice:
    """Write a notice, once for each key: a second one with the same key changes nothing and returns the first."""
    is_asked_for = draft.kind == CONFIRM  # its person waits for it before the page
    due_at = at if draft.interrupts or is_asked_for else _first_allowed(draft, at)
    values = {
        "portfolio_id": draft.portfolio,
        "user": draft.user,
        "kind": draft.kind,
        "building_id": draft.building,
        "level": draft.level,
        "is_danger": draft.interrupts,
        "subject": _one_line(draft.subject),
        "text": draft.text,
        "html": draft.html,
        "data": draft.data,
        "chart": draft.chart,
        "created_at": at,
        "due_at": due_at,
        "next_at": due_at,
    }
    if draft.id is not None:
        values["id"] = draft.id
    notice, is_new = Notice.objects.get_or_create(key=draft.key, defaults=values)
    if is_new and draft.kind not in SENT_ALONE:
        _fold_where_too_many(notice, draft, at)
    return notice


def _first_allowed(draft: NoticeDraft, at: datetime) -> datetime:
    choices = NoticeChoices.objects.filter(user=draft.user).first()
    if choices is None:
        return at
    return end_of_quiet(at, choices.quiet_from, choices.quiet_until, choices.zone or draft.zone)


def _one_line(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 200 else line[:199] + "…"


def _fold_where_too_many(notice: Notice, draft: NoticeDraft, at: datetime) -> None:
    """Tell a person together what comes beyond so many notices in an hour: a bad night must not send hundreds."""
    recent = Notice.objects.filter(user=draft.user, created_at__gt=at - timedelta(hours=1), created_at__lte=at)
    if recent.exclude(status=FOLDED).exclude(id=notice.id).exclude(kind__in=SENT_ALONE).count() < MAX_PER_HOUR:
        return
    is_waiting = Q(kind="folded", status=WAITING, due_at__gt=at, claimed_until=None)
    gathered = Notice.objects.filter(is_waiting, user=draft.user, portfolio=draft.portfolio, tries=0)
    whole = gathered.order_by("created_at").select_for_update().first() or Notice.objects.create(
        portfolio_id=draft.portfolio,
        user=draft.user,
        kind="folded",
        key=f"folded {draft.user.id} {notice.id}",
        level=notice.level,
        is_danger=notice.is_danger,
        subject="",
        text="",
        created_at=at,
        due_at=max(at, notice.due_at) + FOLD_DELAY,
        next_at=max(at, notice.due_at) + FOLD_DELAY,
    )
    notice.status, notice.folded_into = FOLDED, whole
    notice.save(update_fields=["status", "folded_into"])
    _write_folded(whole, notice)


def _write_folded(whole: Notice, newest: Notice) -> None:
    """Make the message that stands for several equal to what it stands for: the worst first, then the oldest."""
    parts = list(Notice.objects.filter(folded_into=whole))
    parts.sort(key=lambda part: (not part.is_danger, part.created_at))
    whole.is_danger = any(part.is_danger for part in parts)
    if newest.is_danger and whole.due_at > newest.due_at + FOLD_DELAY:
        whole.due_at = whole.next_at = newest.due_at + FOLD_DELAY
    whole.level = parts[0].level
    whole.subject = _one_line(f"{len(parts)} more, the worst: {parts[0].subject}")
    lines = [f"* {part.subject}" for part in parts[:MAX_FOLDED_LINES]]
    if len(parts) > MAX_FOLDED_LINES:
        lines.append(f"And {len(parts) - MAX_FOLDED_LINES} more: see the alerts.")
    first = f"More than {MAX_PER_HOUR} messages within an hour: these {len(parts)} are told together."
    whole.text = "\n".join([first, "", *lines, "", parts[0].text])
    told_data = [data_for_receivers(part.data) for part in parts[:MAX_FOLDED_LINES]]
    whole.data = {"folded": told_data, "count": len(parts)}
    whole.save()


def data_for_receivers(data: Mapping[str, object]) -> dict[str, object]:
    """Return of a notice's data what programs read at the other end."""
    return {key: value for key, value in data.items() if key not in KEPT_HERE}


def claim_notice(at: datetime, but_not: Sequence[UUID] = ()) -> Notice | None:
    """Claim the next notice that is to be sent, for `CLAIM_TIME`; None where there is none.

    What interrupts comes first. What another worker has is passed over; what a worker had that died comes again.
    """
    with transaction.atomic():
        ready = Notice.objects.filter(Q(claimed_until=None) | Q(claimed_until__lte=at), status=WAITING, next_at__lte=at)
        rows = ready.exclude(id__in=list(but_not)).select_for_update(skip_locked=True)
        notice = rows.order_by("-is_danger", "next_at", "id").first()
        if notice is not None:
            notice.claimed_until = at + CLAIM_TIME
            notice.tries += 1
            notice.save(update_fields=["claimed_until", "tries"])
    return notice


def waiting_counts(at: datetime) -> tuple[int, datetime | None]:
    """Return how many notices should have been sent by now, and since when the oldest of them waits."""
    waiting = Notice.objects.filter(status=WAITING, next_at__lte=at)
    return waiting.count(), waiting.order_by("next_at").values_list("due_at", flat=True).first()
