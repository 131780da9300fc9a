"""Users, grants, qualifications and keys. A role says what one may do here, a qualification what the trade allows."""

import uuid
from datetime import datetime
from typing import TypeVar

from django.contrib.auth.models import AbstractUser
from django.db import models

from fleet.accounts.scopes import Reach
from fleet.accounts.telephone import LONGEST, dialable
from fleet.portfolio.models import Boiler, Building, Portfolio
from fleet.records.base_model import Row


class User(AbstractUser):
    """A person who signs in."""

    date_joined = None  # type: ignore[assignment]  # the framework's field would read the clock itself
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    # Units in which pages show quantities: "both" (US, SI in brackets), "us" or "si". The API does not use it.
    units = models.CharField(max_length=8, default="both", choices=[(u, u) for u in ("both", "us", "si")])
    # Optional; shown on the pages of the buildings where this person works, to those who may see them.
    telephone = models.CharField(max_length=LONGEST, blank=True, default="", validators=[dialable])
    # Something may wait for this person's answer: then pages show the way to it, without asking at each page.
    is_asked = models.BooleanField(default=False)
    reach: Reach | None = None  # no column: set where a key authenticates the person, and used by the policy

    @property
    def display_name(self) -> str:
        """The full name; without one, the user name."""
        return self.get_full_name() or self.get_username()


StoredModel = TypeVar("StoredModel", bound=models.Model)


class AcceptedManager(models.Manager[StoredModel]):
    """What the person has accepted, or did not have to be asked about. What still waits for an answer gives nothing."""

    def get_queryset(self) -> models.QuerySet[StoredModel]:
        """Leave out what waits."""
        return super().get_queryset().filter(waits_since=None)


class Grant(Row):
    """A role of a person in one portfolio, or one building of it, until an instant.

    `waits_since`: the person belongs to other portfolios and has not accepted it yet. `longer_since`: the person has
    accepted it until `until`, and is asked since then to keep it until `longer_until`. `is_from_job`: it came with a
    planned job and nobody gave it; it is a row beside a role that somebody gave, and who has only such grants does not
    belong to the portfolio.
    """

    user = models.ForeignKey(User, models.CASCADE, related_name="grants")
    role = models.CharField(max_length=32)
    building = models.ForeignKey(Building, models.PROTECT, null=True, blank=True, related_name="grants")
    until = models.DateTimeField(null=True, blank=True)
    waits_since = models.DateTimeField(null=True, blank=True)
    longer_since = models.DateTimeField(null=True, blank=True)
    longer_until = models.DateTimeField(null=True, blank=True)  # null: without end
    is_from_job = models.BooleanField(default=False)

    objects = AcceptedManager()
    asked_or_accepted = models.Manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "role", "portfolio", "building", "is_from_job"], name="grant_once", nulls_distinct=False
            )
        ]

    @property
    def asked_since(self) -> datetime | None:
        """Since when the person is asked about it; None where nothing waits."""
        return self.waits_since or self.longer_since

    @property
    def asked_until(self) -> datetime | None:
        """The end about which the person is asked."""
        return self.until if self.waits_since else self.longer_until


class GrantRecord(Row):
    """A fact: what became of a grant, when and by whom. Never changed, so that grants keep their history.

    `kind` is one of `grants.RECORD_KINDS`; `until` is the end that the grant had from then on.
    """

    grant = models.ForeignKey(Grant, models.PROTECT, related_name="records")
    kind = models.CharField(max_length=16)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")  # null: it followed from a job
    until = models.DateTimeField(null=True)


