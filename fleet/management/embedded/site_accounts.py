"""The two accounts of a site that root starts: one for the data, one for Gaugeglass itself, neither of any power.

A lasting site finds them made. A demonstration and a test make them where they are missing.
"""

import grp
import os
import pwd
import shutil
import subprocess
import time
from dataclasses import dataclass

from fleet.management.embedded.account import Account, current_account
from fleet.management.embedded.machine_errors import MachineError

DATA_ACCOUNT, SITE_ACCOUNT = "gaugeglass-data", "gaugeglass"
KINDS_THAT_MAKE_ACCOUNTS = ("demo", "test")
ACCOUNT_COMMAND = ("useradd", "--system", "--user-group", "--no-create-home", "--home-dir", "/nonexistent")
# Whoever is in one of these becomes root or reads what only root should.
MIGHTY_GROUPS = frozenset(
    (
        *("root", "wheel", "sudo", "admin", "adm", "shadow", "disk", "kmem", "mem", "staff", "utmp"),
        *("docker", "podman", "lxd", "incus", "incus-admin", "libvirt", "libvirtd", "kvm", "systemd-journal"),
    )
)
ACCOUNT_TRIES, ACCOUNT_PAUSE_SECONDS = 50, 0.1  # other starts make accounts at the same moment


@dataclass(frozen=True, slots=True)
class SiteAccounts:
    """`data` runs database and broker and owns their files. `site` runs web server, worker, beat and every step.

    Both are the caller's own account where the caller is not root.
    """

    data: Account
    site: Account

    @property
    def are_separate(self) -> bool:
        """Whether processes change to accounts of their own."""
        return self.site.switch


def choose_accounts(kind: str) -> SiteAccounts:
    """Return the accounts for a `kind` of site. Raises MachineError where root has none that will do."""
    if os.geteuid() != 0:
        return SiteAccounts(current_account(), current_account())
    names = (DATA_ACCOUNT, SITE_ACCOUNT)
    missing = [name for name in names if not _is_known(name)]
    if missing and kind not in KINDS_THAT_MAKE_ACCOUNTS:
        commands = " and ".join(f"`{' '.join(_account_command(name))}`" for name in missing)
        raise MachineError(
            f"Nothing of a site runs as root, and the accounts it runs under are missing: make them with {commands}, "
            "or start as another user."
        )
    for name in missing:
        _make_account(name)
    return SiteAccounts(*(_read_account(name) for name in names))


def _account_command(name: str) -> list[str]:
    return [*ACCOUNT_COMMAND, "--shell", shutil.which("nologin") or "/usr/sbin/nologin", name]


def _make_account(name: str) -> None:
    """Make the account. Another start that makes it at the same moment is waited for."""
    command = _account_command(name)
    reason = "it is not installed"
    for _ in range(ACCOUNT_TRIES if shutil.which(command[0]) else 0):
        result = subprocess.run(command, capture_output=True, text=True, check=False)
        if _is_known(name):
            return
        reason = result.stderr.strip().rpartition("\n")[2] or f"exit code {result.returncode}"
        time.sleep(ACCOUNT_PAUSE_SECONDS)
    raise MachineError(
        f"The account {name} could not be made with `{' '.join(command)}` ({reason}): make it by hand, or start as "
        "another user."
    )


def _is_known(name: str) -> bool:
    try:
        pwd.getpwnam(name)
    except KeyError:
        return False
    return True


def _read_account(name: str) -> Account:
    entry = pwd.getpwnam(name)
    check_powers(entry)
    return Account(entry.pw_uid, entry.pw_gid, name, switch=True)


def check_powers(entry: pwd.struct_passwd) -> None:
    """Raise MachineError for an account that has power over this machine, or that is also somebody else's."""
    groups = {_group_name(gid) for gid in os.getgrouplist(entry.pw_name, entry.pw_gid)}
    mighty = sorted(groups & MIGHTY_GROUPS or groups & {SITE_ACCOUNT, DATA_ACCOUNT} - {entry.pw_name})
    others = [other for other in pwd.getpwall() if other.pw_name != entry.pw_name]
    namesakes = [other.pw_name for other in others if other.pw_uid == entry.pw_uid]
    companions = [other.pw_name for other in others if other.pw_gid == entry.pw_gid]
    companions += [name for name in _members_of(entry.pw_gid) if name != entry.pw_name]
    if entry.pw_uid == 0 or entry.pw_gid == 0:
        fault = "has the rights of root"
    elif mighty:
        fault = f"is in the group {mighty[0]}"
    elif namesakes:
        fault = f"is the same as {namesakes[0]}"
    elif companions:  # the group of the site's account opens the folder of the sockets
        fault = f"shares its group with {companions[0]}"
    else:
        return
    raise MachineError(
        f"The account {entry.pw_name} {fault}, and a site must not have such rights: take them from it, or remove the "
        "account and make it anew."
    )


def _members_of(gid: int) -> list[str]:
    try:
        return grp.getgrgid(gid).gr_mem
    except KeyError:
        return []


def _group_name(gid: int) -> str:
    try:
        return grp.getgrgid(gid).gr_name
    except KeyError:
        return str(gid)
