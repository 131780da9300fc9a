"""Files that an earlier version left to another account, given once to the account that owns the data now."""

import os
import pwd
import stat
from contextlib import suppress
from pathlib import Path

from fleet.management.embedded.account import Account, user_name_of
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.machine_errors import MachineError
from fleet.management.embedded.site_accounts import SITE_ACCOUNT

# As root the servers ran as `gaugeglass` where there was one, else as `nobody`.
EARLIER_ACCOUNTS = ("nobody", SITE_ACCOUNT)
SERVER_FOLDERS = ("postgres", "postgres.new", "broker")


def hand_over_files(folder: Folder) -> str:
    """Give files of an earlier account to that of the data. Return a sentence about it, '' where there were none.

    Raises MachineError for files of anybody else. No server may run on them meanwhile.
    """
    if not folder.accounts.are_separate:
        return ""
    (folder.path / "broker" / "broker.conf").unlink(missing_ok=True)  # held the password where the broker may write
    owners = [_hand_over_tree(folder.path / name, folder.accounts.data) for name in SERVER_FOLDERS]
    names = sorted({user_name_of(owner) for owner in owners if owner is not None})
    if not names:
        return ""
    return f"The files of the servers belonged to {' and '.join(names)}; they are {folder.accounts.data.name}'s now."


def _hand_over_tree(path: Path, account: Account) -> int | None:
    """Give what is at and below `path` to the account. Return whose it was, None where it was the account's."""
    owner = path.lstat().st_uid if os.path.lexists(path) else account.uid
    if owner == account.uid:
        return None
    givers = _earlier_uids()
    # Root holds the folder meanwhile, so that its earlier owner cannot enter; a start that was cut goes on from there.
    if owner not in {*givers, 0} or not stat.S_ISDIR(path.lstat().st_mode):
        raise MachineError(
            f"{path} belongs to {user_name_of(owner)}, not to {account.name}: give it to that account, or name "
            "another folder with --data."
        )
    os.chown(path, 0, 0, follow_symlinks=False)
    for _, folders, files, handle in os.fwalk(path, follow_symlinks=False):
        for name in (*folders, *files):
            if os.stat(name, dir_fd=handle, follow_symlinks=False).st_uid in givers:
                os.chown(name, account.uid, account.gid, dir_fd=handle, follow_symlinks=False)
    account.give_ownership(path)
    return owner


def _earlier_uids() -> set[int]:
    uids = set()
    for name in EARLIER_ACCOUNTS:
        with suppress(KeyError):
            uids.add(pwd.getpwnam(name).pw_uid)
    return uids