class Qualification(models.Model):
    """What the trade or the law lets a person do, from an instant to another.

    It counts only in `portfolio`, whose managers entered it: nobody qualifies people for another portfolio's boilers.
    Without a portfolio the installation vouches for it, and it counts everywhere. `waits_since`: as of a grant.
    """

    user = models.ForeignKey(User, models.CASCADE, related_name="qualifications")
    code = models.CharField(max_length=32)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    portfolio = models.ForeignKey(Portfolio, models.PROTECT, null=True, blank=True, related_name="+")
    waits_since = models.DateTimeField(null=True, blank=True)

    objects = AcceptedManager()
    asked_or_accepted = models.Manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "code", "since", "portfolio"], name="qualification_once", nulls_distinct=False
            )
        ]


class Key(models.Model):
    """A bearer key. Only its SHA-256 is stored: the key itself is shown once."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, models.CASCADE, related_name="keys")
    name = models.CharField(max_length=100)
    digest = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    scopes = models.JSONField(null=True)  # names of scopes.SCOPES; null: everything its owner may
    portfolio = models.ForeignKey(Portfolio, models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(null=True, blank=True)  # null: before this was noted
    last_used_at = models.DateTimeField(null=True, blank=True)


class BrowserSession(models.Model):
    """Where a person is signed in. The session itself is the framework's row under the same key."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, models.CASCADE, related_name="+")
    session_key = models.CharField(max_length=40, unique=True)
    device = models.CharField(max_length=60)  # in plain words
    began_at = models.DateTimeField()
    last_used_at = models.DateTimeField(db_index=True)  # read by purge


class Answered(models.Model):
    """The answer to a post under an Idempotency-Key. No body: it held a secret."""

    scope = models.CharField(max_length=64, unique=True)  # SHA-256 of user, route and key
    user = models.ForeignKey(User, models.CASCADE, related_name="+")
    digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField(default=dict)
    body = models.BinaryField(null=True)
    at = models.DateTimeField(db_index=True)  # read by purge


class Attempt(models.Model):
    """Failed sign-ins under one user name, or from one address, since the last success or a long pause."""

    subject = models.CharField(max_length=64, unique=True)  # an HMAC: somebody may type a password as a name
    failures = models.PositiveIntegerField(default=0)
    last_at = models.DateTimeField(db_index=True)  # read by purge
    until = models.DateTimeField()  # before this instant nothing is tried


class RefusedPost(models.Model):
    """A refused visit as it was sent, for the office; it is no fact. Kept 30 days.

    Boiler and portfolio are those the body names, where the poster has or had a grant there; else they are empty.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, models.CASCADE, related_name="+")
    key = models.UUIDField(null=True)  # the key it came with; none: a session
    at = models.DateTimeField(db_index=True)  # read by purge
    request_id = models.CharField(max_length=64)
    route = models.CharField(max_length=200)
    status = models.PositiveSmallIntegerField()
    faults = models.JSONField()
    body = models.BinaryField()
    portfolio = models.ForeignKey(Portfolio, models.PROTECT, null=True, related_name="+")
    boiler = models.ForeignKey(Boiler, models.PROTECT, null=True, related_name="+")


class Absence(Row):
    """A person is away from a portfolio, from an instant to another (None: until further notice), or was to be.

    `stand_in` hears and does what comes to this person meanwhile; none: nobody does. `ended_at`: taken back then.
    """

    user = models.ForeignKey(User, models.PROTECT, related_name="absences")
    since = models.DateTimeField()
    until = models.DateTimeField(null=True)
    stand_in = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    reason = models.CharField(max_length=32)  # one of absences.REASONS
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(until=None) | models.Q(until__gt=models.F("since")), name="absence_has_length"
            )
        ]
        indexes = [models.Index(fields=["user", "since"], name="absence_of_person")]


class Look(models.Model):
    """Up to which instant a person has looked through the alerts, by their own action. It only moves forward."""

    user = models.OneToOneField(User, models.CASCADE, primary_key=True, related_name="+")
    until = models.DateTimeField()


class Installation(models.Model):
    """One row: what this database is for, noted once by the first start. `kind` is one of `installation.KIND_NAMES`."""

    kind = models.CharField(max_length=16)
    noted_at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="installation_once")]
