"""A whole site under one supervisor: database, broker, preparing steps, worker, beat, web."""

import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from fleet.management.embedded import fit, lock, servers, sockets
from fleet.management.embedded.address import Address
from fleet.management.embedded.crew import Asked, Crew, Say, listening
from fleet.management.embedded.folder import Folder, open_folder
from fleet.management.embedded.processes import Program
from fleet.management.embedded.records import write_private
from fleet.management.embedded.servers import Urls
from fleet.management.embedded.trouble import Trouble, in_words, tail


@dataclass(frozen=True, slots=True)
class Plan:
    """What runs on top of the servers: first steps one after the other, then programs that stay, the web last.

    `background` runs once after the site has opened; its output is printed. `last_words` prints before that.
    """

    steps: tuple[Program, ...]
    staff: tuple[Program, ...]
    last_words: Program | None = None
    behind: Program | None = None


MakePlan = Callable[[Folder, Address, Mapping[str, str]], Plan]


def run(kind: str, path: Path, address: Address, make_plan: MakePlan, say: Say) -> None:
    """Run a site of a `kind` until a signal asks to stop, then stop all its processes.

    Raises MachineError where the site cannot run.
    """
    folder = open_folder(path, kind)
    with in_words(folder.path), lock.held(folder.path, address.url), listening() as asked:
        crew = Crew(folder, say, asked)
        try:
            _open(crew, address, make_plan)
            crew.watch()
        except Asked:
            pass
        finally:
            _close(crew)
    say("Stopped.")


def _open(crew: Crew, address: Address, make_plan: MakePlan) -> None:
    folder = crew.folder
    crew.say(f"Data folder: {folder.path}")
    if crew.records.recover():
        crew.say("Stopped what an interrupted run had left.")
    address.check_free()
    urls = _servers(crew)
    plan = make_plan(folder, address, _environment(folder, address, urls))
    for step in plan.steps:
        crew.say(f"Running {step.name}.")
        crew.run(step)
    for program in plan.staff:
        crew.say(f"Starting {program.name}.")
        crew.start(program, address.answers if program is plan.staff[-1] else lambda: True)
    _announce(crew, address, urls, plan.last_words)
    if plan.behind:
        crew.start(plan.behind)


def _servers(crew: Crew) -> Urls:
    """Start our own servers, or check those the environment names. Raises MachineError for unsuitable ones."""
    database, broker = os.environ.get("DATABASE_URL", ""), os.environ.get("REDIS_URL", "")
    answers = (fit.check_database(database) if database else []) + (fit.check_broker(broker) if broker else [])
    if not all(answer.good for answer in answers):
        raise Trouble("\n".join(str(answer) for answer in answers if not answer.good))
    return servers.start(crew, database=database, broker=broker)


def _environment(folder: Folder, address: Address, urls: Urls) -> dict[str, str]:
    hosts = ",".join(dict.fromkeys(("127.0.0.1", "localhost", "[::1]", address.bind.rpartition(":")[0])))
    return {
        "GAUGEGLASS_HOSTS": hosts,
        "GAUGEGLASS_SECRET_KEY": folder.keys()["secret_key"],
        "PYTHONUNBUFFERED": "1",
        **os.environ,
        "DATABASE_URL": urls.database,
        "REDIS_URL": urls.broker,
        "GAUGEGLASS_DATA": str(folder.path),
        "DJANGO_SETTINGS_MODULE": "fleet.settings",
    }


def _announce(crew: Crew, address: Address, urls: Urls, last_words: Program | None) -> None:
    """Write the addresses for commands run meanwhile to site.json, and print the site's URL."""
    key = os.environ.get("GAUGEGLASS_SECRET_KEY") or crew.folder.keys()["secret_key"]
    told = {"database_url": urls.database, "redis_url": urls.broker, "secret_key": key}
    write_private(crew.folder.path / "site.json", json.dumps({**told, "web": address.url, "pid": os.getpid()}))
    crew.say(f"Gaugeglass is at {address.url}")
    if last_words:
        log = crew.folder.log(last_words.name)
        log.unlink(missing_ok=True)  # show only the output of this run
        crew.run(last_words)
        crew.say(tail(log).rstrip())
    crew.say("Stop it with Ctrl-C.")


def _close(crew: Crew) -> None:
    if crew.children:
        crew.say("Stopping.")
    (crew.folder.path / "site.json").unlink(missing_ok=True)
    crew.stop()
    sockets.clear(crew.folder)
