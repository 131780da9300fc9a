"""pytest plugin: real servers for the run, and an account of what this machine lacks.

Loaded early (`-p tests.servers`), since Django's settings are read with the first conftest and want the addresses.
"""

import atexit
import gc
import os
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Generator
from contextlib import ExitStack
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import pytest
from xdist.scheduler import LoadScopeScheduling

from fleet.management.embedded import MachineError, temporary
from fleet.management.embedded.binaries import COPIES

ENDINGS = ExitStack()
MISSING: Counter[str] = Counter()
OURS = "GAUGEGLASS_TEST_SERVERS"  # names the addresses that this plugin put into the environment


class Missing(pytest.skip.Exception):
    """Skips the test that needs something this machine does not have."""

    def __init__(self, what: str) -> None:
        super().__init__(f"missing on this machine: {what}")
        self.what = what


def need(what: str, present: object) -> None:
    """Skip the test that calls unless `present`; the run counts it and, under CI, fails it."""
    if not present:
        raise Missing(what)


def chromium() -> str | None:
    """Return the path of a browser for the page tests."""
    return next(filter(None, map(shutil.which, ("/usr/bin/chromium", "chromium", "google-chrome"))), None)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_load_initial_conftests(early_config: pytest.Config) -> Generator[None, Any, Any]:
    """Start the servers before anybody reads Django's settings; wrappers come before every plain hook."""
    gc.disable()  # nothing that is imported becomes garbage; tests/conftest.py switches it on again
    _keep_bytecode(early_config.rootpath / ".pytest_cache" / "bytecode")
    early_config.add_cleanup(ENDINGS.close)
    atexit.register(ENDINGS.close)  # when pytest gives up before it is configured
    _start(early_config.known_args_namespace)
    return (yield)


def _keep_bytecode(folder: Path) -> None:
    """Where nothing may be compiled beside the sources, compile into `folder`: for this process and all it starts.

    Otherwise each process of the run, and each of the many that tests start, compiles all anew.
    """
    if sys.dont_write_bytecode:
        sys.pycache_prefix, sys.dont_write_bytecode = str(folder), False
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder)
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        if os.geteuid() == 0:  # the copy that a site's account runs is compiled by that account, which is not root
            copies = folder / COPIES.relative_to("/")
            copies.mkdir(parents=True, exist_ok=True)
            copies.chmod(0o1777)


def _deals_out_all(options: Any) -> bool:
    """Whether this process runs no test itself: those that it starts have servers of their own."""
    one_of_them = os.environ.get("PYTEST_XDIST_WORKER")
    return bool(getattr(options, "numprocesses", None)) and not one_of_them and not options.usepdb


def _start(options: Any) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    if signal.getsignal(signal.SIGTERM) is signal.SIG_DFL:  # a run that takes too long ends like one stopped by hand
        signal.signal(signal.SIGTERM, signal.default_int_handler)  # also where whoever started it ignores Ctrl-C
    if os.environ.get("PYTEST_XDIST_WORKER"):
        # Each of several runs side by side has servers of its own: one empties a broker while another counts on it.
        for name in os.environ.pop(OURS, "").split():
            os.environ.pop(name, None)
    if os.environ.get("DATABASE_URL") and os.environ.get("REDIS_URL"):
        return
    if "GAUGEGLASS_FILES" not in os.environ:
        files = mkdtemp(prefix="gaugeglass-files-")
        os.environ["GAUGEGLASS_FILES"] = files
        ENDINGS.callback(shutil.rmtree, files, ignore_errors=True)
        ENDINGS.callback(os.environ.pop, "GAUGEGLASS_FILES", None)
    if _deals_out_all(options):
        _name_servers("postgresql:///nowhere", "redis+socket:///nowhere")
        return
    try:
        servers = ENDINGS.enter_context(temporary())
    except MachineError as trouble:
        raise pytest.UsageError(str(trouble)) from None
    _name_servers(servers.database_url, servers.redis_url)


