"""Progress beside a long transaction: on a connection of its own, so that others see it while nothing else is seen."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

from django.db import connection

Beside = Callable[[Callable[[], Any]], None]


@contextmanager
def beside() -> Iterator[Beside]:
    """Give a function that runs a short write now and commits it at once. It must touch no row this one holds."""
    with ThreadPoolExecutor(1) as other:

        def run(write: Callable[[], Any]) -> None:
            other.submit(write).result()

        try:
            yield run
        finally:
            other.submit(lambda: connection.close()).result()  # this thread's own
