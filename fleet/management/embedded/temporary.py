"""Servers for a test run, with their own folder and sockets, removed afterwards. Several may run in parallel."""

import os
import shutil
import stat
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from fleet.management.embedded import lock, servers, sockets
from fleet.management.embedded.folder import Folder, open_folder
from fleet.management.embedded.machine_errors import MachineError
from fleet.management.embedded.process_crew import ProcessCrew
from fleet.management.embedded.records import ProcessRecords
from fleet.management.embedded.site_accounts import choose_accounts

PREFIX = "gaugeglass-test-"
YOUNG_SECONDS = 120.0  # a folder younger than this may not be locked yet


@dataclass(frozen=True, slots=True)
class TemporaryServers:
    """Addresses of servers that live as long as the block that started them.

    The database's is that of the tables' owner, who may create databases and act as the site's role.
    """

    database_url: str
    redis_url: str
    folder: Path


@contextmanager
def temporary() -> Iterator[TemporaryServers]:
    """Run a database whose owner may create databases, and a broker. Both and their folder are removed at the end."""
    base = _base_folder()
    sweep_leftovers(base)
    folder = open_folder(_make_test_folder(base), "test")
    with ExitStack() as endings:
        endings.callback(shutil.rmtree, folder.path, ignore_errors=True)
        endings.enter_context(lock.hold_lock(folder.path, str(folder.path)))
        endings.callback(sockets.remove_socket_folder, folder)
        crew = ProcessCrew(folder, say=lambda _: None)
        endings.callback(crew.stop_all)
        urls = servers.start_servers(crew, throwaway=True)
        yield TemporaryServers(urls.database_owner, urls.broker, folder.path)


def sweep_leftovers(base: Path) -> None:
    """Remove what killed test runs left behind. Runs in progress hold their lock and are left alone."""
    for path in base.glob(f"{PREFIX}*"):
        with suppress(OSError):  # removed meanwhile
            if _is_old_and_ours(path) and lock.is_free(path):
                ProcessRecords(path / "children.json").stop_leftovers()
                sockets.remove_socket_folder(Folder(path, choose_accounts("test")))
                shutil.rmtree(path, ignore_errors=True)


def _is_old_and_ours(path: Path) -> bool:
    # Anybody may make a folder of such a name, with marks in it of processes that are not theirs.
    status = path.lstat()
    is_ours = stat.S_ISDIR(status.st_mode) and status.st_uid == os.geteuid()
    return is_ours and time.time() - status.st_mtime > YOUNG_SECONDS


def _base_folder() -> Path:
    """Return a folder for temporary files that the servers' account can reach."""
    account = choose_accounts("test").data
    for choice in (Path(tempfile.gettempdir()), Path("/tmp")):
        if account.can_reach(choice):
            return choice
    place = tempfile.gettempdir()
    raise MachineError(f"The servers run as {account.name}, who has no access to {place}: set TMPDIR.")


def _make_test_folder(base: Path) -> Path:
    path = Path(tempfile.mkdtemp(prefix=PREFIX, dir=base))
    path.chmod(0o711)  # the servers' account may pass through, nobody else may list it
    return path
