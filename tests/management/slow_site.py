"""A small site behind the real web server, with bounds so short that a test need not wait.

Run as `python -m tests.management.slow_site HOST PORT`.
"""

import logging
import os
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from fleet.logs import JsonLines
from fleet.management.web_server.gate import WholeRequestGate
from fleet.management.web_server.serve import LIMITS, end_with_parent, serve

MB = 1024 * 1024


def answer(environ: dict[str, Any], start: Callable[[str, list[tuple[str, str]]], object]) -> Iterable[bytes]:
    """Answer with the process, the length of the body and the client's address; /slow takes 2 s.

    /large is 32 MiB, and /logged/ says that the site has logged it.
    """
    logged = [("X-Request-Id", "field-00001")] if environ["PATH_INFO"] == "/logged/" else []
    start("200 OK", [("Content-Type", "text/plain"), *logged])
    if environ["PATH_INFO"] == "/slow":
        time.sleep(2)
    if environ["PATH_INFO"] == "/large":
        return [b"x" * MB for _ in range(32)]
    return [f"{os.getpid()} {len(environ['wsgi.input'].read())} {environ['REMOTE_ADDR']}".encode()]


def lines_on_stderr() -> logging.Handler:
    """Return a handler that writes as the site's own does."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines())
    return handler


if __name__ == "__main__":
    end_with_parent()  # a run of the tests that is killed leaves no server
    serve("tests.management.slow_site:gate", sys.argv[1], int(sys.argv[2]))
else:
    end_with_parent()
    logging.basicConfig(level=logging.INFO, handlers=[lines_on_stderr()])
    LIMITS_OF_A_TEST = replace(LIMITS, body_bytes=2 * MB, waiting_bytes=8 * MB, silent_seconds=3.0, total_seconds=6.0)
    gate = WholeRequestGate(answer, LIMITS_OF_A_TEST, threads=2)
