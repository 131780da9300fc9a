"""The Django app `fleet`. It holds the management commands and loads Celery once Django is ready."""

from importlib import import_module

from django.apps import AppConfig


class FleetConfig(AppConfig):
    """Loads Celery and receivers here and not in `fleet/__init__.py`: the pure rooms are imported without them."""

    name = "fleet"

    def ready(self) -> None:
        """Register the Celery app as the current one, and the receivers of signals."""
        import_module("fleet.celery")
        import_module(
            "fleet.web.shared.session_use"
        )  # its receivers note who signs in, also where no page is asked for
