"""The Django app `fleet`. It holds the management commands and loads Celery once Django is ready."""

from importlib import import_module

from django.apps import AppConfig


class FleetConfig(AppConfig):
    """Loads Celery here and not in `fleet/__init__.py`, so that the pure rooms can be imported without it."""

    name = "fleet"

    def ready(self) -> None:
        """Register the Celery app as the current one."""
        import_module("fleet.celery")
