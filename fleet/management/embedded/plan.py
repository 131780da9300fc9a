"""The steps and programs of Gaugeglass itself, as data."""

import signal
import sys
from collections.abc import Mapping
from dataclasses import replace

from django.conf import settings

from fleet.management.embedded.address import ListenAddress
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.processes import Program
from fleet.management.embedded.site import SitePlan

WSGI_APPLICATION = "django.core.wsgi:get_wsgi_application()"

NOT_FOR_BEAT = ("DATABASE_URL", "GAUGEGLASS_SECRET_KEY")  # it only sends wake-ups


def site_plan(folder: Folder, address: ListenAddress, env: Mapping[str, str]) -> SitePlan:
    """Return the plan of a lasting site: migrations and catalogue first, then worker, beat and web."""
    return SitePlan(
        (_make_step(env, "migrate", "--no-input"), _make_step(env, "load_catalogue")), _make_staff(folder, address, env)
    )


def demo_plan(folder: Folder, address: ListenAddress, env: Mapping[str, str]) -> SitePlan:
    """Return the plan of a demonstration: a site with invented portfolios that prints its sign-ins."""
    base = site_plan(folder, address, env)
    sign_ins = _make_program("sign-ins", env, str(settings.ROOT / "manage.py"), "make_demo", "--sign-ins")
    manage = str(settings.ROOT / "manage.py")
    town = replace(_make_program("town", env, manage, "make_demo"), once=True)
    return SitePlan((*base.steps, _make_step(env, "make_demo", "--first")), base.staff, sign_ins, background=town)


def _make_step(env: Mapping[str, str], command: str, *options: str) -> Program:
    return _make_program(command, env, str(settings.ROOT / "manage.py"), command, *options)


def _make_staff(folder: Folder, address: ListenAddress, env: Mapping[str, str]) -> tuple[Program, ...]:
    celery = ("-m", "celery", "-A", "fleet.celery")
    # A worker that stops ends its tasks first. Late acknowledgement brings back those it cannot end in time.
    worker = _make_program(
        "worker", env, *celery, "worker", "--pool", "prefork", "--concurrency", "2", "-l", "INFO", patience=20
    )
    # No pid file: the folder's lock already prevents a second beat, and a stale pid file would stop the first.
    beat_env = {name: value for name, value in env.items() if name not in NOT_FOR_BEAT}
    beat = _make_program("beat", beat_env, *celery, "beat", "--pidfile", "", "-l", "INFO")
    options = ("--workers", "2", "--bind", address.bind, "--no-control-socket", "--graceful-timeout", "8")
    log = ("--access-logfile", "-", "--logger-class", "fleet.management.embedded.weblog.Discreet")
    web = _make_program("web", env, "-m", "gunicorn", WSGI_APPLICATION, *options, *log)
    return worker, beat, web


def _make_program(name: str, env: Mapping[str, str], *arguments: str, patience: float = 10.0) -> Program:
    argv = (sys.executable, *arguments)
    return Program(name, argv, env, cwd=str(settings.ROOT), stop_signal=signal.SIGTERM, patience=patience)
