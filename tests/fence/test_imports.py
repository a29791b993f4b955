"""Who may import whom: the core has no screen, its pure part opens no file and reads no clock."""

from __future__ import annotations

import ast
import re
import sys
import tomllib

import pytest
from fence.source import (
    PACKAGES,
    ROOT,
    Module,
    called,
    calls,
    imported,
    loaded_with,
    module_of,
    modules,
    within,
)

SCREEN = ("textual", "rich", "tui")
WORLD = (
    "os", "pathlib", "time", "random", "secrets", "tempfile", "shutil", "platformdirs",
    "importlib.resources", "importlib.metadata", "subprocess", "socket", "threading", "asyncio",
    "urllib", "http", "getpass", "tzlocal", "sqlite3", "glob", "fileinput", "logging", "locale",
)  # fmt: skip
"""What reaches outside a pure function."""
IN_MEMORY = ("StringIO", "BytesIO")
"""All a pure module may take from `io`."""
WORLD_CALLS = ("open", "input", "print", "breakpoint", "exec", "eval")
CLOCKS = ("now", "utcnow", "today", "uuid1", "uuid4", "getenv", "urandom")
PLAIN = (
    "tui.desk", "tui.keymap", "tui.start_list", "tui.setup_form", "tui.leg_drawing",
    "tui.leg_shape", "tui.demo", "tui.faults", "tui.command_line", "tui.verbs", "tui.commands",
    "tui.__main__", "tui.wording",
)  # fmt: skip
"""The face's parts without a screen: tested without one, and quick to load."""
DESK = ("tui.merge_", "tui.screens.merge_")
"""What names of the merge desk's modules begin with."""


def screen_imports(module: Module) -> list[str]:
    """Return where a module of the core imports a screen."""
    return [
        f"{module.at(node)}: {name}"
        for name, node in imported(module)
        if any(within(name, screen) for screen in SCREEN)
    ]


def world_reached(module: Module) -> list[str]:
    """Return where a pure module reaches the disk, the clock, chance or the terminal."""
    found = [
        f"{module.at(node)}: {name}"
        for name, node in imported(module)
        if any(within(name, outside) for outside in WORLD)
    ]
    found += [
        f"{module.at(node)}: {ast.unparse(node)}"
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Attribute)
        and ast.unparse(node.value) == "io"
        and node.attr not in IN_MEMORY
    ]
    for name, node in imported(module):
        if name.startswith("io.") and name.removeprefix("io.") not in IN_MEMORY:
            found.append(f"{module.at(node)}: {name}")
    for call in calls(module):
        name = called(call)
        plain = isinstance(call.func, ast.Name)
        if (plain and name in WORLD_CALLS) or (not plain and name in CLOCKS):
            found.append(f"{module.at(call)}: {ast.unparse(call.func)}()")
    return found


def test_the_core_has_no_screen() -> None:
    assert [found for module in modules("fitcore") for found in screen_imports(module)] == []


def test_the_pure_core_opens_no_file_and_reads_no_clock() -> None:
    pure = [m for m in modules("fitcore") if not within(m.name, "fitcore.disk")]
    assert len(pure) > 20
    assert [found for module in pure for found in world_reached(module)] == []


def test_the_pure_core_does_not_know_the_disk() -> None:
    found = [
        f"{module.at(node)}: {name}"
        for module in modules("fitcore")
        if not within(module.name, "fitcore.disk")
        for name, node in imported(module)
        if within(name, "fitcore.disk")
    ]
    assert found == []


def test_pint_is_known_to_one_module_only() -> None:
    users = {
        m.name for p in PACKAGES for m in modules(p) for n, _ in imported(m) if within(n, "pint")
    }
    assert users == {"fitcore.units"}


def test_dask_is_known_to_one_module_only_and_loaded_only_when_asked_for() -> None:
    names = ("dask", "distributed")
    users = {
        m.name
        for p in PACKAGES
        for m in modules(p)
        for n, _ in imported(m)
        if any(within(n, name) for name in names)
    }
    assert users == {"fitcore.disk.engine_dask"}
    found = {
        f"{m.name}: {n}"
        for p in PACKAGES
        for m in modules(p)
        for n in loaded_with(m)
        if any(within(n, name) for name in (*names, "fitcore.disk.engine_dask"))
    }
    assert found == set()


def test_the_shipped_profiles_are_found_in_one_way_only() -> None:
    """`files("profiles")` finds them in a checkout and in a wheel; a path of one's own does not."""
    readers = {
        module.name
        for package in PACKAGES
        for module in modules(package)
        for call in calls(module)
        if called(call) == "files" and call.args and ast.unparse(call.args[0]) == "'profiles'"
    }
    disk = {"fitcore.disk.profile_files", "fitcore.disk.profile_reading"}
    assert disk <= readers <= {*disk, "tui.commands.places"}


def test_the_clock_is_read_in_one_module_only() -> None:
    readers = {
        f"{module.name}: {ast.unparse(call.func)}"
        for package in PACKAGES
        for module in modules(package)
        for call in calls(module)
        if called(call) in ("now", "utcnow", "today")
        and ast.unparse(call.func).split(".")[-2] in ("datetime", "date")
    }
    assert readers == {"fitcore.disk.surroundings: datetime.now"}


@pytest.mark.parametrize("package", PACKAGES)
def test_no_module_is_loaded_in_a_circle(package: str) -> None:
    known = {module.name: module for module in modules(package)}
    arrows = {
        name: {other for other in loaded_with(module) if other in known and other != name}
        for name, module in known.items()
    }
    done: set[str] = set()
    while ready := {name for name in arrows.keys() - done if arrows[name] <= done}:
        done |= ready
    assert sorted(arrows.keys() - done) == []


