"""The address the web server listens on."""

import errno
import http.client
import socket
from dataclasses import dataclass

from fleet.management.embedded.machine_errors import MachineError

ANSWER_SECONDS = 2.0  # the supervisor asks, and must not wait long
LOOPBACK_OF_WILDCARD = {"0.0.0.0": "127.0.0.1", "::": "::1"}  # what to connect to when every address is listened on


@dataclass(frozen=True, slots=True)
class ListenAddress:
    """A host and a port to listen on."""

    host: str
    port: int

    @property
    def bind(self) -> str:
        """Host and port joined, as servers take them."""
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    @property
    def url(self) -> str:
        """The URL for a browser on this machine."""
        reachable_host = LOOPBACK_OF_WILDCARD.get(self.host, self.host)
        return f"http://{ListenAddress(reachable_host, self.port).bind}/"

    def check_free(self) -> None:
        """Raise MachineError for an address that cannot be listened on, before anything is started."""
        family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
        try:
            socket.create_server((self.host, self.port), family=family).close()
        except socket.gaierror:
            raise MachineError(f"This machine has no address {self.host}: name one of its own with --host.") from None
        except OverflowError:
            raise MachineError(f"{self.port} is not a port: name one from 1 to 65535 with --port.") from None
        except OSError as error:
            raise MachineError(self._explain_error(error)) from None

    def is_answering(self) -> bool:
        """Return whether a web server answers, with any status."""
        connection = http.client.HTTPConnection(
            LOOPBACK_OF_WILDCARD.get(self.host, self.host), self.port, timeout=ANSWER_SECONDS
        )
        try:
            connection.request("GET", "/")
            connection.getresponse()
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()
        return True

    def _explain_error(self, error: OSError) -> str:
        if error.errno == errno.EADDRINUSE:
            return f"Port {self.port} on {self.host} is taken by another program: name a free one with --port."
        if error.errno in {errno.EACCES, errno.EPERM}:
            return f"You may not listen on port {self.port}: name one above 1023 with --port."
        return f"This machine cannot listen on {self.bind} ({error.strerror}): name another with --host and --port."
