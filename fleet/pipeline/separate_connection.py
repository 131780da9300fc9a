"""Short writes on a separate connection: others see the progress of a transaction that is not committed yet."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

from django.db import connection

RunSeparately = Callable[[Callable[[], object]], None]


@contextmanager
def open_separate_connection() -> Iterator[RunSeparately]:
    """Yield a function that runs a short write and commits it at once.

    The write must not touch a row that the caller's transaction has locked: it would wait for itself.
    """
    with ThreadPoolExecutor(1) as executor:

        def run_separately(write: Callable[[], object]) -> None:
            executor.submit(write).result()

        try:
            yield run_separately
        finally:
            executor.submit(lambda: connection.close()).result()  # its thread's own
