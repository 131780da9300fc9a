"""What a visit that rests on a paper of others can be refused for, beside what any visit can."""

import re
from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from uuid import UUID

from fleet.calendar import day_of, day_start
from fleet.errors import Fault, FaultPath
from fleet.rules.catalogue import Catalogue
from fleet.rules.vocabulary import DATA_ACTS, PAPER_BODIES, SERIAL, EntryAct, Outcome, PaperBody, normalize_serial
from fleet.visits.incoming import IncomingEntry, IncomingPaper, IncomingVisit, PaperFile

MAX_BODY_NAME_LENGTH, MAX_NUMBER_LENGTH, MAX_SERIAL_LENGTH, MAX_FILE_NAME_LENGTH = 200, 64, 64, 200
MAX_FILE_BYTES = 20 * 1024 * 1024
FILE_TYPES = ("application/pdf", "image/jpeg", "image/png")
BODY_MESSAGE = f"A paper is of one of {', '.join(PAPER_BODIES)}."
FILE_NAME_MESSAGE = f"Give the file's name, in at most {MAX_FILE_NAME_LENGTH} characters."
HASH_MESSAGE = "A SHA-256 is 64 digits of 0-9 and a-f."
SIZE_MESSAGE = f"A file has at least 1 byte and at most {MAX_FILE_BYTES >> 20} MiB."
TYPE_MESSAGE = f"A file is one of {', '.join(FILE_TYPES)}."
SHA256 = re.compile(r"[0-9a-f]{64}", re.ASCII)
# A paper is no service visit: nobody came to do the season's work.
KINDS_WITH_PAPER = ("follow_up", "inspection", "routine_check")
BODY_NAMES: Mapping[str, str] = {
    PaperBody.VALVE_SHOP: "valve shop",
    PaperBody.INSPECTOR: "inspector",
    PaperBody.BACKFLOW_TESTER: "backflow tester",
    PaperBody.UTILITY: "utility",
}
TAG_LIFTED = "tag_lifted_"
JUMPER_FITTED, JUMPER_REMOVED = "jumper_fitted", "jumper_removed"


def paper_faults(
    visit: IncomingVisit,
    *,
    catalogue: Catalogue,
    roles: Mapping[UUID, str],
    since: datetime,
    zone: str,
    now: datetime,
) -> Iterator[Fault]:
    """Yield everything wrong with the visit's paper and with what it is said to tell.

    `roles` are those of the boiler's positions, `since` is the instant from which the boiler is on record, `zone` the
    building's, `now` the latest time allowed.
    """
    paper = visit.paper
    if paper is None:
        yield from _serials_without_paper(visit)
        return
    yield from _body_faults(paper)
    dated = list(_day_faults(paper, since, zone, now))
    yield from dated
    yield from _file_faults(paper.file)
    yield from _visit_faults(visit)
    for number, entry in enumerate(visit.entries):
        yield from _entry_faults(entry, paper, roles, catalogue=catalogue, place=("entries", number))
    if not dated:
        yield from _later_entries(visit, paper, zone)


def _serials_without_paper(visit: IncomingVisit) -> Iterator[Fault]:
    for number, entry in enumerate(visit.entries):
        if entry.act not in DATA_ACTS and SERIAL in entry.values:
            yield Fault("serial_without_paper", "Only an entry of a paper names a serial.", ("entries", number, SERIAL))


def _body_faults(paper: IncomingPaper) -> Iterator[Fault]:
    if paper.body not in PAPER_BODIES:
        yield Fault("unknown_body", BODY_MESSAGE, ("paper", "body"))
    texts = (
        ("name", paper.name, MAX_BODY_NAME_LENGTH, "Name who wrote the paper"),
        ("number", paper.number, MAX_NUMBER_LENGTH, "Give the paper's number"),
    )
    for field, text, longest, request in texts:
        if not text.strip() or len(text) > longest:
            yield Fault("required", f"{request}, in at most {longest} characters.", ("paper", field))


def _day_faults(paper: IncomingPaper, since: datetime, zone: str, now: datetime) -> Iterator[Fault]:
    today, first = day_of(now, zone), day_of(since, zone)
    if paper.dated_on > today:
        yield Fault("in_the_future", f"The paper is dated later than today, {today}.", ("paper", "dated_on"))
    elif paper.dated_on < first:
        yield Fault("before_the_boiler", f"The boiler has been on record only since {first}.", ("paper", "dated_on"))


def _file_faults(file: PaperFile) -> Iterator[Fault]:
    place: FaultPath = ("paper", "file")
    if not file.name.strip() or len(file.name) > MAX_FILE_NAME_LENGTH:
        yield Fault("required", FILE_NAME_MESSAGE, (*place, "name"))
    if not SHA256.fullmatch(file.sha256):
        yield Fault("not_a_hash", HASH_MESSAGE, (*place, "sha256"))
    if not 1 <= file.size <= MAX_FILE_BYTES:
        yield Fault("not_possible", SIZE_MESSAGE, (*place, "size"))
    if file.type not in FILE_TYPES:
        yield Fault("unknown_type", TYPE_MESSAGE, (*place, "type"))


