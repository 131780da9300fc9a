"""What this installation is: a demonstration, whose key and passwords everybody knows, or a lasting site."""

from datetime import datetime

from fleet.accounts.models import Installation, User
from fleet.deployment import KNOWN_VALUES
from fleet.errors import Refused

DEMONSTRATION, LASTING_SITE = "demo", "site"
KIND_NAMES = {DEMONSTRATION: "a demonstration", LASTING_SITE: "a lasting site"}
# Printed by the demonstration, which answers on its own machine only. They open nothing anywhere else.
KNOWN_KEY_PREFIXES = ("gaugeglass_demo_", "gg_demo_")  # the second of earlier demonstrations
TOWN_PASSWORD = "lamp-oil-71"
KNOWN_PASSWORDS = frozenset(value for value in KNOWN_VALUES if not value.startswith(KNOWN_KEY_PREFIXES))


def note_kind(kind: str, at: datetime) -> None:
    """Note what this installation is, for good. Raises Refused where something else is noted.

    A database that has people before anything was noted was made by an earlier version, and is taken for `kind`.
    """
    noted, _ = Installation.objects.get_or_create(id=1, defaults={"kind": kind, "noted_at": at})
    if noted.kind != kind:
        message = f"This database holds {KIND_NAMES[noted.kind]}, not {KIND_NAMES[kind]}."
        raise Refused("other_kind", message, status=409)


def is_demonstration() -> bool:
    """Whether this is noted to be a demonstration; false where nothing is noted."""
    return Installation.objects.filter(kind=DEMONSTRATION).exists()


def refuse_unless_demonstration(at: datetime) -> None:
    """Raise Refused on a lasting site, and on a database that has people and is not noted to be a demonstration."""
    if is_demonstration():
        return
    if Installation.objects.exists() or User.objects.exists():
        raise Refused("other_kind", "This is not a demonstration's database: nothing was made in it.", status=409)
    note_kind(DEMONSTRATION, at)


def is_known_password(password: str) -> bool:
    """Whether a password is one that the demonstration prints, with other capitals or spaces around it, too."""
    return password.strip().lower() in KNOWN_PASSWORDS
