"""A save dies at each of its steps in turn; opening again shows the old state or the new one.

Never a torn file, never a number used twice, never a number missing without a word of it.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if not hasattr(os, "fork"):
    pytest.skip("needs os.fork", allow_module_level=True)

from crash.crash_points import SCENARIOS, add_reading, new_session, open_folder

from fitcore.disk.session_files import find_session_files, read_session_file

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).resolve().parents[2]
RENAMES = ("first_start", "restore_backup")
"""Scenarios in which the laptop gets a name."""


@dataclass(frozen=True)
class Death:
    """What one death left behind, and what opening the folder again made of it."""

    step: str
    sessions: dict[str, bytes]
    """Session files as the death left them."""
    problems: tuple[str, ...]
    """What a reader finds wrong with those."""
    leftovers: int
    """Temporary files left behind."""
    laptop_before: str
    """The laptop's name on disk after the death, empty where it has none yet."""
    laptop: str
    """Its name once the folder was opened again."""
    notes: tuple[str, ...]
    """What opening told."""
    opened: dict[str, bytes]
    """Session files after opening, before anything was added."""
    entries: tuple[dict[str, Any], ...]
    """Every entry of the folder after one more was added, those of the ledgers too."""
    next_number: int
    ends: tuple[str, ...]
    """Names of the temporary files that are there at the very end."""

    def numbers_of(self, laptop: str) -> Counter[int]:
        """How often each number of a laptop names an entry."""
        names = [str(entry["by"]).rpartition(":") for entry in self.entries]
        return Counter(int(number) for name, _, number in names if name == laptop)


@dataclass(frozen=True)
class Run:
    """One scenario, run to its end and to its death at each step."""

    whole: Path
    steps: tuple[str, ...]
    deaths: tuple[Death, ...]


@pytest.fixture(scope="module")
def run_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Run]:
    """Give a function that runs a scenario, once."""

    @cache
    def run(scenario: str) -> Run:
        return _run(scenario, tmp_path_factory.mktemp(scenario))

    return run


@pytest.mark.parametrize("scenario", list(SCENARIOS))
def test_dying_at_any_step_leaves_the_old_sessions_or_the_new(
    scenario: str, run_of: Callable[[str], Run]
) -> None:
    run = run_of(scenario)
    old, new = run.deaths[0].sessions, _sessions(run.whole)
    for death in run.deaths:
        assert death.sessions in (old, new), death.step
        assert death.opened == death.sessions, death.step
        assert death.problems == (), death.step


@pytest.mark.parametrize("scenario", list(SCENARIOS))
def test_dying_at_any_step_no_number_is_used_twice_or_missing(
    scenario: str, run_of: Callable[[str], Run]
) -> None:
    for death in run_of(scenario).deaths:
        used = death.numbers_of(death.laptop)
        voided = {e["number"] for e in death.entries if "number" in e and _by(e, death.laptop)}
        assert max(used.values()) == 1, death.step
        assert set(used) | voided == set(range(1, death.next_number)), death.step
        assert voided.isdisjoint(used), death.step


@pytest.mark.parametrize("scenario", [name for name in SCENARIOS if name not in RENAMES])
def test_dying_at_any_step_leaves_the_laptop_its_name(
    scenario: str, run_of: Callable[[str], Run]
) -> None:
    """A crash is no copied folder: the laptop goes on under its name and says nothing of copies."""
    renamed = [
        death.step
        for death in run_of(scenario).deaths
        if death.laptop != death.laptop_before or death.notes
    ]
    assert renamed == []


def test_dying_while_a_restored_folder_is_renamed_never_reuses_its_old_numbers(
    run_of: Callable[[str], Run],
) -> None:
    run = run_of("restore_backup")
    backup = tomllib.loads((run.whole / "backup/laptop.toml").read_text(encoding="utf-8"))
    for death in run.deaths:
        assert death.laptop != backup["id"], death.step
        assert death.laptop.startswith("tern"), death.step
        assert set(death.numbers_of(backup["id"])) == set(range(1, backup["next"])), death.step


