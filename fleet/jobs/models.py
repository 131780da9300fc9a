"""Jobs with what each asks for, what people did about them, the grants that came through them, and calendar feeds."""

from django.db import models

from fleet.accounts.models import Grant, User
from fleet.deficiencies.models import Deficiency
from fleet.jobs import states
from fleet.portfolio.models import Boiler, Building, Position
from fleet.records.base_model import Row
from fleet.visits.models import Visit


class Job(Row):
    """One trip to one building. What follows from acts and evidence is recomputed in place; `version` grows with it.

    Fixed when it is made: building, minutes (work and allowance), people, skills (qualification codes, all needed),
    parts. `level` is the worst class of its items, as asked or as they stand now. `ends_at` is the end of its planned
    day. `judged_at` never goes back. `next_at` is when time alone changes something. `technician` stays set on jobs
    that were missed or done.
    """

    building = models.ForeignKey(Building, models.PROTECT, related_name="jobs")
    created_at = models.DateTimeField()
    note = models.TextField(blank=True)
    minutes = models.PositiveIntegerField()
    people = models.PositiveSmallIntegerField(default=1)
    skills = models.JSONField(default=list)
    parts = models.JSONField(default=list)
    level = models.CharField(max_length=16)

    status = models.CharField(max_length=16, default=states.TO_PLAN)
    status_since = models.DateTimeField()
    technician = models.ForeignKey(User, models.PROTECT, null=True, related_name="jobs")
    second = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    planned_since = models.DateTimeField(null=True)
    planned_until = models.DateTimeField(null=True)
    ends_at = models.DateTimeField(null=True)
    visit = models.ForeignKey(Visit, models.PROTECT, null=True, related_name="+")
    settled = models.JSONField(default=dict)  # item's number → {at, how, visit}
    judged_at = models.DateTimeField()
    next_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(status__in=sorted(states.HELD_STATUSES))
                | models.Q(technician__isnull=False, planned_until__gt=models.F("planned_since")),
                name="job_held_by_somebody",
            ),
        ]
        indexes = [
            models.Index(fields=["technician", "planned_since"], name="job_of_technician"),  # in two places; own list
            models.Index(fields=["building"], name="job_of_building"),  # read by every judgement of a boiler there
            models.Index(fields=["next_at"], condition=models.Q(next_at__isnull=False), name="job_next"),  # the sweep
        ]


class TenantCall(Row):
    """A fact: somebody of a building called. `job` is the trip that answers it; calls of one building share a job.

    `kind` is one of `call_kinds.CALL_KINDS`; `since` is since when, as the caller said.
    """

    building = models.ForeignKey(Building, models.PROTECT, related_name="calls")
    job = models.ForeignKey(Job, models.PROTECT, related_name="calls")
    kind = models.CharField(max_length=16)
    flat = models.CharField(max_length=40, blank=True)
    caller = models.CharField(max_length=100, blank=True)
    call_back = models.CharField(max_length=40, blank=True)
    since = models.DateTimeField(null=True)
    note = models.TextField(blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    request_id = models.CharField(max_length=64, blank=True)

    class Meta:
        indexes = [models.Index(fields=["building", "-at"], name="tenant_call_newest")]  # read by the building's page


class Item(Row):
    """A fact: one thing a job asks for: a deficiency to be closed, a procedure to be passed, a call to be answered.

    `since` is the newest pass known when it was asked: only a later pass settles it. Of a call it is when it came in.
    """

    job = models.ForeignKey(Job, models.PROTECT, related_name="items")
    number = models.PositiveSmallIntegerField()
    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="+")
    position = models.ForeignKey(Position, models.PROTECT, null=True, related_name="+")
    deficiency = models.ForeignKey(Deficiency, models.PROTECT, null=True, related_name="+")
    procedure = models.CharField(max_length=64, blank=True)
    call = models.ForeignKey(TenantCall, models.PROTECT, null=True, related_name="+")
    sentence = models.TextField()
    level = models.CharField(max_length=16)
    since = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="job_item_number"),
            models.CheckConstraint(
                condition=models.Q(deficiency__isnull=False)
                | models.Q(call__isnull=False)
                | models.Q(position__isnull=False) & ~models.Q(procedure=""),
                name="job_item_asks_something",
            ),
        ]


class JobAct(Row):
    """A fact: what somebody did about a job. Never changed; the job's status follows from it (`course.py`)."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="acts")
    kind = models.CharField(max_length=16)
    acted_on = models.PositiveIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    technician = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    second = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    since = models.DateTimeField(null=True)
    until = models.DateTimeField(null=True)
    reason = models.TextField(blank=True)
    request_id = models.CharField(max_length=64, blank=True)
    asks_people = models.BooleanField(default=False)  # False: recorded when whoever a plan named was held by it

    class Meta:
        db_table = "jobs_act"
        constraints = [
            # Only one act per version: of two people who decide at once, one is refused.
            models.UniqueConstraint(fields=["job", "acted_on"], name="job_act_once"),
        ]


class Access(Row):
    """A grant made or extended because of jobs. `before`: its end as somebody had given it before."""

    grant = models.OneToOneField(Grant, models.CASCADE, related_name="+")
    user = models.ForeignKey(User, models.CASCADE, related_name="+")
    building = models.ForeignKey(Building, models.PROTECT, related_name="+")
    before = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "building"], name="job_access_once")]


class Feed(Row):
    """A calendar feed of one technician's jobs in a portfolio, or of all its jobs. Only its secret's hash is kept."""

    user = models.ForeignKey(User, models.CASCADE, related_name="+")
    whole = models.BooleanField()
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)
