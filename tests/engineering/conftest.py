"""Closes a run of these tests with what was held against the outside."""

from typing import Any

from tests.engineering import outside


def pytest_terminal_summary(terminalreporter: Any) -> None:
    if outside.MET:
        terminalreporter.section("values from outside")
        for line in outside.table():
            terminalreporter.line(line)
