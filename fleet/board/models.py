"""What the board reads: segments in time, so that it is right at every instant even if no worker runs."""

from django.db import models

from fleet.portfolio.models import Boiler, Portfolio, Position
from fleet.records.base_model import Row


class Segment(Row):
    """A boiler's standing from an instant (None: from the beginning) to another (None: no end by time alone)."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="segments")
    since = models.DateTimeField(null=True)
    until = models.DateTimeField(null=True)
    standing = models.CharField(max_length=16)
    rank = models.PositiveSmallIntegerField()
    reasons = models.JSONField()
    then = models.TextField()
    bare = models.JSONField(default=list)  # codes of the hazards that stand bare

    class Meta:
        indexes = [models.Index(fields=["boiler", "until"], name="segment_at")]  # the board: since <= now < until


class StateSegment(Row):
    """A position's state from an instant to another, in the same way."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="+")
    position = models.ForeignKey(Position, models.PROTECT, related_name="segments")
    since = models.DateTimeField(null=True)
    until = models.DateTimeField(null=True)
    state = models.CharField(max_length=16)
    marks = models.JSONField(default=list)
    reason = models.JSONField()

    class Meta:
        indexes = [models.Index(fields=["boiler", "until"], name="state_segment_at")]


class ProofGlass(Row):
    """Until when a boiler's full proofs hold if nothing happens, and its operator proof; none before a first survey."""

    boiler = models.OneToOneField(Boiler, models.PROTECT, related_name="glass")
    hazard = models.CharField(max_length=32)
    position = models.ForeignKey(Position, models.PROTECT, related_name="+")
    procedure = models.CharField(max_length=40, blank=True)
    proved_at = models.DateTimeField(null=True)
    due_at = models.DateTimeField(null=True)
    exposed_at = models.DateTimeField()
    tick_proved_at = models.DateTimeField(null=True)
    tick_due_at = models.DateTimeField(null=True)


class Span(Row):
    """Something that held at the end of each local day from `since_day` up to, but not including, `until_day`.

    Figures are stored as spans of one boiler, not as counters, so that two posts about two boilers touch no common row.
    """

    # No index of its own: the unique constraints below begin with the boiler, and every judgement reads those.
    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="+", db_index=False)
    since_day = models.DateField()
    until_day = models.DateField(null=True)

    class Meta:
        abstract = True


class StandingSpan(Span):
    """A boiler's standing day by day, by present knowledge, from its register date on."""

    standing = models.CharField(max_length=16)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["boiler", "since_day"], name="standing_span_once")]
        indexes = [
            models.Index(fields=["portfolio", "since_day"], name="standing_span_begins"),  # read by figures
            models.Index(fields=["portfolio", "until_day"], name="standing_span_ends"),
        ]


class ClassSpan(Span):
    """The class of one open deficiency day by day, by present knowledge; `opened_day` gives its age on any of them."""

    deficiency = models.UUIDField()  # no foreign key: a deficiency that only time will open has no row yet
    rule = models.CharField(max_length=64)
    level = models.CharField(max_length=16)
    opened_day = models.DateField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["boiler", "deficiency", "since_day"], name="class_span_once")]
        indexes = [
            models.Index(fields=["portfolio", "since_day"], name="class_span_begins"),  # read by figures
            models.Index(fields=["portfolio", "until_day"], name="class_span_ends"),
        ]


class Judged(Row):
    """When a boiler was last judged, by which build, and when time alone next changes it. Its id is the boiler's."""

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
            models.Index(  # read by pipeline.cache_validity: answers hold until then
                fields=["portfolio", "next_at"],
                condition=models.Q(next_at__isnull=False),
                name="judged_portfolio_next",
            ),
        ]


class Pulse(models.Model):
    """One row per portfolio, updated last in every write: its version orders the feed without gaps."""

    portfolio = models.OneToOneField(Portfolio, models.PROTECT, primary_key=True, related_name="pulse")
    version = models.BigIntegerField(default=0)


class Change(Row):
    """Log: what changed, why and by whom; numbered within its pulse version."""

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
    reason = models.TextField(blank=True)  # as given by whoever decided it
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["portfolio", "version", "number"], name="change_order")]
