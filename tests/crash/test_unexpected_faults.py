"""Something nobody foresaw: one plain sentence, no client data, a whole terminal, code 2.

A traceback with local variables would show names and readings to whoever looks over the nurse's
shoulder, and in every log. Each fault here carries secrets in its message and in a local variable.
"""

from __future__ import annotations

import os
import tomllib
from typing import TYPE_CHECKING

import pytest

pytest.importorskip("termios", reason="needs a pseudo-terminal")

from crash.terminal import (
    ENTER,
    LEFT_ALTERNATE_SCREEN,
    Terminal,
    patched_program,
    program,
)
from crash.visit import (
    FIELDS,
    answer,
    expected,
    half_type,
    leave_session,
    measuring,
    open_paused,
    readings,
    until_readings,
)

if TYPE_CHECKING:
    from pathlib import Path

FAULT = 2
SECRETS = ("PLANTED-SECRET", "LOCAL-SECRET", "DRAWN-SECRET")
TRACES = ("Traceback", 'File "', "Error:", "╭", "in <module>")

_IN_SHOW_STEP = """
from tui.screens.measure import MeasureScreen
{helpers}
def show_step(self):
    patient = "LOCAL-SECRET"
    {fault}
MeasureScreen.show_step = show_step
"""
_DRAWN = """
class Drawn(Exception):
    def __rich__(self):
        return "DRAWN-SECRET " + str(self)
"""
_FAULTS = {
    "an error with words": ("", 'raise ValueError("PLANTED-SECRET")', "ValueError"),
    "an error that draws itself": (_DRAWN, 'raise Drawn("PLANTED-SECRET")', "Drawn"),
    "an error with a cause": (
        "",
        """
    try:
        {}[patient]
    except KeyError as error:
        raise RuntimeError("PLANTED-SECRET") from error
""",
        "RuntimeError",
    ),
    "a group of errors": (
        "",
        'raise ExceptionGroup("PLANTED-SECRET", [ValueError(patient)])',
        "ExceptionGroup",
    ),
    "markup": (
        "",
        'self.query_one("#message").update("PLANTED-SECRET [/nothing] [" + patient)',
        "MarkupError",
    ),
    "a style": (
        "",
        'self.styles.width = "PLANTED-SECRET " + patient',
        "",
    ),
    "an endless call": ("", "show_step(self)", "RecursionError"),
}


@pytest.mark.parametrize("name", list(_FAULTS))
def test_on_the_measuring_screen(tmp_path: Path, name: str) -> None:
    data = tmp_path / "data"
    helpers, fault, kind = _FAULTS[name]
    patch = _IN_SHOW_STEP.format(helpers=helpers, fault=fault)
    leave_session(data, ())
    with Terminal(patched_program(data, patch)) as terminal:
        terminal.until_shown("PAUSED: go on")
        terminal.type(ENTER)
        assert terminal.wait() == FAULT
        _assert_told_plainly(terminal, kind)
    assert not (data / "in-use.txt").exists()


def test_after_readings_were_accepted_they_are_all_there(tmp_path: Path) -> None:
    data = tmp_path / "data"
    patch = """
from tui.screens.measure import MeasureScreen
shown = MeasureScreen.show_step
def show_step(self):
    patient = "LOCAL-SECRET"
    if self.desk.index == 3:
        raise ValueError("PLANTED-SECRET " + self.desk.client)
    shown(self)
MeasureScreen.show_step = show_step
"""
    leave_session(data, ())
    with Terminal(patched_program(data, patch)) as terminal:
        measuring(terminal, data, ())
        for field in FIELDS[:3]:
            terminal.type(field.typed, ENTER)
        assert terminal.wait() == FAULT
        client = str(answer(data, "client"))
        assert client == "tern-001-U"
        assert client not in terminal.after_screen()
        _assert_told_plainly(terminal, "ValueError")
    assert readings(data) == expected(FIELDS[:3])
    with Terminal(program(data)) as terminal:
        open_paused(terminal, 4)


@pytest.mark.parametrize(
    ("where", "patch"),
    [
        (
            "while saving",
            """
from fitcore.disk.data_folder import DataFolder
append = DataFolder.append
def broken(self, session, drafts):
    patient = "LOCAL-SECRET"
    if any(draft.array == "readings" for draft in drafts):
        raise ValueError("PLANTED-SECRET")
    return append(self, session, drafts)
DataFolder.append = broken
""",
        ),
        (
            "while judging",
            """
import tui.screens.measure
def broken(desk, text, *, seen):
    patient = "LOCAL-SECRET " + text
    raise ValueError("PLANTED-SECRET " + text)
tui.screens.measure.judge_typed = broken
""",
        ),
    ],
)
def test_after_enter(tmp_path: Path, where: str, patch: str) -> None:
    data = tmp_path / "data"
    leave_session(data, ())
    with Terminal(patched_program(data, patch)) as terminal:
        measuring(terminal, data, ())
        terminal.type("22.4", ENTER)
        assert terminal.wait() == FAULT, where
        _assert_told_plainly(terminal, "ValueError")
        assert "22.4" not in terminal.after_screen()


def test_in_a_worker_that_reads_the_sessions(tmp_path: Path) -> None:
    data = tmp_path / "data"
    patch = """
import tui.app
def broken(paths):
    patient = "LOCAL-SECRET"
    raise ValueError("PLANTED-SECRET")
tui.app.look_at_sessions = broken
"""
    leave_session(data, ())
    with Terminal(patched_program(data, patch)) as terminal:
        assert terminal.wait() == FAULT
        _assert_told_plainly(terminal, "")


