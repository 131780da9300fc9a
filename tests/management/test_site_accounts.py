"""The accounts of a site: made for a demonstration, asked for by a lasting site, refused where they have power."""

import os
import pwd
import shutil
import subprocess
from collections.abc import Iterator

import pytest

from fleet.management.embedded import MachineError, site_accounts
from fleet.management.embedded.site_accounts import check_powers, choose_accounts
from tests.servers import need

STRANGERS = ("gg-test-data", "gg-test-site")


@pytest.fixture
def no_accounts(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Other names, of which no account exists; those that the test makes are removed."""
    need("root, since only then accounts are chosen", os.geteuid() == 0)
    monkeypatch.setattr(site_accounts, "DATA_ACCOUNT", STRANGERS[0])
    monkeypatch.setattr(site_accounts, "SITE_ACCOUNT", STRANGERS[1])
    remove = shutil.which("userdel")
    yield
    for name in STRANGERS if remove else ():
        subprocess.run([remove, name], capture_output=True, check=False)


def known_names() -> set[str]:
    return {entry.pw_name for entry in pwd.getpwall()}


def test_a_lasting_site_names_the_commands_that_make_what_is_missing_and_makes_nothing(no_accounts: None) -> None:
    with pytest.raises(MachineError) as refusal:
        choose_accounts("site")
    told = str(refusal.value)
    assert told.startswith("Nothing of a site runs as root, and the accounts it runs under are missing: make them with")
    assert all(f"nologin {name}`" in told for name in STRANGERS)
    assert not set(STRANGERS) & known_names()


@pytest.mark.parametrize("kind", ["demo", "test"])
def test_a_demonstration_and_a_test_make_them_once_without_shell_home_or_further_groups(
    kind: str, no_accounts: None
) -> None:
    accounts = choose_accounts(kind)
    assert choose_accounts("site") == accounts
    for name, account in zip(STRANGERS, (accounts.data, accounts.site), strict=True):
        entry = pwd.getpwnam(name)
        assert entry.pw_shell.rpartition("/")[2] == "nologin"
        assert entry.pw_dir == "/nonexistent"
        assert entry.pw_uid < 1000
        assert os.getgrouplist(name, entry.pw_gid) == [account.gid]
    assert accounts.data.gid != accounts.site.gid


def test_the_commands_that_are_named_make_accounts_that_will_do(no_accounts: None) -> None:
    with pytest.raises(MachineError) as refusal:
        choose_accounts("site")
    for command in str(refusal.value).split("`")[1::2]:
        subprocess.run(command.split(), check=True)
    assert choose_accounts("site").are_separate


def test_a_machine_that_cannot_make_accounts_says_so(no_accounts: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(
        MachineError, match=r"could not be made with `useradd .*` \(it is not installed\): make it by hand"
    ):
        choose_accounts("demo")


def entry(name: str = "gaugeglass-data", uid: int = 59999, gid: int = 59999) -> pwd.struct_passwd:
    return pwd.struct_passwd((name, "x", uid, gid, "", "/nonexistent", "/usr/sbin/nologin"))


@pytest.mark.parametrize(
    ("account", "fault"),
    [
        (entry(uid=0), "has the rights of root"),
        (entry(gid=0), "has the rights of root"),
        (entry(uid=65534), "is the same as nobody"),
        (entry(gid=1), "shares its group with daemon"),
    ],
)
def test_an_account_with_other_rights_is_refused(account: pwd.struct_passwd, fault: str) -> None:
    with pytest.raises(
        MachineError, match=f"The account gaugeglass-data {fault}, and a site must not have such rights"
    ):
        check_powers(account)


@pytest.mark.parametrize("group", ["root", "sudo", "docker", "shadow"])
def test_an_account_in_a_mighty_group_is_refused(group: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "getgrouplist", lambda name, gid: [gid, 59998])
    monkeypatch.setattr(site_accounts, "_group_name", lambda gid: group if gid == 59998 else "gaugeglass-data")
    with pytest.raises(MachineError, match=f"is in the group {group},"):
        check_powers(entry())


def test_an_account_of_no_power_is_taken_also_with_a_shell(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "getgrouplist", lambda name, gid: [gid])
    check_powers(pwd.struct_passwd(("gaugeglass-data", "x", 59999, 59999, "", "/nonexistent", "/bin/bash")))
