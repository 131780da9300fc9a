"""Files and functions stay small enough to be read in one go, and every module says what it is."""

import pytest

from tests.layout.sizes import long_files, long_functions, text_files, without_docstring
from tests.layout.tree import ROOT, listed, sources, tree_files


def test_no_file_is_longer_than_a_file_may_be() -> None:
    faults = long_files(text_files(ROOT, tree_files()))
    assert not faults, listed(faults)


def test_no_function_is_longer_than_its_place_allows() -> None:
    faults = [fault for name, text in sources(tests=True) for fault in long_functions(name, text)]
    assert not faults, listed(faults)


def test_every_module_says_what_it_is() -> None:
    faults = [name for name, text in sources(tests=True) if without_docstring(name, text)]
    assert not faults, listed(faults)


def function(lines: int, name: str = "f", docstring: str = "") -> str:
    return "\n".join(
        [f"def {name}():", *([f'    """{docstring}"""'] if docstring else []), *["    x = 1"] * (lines - 1)]
    )


@pytest.mark.parametrize(
    ("name", "called", "most"),
    [
        ("fleet/board/services.py", "f", 50),
        ("fleet/rules/judge.py", "f", 25),
        ("fleet/rules/findings/water.py", "f", 25),
        ("fleet/engineering/relief.py", "f", 25),
        ("fleet/web/board/board_page.py", "f", 25),
        ("api/visits.py", "f", 25),
        ("fleet/tasks.py", "f", 10),
        ("fleet/management/commands/up.py", "handle", 10),
        ("fleet/management/commands/up.py", "f", 50),
        ("tests/web/test_board.py", "f", 50),
    ],
)
def test_a_function_one_line_too_long_is_found(name: str, called: str, most: int) -> None:
    assert list(long_functions(name, function(most, called))) == []
    assert list(long_functions(name, function(most + 1, called))) == [
        f"{name}:1 {called}: {most + 1} lines, at most {most}"
    ]


def test_a_long_method_in_a_class_is_found() -> None:
    method = "class C:\n" + "\n".join("    " + line for line in function(51).splitlines())
    assert list(long_functions("fleet/board/models.py", method)) == ["fleet/board/models.py:2 f: 51 lines, at most 50"]


def test_a_docstring_is_not_counted() -> None:
    explained = function(25, docstring="Units.\n\n    Source.\n    ")
    assert list(long_functions("fleet/rules/judge.py", explained)) == []


def test_a_migration_may_be_long_and_silent() -> None:
    name = "fleet/visits/migrations/0001_initial.py"
    assert list(long_functions(name, function(60))) == []
    assert long_files([(name, "x\n" * 900)]) == []
    assert not without_docstring(name, "x = 1")


def test_a_file_one_line_too_long_is_found() -> None:
    assert long_files([("fleet/web/static/board.js", "x\n" * 401)]) == [
        "fleet/web/static/board.js: 401 lines, at most 400"
    ]
    assert long_files([("fleet/web/static/board.js", "x\n" * 400)]) == []


@pytest.mark.parametrize(
    ("source", "silent"), [("", False), ('"""What it is."""\n', False), ("x = 1\n", True), ("# no\n", True)]
)
def test_a_module_that_says_nothing_is_found(source: str, silent: bool) -> None:
    assert without_docstring("fleet/board/models.py", source) is silent
