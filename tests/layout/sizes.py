"""Measures files and functions of the tree against the sizes of the style."""

import ast
from collections.abc import Iterator
from pathlib import Path

from tests.layout.tree import nodes_of, text_of

FILE_LINES = 400
FUNCTION_LINES = 50
# (path begins with, function's name or "" for all, most lines); the strictest that matches counts.
STRICTER = (
    ("fleet/rules/", "", 25),
    ("fleet/engineering/", "", 25),
    ("fleet/web/", "", 25),
    ("api/", "", 25),
    ("fleet/tasks.py", "", 10),
    ("fleet/management/commands/", "handle", 10),
)
TEXT_SUFFIXES = {".py", ".js", ".css", ".html"}

Function = ast.FunctionDef | ast.AsyncFunctionDef


def long_files(files: list[tuple[str, str]]) -> list[str]:
    """Return a line for each (name, text) that is longer than a file may be; generated migrations aside."""
    lengths = [(name, len(text.splitlines())) for name, text in files if "/migrations/" not in name]
    return [f"{name}: {lines} lines, at most {FILE_LINES}" for name, lines in lengths if lines > FILE_LINES]


def long_functions(name: str, source: str) -> Iterator[str]:
    """Yield a line for each function of a file that is longer than its place allows; migrations aside."""
    if "/migrations/" in name:
        return
    for node in nodes_of(source):
        if isinstance(node, Function):
            lines, most = _lines(node), _most(name, node.name)
            if lines > most:
                yield f"{name}:{node.lineno} {node.name}: {lines} lines, at most {most}"


def without_docstring(name: str, source: str) -> bool:
    """Return whether a module says nothing about itself; an empty one and a migration have nothing to say."""
    module = nodes_of(source)[0]
    assert isinstance(module, ast.Module)
    return bool(source.strip()) and "/migrations/" not in name and ast.get_docstring(module) is None


def text_files(root: Path, paths: list[Path]) -> list[tuple[str, str]]:
    """Return (path from the root, text) of the files people write line by line, data and papers aside."""
    written = [path for path in paths if path.suffix in TEXT_SUFFIXES]
    return [(path.relative_to(root).as_posix(), text_of(path)) for path in written]


def _lines(function: Function) -> int:
    """Count a function's lines from `def` on, its docstring aside: a well explained formula is not a long one."""
    total = (function.end_lineno or function.lineno) - function.lineno + 1
    if ast.get_docstring(function) is None:
        return total
    docstring = function.body[0]
    return total - ((docstring.end_lineno or docstring.lineno) - docstring.lineno + 1)


def _most(name: str, function: str) -> int:
    """Return how many lines the function may have where it is."""
    found = [most for place, called, most in STRICTER if name.startswith(place) and called in ("", function)]
    return min([FUNCTION_LINES, *found])
