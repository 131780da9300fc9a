"""`python -m fleet.management.web_server.serve HOST PORT`: starts the workers, and starts again one that dies."""

import ctypes
import os
import resource
import signal
import sys

from granian.constants import HTTPModes, Interfaces
from granian.http import HTTP1Settings
from granian.server import Server

from fleet.management.web_server.waiting_body import BodyLimits

GATE = "fleet.management.web_server.site_gate:gate"
WORKERS, THREADS = 2, 4  # processes, and threads of the site in each
# Connections that one worker holds, also those that are slow to send. Each needs one file, and its body another.
CONNECTIONS = 4_000
SPARE_FILES, MIN_CONNECTIONS = 512, 32
MAX_HEAD_BYTES = 64 * 1024  # request line and headers; the site itself refuses a longer address far below
HEAD_MILLISECONDS = 10_000  # for a head to arrive, and for a kept connection to be used again
GRACEFUL_SECONDS = 8  # for requests in progress at the end
MB = 1024 * 1024
LIMITS = BodyLimits(body_bytes=20 * MB + 16 * 1024, waiting_bytes=256 * MB, silent_seconds=15.0, total_seconds=300.0)
LOG_SETTINGS = {
    "formatters": {"lines": {"()": "fleet.logs.JsonLines"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "lines"}},
    "loggers": {
        "_granian": {"handlers": ["console"], "propagate": False},
        "_granian.asgi.io": {"level": "WARNING"},  # a line for each chunk that a client did not wait for
    },
}
PR_SET_PDEATHSIG = 1


def serve(target: str, host: str, port: int) -> None:
    """Serve until a signal asks to stop. Requests in progress are answered first."""
    connections = _raise_file_limit()
    server = Server(
        target,
        address=host,
        port=port,
        interface=Interfaces.ASGINL,
        http=HTTPModes.http1,
        websockets=False,
        workers=WORKERS,
        backlog=1024,
        backpressure=connections,
        http1_settings=HTTP1Settings(header_read_timeout=HEAD_MILLISECONDS, max_buffer_size=MAX_HEAD_BYTES),
        log_dictconfig=LOG_SETTINGS,
        respawn_failed_workers=True,
        respawn_interval=0.1,
        workers_kill_timeout=GRACEFUL_SECONDS,
    )
    server.serve()


def end_with_parent() -> None:
    """End this worker with the process that started it, which else would leave it with the port (Linux)."""
    if sys.platform == "linux":
        ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, int(signal.SIGTERM))


def _raise_file_limit() -> int:
    """Allow as many open files as this account may have, and return for how many connections of a worker they last."""
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    needed_files = 2 * CONNECTIONS + SPARE_FILES
    allowed = needed_files if most == resource.RLIM_INFINITY else min(needed_files, most)
    resource.setrlimit(resource.RLIMIT_NOFILE, (allowed, most))
    return max(MIN_CONNECTIONS, (allowed - SPARE_FILES) // 2)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    serve(GATE, sys.argv[1], int(sys.argv[2]))
