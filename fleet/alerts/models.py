"""One open row per condition and subject, held by the database."""

from django.db import models

from fleet.portfolio.models import Boiler
from fleet.portfolio.rows import Row


class Alert(Row):
    """`since` and `until` are the condition's own; `raised_at` and `returned_at` say when it was written down."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, null=True, related_name="alerts")
    condition = models.CharField(max_length=32)
    subject = models.UUIDField()
    since = models.DateTimeField()
    until = models.DateTimeField(null=True)
    level = models.CharField(max_length=16)
    sentence = models.TextField()
    raised_at = models.DateTimeField()
    returned_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["condition", "subject"], condition=models.Q(until=None), name="alert_open_once"
            ),
            models.UniqueConstraint(fields=["condition", "subject", "since"], name="alert_once"),
        ]
        indexes = [models.Index(fields=["portfolio", "-raised_at"], name="alert_feed")]
