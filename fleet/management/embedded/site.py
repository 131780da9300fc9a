"""A whole site under one supervisor: database, broker, preparing steps, worker, beat, web."""

import json
import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from fleet.management.embedded import handover, lock, program_copy, server_checks, servers, sockets
from fleet.management.embedded.address import ListenAddress
from fleet.management.embedded.folder import Folder, open_folder
from fleet.management.embedded.machine_errors import MachineError, explain_os_errors, read_tail
from fleet.management.embedded.process_crew import ProcessCrew, Say, StopRequested, listen_for_signals
from fleet.management.embedded.processes import Program
from fleet.management.embedded.program_copy import ProgramPlace
from fleet.management.embedded.records import write_private
from fleet.management.embedded.servers import ServerUrls
from fleet.management.embedded.site_accounts import SiteAccounts
from fleet.management.embedded.trusted_paths import first_untrusted

PASSED_ON_BY_ROOT = ("GAUGEGLASS_", "PYTHON", "LANG", "LC_", "TZ", "PATH")  # beginnings of names


@dataclass(frozen=True, slots=True)
class SitePlan:
    """What runs on top of the servers: first steps one after the other, then programs that stay, the web last.

    `background` runs once after the site has opened; its output is printed. `last_words` prints before that, and
    `late_staff` stays like the others and starts when the web answers.
    """

    steps: tuple[Program, ...]
    staff: tuple[Program, ...]
    last_words: Program | None = None
    background: Program | None = None
    late_staff: tuple[Program, ...] = ()

    def moved_to(self, place: ProgramPlace) -> "SitePlan":
        """Return the plan with every program run by the account and from the files of `place`."""
        return SitePlan(
            tuple(place.move_program(step) for step in self.steps),
            tuple(place.move_program(program) for program in self.staff),
            place.move_program(self.last_words) if self.last_words else None,
            background=place.move_program(self.background) if self.background else None,
            late_staff=tuple(place.move_program(program) for program in self.late_staff),
        )


MakePlan = Callable[[Folder, ListenAddress, Mapping[str, str]], SitePlan]


@dataclass(frozen=True, slots=True)
class SiteRequest:
    """What a command asks for: the kind of site, its address and plan, and the parts of the code that it runs."""

    kind: str
    address: ListenAddress
    make_plan: MakePlan
    code_parts: tuple[str, ...] = program_copy.CODE_PARTS


def run_site(path: Path, request: SiteRequest, say: Say) -> None:
    """Run a site in the folder `path` until a signal asks to stop, then stop all its processes.

    Raises MachineError where the site cannot run.
    """
    folder = open_folder(path, request.kind)
    with (
        explain_os_errors(folder.path),
        lock.hold_lock(folder.path, request.address.url),
        listen_for_signals() as is_stop_requested,
        program_copy.program_place(folder.accounts, request.code_parts, say) as place,
    ):
        crew = ProcessCrew(folder, say, is_stop_requested)
        try:
            _open_site(crew, request, place)
            crew.watch_children()
        except StopRequested:
            pass
        finally:
            _close_site(crew)
    say("Stopped.")


def _open_site(crew: ProcessCrew, request: SiteRequest, place: ProgramPlace) -> None:
    folder, address = crew.folder, request.address
    crew.say(f"Data folder: {folder.path}")
    crew.say(_describe_accounts(folder.accounts))
    if folder.accounts.are_separate and (
        part := first_untrusted((program_copy.ROOT, Path(sys.prefix), Path(sys.base_prefix)))
    ):
        crew.say(f"Root runs programs below {part}, which others than root can change: make it root's alone.")
    if crew.records.stop_leftovers():
        crew.say("Stopped what an interrupted run had left.")
    if sentence := handover.hand_over_files(folder):
        crew.say(sentence)
    address.check_free()
    if sentence := folder.renew_short_key():
        crew.say(sentence)
    urls = _prepare_servers(crew)
    plan = request.make_plan(folder, address, _site_environment(folder, address, urls)).moved_to(place)
    for step in plan.steps:
        crew.say(f"Running {step.name}.")
        crew.run_step(step)
    for program in plan.staff:
        crew.say(f"Starting {program.name}.")
        crew.start_program(program, address.is_answering if program is plan.staff[-1] else None)
    _announce_site(crew, address, urls, plan.last_words)
    for program in plan.late_staff:
        crew.start_program(program)
    if plan.background:
        crew.start_program(plan.background)


