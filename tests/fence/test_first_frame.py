"""What a start loads: nothing heavy before the first frame, no screen for a command."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest
from fence.source import ROOT

if TYPE_CHECKING:
    from pathlib import Path

HEAVY = (
    "pydantic",
    "pydantic_core",
    "pint",
    "numpy",
    "pandas",
    "sqlite3",
    "tree_sitter",
    "aiohttp",
)
SCREEN = ("textual", "rich")

_LOADED = """
import json, sys
before = set(sys.modules)
{work}
print()
print(json.dumps(sorted(set(sys.modules) - before)))
"""


def loaded(work: str, folder: Path) -> set[str]:
    """Return what a fresh interpreter has loaded after some work."""
    done = subprocess.run(
        [sys.executable, "-c", _LOADED.format(work=work)],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return set(json.loads(done.stdout.splitlines()[-1]))


def _of(names: set[str], packages: tuple[str, ...]) -> set[str]:
    return {name.split(".")[0] for name in names} & set(packages)


@pytest.mark.parametrize(
    "screen", ["tui.screens.start", "tui.screens.first_run"], ids=["start", "first run"]
)
def test_nothing_heavy_is_loaded_before_the_first_frame(screen: str, tmp_path: Path) -> None:
    names = loaded(f"import tui.app, {screen}, tui.__main__", tmp_path)
    assert _of(names, HEAVY) == set()
    assert "fitcore.disk.profile_files" not in names
    assert {"textual.app", "tui.app"} <= names


_HELD_BACK = """
import sys
class Held:
    def find_spec(self, name, path=None, target=None):
        if name in ("pydantic", "pint", "fitcore.disk.profile_files"):
            open({pipe!r}).read()
        return None
sys.meta_path.insert(0, Held())
"""


def test_the_first_frame_is_there_while_the_heavy_part_is_still_held_back(tmp_path: Path) -> None:
    """In the real program: pydantic is asked for only once the start screen has been drawn."""
    pytest.importorskip("termios", reason="needs a pseudo-terminal")
    from crash.terminal import Terminal, patched_program
    from crash.visit import FIELDS, leave_session

    data, pipe = tmp_path / "data", tmp_path / "pipe"
    leave_session(data, FIELDS[:1])
    os.mkfifo(pipe)
    with Terminal(patched_program(data, _HELD_BACK.format(pipe=str(pipe)))) as terminal:
        terminal.until_shown("Client's code")
        terminal.until_shown("F10 close")
        descriptors: list[int] = []

        def asked_for() -> bool:
            """Whether the program waits for the heavy part: only then is there a reader."""
            try:
                descriptors.append(os.open(pipe, os.O_WRONLY | os.O_NONBLOCK))
            except OSError:
                return False
            return True

        terminal.until(asked_for, "the heavy part being asked for")
        os.close(descriptors.pop())


def test_opening_the_folder_and_reading_sessions_loads_nothing_heavy(tmp_path: Path) -> None:
    work = """
from pathlib import Path
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.session_book import look_through
from fitcore.disk.surroundings import real_surroundings
with DataFolder(Path("data"), real_surroundings(), label="tern", measurer="N-17"):
    look_through(Path("data"), None, 0)
"""
    assert _of(loaded(work, tmp_path), (*HEAVY, *SCREEN)) == set()


def _command(*words: str) -> str:
    return f"from tui.__main__ import main\nmain({list(words)!r})"


@pytest.mark.parametrize("words", [("--version",), ("--help",), ("where", "--data", "data")])
def test_a_word_about_the_program_loads_neither_screen_nor_charts(
    words: tuple[str, ...], tmp_path: Path
) -> None:
    assert _of(loaded(_command(*words), tmp_path), (*HEAVY, *SCREEN)) == set()


def test_checking_a_session_file_loads_no_screen_and_no_units(tmp_path: Path) -> None:
    """Design 9: `check FILE` loads no textual and no pint."""
    (tmp_path / "a.toml").write_text("format = 1\n", encoding="utf-8")
    assert _of(loaded(_command("check", "a.toml"), tmp_path), ("pint", *SCREEN)) == set()


def test_recording_in_centimetres_loads_no_unit_package(tmp_path: Path) -> None:
    work = """
from fitcore.units import parse_length
parse_length("38,5", "cm")
parse_length("385 mm", "cm")
"""
    assert _of(loaded(work, tmp_path), HEAVY) == set()
