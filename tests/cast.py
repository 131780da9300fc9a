"""The fixed cast of the tests: Sorrelgate Homes and its people, and an outsider; a Monday in January."""

import atexit
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from shutil import copytree, rmtree
from tempfile import mkdtemp
from typing import Any
from uuid import UUID

from fleet import pipeline
from fleet.accounts.models import Grant, Qualification, User
from fleet.alerts.models import Alert
from fleet.assessments.models import Finding, Readiness, Verdict, Waiting
from fleet.board.models import ProofGlass, Segment, StateSegment
from fleet.catalog import queries as catalog
from fleet.catalog.services import load_release
from fleet.deficiencies.models import Deficiency
from fleet.management.demo import visit_entries
from fleet.management.demo.visit_entries import VisitWriter
from fleet.pipeline import PostedVisit, memory
from fleet.portfolio.models import Boiler, Portfolio
from fleet.records.events import Cause
from fleet.sheets.register_sheet import parse_sheet
from fleet.visits.incoming import IncomingEntry, IncomingVisit
from tests import kept

ROOT = Path(__file__).resolve().parent.parent
NOW = datetime(2026, 1, 12, 14, 0, tzinfo=UTC)  # a Monday in January, nine in the morning at the boilers
LONG_AGO = datetime(2015, 1, 1, tzinfo=UTC)
TRADES = ("technician", "operator", "gas_train", "backflow_tester")  # what Rosa is qualified for
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Fleet:
    """One portfolio with its people."""

    portfolio: Portfolio
    technician: User
    caretaker: User
    outsider: User

    def bench(self, key: str = "ALD12 B1") -> VisitWriter:
        """One boiler with its positions by ref."""
        building, boiler = key.split()
        return VisitWriter.for_boiler(Boiler.objects.get(portfolio=self.portfolio, building__ref=building, ref=boiler))

    def post(self, *visits: IncomingVisit, at: datetime = NOW) -> list[PostedVisit]:
        """Post as the technician."""
        return pipeline.post_visits(visits, by=self.technician, at=at)

    def second(self, *visits: IncomingVisit, at: datetime = NOW) -> None:
        """Put a second qualified name under these corrections: out of a hold none counts without."""
        nora = User.objects.filter(username="nora").first()
        nora = nora or make_person("nora", self.portfolio, "technician", "technician")
        for visit in visits:
            pipeline.second_correction(visit=visit.id, by=nora, at=at)

    def serviced(self, at: datetime, key: str = "ALD12 B1") -> IncomingVisit:
        """A whole yearly service with everything left well."""
        bench = self.bench(key)
        entries = visit_entries.yearly_service_entries(bench, at)
        return bench.compose_visit(
            "annual_service",
            at,
            [self.technician.id],
            entries,
            left_as="on_call",
            leaving_checks=visit_entries.LEFT_WELL,
        )

    def flushed(self, at: datetime, key: str = "ALD12 B1", who: User | None = None, **readings: Any) -> IncomingVisit:
        """A routine check: the flush, the glass blown down and the air seen open; readings given are the flush's."""
        bench = self.bench(key)
        outcome = "fail" if readings.get("burner_stopped") is False else "pass"
        entry = bench.test_entry(at, "flush", "upper", outcome, **{**visit_entries.GOOD_FLUSH, **readings})
        entries = [entry, *visit_entries.flush_entries(bench, at)[1:]]
        return bench.compose_visit("routine_check", at, [(who or self.technician).id], entries)

    def repaired(self, at: datetime, key: str = "ALD12 B1") -> IncomingVisit:
        """The chamber opened and cleaned, then both drains and a flush passed, everything left well."""
        bench = self.bench(key)
        return self.visit(at, _repair(bench, at), key)

    def visit(
        self, at: datetime, entries: Iterable[IncomingEntry], key: str = "ALD12 B1", **more: Any
    ) -> IncomingVisit:
        """A follow-up with these entries."""
        return self.bench(key).compose_visit(
            "follow_up", at, [self.technician.id], entries, leaving_checks=visit_entries.LEFT_WELL, **more
        )


def _repair(bench: VisitWriter, at: datetime) -> list[IncomingEntry]:
    return [
        bench.action_entry(at, "open_clean", "upper"),
        bench.action_entry(at, "open_clean", "chamber"),
        bench.test_entry(at, "slow_drain", "upper", burner_firing=True, burner_stopped=True, trip_in=2.5),
        bench.test_entry(at, "flush", "upper", **visit_entries.GOOD_FLUSH),
    ]


