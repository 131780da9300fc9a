"""The Django app `fleet`: carries the commands and loads Celery once Django is ready."""

from importlib import import_module

from django.apps import AppConfig


class FleetConfig(AppConfig):
    """Loads Celery here, not in `fleet/__init__.py`, so that the pure rooms import without it."""

    name = "fleet"

    def ready(self) -> None:
        """Register the Celery app as the current one."""
        import_module("fleet.celery")
