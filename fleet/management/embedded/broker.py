"""The broker: a Redis-protocol server on a socket, with two users, their passwords, and with persistence."""

from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import redis

from fleet.management.embedded import sockets
from fleet.management.embedded.binaries import Binaries
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.postgres import SERVER_ENV
from fleet.management.embedded.processes import Program

SITE_USER = "gaugeglass"
# What task library and cache send, the scripts of the library, and the clock that these ask. Neither settings, nor
# scripts kept under a name, nor what ends or looks at another's connection, empties the broker or writes its files.
SITE_COMMANDS = (
    "-@all +@read +@write +@connection +@transaction +@pubsub -@admin -@dangerous -@scripting "
    "+eval +evalsha +script|load +script|exists +time"
)
# No snapshots besides the append-only file: one copy is enough. Out of memory, writes are refused, nothing is evicted.
SETTINGS_TEMPLATE = """\
port 0
unixsocket "{socket}"
unixsocketperm {mode}
user default on sanitize-payload >{password} ~* &* +@all
user {site_user} on sanitize-payload >{site_password} ~* &* {site_commands}
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
        """The address that site and worker use, in the spelling of the task library. It may do what these two need."""
        return f"redis+socket://{SITE_USER}:{self._keys['broker_site']}@{quote(str(self._socket))}"

    @property
    def admin_url(self) -> str:
        """The address of who may do everything: the settings file is all that holds its password, and root's keys."""
        return f"redis+socket://:{self._keys['broker']}@{quote(str(self._socket))}"

    def server_program(self) -> Program:
        """Write the settings file, which holds the password, and return the server program."""
        files = self.folder.private_folder("broker")
        mode = sockets.socket_mode(self.folder.accounts)
        values = {
            "socket": self._socket,
            "mode": mode,
            "files": files,
            "password": self._keys["broker"],
            "site_user": SITE_USER,
            "site_password": self._keys["broker_site"],
            "site_commands": SITE_COMMANDS,
        }
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
    def _keys(self) -> dict[str, str]:
        return self.folder.load_keys()


def connect_to_broker(url: str) -> redis.Redis:
    """Return a client for an address. A socket may be spelled as the task library or the client library does."""
    return redis.Redis.from_url(
        url.replace("redis+socket://", "unix://", 1), socket_connect_timeout=5, socket_timeout=5, retry=None
    )
