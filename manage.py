#!/usr/bin/env python3
"""The command line of Gaugeglass: `manage.py demo`, `up`, `fit`, `rebuild` and Django's own commands."""

import os
import sys


def main() -> None:
    """Hand the command line to Django, or say in one sentence what to install first."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit("Gaugeglass is not installed in this Python: run the first command of README.md.")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
