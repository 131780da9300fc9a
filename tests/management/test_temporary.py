"""Servers for tests: quick, apart from each other, gone afterwards; and the pytest plugin that brings them."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import psycopg
import pytest

from fleet.management.embedded import temporary
from fleet.management.embedded.process_identity import arguments
from fleet.management.embedded.temporary import PREFIX, YOUNG_SECONDS, sweep_leftovers
from tests.management.machine import CLEAN, ROOT, alive, descendants, eventually

HOLD = """
import time
from fleet.management.embedded import temporary
from fleet.management.embedded.process_identity import arguments
with temporary() as servers:
    print(servers.folder, flush=True)
    time.sleep(60)
"""
ASKS = """
import os, time
from tests.servers import need
def test_database(): assert os.environ["DATABASE_URL"].startswith("postgresql://gaugeglass_owner:")
def test_broker(): assert os.environ["REDIS_URL"].startswith("redis+socket://")
def test_settings(): assert os.environ["DJANGO_SETTINGS_MODULE"] == "fleet.settings"
def test_one(): need("a unicorn", None)
def test_two(): need("a unicorn", False)
def test_three(): need("a table", "oak")
"""
# Looked at while the run goes on: afterwards the folder would be gone either way.
LOOKS = """
import pathlib, tempfile
def test_none(): assert not list(pathlib.Path(tempfile.gettempdir()).glob("gaugeglass-test-*"))
"""
# Of the plugins only those that are named: the others take longer to load than all else.
BARE = {**CLEAN, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
# As from a terminal, also where whoever runs the tests ignores Ctrl-C: it would sleep to its end.
SLEEPS = """
import signal, time
def test_sleeps():
    signal.signal(signal.SIGINT, signal.default_int_handler)
    print("sleeping", flush=True)
    time.sleep(60)
"""


def folders() -> set[Path]:
    return set(Path("/tmp").glob(f"{PREFIX}*"))


def plugin(test: Path, *options: str) -> list[str]:
    """Return the command line of a run of its own that loads the plugin."""
    (test.parent / "pytest.ini").write_text("[pytest]\n")
    alone = ("-p", "tests.servers", "-p", "xdist", "-p", "no:cacheprovider", *options)
    return [sys.executable, "-m", "pytest", "-c", str(test.parent / "pytest.ini"), *alone, str(test)]


def run(tmp_path: Path, code: str = ASKS, **env: str) -> subprocess.CompletedProcess[str]:
    test = tmp_path / "test_asks.py"
    test.write_text(code)
    clean = {name: value for name, value in BARE.items() if name not in {"CI", "DJANGO_SETTINGS_MODULE"}}
    return subprocess.run(plugin(test), cwd=ROOT, env={**clean, **env}, capture_output=True, text=True, check=False)


def test_two_at_once_do_not_meet_and_leave_nothing() -> None:
    with temporary() as one, temporary() as other:
        with psycopg.connect(one.database_url) as connection:
            connection.execute("CREATE TABLE mine (n int)")
        with psycopg.connect(other.database_url) as connection:
            assert connection.execute("SELECT to_regclass('mine')").fetchone() == (None,)
        started = descendants(os.getpid())
        places = {one.folder, other.folder}
        lines = {pid: Path(f"/proc/{pid}/cmdline").read_text() for pid in started}
        ours = {pid for pid, line in lines.items() if any(str(place) in line for place in places)}
        assert len(ours) == 4
    assert alive({pid: started[pid] for pid in ours}) == set()
    assert not places & folders()


def test_the_role_of_a_test_cluster_may_create_databases_and_is_no_superuser() -> None:
    with temporary() as servers, psycopg.connect(servers.database_url, autocommit=True) as connection:
        connection.execute("CREATE DATABASE test_gaugeglass")
        assert connection.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user").fetchone() == (False,)


def test_what_a_killed_run_leaves_ends_and_is_swept_away_later() -> None:
    holder = subprocess.Popen([sys.executable, "-c", HOLD], cwd=ROOT, env=CLEAN, stdout=subprocess.PIPE, text=True)
    assert holder.stdout
    folder = Path(holder.stdout.readline().strip())
    started = descendants(holder.pid)
    holder.kill()
    holder.communicate()
    assert eventually(lambda: not alive(started))
    old = folder.stat().st_mtime - YOUNG_SECONDS - 1
    os.utime(folder, (old, old))
    sweep_leftovers(folder.parent)
    assert not folder.exists()


def test_the_sweep_leaves_a_run_that_goes_on_alone() -> None:
    with temporary() as servers:
        old = servers.folder.stat().st_mtime - YOUNG_SECONDS - 1
        os.utime(servers.folder, (old, old))
        sweep_leftovers(servers.folder.parent)
        psycopg.connect(servers.database_url).close()


def test_the_plugin_names_the_servers_and_says_what_is_missing(tmp_path: Path) -> None:
    done = run(tmp_path)
    assert done.returncode == 0, done.stdout
    assert "4 passed, 2 skipped" in done.stdout
    assert "Missing on this machine:" in done.stdout
    assert "a unicorn: kept 2 tests from running" in done.stdout


def test_what_is_missing_fails_the_run_under_ci(tmp_path: Path) -> None:
    done = run(tmp_path, CI="true")
    assert done.returncode == 1
    assert "4 passed" in done.stdout
    assert "2 failed" in done.stdout


def test_given_servers_are_used_and_none_started(tmp_path: Path, home: Path) -> None:
    urls = {"DATABASE_URL": "postgresql://gaugeglass:x@127.0.0.1/x", "REDIS_URL": "redis+socket:///x"}
    assert run(tmp_path, LOOKS, TMPDIR=str(home), **urls).returncode == 0
    assert run(tmp_path, LOOKS, TMPDIR=str(home)).returncode == 1


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_a_run_that_is_interrupted_leaves_no_server(tmp_path: Path, how: signal.Signals) -> None:
    test = tmp_path / "test_sleeps.py"
    test.write_text(SLEEPS)
    run = subprocess.Popen(plugin(test, "-s"), cwd=ROOT, env=BARE, stdout=subprocess.PIPE, text=True)
    assert run.stdout
    assert any("sleeping" in line for line in run.stdout)
    started = descendants(run.pid)
    assert len(started) > 2
    words = [word for pid in started for word in arguments(pid)]
    places = {Path(word).parent for word in words if PREFIX in word and word.endswith("/postgres")}
    assert places
    run.send_signal(how)
    run.communicate()
    assert eventually(lambda: not alive(started))
    assert how == signal.SIGKILL or not places & folders()
