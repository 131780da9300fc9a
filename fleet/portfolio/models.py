"""The register: what exists and since when. Names may be edited; fittings, settings, service states are only added."""

import uuid

from django.db import models
from django.db.models import Q

from fleet.records.base_model import Row


class Portfolio(models.Model):
    """The buildings that one property manager is responsible for."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    ref = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)

    def __str__(self) -> str:
        return self.name


class Building(Row):
    """One address. `zone` is its IANA time zone; local days there decide what is due."""

    ref = models.CharField(max_length=64)
    address = models.CharField(max_length=200)
    zone = models.CharField(max_length=64)
    units = models.PositiveIntegerField(default=0)
    access_hours = models.CharField(max_length=200, blank=True)  # "mon-fri 08:00-17:00", read by portfolio/access.py
    # Where it stands (WGS 84), for the travel between buildings; null: not on record.
    latitude_deg = models.FloatField(null=True)
    longitude_deg = models.FloatField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["portfolio", "ref"], name="building_ref")]

    def __str__(self) -> str:
        return self.address


class HeaderGroup(Row):
    """Boilers that share header, returns, feed tank or vent."""

    building = models.ForeignKey(Building, models.PROTECT, related_name="header_groups")
    ref = models.CharField(max_length=64)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["building", "ref"], name="header_group_ref")]


class Boiler(Row):
    """One low-pressure steam boiler (15 psig or less). Locking this row is how a write about it begins."""

    building = models.ForeignKey(Building, models.PROTECT, related_name="boilers")
    header_group = models.ForeignKey(HeaderGroup, models.PROTECT, null=True, blank=True, related_name="boilers")
    ref = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    since = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["building", "ref"], name="boiler_ref")]

    def __str__(self) -> str:
        return self.name


class Position(Row):
    """A place on a boiler, or on its header group, that a device fills."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, null=True, blank=True, related_name="positions")
    header_group = models.ForeignKey(HeaderGroup, models.PROTECT, null=True, blank=True, related_name="positions")
    ref = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    role = models.ForeignKey("catalog.Role", models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(boiler__isnull=False, header_group__isnull=True)
                | Q(boiler__isnull=True, header_group__isnull=False),
                name="position_on_boiler_or_group",
            ),
            models.UniqueConstraint(fields=["boiler", "ref"], name="position_ref"),
            models.UniqueConstraint(fields=["header_group", "ref"], name="position_group_ref"),
        ]

    def __str__(self) -> str:
        return self.name


class Device(Row):
    """What fills a position, from its fitting to its removal. `attributes` are what is stamped on it."""

    kind = models.ForeignKey("catalog.Kind", models.PROTECT, related_name="+")
    attributes = models.JSONField(default=dict)


class Fitting(Row):
    """Evidence from the register: this device fills this position since an instant (no device: it was emptied)."""

    position = models.ForeignKey(Position, models.PROTECT, related_name="fittings")
    device = models.ForeignKey(Device, models.PROTECT, null=True, related_name="fittings")
    since = models.DateTimeField()
    declared = models.JSONField(default=dict)  # procedure code → ISO date somebody claims; never a proof
    posted_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["position", "since", "posted_at"], name="fitting_once")]


class Setting(Row):
    """Evidence: a dated value. Of a position: set points, `paths`, `needed`; of the boiler: output, levels."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, null=True, related_name="settings")
    position = models.ForeignKey(Position, models.PROTECT, null=True, related_name="settings")
    key = models.CharField(max_length=64)
    value = models.JSONField()
    since = models.DateTimeField()
    posted_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(boiler__isnull=False, position__isnull=True)
                | Q(boiler__isnull=True, position__isnull=False),
                name="setting_of_boiler_or_position",
            ),
            models.UniqueConstraint(
                fields=["boiler", "position", "key", "since", "posted_at"], name="setting_once", nulls_distinct=False
            ),
        ]


class ServiceState(Row):
    """Evidence: in service, hot standby, laid up, isolated, not commissioned or retired, since an instant."""

    boiler = models.ForeignKey(Boiler, models.PROTECT, related_name="service_states")
    state = models.CharField(max_length=32)
    since = models.DateTimeField()
    posted_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["boiler", "since", "posted_at"], name="service_state_once")]


class Paper(Row):
    """Evidence: a dated paper, such as a certificate, of a boiler or (no boiler) of the building. It only alerts."""

    building = models.ForeignKey(Building, models.PROTECT, related_name="papers")
    boiler = models.ForeignKey(Boiler, models.PROTECT, null=True, related_name="papers")
    kind = models.CharField(max_length=32)
    name = models.CharField(max_length=200)
    since = models.DateTimeField()
    until = models.DateField()  # its last day, the building's
    posted_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["building", "boiler", "kind", "since", "posted_at"], name="paper_once", nulls_distinct=False
            ),
        ]


class Import(Row):
    """A received register sheet: compared first, saved once confirmed, kept until `ends_at`. It is no evidence."""

    who = models.CharField(max_length=200)  # the user's name and id: this room may not import users
    who_id = models.UUIDField()
    name = models.CharField(max_length=200)  # of the file, as its sender calls it
    sha256 = models.CharField(max_length=64)
    content = models.BinaryField()  # the file, until it is read
    table = models.BinaryField(null=True)  # then the table read from it, packed: reading a workbook twice takes long
    status = models.CharField(max_length=16)
    version = models.PositiveIntegerField(default=1)
    received_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)
    ends_at = models.DateTimeField()
    confirmed_by = models.CharField(max_length=200, blank=True)
    request_id = models.CharField(max_length=64, blank=True)  # of the confirmation
    total = models.PositiveIntegerField(default=0)  # rows of the present step; 0 while that is not known
    done = models.PositiveIntegerField(default=0)
    tries = models.PositiveSmallIntegerField(default=0)
    report = models.JSONField(default=dict)
    digest = models.CharField(max_length=64, blank=True)  # of what it would do: the report must still be true
    told = models.TextField(blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["status"], name="import_status"),  # read by the worker
            models.Index(fields=["portfolio", "-received_at"], name="import_newest"),  # read by the page
        ]


class ImportPage(Row):
    """A few hundred lines of an import's report, by part: what changes, what is the same, what is missing."""

    of = models.ForeignKey(Import, models.CASCADE, related_name="pages")
    part = models.CharField(max_length=16)
    number = models.PositiveIntegerField()
    lines = models.JSONField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["of", "part", "number"], name="import_page_once")]
