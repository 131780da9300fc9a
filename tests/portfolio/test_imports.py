"""A sheet handed in is compared and told first, then saved whole or not at all; never twice, and not for ever."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.db import OperationalError, connection

from fleet import pipeline, tasks
from fleet.accounts.models import User
from fleet.board.models import Change
from fleet.errors import Refused
from fleet.pipeline import imports as verbs
from fleet.portfolio.models import Boiler, Building, Fitting, Import, ImportPage, Position, Setting
from fleet.records.events import Cause
from fleet.sheets import imports
from tests import kept
from tests.cast import DAY, NOW, Fleet, make_fleet, make_person
from tests.portfolio.sheets import CELLS, LIMIT, row, sheet
from tests.portfolio.streets import as_csv

pytestmark = pytest.mark.django_db
CAUSE = Cause(who="ines", request_id="import-00001")


@pytest.fixture(scope="module")
def fleet(django_db_setup: Any, django_db_blocker: Any) -> Iterator[Fleet]:
    """Made once; what each test does to it is rolled back."""
    with kept.made_for_a_file(django_db_blocker, make_fleet) as made:
        yield made


@pytest.fixture
def ines(fleet: Fleet, db: None) -> User:
    return make_person("ines", fleet.portfolio, "office")


def new(**more: str) -> str:
    return row(**{"building_ref": "NEW1", "address": "1 New Lane", **more})


def handed(fleet: Fleet, ines: User, *rows: str, content: bytes = b"") -> Import:
    content = content or sheet(*rows).encode()
    return pipeline.receive_import(portfolio=fleet.portfolio, content=content, name="street.csv", by=ines, at=NOW)


def confirmed(of: Import, ines: User, version: int = 0) -> Import:
    return pipeline.confirm_import(import_row=of, version=version or of.version, by=ines, at=NOW, cause=CAUSE)


def counts() -> tuple[int, ...]:
    return tuple(m.objects.count() for m in (Building, Boiler, Position, Fitting, Setting, Change))


def told(of: Import, part: str = "changes") -> list[str]:
    return [d["sentence"] for line in imports.page_lines(of.id, part, 0) for d in line["does"]]


def test_a_report_is_made_before_anything_is_saved(fleet: Fleet, ines: User) -> None:
    before = counts()
    made = handed(fleet, ines, new(), new(**LIMIT))
    assert (made.status, counts()) == ("ready", before)
    assert made.report["added"] == {"buildings": 1, "boilers": 1, "settings": 2, "positions": 2, "devices": 2}
    assert made.report["changes"] == 2
    assert made.report["same"] == 0


def test_the_report_says_row_by_row_what_would_be_done(fleet: Fleet, ines: User) -> None:
    confirmed(handed(fleet, ines, new(), new(**LIMIT)), ines)
    again = handed(fleet, ines, new(name="chamber at the back"), new(**{**LIMIT, "set_psi": "9"}), new(ref="b"))
    assert told(again) == [
        "“float chamber” is now called “chamber at the back”.",
        "Set pressure: 8 psi → 9 psi from now on.",
        "Float chamber is a new place.",
        "Float chamber fitted at float chamber on Tue 01 Oct 2019.",
    ]
    assert [line["row"] for line in imports.page_lines(again.id, "changes", 0)] == [2, 3, 4]


def test_what_is_missing_is_told_and_stays(fleet: Fleet, ines: User) -> None:
    confirmed(handed(fleet, ines, new(), new(**LIMIT)), ines)
    made = handed(fleet, ines, new())
    assert "float chamber is not in the file: it stays as it is." in told(made, "missing")
    assert "Boiler 1 of 12 Alder Terrace is not in the file: it stays as it is." in told(made, "missing")
    before = counts()
    assert (confirmed(made, ines).status, counts()) == ("saved", before)


def test_once_confirmed_it_is_saved_under_the_name_of_who_confirmed(fleet: Fleet, ines: User) -> None:
    made = confirmed(handed(fleet, ines, new(), new(**LIMIT)), ines)
    assert (made.status, Boiler.objects.filter(building__ref="NEW1").count()) == ("saved", 1)
    change = Change.objects.get(kind="register.imported")
    assert change.who == "ines"
    assert change.request_id == "import-00001"
    assert change.subject == made.id


def test_the_same_file_twice_adds_nothing_and_is_no_news(fleet: Fleet, ines: User) -> None:
    confirmed(handed(fleet, ines, new(), new(**LIMIT)), ines)
    before = counts()
    again = handed(fleet, ines, new(), new(**LIMIT))
    assert (again.report["changes"], again.report["same"]) == (0, 2)
    assert (confirmed(again, ines).status, counts()) == ("saved", before)


def test_faults_are_told_with_row_letter_and_column(fleet: Fleet, ines: User) -> None:
    made = handed(fleet, ines, new(), new(ref="b", zone="Nowhere"))
    assert made.status == "faulty"
    fault = made.report["faults"][0]
    assert fault["row"] == 3
    assert fault["letter"] == "C"
    assert fault["column"] == "zone"
    with pytest.raises(Refused, match="not_now"):
        confirmed(made, ines)


def test_what_is_fixed_in_the_register_is_a_fault_of_the_report(fleet: Fleet, ines: User) -> None:
    confirmed(handed(fleet, ines, new()), ines)
    made = handed(fleet, ines, new(since="2020-10-01"))
    assert [(f["code"], f["row"]) for f in made.report["faults"]] == [("since_fixed", 2)]


def test_a_register_that_moved_meanwhile_makes_a_new_report_and_saves_nothing(fleet: Fleet, ines: User) -> None:
    confirmed(handed(fleet, ines, new(), new(**LIMIT)), ines)
    made = handed(fleet, ines, new(), new(**{**LIMIT, "set_psi": "9"}))
    confirmed(handed(fleet, ines, new(), new(**{**LIMIT, "set_psi": "10"})), ines)
    before = counts()
    again = pipeline.confirm_import(import_row=made, version=made.version, by=ines, at=NOW + DAY, cause=CAUSE)
    assert (again.status, counts()) == ("ready", before)
    assert "The register changed" in again.told
    assert told(again) == ["Set pressure: 10 psi → 9 psi from now on."]


def test_a_register_that_moved_elsewhere_changes_nothing_of_the_report(fleet: Fleet, ines: User) -> None:
    made = handed(fleet, ines, new())
    confirmed(handed(fleet, ines, new(building_ref="NEW2")), ines)
    assert confirmed(made, ines).status == "saved"


def test_it_is_saved_once_however_often_it_is_confirmed(fleet: Fleet, ines: User) -> None:
    made = handed(fleet, ines, new())
    version = made.version
    confirmed(made, ines)
    with pytest.raises(Refused, match="not_now") as refused:
        confirmed(made, ines, version)
    assert refused.value.status == 409


def test_a_report_that_was_not_looked_at_is_not_confirmed(fleet: Fleet, ines: User) -> None:
    made = handed(fleet, ines, new())
    with pytest.raises(Refused, match="stale") as refused:
        confirmed(made, ines, made.version + 1)
    assert refused.value.status == 412


def test_what_is_withdrawn_is_not_saved(fleet: Fleet, ines: User) -> None:
    made = handed(fleet, ines, new())
    assert pipeline.withdraw_import(import_row=made, version=made.version, at=NOW).status == "withdrawn"
    with pytest.raises(Refused, match="not_now"):
        confirmed(made, ines)


def large(fleet: Fleet, ines: User) -> Import:
    content = as_csv(40)
    assert len(content) > verbs.MAX_BYTES_AT_ONCE
    return handed(fleet, ines, content=content)


def test_a_large_file_waits_for_a_worker_and_is_compared_and_saved_by_one(fleet: Fleet, ines: User) -> None:
    made = large(fleet, ines)
    assert made.status == "reading"
    assert pipeline.work_on_imports(at=NOW) == 1
    made.refresh_from_db()
    assert (made.status, made.report["rows"]) == ("ready", 840)
    assert confirmed(made, ines).status == "saving"
    pipeline.work_on_imports(at=NOW)
    made.refresh_from_db()
    assert (made.status, Boiler.objects.filter(building__ref__startswith="H").count()) == ("saved", 60)


def test_the_periodic_task_brings_on_what_waits(fleet: Fleet, ines: User) -> None:
    made, beat = large(fleet, ines), settings.CELERY_BEAT_SCHEDULE["imports"]
    assert tasks.imports.name == beat["task"]
    assert beat["options"]["expires"] < beat["schedule"]
    tasks.imports()
    made.refresh_from_db()
    assert made.status == "ready"


def test_a_worker_that_fails_leaves_nothing_half_and_says_so(
    fleet: Fleet, ines: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    made, before = handed(fleet, ines, new()), counts()

    def broken(*args: Any, **kwargs: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("fleet.pipeline.conclude.conclude_boilers", broken)
    assert confirmed(made, ines).status == "failed"
    assert counts() == before
    assert "nothing was saved" in made.told


def test_a_lock_that_was_not_to_be_had_is_tried_again_by_the_next_run(
    fleet: Fleet, ines: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = handed(fleet, ines, new())

    def held(*args: Any, **kwargs: Any) -> None:
        raise OperationalError

    with monkeypatch.context() as patch:
        patch.setattr("fleet.pipeline.register.lock_boilers", held)
        assert confirmed(made, ines).status == "saving"
    pipeline.work_on_imports(at=NOW)
    made.refresh_from_db()
    assert made.status == "saved"


def test_what_another_worker_has_in_hand_is_left_to_it_and_taken_once_that_one_died(fleet: Fleet, ines: User) -> None:
    made, other = large(fleet, ines), connection.copy()
    with other.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [made.id.int >> 65])
    assert pipeline.work_on_imports(at=NOW) == 0
    other.close()  # as a worker's does that was killed
    assert pipeline.work_on_imports(at=NOW) == 1
    made.refresh_from_db()
    assert made.status == "ready"


def test_two_imports_of_a_portfolio_are_saved_one_after_the_other(fleet: Fleet, ines: User) -> None:
    made, other = handed(fleet, ines, new()), connection.copy()
    with other.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [fleet.portfolio.id.int >> 65])
    assert confirmed(made, ines).status == "saving"
    for _ in range(imports.MAX_TRIES + 1):
        pipeline.work_on_imports(at=NOW)
    other.close()
    pipeline.work_on_imports(at=NOW)
    made.refresh_from_db()
    assert made.status == "saved"


def test_what_was_begun_three_times_has_failed(fleet: Fleet, ines: User) -> None:
    made = large(fleet, ines)
    Import.objects.filter(id=made.id).update(tries=3)
    pipeline.work_on_imports(at=NOW)
    made.refresh_from_db()
    assert made.status == "failed"
    assert "started 3 times" in made.told


@pytest.mark.parametrize(("days", "left"), [(13, 1), (14, 0), (15, 0)])
def test_an_import_goes_after_fourteen_days(fleet: Fleet, ines: User, days: int, left: int) -> None:
    handed(fleet, ines, new())
    pipeline.work_on_imports(at=NOW + days * DAY)
    assert (Import.objects.count(), ImportPage.objects.exists()) == (left, bool(left))


def test_a_files_name_is_kept_without_folders(fleet: Fleet, ines: User) -> None:
    made = pipeline.receive_import(
        portfolio=fleet.portfolio, content=b"x", name="C:\\office\\../a\x00b.csv", by=ines, at=NOW
    )
    assert made.name == "ab.csv"


# Columns that came later.


def with_column(column: str, value: str, **more: str) -> bytes:
    return (",".join([*CELLS, column]) + "\n" + f"{new(**more)},{value}\n").encode()


def test_another_portfolios_sheet_is_refused(fleet: Fleet, ines: User) -> None:
    right = handed(fleet, ines, content=with_column("portfolio_ref", "SORRELGATE"))
    wrong = handed(fleet, ines, content=with_column("portfolio_ref", "ELSE"))
    assert (right.status, [f["code"] for f in wrong.report["faults"]]) == ("ready", ["other_portfolio"])


UPPER = {"ref": "upper", "role": "upper_cutoff", "kind": "float_cutoff"}


def test_a_declared_day_is_kept_with_the_fitting_and_is_no_proof(fleet: Fleet, ines: User) -> None:
    made = handed(fleet, ines, content=with_column("declared:slow_drain", "2025-09-20", **UPPER))
    confirmed(made, ines)
    assert Fitting.objects.get(position__boiler__building__ref="NEW1").declared == {"slow_drain": "2025-09-20"}


def test_a_later_declared_day_is_a_later_statement_and_repeating_it_none(fleet: Fleet, ines: User) -> None:
    for at, day in enumerate(("2025-09-20", "2025-10-20", "2025-10-20")):
        content = with_column("declared:slow_drain", day, **UPPER)
        made = pipeline.receive_import(portfolio=fleet.portfolio, content=content, name="a", by=ines, at=NOW + at * DAY)
        pipeline.confirm_import(import_row=made, version=made.version, by=ines, at=NOW + at * DAY, cause=CAUSE)
    found = Fitting.objects.filter(position__boiler__building__ref="NEW1").order_by("posted_at")
    assert [f.declared["slow_drain"] for f in found] == ["2025-09-20", "2025-10-20"]
    assert len({f.device_id for f in found}) == 1


@pytest.mark.parametrize(
    ("column", "day", "code"),
    [
        ("declared:slow_drain", "2026-01-13", "not_yet"),
        ("declared:slow_drain", "2019-09-30", "before_it_was_fitted"),
        ("declared:slow_drain", "soon", "not_a_date"),
        ("declared:lever_lift", "2025-10-01", "value_does_not_fit"),
        ("declared:nothing", "2025-10-01", "unknown_column"),
    ],
)
def test_a_declared_day_that_cannot_be_is_a_fault(column: str, day: str, code: str, fleet: Fleet, ines: User) -> None:
    made = handed(fleet, ines, content=with_column(column, day, **UPPER))
    assert [f["code"] for f in made.report["faults"]] == [code]


def test_a_declared_day_of_today_is_taken(fleet: Fleet, ines: User) -> None:
    assert handed(fleet, ines, content=with_column("declared:slow_drain", "2026-01-12", **UPPER)).status == "ready"


def test_a_place_that_need_not_be_filled_is_a_setting_from_the_beginning(fleet: Fleet, ines: User) -> None:
    confirmed(handed(fleet, ines, content=unneeded("co_alarm")), ines)
    setting = Setting.objects.get(position__boiler__building__ref="NEW1", key="needed")
    assert setting.value is False
    assert setting.since == setting.position.boiler.since


def unneeded(role: str, reason: str = "No dwelling opens on the room; the owner, 12 Sep 2023.") -> bytes:
    """A sheet of which one place need not be filled, and why."""
    content = with_column("needed", "no", role=role, kind="", fitted_on="")
    head, row = content.decode().splitlines()
    return f'{head},not_needed_because\n{row},"{reason}"\n'.encode()


@pytest.mark.parametrize(
    ("content", "code", "column"),
    [
        (unneeded("co_alarm", ""), "empty", "not_needed_because"),
        (unneeded("safety_valve"), "always_needed", "needed"),
    ],
)
def test_a_place_is_left_out_only_with_a_reason_and_where_the_catalogue_lets_it(
    content: bytes, code: str, column: str, fleet: Fleet, ines: User
) -> None:
    found = [(f["code"], f["column"]) for f in handed(fleet, ines, content=content).report["faults"]]
    assert found == [(code, column)]


def test_a_row_without_a_place_is_a_boiler_of_which_none_is_known(fleet: Fleet, ines: User) -> None:
    confirmed(handed(fleet, ines, new(ref="", name="", role="", kind="", fitted_on="")), ines)
    boiler = Boiler.objects.get(building__ref="NEW1")
    assert (boiler.name, boiler.positions.count()) == ("Boiler 1", 0)


def test_without_a_column_for_them_dwelling_units_stay(fleet: Fleet, ines: User) -> None:
    confirmed(handed(fleet, ines, new(units="31")), ines)
    assert handed(fleet, ines, new(units="")).report["changes"] == 0