def test_the_faces_plain_parts_load_no_screen() -> None:
    found = [
        f"{module.name}: {name}"
        for module in modules("tui")
        if any(within(module.name, plain) for plain in PLAIN)
        for name in loaded_with(module)
        if any(within(name, screen) for screen in ("textual", "rich", "tui.app", "tui.screens"))
    ]
    assert found == []


def sides_crossed(module: Module) -> list[str]:
    """Return where a verb imports the merge desk, the desk a verb, or their shared words either."""
    is_shared = within(module.name, "tui.wording")
    is_verb, is_desk = within(module.name, "tui.commands"), module.name.startswith(DESK)
    return [
        f"{module.at(node)}: {name}"
        for name, node in imported(module)
        if ((is_verb or is_shared) and name.startswith((*DESK, "tui.screens")))
        or ((is_desk or is_shared) and within(name, "tui.commands"))
    ]


def sentences(module: Module) -> set[str]:
    """Return what a module says; one word alone, or none, is only a label."""
    told = (
        call.args[0].value
        for call in calls(module)
        if called(call) in ("say", "mark") and call.args and isinstance(call.args[0], ast.Constant)
    )
    return {
        str(text)
        for text in told
        if re.search(r"[a-z]\S* +\S*[a-z]", re.sub(r"\{.*?\}", "", str(text)))
    }


def test_the_verbs_and_the_merge_desk_share_words_and_nothing_else() -> None:
    face = modules("tui")
    assert sum(module.name.startswith(DESK) for module in face) > 10
    assert sum(within(module.name, "tui.wording") for module in face) > 5
    assert [found for module in face for found in sides_crossed(module)] == []


def test_what_the_verbs_and_the_merge_desk_both_say_is_written_once() -> None:
    face = modules("tui")
    desk = {text for module in face if module.name.startswith(DESK) for text in sentences(module)}
    verbs, shared = (
        {text for module in face if within(module.name, side) for text in sentences(module)}
        for side in ("tui.commands", "tui.wording")
    )
    assert len(desk) > 100
    assert len(shared) > 20
    assert (desk & verbs) | (desk & shared) | (verbs & shared) == set()


def test_the_contracts_name_every_module_of_the_merge_desk() -> None:
    """`lint-imports` also follows arrows over other modules, but knows only what is named to it."""
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    contracts = {c["name"]: c for c in tomllib.loads(text)["tool"]["importlinter"]["contracts"]}
    desk = {module.name for module in modules("tui") if module.name.startswith(DESK)}
    plain = {name for name in desk if not within(name, "tui.screens")}
    no_desk = contracts["the verbs do not know the merge desk"]["forbidden_modules"]
    neither = contracts["the words both say know neither the verbs nor the merge desk"]
    assert desk - set(contracts["the merge desk knows no verb"]["source_modules"]) == set()
    assert {*plain, "tui.screens"} - set(no_desk) == set()
    assert {*plain, "tui.commands"} - set(neither["forbidden_modules"]) == set()


def test_profiles_holds_data_and_no_code() -> None:
    (package,) = modules("profiles")
    assert [type(node) for node in package.tree.body] == [ast.Expr]  # one docstring


def test_only_what_the_project_asks_for_is_imported() -> None:
    known = {
        *sys.stdlib_module_names, *PACKAGES, "textual", "rich", "pint", "tomli_w", "pydantic",
        "platformdirs", "tzlocal", "distributed",
    }  # fmt: skip
    found = {
        f"{module.name}: {name}"
        for package in PACKAGES
        for module in modules(package)
        for name, _ in imported(module)
        if name.split(".")[0] not in known
    }
    assert found == set()


@pytest.mark.parametrize(
    "text",
    [
        "import textual.app",
        "from rich.text import Text",
        "def f():\n    from tui import keymap",
        "import math, rich",
    ],
)
def test_a_planted_screen_is_found(text: str) -> None:
    assert screen_imports(module_of(text))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("tui.commands.merging", "from tui.merge_words import summary_lines"),
        ("tui.commands.merging", "from tui import merge_facts"),
        ("tui.commands.merging", "def f():\n    from tui.screens.merge_end import MergeEndScreen"),
        ("tui.merge_items", "from tui.commands.deciding import TOLD"),
        ("tui.screens.merge_end", "from tui import commands"),
        ("tui.wording.stops", "from tui.commands import Outcome"),
        ("tui.wording.stops", "from tui.merge_item import Item"),
    ],
)
def test_a_planted_step_to_the_other_side_is_found(name: str, text: str) -> None:
    assert sides_crossed(module_of(text, name))


def test_a_sentence_is_told_from_layout() -> None:
    probe = module_of(
        "say('{about}: {value}.')\nsay('Nothing is open.')\nmark('go up')\nsay('error')"
    )
    assert sentences(probe) == {"Nothing is open.", "go up"}


@pytest.mark.parametrize(
    "text",
    [
        "import pathlib",
        "from os import environ",
        "import os.path as p",
        "from importlib import resources",
        "def f():\n    import time",
        "text = open('a').read()",
        "at = datetime.now(UTC)",
        "from datetime import date\nday = date.today()",
        "name = uuid.uuid4()",
        "print('here')",
        "import io\nio.open('a')",
        "from io import FileIO",
    ],
)
def test_a_planted_reach_outside_is_found(text: str) -> None:
    assert world_reached(module_of(text))


@pytest.mark.parametrize(
    "text",
    ["from datetime import time", "import uuid\nuuid.UUID(text)", "import io\nio.StringIO(text)"],
)
def test_what_only_looks_like_it_is_let_through(text: str) -> None:
    assert world_reached(module_of(text)) == []
