"""Only the doors read the clock; everybody else takes the time as an argument."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.layout.clock import SQL, clock_reads
from tests.layout.tree import DOORS, ROOT, listed, sources, text_of, tree_files

PLANTED = [
    ("import datetime\nx = datetime.datetime.now(tz)", "datetime.datetime.now"),
    ("import datetime as dt\nx = dt.datetime.utcnow()", "datetime.datetime.utcnow"),
    ("from datetime import datetime\nx = datetime.now(UTC)", "datetime.datetime.now"),
    ("from datetime import datetime as D\nx = D.today()", "datetime.datetime.today"),
    ("from datetime import date\nx = date.today()", "datetime.date.today"),
    ("from datetime import date\nread = date.today", "datetime.date.today"),
    ("from datetime import *\n", "datetime.*"),
    ("import time\nx = time.time()", "time.time"),
    ("from time import time_ns as t\n", "time.time_ns"),
    ("import time as clock\nx = clock.localtime()", "time.localtime"),
    ("from django.utils import timezone\nx = timezone.now()", "django.utils.timezone.now"),
    ("from django.utils import timezone as tz\nx = tz.localdate()", "django.utils.timezone.localdate"),
    ("import django.utils.timezone\nx = django.utils.timezone.now()", "django.utils.timezone.now"),
    ("from django.utils.timezone import now as right_now\n", "django.utils.timezone.now"),
    ("from django.utils import timezone\nf = Field(default=timezone.now)", "django.utils.timezone.now"),
    ("def f():\n    from django.utils import timezone\n    return timezone.now()", "django.utils.timezone.now"),
    ("f = Field(auto_now=True)", "auto_now"),
    ("f = Field(auto_now_add=True)", "auto_now_add"),
    ("from django.db.models.functions import Now\n", "django.db.models.functions.Now"),
    ("from django.db.models import functions\nx = functions.Now()", "django.db.models.functions.Now"),
    ("x = Func(function='NOW')", "SQL function NOW"),
    ("x = 'UPDATE board SET seen = now() WHERE id = 1'", "SQL now("),
    ("x = f'SELECT {field} FROM t WHERE due <= CURRENT_DATE'", "SQL CURRENT_DATE"),
    ("x = type(day).today()", "….today()"),
    ("x = self.clock.now()", "….now()"),
    ("import datetime\nx = getattr(datetime.datetime, 'now')()", "getattr now"),
]
HARMLESS = [
    '"""Never calls now() itself."""',
    "def f(now):\n    '''Due at now().'''\n    return now",
    "from datetime import datetime, time\nx = datetime.combine(day, time())",
    "import time\ntime.sleep(1)\nx = time.monotonic()",
    "x = evidence.now",
    "x = 'known now (and later)'.split() if knows else 'knowhow()'",
]


def test_only_the_doors_read_the_clock() -> None:
    inside = [(name, text) for name, text in sources() if not name.startswith(DOORS)]
    faults = [f"{name}:{line}: {what}" for name, text in inside for line, what in clock_reads(text)]
    assert not faults, listed(faults)


def test_no_sql_file_reads_the_clock() -> None:
    found = [(path, SQL.search(text_of(path))) for path in tree_files() if path.suffix == ".sql"]
    assert not [path for path, clock in found if clock]


@pytest.mark.parametrize(("source", "what"), PLANTED)
def test_a_planted_read_of_the_clock_is_found(source: str, what: str) -> None:
    assert what in [found for _, found in clock_reads(source)]


@pytest.mark.parametrize("source", HARMLESS[:-1])
def test_what_only_looks_like_a_clock_is_left_alone(source: str) -> None:
    assert clock_reads(source) == []


def banned_by_ruff(root: Path) -> set[str]:
    command = [sys.executable, "-m", "ruff", "check", "--no-cache", "--select", "TID251", "--output-format", "concise"]
    done = subprocess.run([*command, "."], cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stderr
    return {line.partition(":")[0] for line in done.stdout.splitlines() if "TID251" in line}


def test_the_linter_bans_the_clock_inside_and_allows_it_in_the_doors(tmp_path: Path) -> None:
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    inside, doors = (
        {"fleet/board/services.py", "fleet/rules/age.py"},
        {"api/visits.py", "fleet/web/board/board_page.py"},
    )
    for name in inside | doors:
        (tmp_path / name).parent.mkdir(parents=True)
        (tmp_path / name).write_text("from django.utils import timezone\n\nNOW = timezone.now()\n")
    assert banned_by_ruff(tmp_path) == inside
