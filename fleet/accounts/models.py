"""Users, grants, qualifications and keys. A role is what one may do here; a qualification is what the trade allows."""

import uuid

from django.contrib.auth.models import AbstractUser
from django.db import models

from fleet.portfolio.models import Building
from fleet.portfolio.rows import Row


class User(AbstractUser):
    """A person who signs in."""

    date_joined = None  # the framework's field reads the clock by itself; grants and qualifications have their dates
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)


class Grant(Row):
    """What one person may do in one portfolio, or one building of it, until an instant."""

    user = models.ForeignKey(User, models.CASCADE, related_name="grants")
    role = models.CharField(max_length=32)
    building = models.ForeignKey(Building, models.PROTECT, null=True, blank=True, related_name="grants")
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "role", "portfolio", "building"], name="grant_once", nulls_distinct=False
            )
        ]


class Qualification(models.Model):
    """What the trade or the law lets a person do, from a day to a day; unknown is none."""

    user = models.ForeignKey(User, models.CASCADE, related_name="qualifications")
    code = models.CharField(max_length=32)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "code", "since"], name="qualification_once")]


class Key(models.Model):
    """A device's bearer key. Only its SHA-256 is kept: the key itself is shown once."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey(User, models.CASCADE, related_name="keys")
    name = models.CharField(max_length=100)
    digest = models.CharField(max_length=64, unique=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