def test_dying_while_a_restored_folder_is_renamed_still_leaves_word_of_it(
    run_of: Callable[[str], Run],
) -> None:
    """Who looks later can tell where the old numbers came from: a ledger names the old laptop."""
    run = run_of("restore_backup")
    backup = tomllib.loads((run.whole / "backup/laptop.toml").read_text(encoding="utf-8"))
    silent = [
        death.step
        for death in run.deaths
        if not any(
            entry.get("what") == "copied_from" and entry["is"] == backup["id"]
            for entry in death.entries
        )
    ]
    assert silent == []


def test_dying_before_the_second_file_of_a_save_the_number_is_reserved_already(
    run_of: Callable[[str], Run],
) -> None:
    """The number is durable before the entry that uses it; data is flushed before the rename."""
    run = run_of("next_save")
    one_file = ("open", "write", "fsync", "close", "replace", "open", "fsync", "close")
    starts = [n for n in range(len(run.steps)) if run.steps[n : n + len(one_file)] == one_file]
    assert len(starts) == 2, run.steps
    old, new = run.deaths[0].sessions, _sessions(run.whole)
    renamed = starts[1] + one_file.index("replace")
    assert {str(death.sessions) for death in run.deaths[: renamed + 1]} == {str(old)}
    assert {str(death.sessions) for death in run.deaths[renamed + 1 :]} == {str(new)}


def test_leftovers_of_a_crash_go_at_the_next_save(run_of: Callable[[str], Run]) -> None:
    run = run_of("next_save")
    assert sum(death.leftovers for death in run.deaths) > 3
    for death in run.deaths:
        assert death.ends == (), death.step


def _run(scenario: str, root: Path) -> Run:
    script = Path(__file__).with_name("crash_points.py")
    done = subprocess.run(
        [sys.executable, str(script), scenario, str(root)],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        check=True,
        timeout=120,
    )
    steps = tuple(json.loads(done.stdout))
    assert len(steps) >= 2
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _descriptor: None)  # dozens of folders: spare the disk
        deaths = tuple(
            _examine(f"step {number}, {name}", root / str(number))
            for number, name in enumerate(steps, 1)
        )
    return Run(root / "whole", steps, deaths)


def _examine(step: str, place: Path) -> Death:
    data = place / "data"
    sessions, leftovers = _sessions(place), len(list(data.rglob(".*.tmp")))
    files = [read_session_file(path) for path in find_session_files(data)]
    before = _laptop(data)["id"] if (data / "laptop.toml").exists() else ""
    with open_folder(place, "after the crash") as folder:
        laptop, notes, opened = folder.laptop.id, tuple(folder.notes), _sessions(place)
        if files:
            add_reading(folder, files[0].path.stem, "22.9")
        else:
            new_session(folder)
    return Death(
        step=step,
        sessions=sessions,
        problems=tuple(str(problem) for file in files for problem in file.problems),
        leftovers=leftovers,
        laptop_before=before,
        laptop=laptop,
        notes=notes,
        opened=opened,
        entries=tuple(_entries(data)),
        next_number=_laptop(data)["next"],
        ends=tuple(path.name for path in data.rglob(".*.tmp")),
    )


def _sessions(place: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in find_session_files(place / "data")}


def _laptop(data: Path) -> dict[str, Any]:
    return tomllib.loads((data / "laptop.toml").read_text(encoding="utf-8"))


def _entries(data: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for path in (*find_session_files(data), *sorted((data / "ledger").glob("*.toml"))):
        values = tomllib.loads(path.read_text(encoding="utf-8"))
        found += [e for value in values.values() if isinstance(value, list) for e in value]
    return found


def _by(entry: dict[str, Any], laptop: str) -> bool:
    return str(entry["by"]).rpartition(":")[0] == laptop
