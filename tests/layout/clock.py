"""Finds reads of the clock in source text, whatever name they are imported under."""

import ast
import re
from collections.abc import Iterator

from tests.layout.tree import nodes_of

CLOCKS = {
    "datetime.datetime.now",
    "datetime.datetime.today",
    "datetime.datetime.utcnow",
    "datetime.date.today",
    "django.db.models.functions.Now",
    "django.db.models.functions.datetime.Now",
    "django.contrib.postgres.functions.TransactionNow",
    "django.utils.timezone.datetime.now",
    "django.utils.timezone.localdate",
    "django.utils.timezone.localtime",
    "django.utils.timezone.now",
    "time.clock_gettime",
    "time.clock_gettime_ns",
    "time.ctime",
    "time.gmtime",
    "time.localtime",
    "time.strftime",
    "time.time",
    "time.time_ns",
    "uuid.uuid1",
}
HOMES = {clock.rpartition(".")[0] for clock in CLOCKS}
# Called on anything at all: `type(day).today()`, `self.clock.now()`.
METHODS = {"now", "today", "utcnow", "localdate"}
KEYWORDS = {"auto_now", "auto_now_add"}
SQL = re.compile(
    r"\b(now|clock_timestamp|statement_timestamp|transaction_timestamp|timeofday)\s*\("
    r"|\b(current_date|current_time|current_timestamp|localtimestamp)\b",
    re.IGNORECASE,
)


def clock_reads(source: str) -> list[tuple[int, str]]:
    """Return (line, what) for each read of a clock in `source`, in order."""
    nodes = nodes_of(source)
    names, prose = _imported(nodes), _docstrings(nodes)
    found = {fault for node in nodes if id(node) not in prose for fault in _faults(node, names)}
    return sorted(found)


def _imported(nodes: list[ast.AST]) -> dict[str, str]:
    """Return what each imported local name stands for, `dt` → `datetime`, wherever in the file it is imported."""
    names: dict[str, str] = {}
    for node in nodes:
        if isinstance(node, ast.Import):
            for alias in node.names:
                first = alias.name.partition(".")[0]
                names[alias.asname or first] = alias.name if alias.asname else first
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.update({alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names})
    return names


def _docstrings(nodes: list[ast.AST]) -> set[int]:
    """Return the ids of bare strings: prose may speak of now()."""
    return {id(node.value) for node in nodes if isinstance(node, ast.Expr)}


def _faults(node: ast.AST, names: dict[str, str]) -> Iterator[tuple[int, str]]:
    match node:
        case ast.ImportFrom(module=str(module)):
            yield from ((node.lineno, clock) for clock in _clocks_from(module, node.names))
        case ast.Name() | ast.Attribute():
            if (dotted := _dotted(node, names)) in CLOCKS:
                yield node.lineno, dotted
        case ast.Call():
            yield from _faults_of_call(node, names)
        case ast.keyword(arg=str(arg)) if arg in KEYWORDS:
            yield node.value.lineno, arg
        case ast.Constant(value=str(text)) if found := SQL.search(text):
            yield node.lineno, f"SQL {found[0]}"


def _clocks_from(module: str, aliases: list[ast.alias]) -> Iterator[str]:
    for alias in aliases:
        if f"{module}.{alias.name}" in CLOCKS:
            yield f"{module}.{alias.name}"
        elif alias.name == "*" and module in HOMES | {"datetime"}:
            yield f"{module}.*"


def _faults_of_call(call: ast.Call, names: dict[str, str]) -> Iterator[tuple[int, str]]:
    match call:
        case ast.Call(func=ast.Attribute(attr=attr) as method) if attr in METHODS and not call_is_named(method, names):
            yield call.lineno, f"….{attr}()"
        case ast.Call(func=ast.Name(id="getattr"), args=[_, ast.Constant(value=str(attr)), *_]) if attr in METHODS:
            yield call.lineno, f"getattr {attr}"
    for keyword in call.keywords:
        match keyword:
            case ast.keyword(arg="function", value=ast.Constant(value=str(name))) if SQL.match(f"{name}("):
                yield keyword.value.lineno, f"SQL function {name}"


def call_is_named(method: ast.Attribute, names: dict[str, str]) -> bool:
    """Return whether the method's full name is known and already reported by that name."""
    return _dotted(method, names) in CLOCKS


def _dotted(node: ast.AST, names: dict[str, str]) -> str:
    """Return the full dotted name of an expression, or "" where it does not begin with an imported name."""
    if isinstance(node, ast.Name):
        return names.get(node.id, "")
    if isinstance(node, ast.Attribute):
        home = _dotted(node.value, names)
        return f"{home}.{node.attr}" if home else ""
    return ""
