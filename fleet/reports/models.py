"""Links by which somebody without an account reads one report."""

from django.db import models
from django.db.models import Q

from fleet.accounts.models import User
from fleet.portfolio.models import Boiler
from fleet.records.base_model import Row
from fleet.visits.models import Visit

REPORT_KINDS = ("visit", "boiler_year", "portfolio")


class SharedLink(Row):
    """A secret address of one report until an instant; only the secret's digest is kept.

    It shows what its maker may see at the time it is opened. `boiler` is set for a boiler's year, `visit` for a visit.
    """

    kind = models.CharField(max_length=16)
    boiler = models.ForeignKey(Boiler, models.PROTECT, null=True, related_name="+")
    visit = models.ForeignKey(Visit, models.PROTECT, null=True, related_name="+")
    digest = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(User, models.CASCADE, related_name="+")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=REPORT_KINDS), name="shared_report_is_known"),
            models.CheckConstraint(condition=Q(expires_at__gt=models.F("made_at")), name="shared_link_expires"),
        ]
