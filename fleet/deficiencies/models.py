"""Deficiencies, one row per (boiler, position, rule, episode) and recomputed in place; and people's acts about them."""

from django.db import models

from fleet.accounts.models import User
from fleet.portfolio.models import Boiler, Position
from fleet.records.base_model import Row
from fleet.visits.models import Entry


class Deficiency(Row):
    """A conclusion with a status: open → repaired, not proven → closed; or withdrawn when its cause is taken away.

    `version` grows with every change and every act. An act names the version it was decided on.
    """

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="deficiencies")
    position = models.ForeignKey(Position, models.PROTECT, null=True, related_name="+")
    rule = models.CharField(max_length=64)
    episode = models.PositiveIntegerField()
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Entry, models.PROTECT, null=True, related_name="+")
    found_at = models.DateTimeField(null=True)  # when it was found last: repairs before that did not help
    levels = models.JSONField()
    sentence = models.TextField()
    clears_by = models.JSONField(default=list)
    repaired_at = models.DateTimeField(null=True)
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(Entry, models.PROTECT, null=True, related_name="+")
    withdrawn = models.BooleanField(default=False)  # no longer concluded: its cause is gone, or it was merged
    merged_into = models.ForeignKey("self", models.PROTECT, null=True, related_name="swallowed")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["boiler", "position", "rule", "episode"], name="deficiency_episode", nulls_distinct=False
            ),
            models.CheckConstraint(
                condition=models.Q(merged_into=None) | models.Q(withdrawn=True), name="deficiency_merged_is_gone"
            ),
        ]
        indexes = [
            # read by the board and the deficiency list
            models.Index(fields=["boiler"], condition=models.Q(closed_at=None, withdrawn=False), name="deficiency_open")
        ]

    @property
    def status(self) -> str:
        """The status by evidence alone: open, repaired (claimed, not proven), closed, withdrawn or merged."""
        if self.withdrawn:
            return "merged" if self.merged_into_id else "withdrawn"
        if self.closed_at:
            return "closed"
        return "repaired" if self.repaired_at else "open"


class DeficiencyAct(Row):
    """A fact: what somebody decided about a deficiency. Never changed; its effect is derived (`life.py`).

    `episode_at` is when its episode had opened as known at the decision: it finds the episode again after late evidence
    joined, split or renumbered episodes. `level` is the class at the decision.
    """

    deficiency = models.ForeignKey(Deficiency, models.PROTECT, related_name="acts")
    kind = models.CharField(max_length=32)  # assigned, repair_reported, deferred, explained
    acted_on = models.PositiveIntegerField()
    episode_at = models.DateTimeField()
    level = models.CharField(max_length=16)
    at = models.DateTimeField()
    until = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    assignee = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    cause = models.CharField(max_length=64, blank=True)
    reason = models.TextField(blank=True)
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        db_table = "deficiencies_act"
        constraints = [
            # Only one act per version: of two people who decide at once, one is refused.
            models.UniqueConstraint(fields=["deficiency", "acted_on"], name="deficiency_act_once"),
        ]
