"""What was done at a boiler, by whom and when. Rows are never changed: a correction is another visit."""

from django.db import models
from django.db.models import Q

from fleet.accounts.models import User
from fleet.portfolio.models import Boiler, Device, Position
from fleet.records.base_model import Row
from fleet.rules.vocabulary import NAME_ANSWERS, PAPER_BODIES, OperatorRelay, values_of


class Visit(Row):
    """People at one boiler, once. `digest` is the SHA-256 of the validated, normalised content."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="visits")
    kind = models.CharField(max_length=32)
    performed_at = models.DateTimeField()
    posted_at = models.DateTimeField()
    posted_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    call_for_heat = models.BooleanField(null=True)
    state_on_arrival = models.CharField(max_length=16)
    left_as = models.CharField(max_length=16, blank=True)
    leaving_checks = models.JSONField(default=dict)
    note = models.TextField(blank=True)
    corrects = models.OneToOneField("self", models.PROTECT, null=True, related_name="corrected_by")
    reason = models.TextField(blank=True)
    void = models.BooleanField(default=False)
    register_answers = models.JSONField(default=list)  # of what the register left out: role, answer, kind, reason
    names_need_second = models.BooleanField(default=False)  # False: posted when whoever was named counted as written
    # Whether the post relays what an operator told; written with the post, since roles end.
    operator_relay = models.CharField(max_length=16, default=OperatorRelay.ANYBODY.value)
    digest = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(operator_relay__in=values_of(OperatorRelay)), name="operator_relay_is_known"
            )
        ]
        indexes = [models.Index(fields=["boiler", "performed_at"], name="visit_of_boiler")]  # read by evidence.gather


class PaperOfOthers(Row):
    """The paper of a valve shop, inspector, backflow tester or utility on which a visit's entries rest.

    Not a `portfolio.Paper`, which says until when something is allowed. The file itself may be kept in the room
    `files`: its name and SHA-256 say which one it is.
    """

    visit = models.OneToOneField(Visit, models.PROTECT, related_name="paper")
    body = models.CharField(max_length=32)
    name = models.CharField(max_length=200)
    number = models.CharField(max_length=64)
    dated_on = models.DateField()  # the building's day
    file_name = models.CharField(max_length=200)
    file_sha256 = models.CharField(max_length=64)
    file_size = models.PositiveIntegerField()  # in bytes
    file_type = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(body__in=PAPER_BODIES), name="paper_body_is_known"),
            models.CheckConstraint(condition=~Q(name="") & ~Q(number=""), name="paper_is_named"),
        ]


class Seconding(Row):
    """A second qualified name under a correction or a paper: only with one it ends a hold."""

    visit = models.OneToOneField(Visit, models.PROTECT, related_name="seconding")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()


class NameAnswer(Row):
    """What somebody whom another's post names says of it: that it was so, or that it was not."""

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="name_answers")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    answer = models.CharField(max_length=16)
    reason = models.TextField(blank=True, default="")  # of a denial, in the denier's own words

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "by"], name="name_answered_once"),
            models.CheckConstraint(condition=Q(answer__in=NAME_ANSWERS), name="name_answer_is_known"),
        ]


class Attendance(Row):
    """Who was there. Their qualifications are looked up as of `performed_at`."""

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="people")
    user = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    name = models.CharField(max_length=200, blank=True)

    @property
    def display_name(self) -> str:
        """The name of the account; of somebody without one, the name that was entered."""
        return self.user.display_name if self.user else self.name


class Photograph(Row):
    """A picture taken at a visit, of one of its entries or of the whole: what tells it from others, never its bytes."""

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="photographs")
    number = models.PositiveSmallIntegerField()
    entry = models.ForeignKey("Entry", models.PROTECT, null=True, related_name="photographs")
    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    type = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "number"], name="photograph_number"),
            models.UniqueConstraint(fields=["visit", "sha256"], name="photograph_once"),
        ]
        indexes = [models.Index(fields=["sha256"], name="photograph_by_hash")]


class Entry(Row):
    """One entry of a visit, in the order done. Its id follows from visit and number, so a repeat is the same row."""

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="entries")
    number = models.PositiveSmallIntegerField()
    act = models.CharField(max_length=16)
    code = models.CharField(max_length=64, blank=True)
    procedure = models.ForeignKey("catalog.Procedure", models.PROTECT, null=True, related_name="+")
    position = models.ForeignKey(Position, models.PROTECT, null=True, related_name="entries")
    device = models.ForeignKey(Device, models.PROTECT, null=True, related_name="+")
    performed_at = models.DateTimeField()
    phase = models.CharField(max_length=16, blank=True)
    outcome = models.CharField(max_length=16, blank=True)
    why = models.CharField(max_length=32, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    values = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "number"], name="entry_number"),
            models.CheckConstraint(condition=~Q(act="test") | Q(procedure__isnull=False), name="test_has_procedure"),
        ]


class Reading(Row):
    """One reading of an entry, in the unit its name ends with: a number, a yes or no, or a word."""

    entry = models.ForeignKey(Entry, models.PROTECT, related_name="readings")
    name = models.CharField(max_length=64)
    number = models.FloatField(null=True)
    flag = models.BooleanField(null=True)
    word = models.CharField(max_length=64, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["entry", "name"], name="reading_once")]
