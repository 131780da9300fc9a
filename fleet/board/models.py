"""What the board reads: segments in time, so that it is right at every instant even when nothing runs."""

from django.db import models

from fleet.portfolio.models import Boiler, Portfolio, Position
from fleet.portfolio.rows import Row


class Segment(Row):
    """A boiler's standing from an instant (None: always was) to another (None: no end known by time alone)."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="segments")
    since = models.DateTimeField(null=True)
    until = models.DateTimeField(null=True)
    standing = models.CharField(max_length=16)
    rank = models.PositiveSmallIntegerField()
    reasons = models.JSONField()
    then = models.TextField()

    class Meta:
        indexes = [models.Index(fields=["boiler", "until"], name="segment_at")]  # the board: since <= now < until


class StateSegment(Row):
    """One position's state in the same way."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="+")
    position = models.ForeignKey(Position, models.PROTECT, related_name="segments")
    since = models.DateTimeField(null=True)
    until = models.DateTimeField(null=True)
    state = models.CharField(max_length=16)
    marks = models.JSONField(default=list)
    reason = models.JSONField()

    class Meta:
        indexes = [models.Index(fields=["boiler", "until"], name="state_segment_at")]


class Judged(Row):
    """When a boiler was last judged, by which build, and when time alone next changes it. The id is the boiler's."""

    boiler = models.OneToOneField(Boiler, models.PROTECT, related_name="judged")
    judged_at = models.DateTimeField()
    build = models.CharField(max_length=64)
    next_at = models.DateTimeField(null=True)
    failures = models.PositiveIntegerField(default=0)
    retry_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(fields=["next_at"], name="judged_next"),  # read by the sweep
            models.Index(fields=["build"], name="judged_build"),  # read by the sweep after a deploy
        ]


class Pulse(models.Model):
    """One row per portfolio, written last in every write: its version orders the feed without gaps."""

    portfolio = models.OneToOneField(Portfolio, models.PROTECT, primary_key=True, related_name="pulse")
    version = models.BigIntegerField(default=0)


class Change(Row):
    """Log: what became different, why and through whom; numbered within the pulse version that carried it."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, null=True, related_name="+")
    version = models.BigIntegerField()
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=32)
    subject = models.UUIDField()
    before = models.CharField(max_length=32, blank=True)
    after = models.CharField(max_length=32, blank=True)
    sentence = models.TextField()
    rule = models.CharField(max_length=64, blank=True)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    who = models.CharField(max_length=200, blank=True)
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["portfolio", "version", "number"], name="change_order")]
