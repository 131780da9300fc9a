"""Alerts (the database allows one open row per condition, subject and boiler), acts about them, and surveys."""

from typing import Any

from django.db import models
from django.db.models import Q

from fleet.accounts.models import User
from fleet.portfolio.models import Boiler
from fleet.records.base_model import Row


class NotWithdrawnManager(models.Manager[Any]):
    """The alerts that are not withdrawn. `Alert.with_withdrawn` also gives those whose cause a correction removed."""

    def get_queryset(self) -> models.QuerySet[Any]:
        """Leave withdrawn alerts out."""
        return super().get_queryset().filter(withdrawn=False)


class Alert(Row):
    """A condition that holds or held. `since` and `until` are its own, `raised_at` and `returned_at` times of storing.

    `acknowledged_at` and `shelved_until` follow from its acts; acts recorded before `acts_from` no longer count.
    """

    boiler = models.ForeignKey(Boiler, models.PROTECT, null=True, related_name="alerts")
    condition = models.CharField(max_length=32)
    subject = models.UUIDField()
    since = models.DateTimeField()
    until = models.DateTimeField(null=True)
    level = models.CharField(max_length=16)
    sentence = models.TextField()
    lines = models.JSONField(default=list)  # what else of the same event stands against firing
    raised_at = models.DateTimeField()
    returned_at = models.DateTimeField(null=True)
    withdrawn = models.BooleanField(default=False)
    acts_from = models.DateTimeField(null=True)
    times_raised = models.PositiveIntegerField(default=0)  # 0: stored before it was counted
    acknowledged_at = models.DateTimeField(null=True)
    shelved_until = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    objects = NotWithdrawnManager()
    with_withdrawn = models.Manager()

    class Meta:
        default_manager_name = "objects"
        constraints = [
            models.UniqueConstraint(
                fields=["condition", "subject", "boiler"],
                condition=Q(until=None, withdrawn=False),
                name="alert_open_once",
                nulls_distinct=False,
            ),
            models.UniqueConstraint(
                fields=["condition", "subject", "boiler", "since"],
                condition=Q(withdrawn=False),
                name="alert_once",
                nulls_distinct=False,
            ),
        ]
        indexes = [models.Index(fields=["portfolio", "-raised_at"], name="alert_feed")]

    @property
    def status(self) -> str:
        """Raised, acknowledged, shelved, returned (to normal) or withdrawn."""
        if self.withdrawn:
            return "withdrawn"
        if self.until:
            return "returned"
        if self.shelved_until:
            return "shelved"
        return "acknowledged" if self.acknowledged_at else "raised"


class AlertAct(Row):
    """A fact: what somebody decided about an alert. Never changed; its effect is derived (`acts.effect_of_acts`)."""

    alert = models.ForeignKey(Alert, models.PROTECT, related_name="acts")
    kind = models.CharField(max_length=32)  # acknowledged, shelved
    acted_on = models.PositiveIntegerField()
    level = models.CharField(max_length=16)
    at = models.DateTimeField()
    until = models.DateTimeField(null=True)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    reason = models.TextField(blank=True)
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        db_table = "alerts_act"
        constraints = [models.UniqueConstraint(fields=["alert", "acted_on"], name="alert_act_once")]


class Survey(Row):
    """What the alerts of portfolio and building are made from: when a boiler was not surveyed, and its heat.

    A conclusion; its id is the boiler's.
    """

    boiler = models.OneToOneField(Boiler, models.PROTECT, related_name="survey")
    spans = models.JSONField()  # [[since, until or null], …]
    gaps = models.JSONField(default=list)  # [rules.answers.register_gaps.GapSpan, …]
    heat = models.JSONField(default=dict)  # rules.values.Heat