def _describe_accounts(accounts: SiteAccounts) -> str:
    if accounts.are_separate:
        return f"Database and broker run as {accounts.data.name}, all else as {accounts.site.name}."
    return f"All runs as {accounts.site.name}: whoever runs programs as this user can read and change everything."


def _prepare_servers(crew: ProcessCrew) -> ServerUrls:
    """Start our own servers, or check those the environment names. Raises MachineError for unsuitable ones."""
    given_urls = ServerUrls(*(os.environ.get(name, "") for name in ("DATABASE_URL", "REDIS_URL", "DATABASE_OWNER_URL")))
    answers = (
        server_checks.check_database(given_urls.database, given_urls.database_owner) if given_urls.database else []
    ) + (server_checks.check_broker(given_urls.broker) if given_urls.broker else [])
    if not all(answer.good for answer in answers):
        raise MachineError("\n".join(str(answer) for answer in answers if not answer.good))
    return servers.start_servers(crew, given_urls)


def _site_environment(folder: Folder, address: ListenAddress, urls: ServerUrls) -> dict[str, str]:
    hosts = ",".join(dict.fromkeys(("127.0.0.1", "localhost", "[::1]", address.bind.rpartition(":")[0])))
    return {
        "GAUGEGLASS_HOSTS": hosts,
        "GAUGEGLASS_SECRET_KEY": folder.load_keys()["secret_key"],
        "GAUGEGLASS_PUSH_KEY": folder.load_keys()["push"],
        "PYTHONUNBUFFERED": "1",
        **_inherited_environment(folder.accounts),
        "DATABASE_URL": urls.database,
        "DATABASE_OWNER_URL": urls.database_owner,
        "REDIS_URL": urls.broker,
        "GAUGEGLASS_DATA": str(folder.path),
        "GAUGEGLASS_ADDRESS": os.environ.get("GAUGEGLASS_ADDRESS") or address.url,
        "GAUGEGLASS_FILES": os.environ.get("GAUGEGLASS_FILES") or str(folder.files_folder()),
        "GAUGEGLASS_DISK": "" if os.environ.get("DATABASE_URL") else str(folder.path),
        "DJANGO_SETTINGS_MODULE": "fleet.settings",
    }


def _inherited_environment(accounts: SiteAccounts) -> dict[str, str]:
    """Return what the site is given of the caller's environment. Root's holds secrets that are not the site's."""
    if not accounts.are_separate:
        return dict(os.environ)
    return {name: value for name, value in os.environ.items() if name.startswith(PASSED_ON_BY_ROOT)}


def _announce_site(crew: ProcessCrew, address: ListenAddress, urls: ServerUrls, last_words: Program | None) -> None:
    """Write the addresses for commands run meanwhile to site.json, and print the site's URL."""
    key = os.environ.get("GAUGEGLASS_SECRET_KEY") or crew.folder.load_keys()["secret_key"]
    addresses = {"database_url": urls.database, "redis_url": urls.broker, "secret_key": key}
    write_private(crew.folder.path / "site.json", json.dumps({**addresses, "web": address.url, "pid": os.getpid()}))
    crew.say(f"Gaugeglass is at {address.url}")
    if last_words:
        log = crew.folder.log_path(last_words.name)
        log.unlink(missing_ok=True)  # show only the output of this run
        crew.run_step(last_words)
        if last_output := read_tail(log).rstrip():
            crew.say(last_output)
    crew.say("Stop it with Ctrl-C.")


def _close_site(crew: ProcessCrew) -> None:
    if crew.children:
        crew.say("Stopping.")
    (crew.folder.path / "site.json").unlink(missing_ok=True)
    crew.stop_all()
    sockets.remove_socket_folder(crew.folder)
