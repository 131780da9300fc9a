"""Somebody signed in at a browser, who sends JSON to the API."""

import json
from dataclasses import dataclass
from typing import Any

from django.test import Client

from fleet.accounts.models import User


@dataclass(frozen=True)
class Desk:
    """Sends as one person, by their session."""

    client: Client

    @classmethod
    def of(cls, user: User) -> "Desk":
        """A new session."""
        client = Client(raise_request_exception=False)
        client.force_login(user)
        return cls(client)

    def send(self, method: str, path: str, data: Any = b"", **headers: str) -> Any:
        """Send anything; what is not bytes goes as JSON."""
        body = data if isinstance(data, bytes) else json.dumps(data).encode()
        return self.client.generic(method, path, body, content_type="application/json", headers=headers)
