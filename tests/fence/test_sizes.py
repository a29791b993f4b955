"""A module that has grown too long has a second job: it is split."""

from __future__ import annotations

from fence.source import modules

MOST_LINES = 400


def test_no_module_is_longer_than_it_may_be() -> None:
    long = {
        str(module.name): module.lines
        for package in ("fitcore", "tui")
        for module in modules(package)
        if module.lines > MOST_LINES
    }
    assert long == {}


def test_every_module_opens_with_its_job() -> None:
    import ast

    silent = [
        module.name
        for package in ("fitcore", "tui", "profiles")
        for module in modules(package)
        if not ast.get_docstring(module.tree)
    ]
    assert silent == []
