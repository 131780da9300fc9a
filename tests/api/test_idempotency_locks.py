"""A keyed post beside others: a lock held too long is waited out within its one transaction, and it wakes once."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection, transaction

from api.http import retry
from fleet import pipeline
from fleet.accounts.models import Answered
from fleet.visits.models import Visit
from tests.api.phone import DROP, VISITS, Phone, but, flush
from tests.cast import Fleet, make_fleet

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def fleet(transactional_db: Any) -> Fleet:
    """Committed, so that others can hold its locks."""
    return make_fleet()


@pytest.fixture
def hasty(fleet: Fleet) -> Iterator[None]:
    """This connection waits a tenth of a second for a lock."""
    with connection.cursor() as cursor:
        cursor.execute("SET lock_timeout = '100ms'")
    yield
    connection.close()


def test_a_lock_held_too_long_is_tried_again_inside_the_keys_transaction(
    fleet: Fleet, hasty: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    other, woken, verb = connection.copy(), [], pipeline.post_visits
    other.set_autocommit(False)
    with other.cursor() as cursor:
        cursor.execute("SELECT 1 FROM portfolio_boiler WHERE id = %s FOR UPDATE", [fleet.bench().boiler.id])
    tries = []

    def post_visits(*args: Any, **more: Any) -> Any:
        tries.append(connection.in_atomic_block)
        with transaction.atomic():
            transaction.on_commit(lambda: woken.append("once"))
            return verb(*args, **more)

    monkeypatch.setattr(pipeline, "post_visits", post_visits)
    monkeypatch.setattr(retry.time, "sleep", lambda _: other.rollback())  # the other one is done meanwhile
    phone, body = Phone.of(fleet.technician), but(flush(fleet), "id", to=DROP)
    answers = [phone.send("POST", VISITS, body, headers={"Idempotency-Key": "k-1"}) for _ in range(2)]
    other.close()
    assert [a.status_code for a in answers] == [201, 201]
    assert (tries, woken) == ([True, True], ["once"])
    assert (Visit.objects.count(), Answered.objects.count()) == (1, 1)


def test_a_connection_lost_in_the_midst_is_told_as_busy_and_keeps_nothing(
    fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    verb = pipeline.post_visits

    def post_visits(*args: Any, **more: Any) -> Any:
        done = verb(*args, **more)
        with connection.copy().cursor() as cursor, connection.cursor() as own:
            own.execute("SELECT pg_backend_pid()")
            cursor.execute("SET ROLE NONE")  # only the owner may end another's connection
            cursor.execute("SELECT pg_terminate_backend(%s)", own.fetchone())
        return done

    phone, body = Phone.of(fleet.technician), but(flush(fleet), "id", to=DROP)
    with monkeypatch.context() as patched:
        patched.setattr(pipeline, "post_visits", post_visits)
        lost = phone.send("POST", VISITS, body, headers={"Idempotency-Key": "k-1"})
    connection.close()
    assert lost.status_code == 503
    assert lost["Retry-After"] == "2"
    assert Visit.objects.count() == 0
    assert phone.send("POST", VISITS, body, headers={"Idempotency-Key": "k-1"}).status_code == 201
