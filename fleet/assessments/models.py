"""Conclusions about visits, recomputed in place; and answers, a log that is never changed."""

from django.db import models

from fleet.portfolio.models import Boiler, Position
from fleet.records.base_model import Row
from fleet.visits.models import Entry, Visit


class Verdict(Row):
    """The verdict on one entry. Its id is the entry's."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="+")
    entry = models.OneToOneField(Entry, models.PROTECT, related_name="verdict")
    outcome = models.CharField(max_length=16)
    grade = models.CharField(max_length=16, blank=True)
    proves = models.CharField(max_length=16, blank=True)
    limit = models.CharField(max_length=200, blank=True)
    set_value = models.FloatField(null=True)
    source = models.CharField(max_length=200, blank=True)
    question = models.TextField(blank=True)
    sentence = models.TextField()
    relayed_from = models.JSONField(default=list)  # ids of the operators on whose word alone, told to the poster


class Finding(Row):
    """A rule that fired in a visit, and the entries it rests on."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="+")
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="findings")
    position = models.ForeignKey(Position, models.PROTECT, null=True, related_name="+")
    entry = models.ForeignKey(Entry, models.PROTECT, related_name="findings")
    rule = models.CharField(max_length=64)
    entries = models.JSONField()
    level = models.CharField(max_length=16)
    sentence = models.TextField()
    first_act = models.TextField(blank=True)


class Readiness(Row):
    """What stands against firing the boiler after a visit that had it in hand. Its id is the visit's."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="+")
    visit = models.OneToOneField(Visit, models.PROTECT, related_name="readiness")
    answer = models.CharField(max_length=32)
    missing = models.JSONField()
    not_looked_at = models.JSONField()


class Waiting(Row):
    """What waits for somebody's word. Its id is the visit's.

    A correction has no effect until a second qualified person stands behind it. A paper lacks what it needs to end a
    hold or a tag; all else of it counts. A visit that names `people` who have not seconded it counts with what its
    poster and those who did were qualified for; a correction may wait for both.
    """

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="+")
    visit = models.OneToOneField(Visit, models.PROTECT, related_name="waiting")
    subject = models.CharField(max_length=16, default="correction")  # or "paper", or "names" alone
    lacks = models.JSONField(default=list)  # of a paper: sentences
    people = models.JSONField(default=list)  # ids of those named whose word is missing
    counts_as = models.JSONField(default=list)  # where people are named: the qualifications that count meanwhile


class Answer(Row):
    """Log: the answer to a posted visit, word for word."""

    visit = models.OneToOneField(Visit, models.PROTECT, related_name="answer")
    body = models.TextField()  # JSON as it was sent: a JSON column would reorder it
    answered_at = models.DateTimeField()
