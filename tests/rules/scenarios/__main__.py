"""`python -m tests.rules.scenarios [-v] FILE…`: run files of scenarios against the rules."""

import argparse
import sys
from pathlib import Path

from tests.rules.scenarios import form
from tests.rules.scenarios.run import run


def main(arguments: list[str]) -> int:
    """Read the command line and run; the exit status tells the result."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.rules.scenarios",
        description="Set what must follow beside what the rules answer, for files of this form:",
        epilog=form.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    parser.add_argument("-v", "--verbose", action="store_true", help="show what was met, too")
    told = parser.parse_args(arguments)
    return run(told.files, told.verbose)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
