"""Asks the site ten times a second whether it can serve, and measures for how long it could not."""

import http.client
import threading
import time
from dataclasses import dataclass, field

ASK_SECONDS = 0.1
ANSWER_SECONDS = 5.0


@dataclass
class ServingProbe:
    """The lengths in seconds of the stretches in which `/readyz` did not answer 200, and whether one lasts."""

    port: int
    outages: list[float] = field(default_factory=list)
    has_ended: threading.Event = field(default_factory=threading.Event)
    is_serving: bool = True

    def run(self) -> None:
        """Ask until the end."""
        began: float | None = None
        while not self.has_ended.wait(ASK_SECONDS):
            asked = time.monotonic()
            self.is_serving = self.can_serve()
            if not self.is_serving and began is None:
                began = asked
            elif self.is_serving and began is not None:
                self.outages.append(time.monotonic() - began)
                began = None

    def can_serve(self) -> bool:
        """Return whether the site says that it can serve."""
        client = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_SECONDS)
        try:
            client.request("GET", "/readyz")
            return client.getresponse().status == 200
        except (OSError, http.client.HTTPException):
            return False
        finally:
            client.close()
