"""Runs these tests and prints what was held against the outside: `python -m tests.engineering.report`.

Exit status 1 where a test failed, a value was not met, or fewer than 150 published values were compared.
"""

import sys

import pytest

from tests.engineering import outside

LEAST = 150


def main() -> int:
    """Run, let the summary print itself, and judge."""
    failed = pytest.main(["-q", "-p", "no:cacheprovider", "tests/engineering"])
    published = sum(one.kept for one in outside.MET if one.kind == "published")
    if published < LEAST:
        print(f"{published} published values compared, at least {LEAST} are wanted", file=sys.stderr)
    return int(bool(failed) or published < LEAST or not all(one.kept for one in outside.MET))


if __name__ == "__main__":
    sys.exit(main())
