"""The merge never lets a recorded time order or choose anything: clocks of laptops are wrong."""

from __future__ import annotations

import ast

import pytest
from fence.source import Module, called, module_of, modules, within

SHOWN_IN = {
    "fitcore.merge.conflicts: origin_of",
    "fitcore.merge.clock_notes: shown_at",
}
"""The only functions that take a recorded time at all, to show it."""
TIMES = ("at", "measured_at", "read_at", "hours_between", "uuid7_milliseconds", "timestamp")
"""Names of what is a recorded time, or tells one from a session."""
CHOOSING = ("sorted", "sort", "min", "max", "nlargest", "nsmallest", "insort", "groupby")


def times_read(module: Module) -> list[str]:
    """Return where a module takes a recorded time, by the function it happens in."""
    found = []
    for function in ast.walk(module.tree):
        if not isinstance(function, ast.FunctionDef | ast.Lambda):
            continue
        name = getattr(function, "name", "lambda")
        methods = _called_attributes(function)
        if any(_is_time(node, methods) for node in ast.walk(function)):
            found.append(f"{module.name}: {name}")
    outside = [node for node in module.tree.body if not isinstance(node, ast.FunctionDef)]
    for statement in outside:
        if isinstance(statement, ast.ImportFrom):
            found += [f"{module.name}: {a.name}" for a in statement.names if a.name in TIMES]
    return found


def times_compared(module: Module) -> list[str]:
    """Return where a recorded time is compared, or sorts or chooses."""
    found = []
    for node in ast.walk(module.tree):
        sorts = isinstance(node, ast.Call) and called(node) in CHOOSING
        if not sorts and not isinstance(node, ast.Compare):
            continue
        methods = _called_attributes(node)
        if any(_is_time(part, methods) or _is_local_time(part) for part in ast.walk(node)):
            if isinstance(node, ast.Compare) and all(
                isinstance(operator, ast.Is | ast.IsNot) for operator in node.ops
            ):
                continue  # whether there is a time at all
            found.append(f"{module.at(node)}: {ast.unparse(node)}")
    return found


def _is_time(node: ast.AST, methods: set[ast.AST]) -> bool:
    if isinstance(node, ast.Attribute) and node not in methods:
        return node.attr in TIMES
    if isinstance(node, ast.Call):
        takes = called(node) in ("get", "getattr", "attrgetter", "itemgetter")
        named = (argument for argument in node.args if isinstance(argument, ast.Constant))
        return takes and any(argument.value in TIMES for argument in named)
    if isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
        return node.slice.value in TIMES
    return isinstance(node, ast.Name) and node.id in TIMES and node.id != "at"


def _is_local_time(node: ast.AST) -> bool:
    return isinstance(node, ast.Name) and node.id == "at"


def _called_attributes(tree: ast.AST) -> set[ast.AST]:
    """Return attributes that are called: `problem.at(line=3)` says a place, not a time."""
    return {node.func for node in ast.walk(tree) if isinstance(node, ast.Call)}


def _merge_modules() -> list[Module]:
    return [module for module in modules("fitcore") if within(module.name, "fitcore.merge")]


def test_recorded_times_are_taken_only_to_be_shown() -> None:
    assert len(_merge_modules()) > 8
    assert {found for module in _merge_modules() for found in times_read(module)} == SHOWN_IN


def test_no_recorded_time_is_compared_or_sorts_anything() -> None:
    assert [found for module in _merge_modules() for found in times_compared(module)] == []


@pytest.mark.parametrize(
    "text",
    [
        "def f(e):\n    return max(e, key=lambda x: x.at)",
        "def f(a, b):\n    return a.at < b.at",
        "def f(a, b):\n    return a.fields['at'] <= b",
        "def f(e):\n    e.sort(key=lambda x: (x.by, x.fields.get('at')))",
        "def f(e):\n    return sorted(e, key=attrgetter('at'))",
        "def f(s):\n    return min(s, key=lambda x: x.measured_at)",
    ],
)
def test_a_planted_clock_is_found(text: str) -> None:
    assert times_compared(module_of(text))
    assert times_read(module_of(text))


@pytest.mark.parametrize(
    "text",
    [
        "def key(x):\n    return x.at\ndef f(e):\n    return sorted(e, key=key)",
        "from fitcore.identity import uuid7_milliseconds",
    ],
)
def test_a_clock_behind_a_name_is_found(text: str) -> None:
    assert times_read(module_of(text))


@pytest.mark.parametrize(
    "text",
    ["def f(p):\n    return p.at(line=3)", "def f(x, at):\n    return g(x, at=at)"],
)
def test_what_only_looks_like_a_clock_is_let_through(text: str) -> None:
    assert times_read(module_of(text)) == []
    assert times_compared(module_of(text)) == []
