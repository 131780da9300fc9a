"""Call lists, people's addresses and choices, notices with every attempt to hand one over, and who was called."""

import uuid

from django.db import models
from django.db.models import Q

from fleet.accounts.models import User
from fleet.alerts.models import Alert
from fleet.portfolio.models import Building
from fleet.records.base_model import Row

WAITING, SENT, FAILED, FOLDED = "waiting", "sent", "failed", "folded"
EMPTY = "empty"  # a digest with nothing to say, for somebody who wants none of these: kept, and not sent
NOTICE_STATUSES = (WAITING, SENT, FAILED, FOLDED, EMPTY)


class CallList(Row):
    """A fact: the call list that somebody adopted for a portfolio (no building) or one building. The newest counts.

    `lines` are `call_list.lines.CallLine` as JSON; null: back to the wider list (portfolio, default).
    """

    building = models.ForeignKey(Building, models.PROTECT, null=True, related_name="+")
    lines = models.JSONField(null=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    number = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["portfolio", "building", "number"], name="call_list_once", nulls_distinct=False
            )
        ]


class Destination(models.Model):
    """An address at which a person is reached. Used once it is confirmed, and until it ends.

    `failures` in a row, `rests_until`: after failing it is left alone until then. `previous_secret` signs beside
    `secret` until `previous_until`, so that a receiver can change over.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, models.CASCADE, related_name="destinations")
    channel = models.CharField(max_length=32)
    address = models.TextField()
    label = models.CharField(max_length=100, blank=True)
    rank = models.PositiveSmallIntegerField(default=0)  # the lowest first
    secret = models.CharField(max_length=100, blank=True)
    previous_secret = models.CharField(max_length=100, blank=True)
    previous_until = models.DateTimeField(null=True)
    made_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    end_reason = models.CharField(max_length=200, blank=True)
    failures = models.PositiveIntegerField(default=0)
    failing_since = models.DateTimeField(null=True)
    rests_until = models.DateTimeField(null=True)
    told_at = models.DateTimeField(null=True)  # when something last arrived there

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "channel", "address"], condition=Q(ended_at=None), name="destination_once"
            )
        ]


class NoticeChoices(models.Model):
    """What a person chose, within limits: quiet hours and digests never hold back danger, a hold or a cold building."""

    user = models.OneToOneField(User, models.CASCADE, primary_key=True, related_name="notice_choices")
    quiet_from = models.TimeField(null=True)  # local; both or none
    quiet_until = models.TimeField(null=True)
    zone = models.CharField(max_length=64, blank=True)  # blank: that of the building the notice is about
    digest = models.CharField(max_length=8, default="daily")  # daily, weekly, none
    digest_hour = models.PositiveSmallIntegerField(default=7)
    says_nothing_new = models.BooleanField(default=True)  # a digest with nothing to say is sent, in one line
    single = models.BooleanField(default=False)  # what does not interrupt comes singly, not in the digest

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(quiet_from=None, quiet_until=None) | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="quiet_hours_whole",
            ),
            models.CheckConstraint(condition=Q(digest__in=("daily", "weekly", "none")), name="digest_is_known"),
        ]


class Notice(Row):
    """One message to one person, written in the transaction that caused it. Its id is the message's id everywhere.

    `key` makes it once (a digest of a day, say). `due_at`: not before (quiet hours). `next_at`: the next attempt.
    `claimed_until`: a worker has it. `folded_into`: it was told as a line of that notice.
    """

    user = models.ForeignKey(User, models.PROTECT, related_name="notices")
    kind = models.CharField(max_length=16)  # call, returned, single, slip, digest, folded
    key = models.CharField(max_length=200, unique=True)
    building = models.ForeignKey(Building, models.PROTECT, null=True, related_name="+")
    level = models.CharField(max_length=16)
    is_danger = models.BooleanField(default=False)
    subject = models.CharField(max_length=250)
    text = models.TextField()
    html = models.TextField(blank=True)
    data = models.JSONField(default=dict)
    chart = models.BinaryField(null=True)
    created_at = models.DateTimeField()
    due_at = models.DateTimeField()
    status = models.CharField(max_length=16, default=WAITING)
    next_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)
    answered_at = models.DateTimeField(null=True)  # its link to acknowledge was used: it works once
    tries = models.PositiveIntegerField(default=0)
    folded_into = models.ForeignKey("self", models.PROTECT, null=True, related_name="folded")

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(status__in=NOTICE_STATUSES), name="notice_status_is_known")]
        indexes = [
            models.Index(fields=["next_at"], condition=Q(status="waiting"), name="notice_waiting"),
            models.Index(fields=["user", "-created_at"], name="notice_of_person"),
            models.Index(fields=["portfolio", "-created_at"], name="notice_newest"),
        ]


class DeliveryAttempt(Row):
    """A fact: one try to hand a notice over, and what the receiver answered."""

    notice = models.ForeignKey(Notice, models.PROTECT, related_name="attempts")
    destination = models.ForeignKey(Destination, models.PROTECT, null=True, related_name="+")
    channel = models.CharField(max_length=32, blank=True)
    at = models.DateTimeField()
    outcome = models.CharField(max_length=16)
    answer = models.CharField(max_length=500)

    class Meta:
        db_table = "notices_attempt"


class AlertCall(Row):
    """That a person was called of an alert in one round.

    A round begins when the alert is raised, or raised anew, when an acknowledgment's time is over, and when a shelving
    ends. `returned`: the end of the alert was told, too, or needs no telling.
    """

    alert = models.ForeignKey(Alert, models.PROTECT, related_name="calls")
    user = models.ForeignKey(User, models.PROTECT, related_name="+")
    round_at = models.DateTimeField()
    at = models.DateTimeField()
    notice = models.ForeignKey(Notice, models.PROTECT, related_name="calls")
    returned = models.BooleanField(default=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["alert", "user", "round_at"], name="call_once")]
        indexes = [models.Index(fields=["portfolio"], condition=Q(returned=False), name="call_not_returned")]
