"""Servers for a test run: their own folder, their own sockets, gone afterwards; several may run side by side."""

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
YOUNG = 120.0  # seconds in which a folder may still be on its way to being locked


@dataclass(frozen=True, slots=True)
class Servers:
    """Addresses of servers that live as long as the block that started them."""

    database_url: str
    redis_url: str
    folder: Path


@contextmanager
def temporary() -> Iterator[Servers]:
    """Start a database whose role may create databases, and a broker; stop both and remove their folder at the end."""
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
    """Remove what test runs that were killed left behind; those that still run hold their lock."""
    for path in base.glob(f"{PREFIX}*"):
        with suppress(OSError):  # somebody else's, or gone in the meantime
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
    path.chmod(0o711)  # ours and new: the servers' account passes through, nobody lists it
    return path
