"""The broker: a Redis-protocol server on a socket, with a password and with persistence."""

from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import redis

from fleet.management.embedded import sockets
from fleet.management.embedded.binaries import Binaries
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.postgres import SERVER_ENV
from fleet.management.embedded.processes import Program

# No snapshots besides the append-only file: one copy is enough. Out of memory, writes are refused, nothing is evicted.
SETTINGS_TEMPLATE = """\
port 0
unixsocket "{socket}"
unixsocketperm {mode}
requirepass {password}
dir "{files}"
appendonly {keeps}
appendfsync everysec
maxmemory-policy noeviction
save ""
daemonize no
"""


@dataclass(frozen=True, slots=True)
class Broker:
    """The broker of one data folder."""

    folder: Folder
    binaries: Binaries
    socket_folder: Path
    throwaway: bool = False

    @property
    def url(self) -> str:
        """The address that site and worker use, in the spelling of the task library."""
        return f"redis+socket://:{self._password}@{quote(str(self._socket))}"

    def server_program(self) -> Program:
        """Write the settings file, which holds the password, and return the server program."""
        files = self.folder.private_folder("broker")
        mode = sockets.socket_mode(self.folder.accounts)
        values = {"socket": self._socket, "mode": mode, "password": self._password, "files": files}
        text = SETTINGS_TEMPLATE.format(**values, keeps="no" if self.throwaway else "yes")
        argv = (str(self.binaries.broker), str(self.folder.write_for_servers("broker.conf", text)))
        return Program("broker", argv, SERVER_ENV, self.folder.accounts.data, vital=True)

    def is_ready(self) -> bool:
        """Return whether the server answers and has loaded its data."""
        try:
            with connect_to_broker(self.url) as client:
                return bool(client.ping())
        except redis.RedisError:
            return False

    @property
    def _socket(self) -> Path:
        return self.socket_folder / "broker.sock"

    @property
    def _password(self) -> str:
        return self.folder.load_keys()["broker"]


def connect_to_broker(url: str) -> redis.Redis:
    """Return a client for an address. A socket may be spelled as the task library or the client library does."""
    return redis.Redis.from_url(
        url.replace("redis+socket://", "unix://", 1), socket_connect_timeout=5, socket_timeout=5, retry=None
    )
