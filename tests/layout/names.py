"""Counts the names of the source that say too little where they stand alone."""

import ast
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from tests.layout.tree import nodes_of

# Participles and pronouns: they may qualify a noun (`posted_visits`) and never replace it.
BARE = frozenset(
    (
        *("told", "found", "asked", "known", "seen", "made", "kept", "given", "said", "shown", "meant", "done", "held"),
        *("taken", "wanted", "named", "written", "settled", "moved", "passed", "chosen", "tried", "gone", "drawn"),
        *("own", "here", "one", "mine", "others", "other", "who", "what", "which", "each", "both", "some"),
    )
)
# Named by Django, REST framework or the standard library, which call them.
FRAMEWORK = frozenset(
    (
        *("get", "post", "put", "patch", "delete", "head", "options", "dispatch", "save", "clean", "handle", "ready"),
        *("render", "validate", "authenticate", "emit", "format", "read", "write", "close", "open", "parse", "run"),
        *("getreply", "makefile", "readable", "readinto"),  # of smtplib, http.client and io
    )
)
FIXED_CLASSES = frozenset(("Meta", "Command"))  # Django asks for these names
MAX_POSITIONAL = 4
# These take a list of equals: nothing is told apart by its place. Functions of the tree with `*arguments` are found.
VARIADIC = frozenset(
    ("zip", "min", "max", "chain", "print", "Path", "Coalesce", "Concat", "order_by", "values_list", "prefetch_related")
)

Function = ast.FunctionDef | ast.AsyncFunctionDef
Source = tuple[str, str]  # path, text


@dataclass
class NameCounts:
    """What was counted, and where it stands, so that a failure names it."""

    names: int = 0
    functions: int = 0
    bare: list[str] = field(default_factory=list)
    one_word: list[str] = field(default_factory=list)
    doubled_classes: list[str] = field(default_factory=list)
    long_calls: list[str] = field(default_factory=list)

    @property
    def bare_share(self) -> float:
        """The share of all names that are bare, in percent."""
        return 100 * len(self.bare) / max(self.names, 1)

    @property
    def one_word_share(self) -> float:
        """The share of functions named by one word, in percent."""
        return 100 * len(self.one_word) / max(self.functions, 1)


def count_names(files: Iterable[Source]) -> NameCounts:
    """Count over the given files; generated migrations are the caller's to leave out."""
    counts = NameCounts()
    classes: dict[str, list[str]] = defaultdict(list)
    sources = [(path, nodes_of(text)) for path, text in files]
    variadic = VARIADIC | {
        node.name for _, nodes in sources for node in nodes if isinstance(node, Function) and node.args.vararg
    }
    for path, nodes in sources:
        for node in nodes:
            where = f"{path}:{getattr(node, 'lineno', 0)}"
            _count_bound_names(counts, node, where)
            if isinstance(node, Function) and _is_counted(node):
                counts.functions += 1
                counts.one_word += [f"{where} {node.name}"] if "_" not in node.name.strip("_") else []
            elif isinstance(node, ast.ClassDef) and node.name not in FIXED_CLASSES:
                classes[node.name].append(where)
            elif isinstance(node, ast.Call) and _positional(node) > MAX_POSITIONAL:
                called = ast.unparse(node.func)
                counts.long_calls += [] if called.rpartition(".")[2] in variadic else [f"{where} {called}"]
    counts.doubled_classes = [f"{name}: {', '.join(at)}" for name, at in sorted(classes.items()) if len(at) > 1]
    return counts


def _count_bound_names(counts: NameCounts, node: ast.AST, where: str) -> None:
    for name in _names_bound(node):
        counts.names += 1
        if name.strip("_").lower() in BARE:
            counts.bare.append(f"{where} {name}")


def _names_bound(node: ast.AST) -> Iterator[str]:
    """Yield the names a node binds: a function with its arguments, a class, a variable or field."""
    match node:
        case ast.FunctionDef() | ast.AsyncFunctionDef():
            yield node.name
            yield from (a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs))
        case ast.ClassDef():
            yield node.name
        case ast.Name(ctx=ast.Store()):
            yield node.id


def _is_counted(function: Function) -> bool:
    """Whether the name was the author's to choose as a verb: no property, no framework's method, no dunder."""
    decorators = {ast.unparse(d).rpartition(".")[2] for d in function.decorator_list}
    if decorators & {"property", "cached_property", "setter"} or function.name.startswith("__"):
        return False
    return function.name not in FRAMEWORK


def _positional(call: ast.Call) -> int:
    """Count the arguments of a call that are told apart by their place alone."""
    return sum(not isinstance(argument, ast.Starred) for argument in call.args)
