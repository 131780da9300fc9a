"""One row per (boiler, position, rule, episode); its derived columns are recomputed in place."""

from django.db import models

from fleet.portfolio.models import Boiler, Position
from fleet.portfolio.rows import Row
from fleet.visits.models import Entry


class Deficiency(Row):
    """A conclusion with a life: open → repaired, not proven → closed; or withdrawn when its cause is taken away."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="deficiencies")
    position = models.ForeignKey(Position, models.PROTECT, null=True, related_name="+")
    rule = models.CharField(max_length=64)
    episode = models.PositiveIntegerField()
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Entry, models.PROTECT, null=True, related_name="+")
    levels = models.JSONField()
    sentence = models.TextField()
    clears_by = models.JSONField(default=list)
    repaired_at = models.DateTimeField(null=True)
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(Entry, models.PROTECT, null=True, related_name="+")
    withdrawn = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["boiler", "position", "rule", "episode"], name="deficiency_episode", nulls_distinct=False
            )
        ]
        indexes = [
            # read by the board and the deficiency list
            models.Index(fields=["boiler"], condition=models.Q(closed_at=None, withdrawn=False), name="deficiency_open")
        ]

    @property
    def status(self) -> str:
        """Where it is in its life: open, repaired (claimed, not proven), closed or withdrawn."""
        if self.withdrawn:
            return "withdrawn"
        if self.closed_at:
            return "closed"
        return "repaired" if self.repaired_at else "open"
