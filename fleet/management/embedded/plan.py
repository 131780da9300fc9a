"""The steps and programs of Gaugeglass itself, as data."""

import signal
import sys
from collections.abc import Mapping
from dataclasses import replace

from django.conf import settings

from fleet.management.embedded.address import Address
from fleet.management.embedded.folder import Folder
from fleet.management.embedded.processes import Program
from fleet.management.embedded.site import Plan

WEB = "django.core.wsgi:get_wsgi_application()"


def site(folder: Folder, address: Address, env: Mapping[str, str]) -> Plan:
    """Return the plan of a lasting site: migrations and catalogue first, then worker, beat and web."""
    return Plan((_step(env, "migrate", "--no-input"), _step(env, "load_catalogue")), _staff(folder, address, env))


def demo(folder: Folder, address: Address, env: Mapping[str, str]) -> Plan:
    """Return the plan of a demonstration: a site with invented portfolios that prints its sign-ins."""
    plain = site(folder, address, env)
    sign_ins = _program("sign-ins", env, str(settings.ROOT / "manage.py"), "make_demo", "--sign-ins")
    manage = str(settings.ROOT / "manage.py")
    town = replace(_program("town", env, manage, "make_demo"), once=True)
    return Plan((*plain.steps, _step(env, "make_demo", "--first")), plain.staff, sign_ins, behind=town)


def _step(env: Mapping[str, str], command: str, *options: str) -> Program:
    return _program(command, env, str(settings.ROOT / "manage.py"), command, *options)


def _staff(folder: Folder, address: Address, env: Mapping[str, str]) -> tuple[Program, ...]:
    schedule = folder.path / "beat-schedule"
    celery = ("-m", "celery", "-A", "fleet.celery")
    # A worker that stops ends its tasks first. Late acknowledgement brings back those it cannot end in time.
    worker = _program(
        "worker", env, *celery, "worker", "--pool", "prefork", "--concurrency", "2", "-l", "INFO", patience=20
    )
    # No pid file: the folder's lock already prevents a second beat, and a stale pid file would stop the first.
    beat = _program("beat", env, *celery, "beat", "--schedule", str(schedule), "--pidfile", "", "-l", "INFO")
    options = ("--workers", "2", "--bind", address.bind, "--no-control-socket", "--graceful-timeout", "8")
    log = ("--access-logfile", "-", "--logger-class", "fleet.management.embedded.weblog.Discreet")
    web = _program("web", env, "-m", "gunicorn", WEB, *options, *log)
    return worker, beat, web


def _program(name: str, env: Mapping[str, str], *arguments: str, patience: float = 10.0) -> Program:
    argv = (sys.executable, *arguments)
    return Program(name, argv, env, cwd=str(settings.ROOT), ask=signal.SIGTERM, patience=patience)
