"""Releases of the catalogue, stored word for word, and the codes to which other rooms refer."""

from django.db import models


class Release(models.Model):
    """One catalogue as loaded. Evidence: never changed or removed, which a trigger of the migration enforces."""

    number = models.PositiveIntegerField(primary_key=True)
    # Empty only for an installation's first release, which applies to all time.
    starts_on = models.DateField(null=True)
    digest = models.CharField(max_length=64)
    content = models.JSONField()
    loaded_at = models.DateTimeField()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(number=1, starts_on=None) | models.Q(number__gt=1, starts_on__isnull=False),
                name="catalog_release_first_is_for_all_time",
            ),
        ]

    def __str__(self) -> str:
        return f"release {self.number}"


class Code(models.Model):
    """A code to which other rooms refer: retired when the newest release lacks it, never removed or used again."""

    code = models.CharField(max_length=40, primary_key=True)
    name = models.CharField(max_length=120)
    retired = models.BooleanField(default=False)

    class Meta:
        abstract = True
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class Kind(Code):
    """A kind of device."""


class Role(Code):
    """What a position is for."""


class Procedure(Code):
    """A test or inspection."""
