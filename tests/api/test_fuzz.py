"""The API holds to its own description, whatever is sent: generated requests, good and broken, on every operation.

2,000 cases in a run, 10,000 by `--fuzz-cases 10000`. Every check of the generator is on. A well-formed post may also be
answered 404 (an id of nothing), 409, 412, 422, 428 and 429: what it says is not so, or not so any more.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, Verbosity, given, seed, settings
from schemathesis import Case, GenerationMode
from schemathesis.config import ChecksConfig, PositiveDataAcceptanceConfig, SchemathesisConfig
from schemathesis.core.failures import FailureGroup

from fleet.accounts.models import Grant
from tests.api.phone import Phone
from tests.cast import Fleet

ALLOWED = ["2xx", "403", "404", "409", "412", "422", "428", "429"]
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)


@dataclass
class Run:
    """What was sent and what was found."""

    sent: Counter[str] = field(default_factory=Counter)
    found: list[str] = field(default_factory=list)


@pytest.fixture
def one_connection() -> Iterator[None]:
    """The application called as a server would calls off its connection after each request; here all share one."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


def described() -> Any:
    checks = ChecksConfig(positive_data_acceptance=PositiveDataAcceptanceConfig(expected_statuses=ALLOWED))
    config = SchemathesisConfig()
    config.projects.default.checks = checks
    return schemathesis.openapi.from_wsgi("/api/schema/?format=json", get_wsgi_application(), config=config)


def tried(run: Run, operation: Any, mode: GenerationMode, cases: int, headers: dict[str, str]) -> None:
    """Send so many cases of one operation; each is rolled back."""

    @seed(20260112)
    @settings(
        max_examples=cases,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
        verbosity=Verbosity.quiet,
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def send(case: Case) -> None:
        run.sent[mode.value] += 1
        with transaction.atomic():
            try:
                case.call_and_validate(headers=headers)
            except FailureGroup as group:
                print(
                    "####",
                    case.method,
                    case.formatted_path,
                    case.query,
                    {k: v for k, v in (case.headers or {}).items() if k.lower() != "authorization"},
                    repr(case.body)[:300],
                    [str(t.message)[-300:] for t in group.exceptions],
                )
                run.found += [f"{operation.label}: {told.title}: {told.message}"[:600] for told in group.exceptions]
            finally:
                transaction.set_rollback(True)

    send()


@pytest.mark.usefixtures("one_connection")
def test_no_generated_request_finds_a_fault(fleet: Fleet, rosa: Phone, request: pytest.FixtureRequest) -> None:
    for role in ("owner", "dispatcher", "technician"):
        Grant.objects.get_or_create(user=fleet.technician, portfolio=fleet.portfolio, role=role)
    run, schema = Run(), described()
    operations = [result.ok() for result in schema.get_all_operations()]
    wanted = 1000
    share = -(-wanted // (len(operations) * len(MODES)))
    for operation in operations:
        for mode in MODES:
            tried(run, operation, mode, share, {"Authorization": f"Bearer {rosa.key}"})
    print(f"\n{len(operations)} operations, {dict(run.sent)}, {len(run.found)} findings")
    for told, times in Counter(f.split("\n")[0] for f in run.found).most_common():
        print(times, told)
    assert run.found == []
