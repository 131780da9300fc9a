"""Files that were declared by their hash, and the pieces in which they arrive."""

from django.core.files.storage import storages
from django.core.files.storage.base import Storage
from django.db import models

from fleet.accounts.models import User
from fleet.records.base_model import Row

STORAGE_ALIAS = "photographs"


def photograph_storage() -> Storage:
    """Return where files are kept, as the settings say."""
    return storages[STORAGE_ALIAS]


class KeptFile(Row):
    """A file of one portfolio, by the SHA-256 of the bytes as they were sent.

    `received` counts the bytes that have arrived. `content` is what is shown: of a picture one made anew, without what
    the phone had written into it, of a PDF the bytes as sent; empty until the file is whole and was found to be what
    it was declared as.
    """

    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    type = models.CharField(max_length=64)
    received = models.PositiveIntegerField(default=0)
    content = models.FileField(storage=photograph_storage, max_length=200, blank=True)
    width = models.PositiveIntegerField(null=True)
    height = models.PositiveIntegerField(null=True)
    sent_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")  # null: by a boiler-room card
    begun_at = models.DateTimeField()
    kept_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["portfolio", "sha256"], name="file_of_portfolio_once")]


class FilePiece(Row):
    """A stretch of a file that has arrived, from byte `start`; gone when the file is whole."""

    file = models.ForeignKey(KeptFile, models.CASCADE, related_name="pieces")
    start = models.PositiveIntegerField()
    content = models.FileField(storage=photograph_storage, max_length=200)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["file", "start"], name="piece_of_file_once")]