@pytest.mark.parametrize(
    ("where", "patch"),
    [
        (
            "building the application",
            "import tui.app\n"
            "def broken(*_, **__):\n"
            "    patient = 'LOCAL-SECRET'\n"
            "    raise ValueError('PLANTED-SECRET')\n"
            "tui.app._theme = broken\n",
        ),
        (
            "reading the surroundings",
            "import fitcore.disk.surroundings as place\n"
            "def broken(*_, **__):\n"
            "    patient = 'LOCAL-SECRET'\n"
            "    raise ValueError('PLANTED-SECRET')\n"
            "place.real_surroundings = broken\n",
        ),
        (
            "mounting the first screen",
            "from tui.screens.first_run import FirstRunScreen\n"
            "def broken(*_, **__):\n"
            "    patient = 'LOCAL-SECRET'\n"
            "    raise ValueError('PLANTED-SECRET')\n"
            "FirstRunScreen.compose_body = broken\n",
        ),
        (
            "reading a style sheet",
            "import pathlib, tempfile\n"
            "from tui.app import AnklefirstApp\n"
            "sheet = pathlib.Path(tempfile.mkdtemp()) / 'broken.tcss'\n"
            "sheet.write_text('Static { color: PLANTED-SECRET; } }}')\n"
            "AnklefirstApp.CSS_PATH = str(sheet)\n",
        ),
    ],
)
def test_before_anything_is_shown(tmp_path: Path, where: str, patch: str) -> None:
    with Terminal(patched_program(tmp_path / "data", patch)) as terminal:
        assert terminal.wait() == FAULT, where
        _assert_silent_about_secrets(terminal)
        assert terminal.after_screen()
        if LEFT_ALTERNATE_SCREEN in terminal.output:
            terminal.assert_whole()


def test_a_second_fault_while_ending(tmp_path: Path) -> None:
    data = tmp_path / "data"
    patch = _IN_SHOW_STEP.format(helpers="", fault='raise ValueError("PLANTED-SECRET")')
    patch += """
def on_unmount(self):
    raise LookupError("PLANTED-SECRET")
MeasureScreen.on_unmount = on_unmount
"""
    leave_session(data, ())
    with Terminal(patched_program(data, patch)) as terminal:
        terminal.until_shown("PAUSED: go on")
        terminal.type(ENTER)
        assert terminal.wait() == FAULT
        terminal.assert_whole()
        _assert_silent_about_secrets(terminal)
        assert len(terminal.after_screen().splitlines()) in (1, 2)


@pytest.mark.parametrize(("letter", "shown"), [(b"\xf6", 1), (b"\xc3(", 2)])
def test_a_key_from_a_terminal_of_another_encoding(
    tmp_path: Path, letter: bytes, shown: int
) -> None:
    """An umlaut from a Latin-1 terminal is one odd character: seen, refused, and mended."""
    data = tmp_path / "data"
    leave_session(data, FIELDS[:1])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:1])
        half_type(terminal, "36.")
        os.write(terminal.master, letter)
        terminal.type("2", ENTER)
        terminal.until_shown("is not a length")
        assert len(readings(data)) == 1
        terminal.type("\x7f" * (shown + 1), "2", ENTER)
        until_readings(terminal, data, 2)
        _assert_silent_about_secrets(terminal)
        assert not terminal.has_ended()
        assert readings(data) == expected(FIELDS[:2])


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"id = 7\n",
        b'id = "{id}"\nnext = 50\nreserved_from = 3\nreserved_for = "PLANTED-SECRET"\n',
    ],
    ids=["empty", "no numbers", "reserved for nothing"],
)
def test_a_damaged_laptop_file_is_told_in_one_sentence(tmp_path: Path, content: bytes) -> None:
    data = tmp_path / "data"
    leave_session(data, ())
    laptop_id = tomllib.loads((data / "laptop.toml").read_text(encoding="utf-8"))["id"]
    content = content.replace(b"{id}", laptop_id.encode())
    (data / "laptop.toml").write_bytes(content)
    with Terminal(program(data)) as terminal:
        assert terminal.wait() == FAULT
        _assert_silent_about_secrets(terminal)
        told = terminal.after_screen()
        assert "laptop.toml" in told
        assert "Move laptop.toml aside" in told
    assert (data / "laptop.toml").read_bytes() == content
    assert not (data / "in-use.txt").exists()


def test_a_laptop_file_that_is_a_folder_is_told_in_one_sentence(tmp_path: Path) -> None:
    data = tmp_path / "data"
    (data / "laptop.toml").mkdir(parents=True)
    with Terminal(program(data)) as terminal:
        assert terminal.wait() == FAULT
        _assert_silent_about_secrets(terminal)
        assert "laptop.toml" in terminal.after_screen()


def _assert_told_plainly(terminal: Terminal, kind: str) -> None:
    terminal.assert_whole()
    _assert_silent_about_secrets(terminal)
    told = terminal.after_screen()
    assert len(told.splitlines()) <= 3, told  # one sentence, at most three rows of 80
    assert "anklefirst ended unexpectedly" in told
    assert "Every accepted reading is saved" in told
    assert kind in told


def _assert_silent_about_secrets(terminal: Terminal) -> None:
    for secret in SECRETS:
        assert secret not in terminal.text, terminal.tail()
    for trace in TRACES:
        assert trace not in terminal.text, terminal.tail()
