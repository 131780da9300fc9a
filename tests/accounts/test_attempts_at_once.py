"""Many tries at the same time find no more room than one after the other."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import connection

from fleet.accounts.attempts import SignInTry, book_attempt
from fleet.accounts.models import Attempt
from tests.cast import NOW


def booked(tried: SignInTry) -> timedelta:
    try:
        return book_attempt(tried, NOW)
    finally:
        connection.close()


@pytest.mark.django_db(transaction=True)
def test_of_forty_tries_at_once_five_are_looked_at() -> None:
    with ThreadPoolExecutor(8) as threads:
        waits = list(threads.map(booked, [SignInTry("pim", "198.51.100.1")] * 40))
    assert sum(wait == timedelta(0) for wait in waits) == 5
    assert sorted(Attempt.objects.values_list("failures", flat=True)) == [5, 5]
