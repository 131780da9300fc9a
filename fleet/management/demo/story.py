"""The demonstration's small portfolio: seven boilers in six houses, with pasts posted like real visits."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from uuid import UUID

from fleet import pipeline
from fleet.accounts.models import User
from fleet.catalog import queries as catalog
from fleet.management.demo import cast, visit_entries
from fleet.management.demo.reach import give_addresses
from fleet.management.demo.visit_entries import VisitWriter
from fleet.portfolio.models import Boiler, Portfolio
from fleet.records.events import Cause
from fleet.rules.vocabulary import NameReply
from fleet.sheets.register_sheet import parse_sheet
from fleet.visits.incoming import IncomingVisit

REF = "SORRELGATE"
NAMING_ROSA = (("MIL90 B1", 2), ("ALD12 B2", 5))  # the boiler, and how many days ago
PORTFOLIO_ID = UUID("008a8fb4-f287-59d3-a422-34d87eabbc8b")  # fixed, as the ids that README.md names follow from it


def make(sheet: Path, at: datetime) -> Portfolio:
    """Make the small portfolio as of `at`, unless it exists. Return it."""
    existing = Portfolio.objects.filter(id=PORTFOLIO_ID).first()
    if existing is not None:
        rosa = User.objects.filter(username="rosa", grants__portfolio=existing).first()
        if rosa is not None:
            cast.keep_field_key(rosa, at)
        give_addresses(existing, at)  # a demonstration of an earlier version told nobody
        return existing
    portfolio = Portfolio.objects.create(id=PORTFOLIO_ID, ref=REF, name="Sorrelgate Homes")
    people = cast.make_cast(portfolio, at)
    rows = parse_sheet(sheet.read_text(encoding="utf-8"), catalog.catalogue_of(catalog.newest_release_number() or 1))
    pipeline.change_register(portfolio=portfolio, rows=rows, at=at - timedelta(days=600), cause=Cause(who="demo"))
    visits = sorted(_sorrelgate_visits(people, at), key=lambda pair: pair[0].performed_at)
    for visit, poster in visits:
        pipeline.post_visits([visit], by=poster, at=visit.performed_at + timedelta(minutes=50))
    _post_visits_naming_rosa(people["rosa"], people["bram"], at)
    pipeline.sweep(at=at)
    give_addresses(portfolio, at)
    return portfolio


def _post_visits_naming_rosa(rosa: User, bram: User, at: datetime) -> None:
    """Let the caretaker post two visits that name the technician: one waits for her word, the other she denied."""
    waiting, denied = (_lift_naming(key, rosa, at - timedelta(days=days)) for key, days in NAMING_ROSA)
    for visit in (waiting, denied):
        pipeline.post_visits([visit], by=bram, at=visit.performed_at + timedelta(hours=2))
    pipeline.reply_to_naming(
        visit=denied.id, by=rosa, reply=NameReply.DENIED, at=denied.performed_at + timedelta(hours=9)
    )


def _lift_naming(key: str, rosa: User, when: datetime) -> IncomingVisit:
    building, ref = key.split()
    bench = VisitWriter.for_boiler(Boiler.objects.get(portfolio__ref=REF, building__ref=building, ref=ref))
    lift = bench.test_entry(when, "lever_lift", "valve", **visit_entries.GOOD_LIFT)
    return bench.compose_visit("follow_up", when, [rosa.id], [lift])


def _sorrelgate_visits(people: dict[str, User], at: datetime) -> Iterator[tuple[IncomingVisit, User]]:
    rosa, bram = people["rosa"], people["bram"]
    benches = {
        f"{b.building.ref} {b.ref}": VisitWriter.for_boiler(b) for b in Boiler.objects.select_related("building")
    }
    for key, days, after_lift in (
        ("ALD12 B1", 43, "tight"),
        ("ALD12 B2", 43, "tight"),
        ("QUA48 B1", 60, "tight"),
        ("WEA07 B1", 490, "tight"),  # over fifteen months: its proofs have lapsed
        ("HOP33 B1", 75, "tight"),
        ("MIL90 B1", 20, "drips"),
    ):
        bench, when = benches[key], at - timedelta(days=days)
        entries = visit_entries.yearly_service_entries(bench, when, after_lift)
        visitors = [rosa.id]
        visit = bench.compose_visit(
            "annual_service", when, visitors, entries, left_as="on_call", leaving_checks=visit_entries.LEFT_WELL
        )
        yield visit, rosa
        yield from (
            (v, bram) for v in _weekly_visits(bench, bram, at=at, latest=_latest_flush(key), back=min(days, 60))
        )
    yield from ((v, rosa) for v in _measurement_visits(benches["MIL90 B1"], rosa, at))
    call = at - timedelta(hours=20)
    quarry = benches["QUA48 B1"]
    yield (
        quarry.compose_visit(
            "no_heat", call, [rosa.id], visit_entries.plugged_siphon_entries(quarry, call), left_as="off_locked"
        ),
        rosa,
    )


def _measurement_visits(bench: VisitWriter, rosa: User, at: datetime) -> Iterator[IncomingVisit]:
    """Yield a year of meter readings about every four weeks, and combustion tests, for Mill Lane."""
    reading = 41_200.0
    for nth, days in enumerate(range(368, 3, -28)):
        when = at - timedelta(days=days, hours=2)
        reading += 28 * (9.0 + (nth % 3) * 0.8)
        yield bench.compose_visit("routine_check", when, [rosa.id], visit_entries.meter_entries(bench, when, reading))
    for days, o2_pct, stack_f in ((385, 6.2, 395.0), (200, 6.6, 405.0), (19, 7.1, 430.0)):
        when = at - timedelta(days=days)
        yield bench.compose_visit(
            "follow_up",
            when,
            [rosa.id],
            visit_entries.combustion_entries(bench, when, o2_pct, stack_f),
            left_as="on_call",
        )


def _latest_flush(key: str) -> int:
    """Return the days since the latest flush. At Hopper Street the flush is due."""
    return 10 if key == "HOP33 B1" else 3


def _weekly_visits(bench: VisitWriter, bram: User, at: datetime, latest: int, back: int) -> Iterator[IncomingVisit]:
    for days in range(latest, back, 7):
        when = at - timedelta(days=days)
        yield bench.compose_visit("routine_check", when, [bram.id], visit_entries.flush_entries(bench, when))
