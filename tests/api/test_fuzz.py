"""The API holds to its own description, whatever is sent: generated requests, good and broken, on every operation.

300 cases in a run, 10,000 by `--fuzz-cases 10000`. Every check of the generator is on. A well-formed post may also be
answered 404 (an id of nothing), 409, 412, 422, 428 and 429: what it says is not so, or not so any more. A question of
many long words may be answered 414.
"""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, Verbosity, given, seed
from hypothesis import settings as hypothesis
from schemathesis import Case, GenerationMode
from schemathesis.config import ChecksConfig, SchemathesisConfig
from schemathesis.core.failures import FailureGroup

from fleet.accounts.models import Grant
from tests.api.phone import Phone
from tests.api.streets import of
from tests.cast import Fleet

ALLOWED = ["2xx", "403", "404", "409", "412", "414", "422", "428", "429"]  # 403 is the generator's own
# The generator's own, and an address too long.
REFUSED = ["400", "401", "403", "404", "405", "406", "409", "414", "415", "422", "428", "429", "5xx"]
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
PARTS = 4
PLACE = re.compile(r"{(\w+)}")


@dataclass
class Run:
    """What was sent, how it was answered, and what was found."""

    headers: dict[str, str]
    sent: Counter[str] = field(default_factory=Counter)
    answered: Counter[int] = field(default_factory=Counter)
    found: list[str] = field(default_factory=list)

    def case(self, case: Case) -> None:
        """Send one, and roll it back."""
        with transaction.atomic():
            try:
                # What is packed is proven in tests/api/test_field.py; here a test reads the bytes as they come.
                answer = case.call(headers={**self.headers, "Accept-Encoding": "identity"})
                self.answered[answer.status_code] += 1
                case.validate_response(answer, headers=self.headers)
            except FailureGroup as group:
                told = "; ".join(f"{f.title}: {f.message}" for f in group.exceptions)
                sent = f"{case.method} {case.formatted_path} {case.query} {case.headers} {case.body!r}"
                self.found.append(f"{sent[:600]}\n    {told[:600]}\n    {answer.text[:900]}")
            finally:
                transaction.set_rollback(True)


@pytest.fixture
def one_connection() -> Iterator[None]:
    """The application called as a server would calls off its connection after each request; here all share one."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.fixture
def everybody(fleet: Fleet, rosa: Phone, settings: Any) -> Phone:
    """One who holds nearly every role, so that nearly every door is open; limits would answer for everything."""
    settings.READS_A_MINUTE = settings.WRITES_A_MINUTE = settings.BAD_KEYS_A_MINUTE = 1_000_000
    for role in ("owner", "dispatcher", "technician"):
        Grant.objects.get_or_create(user=fleet.technician, portfolio=fleet.portfolio, role=role)
    return rosa


@cache
def described() -> Any:
    """The document as the generator reads it, made once for all parts."""
    expected = {"positive_data_acceptance": ALLOWED, "negative_data_rejection": REFUSED}
    checks = ChecksConfig.from_dict({check: {"expected-statuses": statuses} for check, statuses in expected.items()})
    config = SchemathesisConfig()
    config.projects.default.checks = checks
    return schemathesis.openapi.from_wsgi("/api/schema/?format=json", get_wsgi_application(), config=config)


def tried(run: Run, operation: Any, mode: GenerationMode, cases: int, places: dict[str, Any] | None) -> None:
    """Send so many cases of one operation, at what is there (`places`) or anywhere."""

    @seed(20260112)
    @hypothesis(
        max_examples=cases,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
        verbosity=Verbosity.quiet,
    )
    @given(case=operation.as_strategy(generation_mode=mode, path_parameters=places))
    def send(case: Case) -> None:
        run.sent[mode.value] += 1
        run.case(case)

    send()


@pytest.mark.usefixtures("one_connection")
@pytest.mark.parametrize("part", range(PARTS))
def test_no_generated_request_finds_a_fault(
    part: int, fleet: Fleet, everybody: Phone, request: pytest.FixtureRequest
) -> None:
    """Every operation in one of the parts, so that none of them needs as long as a test may take."""
    there = {name: str(id_) for name, id_ in of(fleet, "ALD12 B1").items()} | {"code": "flush"}
    run = Run({"Authorization": f"Bearer {everybody.key}"})
    every = [result.ok() for result in described().get_all_operations()]
    operations = every[part::PARTS]
    share = -(-request.config.getoption("fuzz_cases") // (len(every) * len(MODES)))
    for operation in operations:
        names = PLACE.findall(operation.path)
        known = {name: there[name] for name in names if name in there}
        ways = [None, known] if names and known.keys() == set(names) else [None]
        for mode in MODES:
            for places in ways:
                tried(run, operation, mode, -(-share // len(ways)), places)
    print(f"\n{len(operations)} operations, {dict(run.sent)}, answers {dict(sorted(run.answered.items()))}")
    assert run.found == []
    assert run.sent.total() >= share * len(operations) * len(MODES)
    assert run.answered[429] == 0
