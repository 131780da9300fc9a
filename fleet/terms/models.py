"""Adopted terms. Rows are only added."""

from django.db import models

from fleet.accounts.models import User
from fleet.records.base_model import Row


class Adoption(Row):
    """Evidence: one version of a portfolio's terms. `starts_on` is a local day; None: from the beginning."""

    version = models.PositiveIntegerField()
    starts_on = models.DateField(null=True)
    season = models.CharField(max_length=11, blank=True)  # "10-01/05-31", "" where heat never stops
    urgent_days = models.PositiveIntegerField(default=7)
    due_soon_days = models.PositiveIntegerField(default=14)
    operator_firing_days = models.PositiveIntegerField(default=30)
    variants = models.JSONField(default=dict)  # procedure code → the published variant adopted
    overrides = models.JSONField(default=dict)  # procedure code → {interval, anchor, grace_days, source}
    gauge_most_psi = models.FloatField(default=60.0)
    relief_rule = models.CharField(max_length=16, default="output_only")
    posted_at = models.DateTimeField()
    posted_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["portfolio", "version"], name="adoption_version"),
        ]
