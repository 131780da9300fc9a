"""The steps and programs of Gaugeglass itself, as data."""

import signal
import sys
from collections.abc import Mapping
from dataclasses import replace

import dj_database_url
from django.conf import settings

from fleet.deployment import METRICS_KEY, METRICS_KEY_FILE, WATCHER_URL
from fleet.management.embedded.address import ListenAddress
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.processes import Program
from fleet.management.embedded.site import SitePlan

OWNER_URL = "DATABASE_OWNER_URL"
DEMO_SENDER = "Gaugeglass <notices@sorrelgate.example>"

# It only sends wake-ups.
NOT_FOR_BEAT = (
    *("DATABASE_URL", "GAUGEGLASS_SECRET_KEY", METRICS_KEY, METRICS_KEY_FILE, WATCHER_URL),
    *("GAUGEGLASS_MAIL", "GAUGEGLASS_MAIL_PASSWORD_FILE", "GAUGEGLASS_SERVICES", "GAUGEGLASS_SERVICES_FILE"),
    "GAUGEGLASS_PUSH_KEY",
)
SWEEP_QUEUES, DELIVERY_QUEUES = "celery", "notices,watcher"


CELERY = ("-m", "celery", "-A", "fleet.celery")


def site_plan(folder: Folder, address: ListenAddress, env: Mapping[str, str]) -> SitePlan:
    """Return the plan of a lasting site: migrations and catalogue first, then worker, beat and web, then delivery."""
    site_env = {name: value for name, value in env.items() if name != OWNER_URL}
    steps = _make_first_steps(env, site_env, "site")
    next_steps = _make_step(site_env, "next_steps")
    return SitePlan(steps, _make_staff(address, site_env), next_steps, late_staff=_make_late_staff(site_env))


def _make_first_steps(env: Mapping[str, str], site_env: Mapping[str, str], kind: str) -> tuple[Program, ...]:
    note = _make_step(site_env, "note_installation", kind)
    return (*_database_steps(env), note, _make_step(site_env, "load_catalogue"))


def _database_steps(env: Mapping[str, str]) -> tuple[Program, ...]:
    """Return the steps that make the tables. Only they are told the address of the role that owns these.

    Without that address the site's own role makes and owns them.
    """
    owner_env = {**env, "DATABASE_URL": env.get(OWNER_URL) or env["DATABASE_URL"]}
    migrate = _make_step(owner_env, "migrate", "--no-input")
    if not env.get(OWNER_URL):
        return (migrate,)
    site_role = str(dj_database_url.parse(env["DATABASE_URL"])["USER"])
    rights = _make_step(owner_env, "give_site_rights", site_role)
    return replace(migrate, for_owner=True), replace(rights, for_owner=True)


def demo_plan(folder: Folder, address: ListenAddress, env: Mapping[str, str]) -> SitePlan:
    """Return the plan of a demonstration: a site with invented portfolios that prints its sign-ins."""
    site_env = {name: value for name, value in env.items() if name != OWNER_URL}
    if not site_env.get("GAUGEGLASS_MAIL"):  # mails are kept, not sent: the page "What was sent" shows them
        mails = {
            "GAUGEGLASS_MAIL": folder.mails_folder().as_uri().replace("file:", "folder:", 1),
            "GAUGEGLASS_MAIL_FROM": DEMO_SENDER,
        }
        site_env |= mails
        env = {**env, **mails}
    sign_ins = _make_program("sign-ins", site_env, str(settings.ROOT / "manage.py"), "make_demo", "--sign-ins")
    manage = str(settings.ROOT / "manage.py")
    town = replace(_make_program("town", site_env, manage, "make_demo"), once=True)
    steps = (*_make_first_steps(env, site_env, "demo"), _make_step(site_env, "make_demo", "--first"))
    return SitePlan(
        steps, _make_staff(address, site_env), sign_ins, background=town, late_staff=_make_late_staff(site_env)
    )


def _make_step(env: Mapping[str, str], command: str, *options: str) -> Program:
    return _make_program(command, env, str(settings.ROOT / "manage.py"), command, *options)


def _make_staff(address: ListenAddress, env: Mapping[str, str]) -> tuple[Program, ...]:
    worker = _make_worker("worker", env, SWEEP_QUEUES)
    # No pid file: the folder's lock already prevents a second beat, and a stale pid file would stop the first.
    beat_env = {name: value for name, value in env.items() if name not in NOT_FOR_BEAT}
    beat = _make_program("beat", beat_env, *CELERY, "beat", "--pidfile", "", "-l", "INFO")
    web = _make_program("web", env, "-m", "fleet.management.web_server.serve", address.host, str(address.port))
    return worker, beat, web


def _make_late_staff(env: Mapping[str, str]) -> tuple[Program, ...]:
    """Return what starts when the site answers: nobody who opens it waits for what tells others."""
    return (_make_worker("delivery", env, DELIVERY_QUEUES),)


def _make_worker(name: str, env: Mapping[str, str], queues: str) -> Program:
    """Return a worker of these queues alone.

    A worker that stops ends its tasks first. Late acknowledgement brings back those it cannot end in time.
    """
    pool = ("--pool", "prefork", "--concurrency", "2", "-Q", queues, "-n", f"{name}@%h")
    # The workers have nothing to tell each other, and one that starts would wait a second for the other's answer.
    alone = ("--without-mingle", "--without-gossip")
    return _make_program(name, env, *CELERY, "worker", *pool, *alone, "-l", "INFO", patience=20)


def _make_program(name: str, env: Mapping[str, str], *arguments: str, patience: float = 10.0) -> Program:
    argv = (sys.executable, *arguments)
    return Program(name, argv, env, cwd=str(settings.ROOT), stop_signal=signal.SIGTERM, patience=patience)
