"""The program's own source, read as syntax trees; what the fences look at."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("fitcore", "tui", "profiles")


@dataclass(frozen=True)
class Module:
    """One file of the program."""

    name: str
    path: Path
    tree: ast.Module
    lines: int

    def at(self, node: ast.AST) -> str:
        """Say where a finding stands."""
        return f"{self.path.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"


@cache
def modules(package: str) -> tuple[Module, ...]:
    """Return every module of a package."""
    found = []
    for path in sorted((ROOT / package).rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found.append(module_of(path.read_text(encoding="utf-8"), name, path))
    assert found, f"no source of {package} in {ROOT}"
    return tuple(found)


def module_of(text: str, name: str = "probe", path: Path = ROOT / "probe.py") -> Module:
    """Return a module of this text; the fences' own tests plant faults with it."""
    return Module(name, path, ast.parse(text), len(text.splitlines()))


def imported(module: Module) -> Iterator[tuple[str, ast.AST]]:
    """Yield the dotted name of everything a module imports, wherever in it."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = module.name.split(".")
                base = ".".join([*parts[: len(parts) - node.level], base]).strip(".")
            yield base, node
            for alias in node.names:
                yield f"{base}.{alias.name}", node


def loaded_with(module: Module) -> Iterator[str]:
    """Yield what is imported when the module itself is: not in functions, not for types only."""
    pending: list[ast.stmt] = list(module.tree.body)
    while pending:
        node = pending.pop(0)
        if isinstance(node, ast.Import | ast.ImportFrom):
            probe = Module(module.name, module.path, ast.Module([node], []), 0)
            yield from (name for name, _ in imported(probe))
        elif isinstance(node, ast.If):
            for_types = ast.unparse(node.test).endswith("TYPE_CHECKING")
            pending += node.orelse if for_types else [*node.body, *node.orelse]
        elif isinstance(node, ast.Try):
            pending += [*node.body, *node.orelse, *node.finalbody]


def within(name: str, of: str) -> bool:
    """Whether a dotted name is a package or stands in it."""
    return name == of or name.startswith(f"{of}.")


def calls(module: Module) -> Iterator[ast.Call]:
    """Yield every call."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Call):
            yield node


def called(call: ast.Call) -> str:
    """Return the last name of what is called: `update` for `self.query_one(...).update(...)`."""
    if isinstance(call.func, ast.Name):
        return call.func.id
    return call.func.attr if isinstance(call.func, ast.Attribute) else ""