def _name_servers(database_url: str, redis_url: str) -> None:
    """Put addresses that nobody gave into the environment, until the run ends."""
    for name, url in (("DATABASE_URL", database_url), ("REDIS_URL", redis_url)):
        if not os.environ.get(name):
            os.environ[name] = url
            os.environ[OURS] = f"{os.environ.get(OURS, '')} {name}".strip()
            ENDINGS.callback(os.environ.pop, name, None)
            ENDINGS.callback(os.environ.pop, OURS, None)


def pytest_unconfigure() -> None:
    """Stop the servers, also after Ctrl-C."""
    ENDINGS.close()


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(
    fixturedef: pytest.FixtureDef[Any], request: pytest.FixtureRequest
) -> Generator[None, object, object]:
    """Have the test database migrated once for all processes; a server that somebody named is left as it is."""
    if fixturedef.argname != "django_db_setup" or "DATABASE_URL" not in os.environ.get(OURS, ""):
        return (yield)
    from tests.kept_schema import migrated_once  # Django's settings are there by now
    from tests.site_role import act_as_owner, act_as_site

    blocker = request.getfixturevalue("django_db_blocker")
    with migrated_once(request.config.rootpath / ".pytest_cache" / "migrated", os.environ["DATABASE_URL"]):
        value = yield
    act_as_site(blocker)
    fixturedef.addfinalizer(lambda: act_as_owner(blocker))  # before the fixture's own end, which drops the database
    return value


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(call: pytest.CallInfo[None]) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Count what was missing; a machine that claims to check everything must not skip silently."""
    report = yield
    error = call.excinfo.value if call.excinfo else None
    if isinstance(error, Missing):
        report.user_properties.append(("missing", error.what))  # travels to whoever prints the summary
        if os.environ.get("CI"):
            report.outcome = "failed"
            report.longrepr = str(error)
    return report


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Count it where the summary is printed, whichever process ran the test."""
    MISSING.update(str(what) for name, what in report.user_properties if name == "missing" and not report.passed)


# What takes longest, most of it waiting, begins first, and what is short ends the run: it is as long as its last file.
# The pages follow each other, so that a process starts its browser once.
LONGEST = (
    "tests/management/test_supervisor.py",
    "tests/management/",
    "tests/tasks/",
    "tests/pipeline/test_scenarios.py",
    "tests/web/",
    "tests/api/test_walk.py",
    "tests/town/",
    "tests/pipeline/test_speed.py",
    "tests/api/test_fuzz.py",
    "tests/pipeline/test_faults.py",
    "tests/pipeline/test_named_people.py",
    "tests/pipeline/test_acts_survive.py",
    "tests/pipeline/test_jobs.py",
    "tests/portfolio/test_planned_gaps_agree.py",
    "tests/pipeline/test_order.py",
    "tests/pipeline/test_register_bulk.py",
    "tests/rules/",
    "tests/pipeline/",
    "tests/api/",
    "tests/layout/",
)
SITES = ("tests/management/", "tests/tasks/")
LAYOUT = "tests/layout/"


class Files(LoadScopeScheduling):
    """A file stays together, and so do those that start and stop whole sites, accounts and disks included.

    Dealt to several processes they ended sooner, and twice a check of leftover processes failed by chance. The checks
    of the layout parse the tree once in a process.
    """

    def _split_scope(self, nodeid: str) -> str:
        if nodeid.startswith(SITES):
            return "sites"
        return LAYOUT if nodeid.startswith(LAYOUT) else nodeid.split("::")[0]


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Files:
    """How tests are dealt to the processes of a run."""
    return Files(config, log)


def _rank(item: pytest.Item) -> int:
    """Return the item's place in LONGEST, the number of its lines where it has none."""
    return next((rank for rank, start in enumerate(LONGEST) if item.nodeid.startswith(start)), len(LONGEST))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest first; the others as they stand."""
    items.sort(key=_rank)


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say at the end what the run could not check."""
    if MISSING:
        terminalreporter.section("Missing on this machine:")
    for what, count in sorted(MISSING.items()):
        terminalreporter.write_line(f"{what}: kept {count} test{'s' if count > 1 else ''} from running")