def register() -> str:
    """The cast's register sheet: cutoffs, controls and valve of seven boilers, and no more of what each needs."""
    return (ROOT / "tests" / "sorrelgate.csv").read_text()


@contextmanager
def shipped_catalogue() -> Iterator[Path]:
    """The folder of the catalogue as shipped. What was built of the cast's own release 1 is forgotten, and built anew.

    A process keeps what it built of a release by its number, for a release never changes; here two have one number.
    """
    catalog.catalogue_of.cache_clear()
    yield ROOT / "fixtures" / "catalogue"
    catalog.catalogue_of.cache_clear()


@cache
def catalogue_folder() -> Path:
    """The shipped catalogue, which of all that a boiler needs asks the cast's small registers for a safety valve only.

    What a register leaves out is tested where whole registers are: here it would stand beside every other news.
    """
    folder = Path(mkdtemp(prefix="gaugeglass-catalogue-"))
    atexit.register(rmtree, folder, ignore_errors=True)
    copytree(ROOT / "fixtures" / "catalogue", folder, dirs_exist_ok=True)
    table = folder / "needed_roles.csv"
    head, *rows = table.read_text(encoding="utf-8").splitlines()
    table.write_text("\n".join([head, *(row for row in rows if row.startswith("safety_valve,"))]) + "\n")
    return folder


def make_fleet(*buildings: str) -> Fleet:
    """The catalogue, two boilers of the demonstration sheet (or those named), technician, caretaker and outsider."""
    buildings = buildings or ("ALD12",)
    memory.forget_boilers()  # what a test asks of the database does not hang on the test before it
    return kept.once(buildings, lambda: _made(buildings))


def load_cast_catalogue() -> None:
    """The cast's release 1, in force since long ago; read from its files once in a process."""
    kept.once("the catalogue of the cast", lambda: load_release(folder=catalogue_folder(), at=LONG_AGO))


def _made(buildings: tuple[str, ...]) -> Fleet:
    load_cast_catalogue()
    portfolio = Portfolio.objects.create(ref="SORRELGATE", name="Sorrelgate Homes")
    rows = [r for r in parse_sheet(register(), catalog.catalogue_of(1)) if r.building_ref in buildings]
    pipeline.change_register(portfolio=portfolio, rows=rows, at=NOW - 900 * DAY, cause=Cause(who="office"))
    technician = make_person("rosa", portfolio, "technician", *TRADES)
    caretaker = make_person("bram", portfolio, "caretaker", "operator")
    return Fleet(portfolio, technician, caretaker, make_person("olga", None, ""))


def make_person(username: str, portfolio: Portfolio | None, role: str, *qualifications: str) -> User:
    """A user with a grant and qualifications."""
    user = User.objects.create_user(username, password="oak-valve-2609")
    if portfolio is not None:
        Grant.objects.create(user=user, portfolio=portfolio, role=role)
    for code in qualifications:
        Qualification.objects.create(user=user, code=code, since=LONG_AGO)
    return user


def standing(bench: VisitWriter, at: datetime = NOW) -> str:
    """What the board says of one boiler."""
    from fleet.board import queries

    found = queries.standing_of(bench.boiler.id, at)
    assert found is not None
    return found.standing


def conclusions(boiler: UUID) -> dict[str, list[tuple[Any, ...]]]:
    """Everything concluded of one boiler, without what only the order of posting decides (ids, when it was raised)."""
    columns = {
        Verdict: ("entry_id", "outcome", "grade", "proves", "limit", "sentence"),
        Finding: ("entry_id", "rule", "position_id", "level", "sentence"),
        Readiness: ("visit_id", "answer", "missing", "not_looked_at"),
        Waiting: ("visit_id",),
        Deficiency: ("position_id", "rule", "episode", "opened_at", "levels", "repaired_at", "closed_at"),
        Segment: ("since", "until", "standing", "reasons", "then"),
        StateSegment: ("position_id", "since", "until", "state", "reason"),
        ProofGlass: ("hazard", "position_id", "procedure", "proved_at", "due_at", "exposed_at", "tick_due_at"),
        Alert: ("condition", "subject", "since", "until", "level", "sentence"),
    }
    found = {m: m.objects.filter(boiler=boiler) for m in columns}
    # What is withdrawn was concluded once from what was known then: a trace of the posting, not a conclusion.
    found[Deficiency] = found[Deficiency].exclude(withdrawn=True)
    return {m.__name__: sorted(rows.values_list(*columns[m]), key=repr) for m, rows in found.items()}
