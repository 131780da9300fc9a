"""Short writes on a separate connection: others see the progress of a transaction that is not committed yet."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

from django.db import connection

Beside = Callable[[Callable[[], Any]], None]


@contextmanager
def beside() -> Iterator[Beside]:
    """Yield a function that runs a short write and commits it at once.

    The write must not touch a row that the caller's transaction has locked: it would wait for itself.
    """
    with ThreadPoolExecutor(1) as other:

        def run(write: Callable[[], Any]) -> None:
            other.submit(write).result()

        try:
            yield run
        finally:
            other.submit(lambda: connection.close()).result()  # its thread's own
