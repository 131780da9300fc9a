"""The web server's log of requests, without the one kind of address that is itself a secret: a calendar feed's."""

import re
from typing import Any

from gunicorn.glogging import Logger

SECRET = re.compile(r"(/calendars/)[^/?\s]+")


class Discreet(Logger):
    """As the server's own, but for secrets in addresses."""

    def atoms(self, *args: Any, **more: Any) -> dict[str, Any]:
        """What a line of the log is made of."""
        found: dict[str, Any] = super().atoms(*args, **more)
        return {name: SECRET.sub(r"\1…", told) if isinstance(told, str) else told for name, told in found.items()}
