"""Servers for a test run, with their own folder and sockets, removed afterwards. Several may run in parallel."""

import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from fleet.management.embedded import lock, servers, sockets
from fleet.management.embedded.account import for_servers
from fleet.management.embedded.crew import Crew
from fleet.management.embedded.folder import Folder, open_folder
from fleet.management.embedded.records import Records
from fleet.management.embedded.trouble import Trouble

PREFIX = "gaugeglass-test-"
YOUNG = 120.0  # a folder younger than this may not be locked yet


@dataclass(frozen=True, slots=True)
class Servers:
    """Addresses of servers that live as long as the block that started them."""

    database_url: str
    redis_url: str
    folder: Path


@contextmanager
def temporary() -> Iterator[Servers]:
    """Run a database whose role may create databases, and a broker. Both and their folder are removed at the end."""
    base = _base()
    sweep(base)
    folder = open_folder(_made(base), "test")
    with ExitStack() as endings:
        endings.callback(shutil.rmtree, folder.path, ignore_errors=True)
        endings.enter_context(lock.held(folder.path, str(folder.path)))
        endings.callback(sockets.clear, folder)
        crew = Crew(folder, say=lambda _: None)
        endings.callback(crew.stop)
        urls = servers.start(crew, throwaway=True)
        yield Servers(urls.database, urls.broker, folder.path)


def sweep(base: Path) -> None:
    """Remove what killed test runs left behind. Runs in progress hold their lock and are left alone."""
    for path in base.glob(f"{PREFIX}*"):
        with suppress(OSError):  # another user's, or removed meanwhile
            if time.time() - path.stat().st_mtime > YOUNG and lock.free(path):
                Records(path / "children.json").recover()
                sockets.clear(Folder(path, for_servers(path)))
                shutil.rmtree(path, ignore_errors=True)


def _base() -> Path:
    """Return a folder for temporary files that the servers' account can reach."""
    account = for_servers(Path("/"))
    for choice in (Path(tempfile.gettempdir()), Path("/tmp")):
        if account.reaches(choice):
            return choice
    place = tempfile.gettempdir()
    raise Trouble(f"The servers run as {account.name}, who may not pass through to {place}: set TMPDIR.")


def _made(base: Path) -> Path:
    path = Path(tempfile.mkdtemp(prefix=PREFIX, dir=base))
    path.chmod(0o711)  # the servers' account may pass through, nobody else may list it
    return path
