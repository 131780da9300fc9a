"""A boiler's card, the PIN of a named operator, and which visits came by a card."""

from django.db import models
from django.db.models import Q

from fleet.accounts.models import User
from fleet.portfolio.models import Boiler
from fleet.records.base_model import Row
from fleet.visits.models import Visit


class Card(Row):
    """The card on one boiler's wall, until it is ended. Only the SHA-256 of its address's secret is stored.

    `key_mark` tells which signing key made its address (`addresses.key_mark`); "" of cards from before it was kept.
    """

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="cards")
    digest = models.CharField(max_length=64, unique=True)
    key_mark = models.CharField(max_length=16, default="")
    made_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)
    revoked_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["boiler"], condition=Q(revoked_at=None), name="one_card_of_a_boiler"),
            models.CheckConstraint(
                condition=Q(revoked_at=None, revoked_by=None) | Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="card_revoked_by_somebody",
            ),
        ]


class Pin(Row):
    """A named operator's PIN in one portfolio, as a salted password hash. Its holder alone sets it.

    `failures` counts the wrong tries since the last right one; before `closed_until` no try is looked at.
    """

    user = models.ForeignKey(User, models.CASCADE, related_name="pins")
    digest = models.CharField(max_length=200)
    set_at = models.DateTimeField()
    failures = models.PositiveSmallIntegerField(default=0)
    closed_until = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["portfolio", "user"], name="pin_of_a_person_once")]


class CardPost(Row):
    """Which visit came by which card; its id is the visit's, and came with the form, so that a repeat is known.

    `digest` is the SHA-256 of what was sent, its PIN aside. `pin` is one of `pins.PIN_OUTCOMES`.
    """

    card = models.ForeignKey(Card, models.PROTECT, related_name="posts")
    visit = models.OneToOneField(Visit, models.PROTECT, related_name="card_post")
    digest = models.CharField(max_length=64)
    at = models.DateTimeField()
    pin = models.CharField(max_length=16)

    class Meta:
        indexes = [
            models.Index(fields=["card", "at"], name="posts_of_a_card")
        ]  # read by pipeline.cards, for its limits
