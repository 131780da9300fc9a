"""One row for each part of the site that works by itself. Neither evidence nor log: it is overwritten."""

from django.db import models


class Heartbeat(models.Model):
    """When a part was last seen at work. `detail` says in a few words how, where the instant alone does not tell."""

    part = models.CharField(primary_key=True, max_length=32)
    seen_at = models.DateTimeField()
    detail = models.CharField(max_length=80, blank=True)