def _visit_faults(visit: IncomingVisit) -> Iterator[Fault]:
    """Yield what only people at the boiler can tell, and a paper can't."""
    if visit.void:
        yield Fault("void_has_paper", "A void visit cannot have a paper.", ("paper",))
    if visit.kind not in KINDS_WITH_PAPER:
        message = f"A paper is no service: its kind is one of {', '.join(KINDS_WITH_PAPER)}."
        yield Fault("not_on_paper", message, ("kind",))
    told = {
        "call_for_heat": visit.call_for_heat is not None,
        "state_on_arrival": visit.state_on_arrival != "unknown",
        "left_as": bool(visit.left_as),
        "leaving_checks": bool(visit.leaving_checks),
        "register_answers": bool(visit.register_answers),
    }
    for field in (name for name, is_told in told.items() if is_told):
        message = "A paper does not tell this. Post it as a visit of those who were at the boiler."
        yield Fault("not_on_paper", message, (field,))


def _entry_faults(
    entry: IncomingEntry,
    paper: IncomingPaper,
    roles: Mapping[UUID, str],
    *,
    catalogue: Catalogue,
    place: FaultPath,
) -> Iterator[Fault]:
    serial = entry.values.get(SERIAL)
    if entry.act in DATA_ACTS:
        message = "What was fitted, removed or set belongs to the visit that did it, not to a paper."
        yield Fault("not_on_paper", message, (*place, entry.act))
        return
    if serial is not None and (not normalize_serial(serial) or len(str(serial)) > MAX_SERIAL_LENGTH):
        message = f"Give the device's serial, in at most {MAX_SERIAL_LENGTH} characters."
        yield Fault("required", message, (*place, SERIAL))
    if entry.act == EntryAct.TEST:
        yield from _test_faults(entry, paper, catalogue, (*place, "test"))
    if entry.act == EntryAct.ACTION:
        yield from _action_faults(
            entry,
            paper,
            roles.get(entry.position) if entry.position else None,
            catalogue=catalogue,
            place=(*place, "action"),
        )
    if entry.act == EntryAct.OBSERVE:
        yield from _observation_faults(entry, paper, catalogue, (*place, "observe"))


def _test_faults(entry: IncomingEntry, paper: IncomingPaper, catalogue: Catalogue, place: FaultPath) -> Iterator[Fault]:
    """Yield a fault for a test that the body does not do. A failed one is bad news, which counts from anybody."""
    procedure, body = catalogue.procedures.get(entry.code), BODY_NAMES.get(paper.body)
    if procedure is None or body is None or paper.body in procedure.who or entry.outcome == Outcome.FAIL:
        return
    message = f"{procedure.name} is no test of the {body}. Post it as a visit of those who did it."
    yield Fault("not_of_this_body", message, place)


def _action_faults(
    entry: IncomingEntry, paper: IncomingPaper, role: str | None, *, catalogue: Catalogue, place: FaultPath
) -> Iterator[Fault]:
    """Yield a fault for work that is not the body's: at a place that it does not test, or a jumper taken off.

    Work is good news: with a later proof it ends what was found. That a jumper is off only those can tell who were at
    the boiler; that one was fitted is bad news.
    """
    if role is None or paper.body not in BODY_NAMES:
        return
    kinds = catalogue.roles[role].kinds
    is_of_body = any(paper.body in p.who and p.kinds & kinds for p in catalogue.procedures.values())
    if entry.code == JUMPER_FITTED or (is_of_body and entry.code != JUMPER_REMOVED):
        return
    message = f"This is no work of the {BODY_NAMES[paper.body]}. Post it as a visit of those who did it."
    yield Fault("not_of_this_body", message, place)


def _observation_faults(
    entry: IncomingEntry, paper: IncomingPaper, catalogue: Catalogue, place: FaultPath
) -> Iterator[Fault]:
    """Yield a fault for good news that is not the body's; what accuses something is taken from any."""
    observation = catalogue.observations.get(entry.code)
    if observation is None or observation.finding or entry.code == f"{TAG_LIFTED}{paper.body}":
        return
    if entry.code.startswith(TAG_LIFTED):
        yield Fault("not_of_this_body", "Only the body that hung a tag lifts it.", place)
        return
    message = f"A paper does not tell this: {observation.name}. Post it as a visit of those who saw it."
    yield Fault("not_on_paper", message, place)


def _later_entries(visit: IncomingVisit, paper: IncomingPaper, zone: str) -> Iterator[Fault]:
    end = day_start(paper.dated_on + timedelta(days=1), zone)
    for number, entry in enumerate(visit.entries):
        if entry.at >= end:
            message = f"A paper dated {paper.dated_on} can't tell what was done after that day."
            yield Fault("after_the_paper", message, ("entries", number, "performed_at"))
