"""A closed window, a logged-out user, a machine going down: the program is asked to end.

It notes where the session was left, leaves the terminal as it found it and ends with code 3.
"""

from __future__ import annotations

import os
import signal
from typing import TYPE_CHECKING

import pytest

pytest.importorskip("termios", reason="needs a pseudo-terminal")

from crash.terminal import ALTERNATE_SCREEN, ENTER, F2, F5, Terminal, program
from crash.visit import (
    FIELDS,
    answer,
    entries,
    expected,
    half_type,
    leave_session,
    measuring,
    name_laptop,
    open_paused,
    readings,
    until_readings,
)

if TYPE_CHECKING:
    from pathlib import Path

BY_SIGNAL = 3
BOTH_SIGNALS = pytest.mark.parametrize(
    "number", [signal.SIGTERM, signal.SIGHUP], ids=["SIGTERM", "SIGHUP"]
)
HALF_TYPED = "41.3"


@BOTH_SIGNALS
def test_while_measuring_with_half_typed_text(tmp_path: Path, number: signal.Signals) -> None:
    data = tmp_path / "data"
    leave_session(data, FIELDS[:2])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:2])
        half_type(terminal, HALF_TYPED)
        terminal.send(number)
        assert terminal.wait() == BY_SIGNAL
        terminal.assert_whole()
        assert "Traceback" not in terminal.text
    assert readings(data) == expected(FIELDS[:2])
    assert answer(data, "paused") == ["left D length 1", HALF_TYPED]
    assert not (data / "in-use.txt").exists()

    with Terminal(program(data)) as terminal:
        open_paused(terminal, 3)
        terminal.until_shown("You had typed this and not accepted it.")
        terminal.type(ENTER)
        until_readings(terminal, data, 3)
    assert readings(data)[2] == (FIELDS[2].place, HALF_TYPED)


def test_while_a_question_stands_over_the_measuring(tmp_path: Path) -> None:
    """`Why not taken?` is on top; the half-typed reading below is noted all the same."""
    data = tmp_path / "data"
    leave_session(data, FIELDS[:1])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:1])
        half_type(terminal, "36.")
        at = terminal.mark()
        terminal.type(F2)
        terminal.until_shown("wound or dressing", after=at)
        terminal.send(signal.SIGTERM)
        assert terminal.wait() == BY_SIGNAL
        terminal.assert_whole()
    assert readings(data) == expected(FIELDS[:1])
    assert answer(data, "paused") == ["left C girth 1", "36."]


def test_with_a_half_written_remark(tmp_path: Path) -> None:
    """Nothing typed is lost by a closed window (design 8): the remark's words are noted."""
    data = tmp_path / "data"
    words = "deep fold above the ankle"
    leave_session(data, FIELDS[:1])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:1])
        at = terminal.mark()
        terminal.type(F5)
        terminal.until_shown("Remark", after=at)
        half_type(terminal, words)
        terminal.send(signal.SIGHUP)
        assert terminal.wait() == BY_SIGNAL
    assert readings(data) == expected(FIELDS[:1])
    stored = "".join(file.read_text(encoding="utf-8") for file in data.rglob("*.toml"))
    assert words in stored


def test_while_the_questions_before_measuring_are_open(tmp_path: Path) -> None:
    """The accepted lines are kept, and the session is offered again."""
    data = tmp_path / "data"
    with Terminal(program(data)) as terminal:
        name_laptop(terminal)
        at = terminal.mark()
        terminal.type(F2)
        terminal.until_shown("Under 18 years old?", after=at)
        terminal.type("N", ENTER)
        terminal.until_shown("Before measuring", after=at)
        at = terminal.mark()
        terminal.type(ENTER)  # date and time are right
        terminal.until_shown("> What for", after=at)
        at = terminal.mark()
        terminal.type("2", ENTER)  # the second purpose, accepted; the cursor on the garment
        terminal.until_shown("> Garment", after=at)
        terminal.send(signal.SIGTERM)
        assert terminal.wait() == BY_SIGNAL
        terminal.assert_whole()
    assert answer(data, "paused") == ["setup", ""]
    assert answer(data, "client") is not None
    assert answer(data, "clock") == "correct"
    assert answer(data, "purpose") == "standing"
    with Terminal(program(data)) as terminal:
        terminal.until_shown("PAUSED: go on")
        at = terminal.mark()
        terminal.type(ENTER)
        terminal.until_shown("Before measuring", after=at)


def test_on_the_start_screen_nothing_is_written(tmp_path: Path) -> None:
    data = tmp_path / "data"
    with Terminal(program(data)) as terminal:
        name_laptop(terminal)
        before = _files(data)
        terminal.send(signal.SIGTERM)
        assert terminal.wait() == BY_SIGNAL
        terminal.assert_whole()
    after = _files(data)
    before.pop("in-use.txt")
    assert after == before


def test_before_the_laptop_has_a_name(tmp_path: Path) -> None:
    data = tmp_path / "data"
    with Terminal(program(data)) as terminal:
        terminal.until_shown("This laptop is called")
        terminal.send(signal.SIGTERM)
        assert terminal.wait() == BY_SIGNAL
        terminal.assert_whole()
    assert not (data / "laptop.toml").exists()


def test_asked_twice_at_once(tmp_path: Path) -> None:
    data = tmp_path / "data"
    leave_session(data, FIELDS[:1])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:1])
        half_type(terminal, "36")
        terminal.send(signal.SIGTERM)
        terminal.send(signal.SIGHUP)
        assert terminal.wait() == BY_SIGNAL
        terminal.assert_whole()
    assert readings(data) == expected(FIELDS[:1])
    assert answer(data, "paused") == ["left C girth 1", "36"]


def test_asked_as_soon_as_the_screen_appears(tmp_path: Path) -> None:
    """Before the program has drawn anything the terminal is left whole as well."""
    data = tmp_path / "data"
    with Terminal(program(data)) as terminal:
        terminal.until(lambda: ALTERNATE_SCREEN in terminal.output, "alternate screen")
        terminal.send(signal.SIGTERM)
        assert terminal.wait() == BY_SIGNAL
        terminal.assert_whole()
        assert "Traceback" not in terminal.text


def test_the_window_vanishes(tmp_path: Path) -> None:
    """The terminal itself is gone: writing to it fails, and the session is paused all the same."""
    data = tmp_path / "data"
    leave_session(data, FIELDS[:2])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:2])
        half_type(terminal, HALF_TYPED)
        terminal.hang_up()
        assert terminal.wait() == BY_SIGNAL
    assert readings(data) == expected(FIELDS[:2])
    assert answer(data, "paused") == ["left D length 1", HALF_TYPED]
    assert not (data / "in-use.txt").exists()


def test_a_paused_field_does_not_outlive_its_resumption(tmp_path: Path) -> None:
    """Resumed, read on, then killed: it comes back to the next field, not to the old pause."""
    data = tmp_path / "data"
    leave_session(data, FIELDS[:2])
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:2])
        half_type(terminal, HALF_TYPED)
        terminal.send(signal.SIGTERM)
        assert terminal.wait() == BY_SIGNAL
    with Terminal(program(data)) as terminal:
        open_paused(terminal, 3)
        terminal.until(lambda: answer(data, "paused") == [], "resumption on disk")
        terminal.type("\x7f" * len(HALF_TYPED), FIELDS[2].typed, ENTER)
        until_readings(terminal, data, 3)
        terminal.kill()
    with Terminal(program(data)) as terminal:
        open_paused(terminal, 4)
        assert "You had typed this" not in terminal.text
    assert [entry["is"] for entry in entries(data, "answers") if entry["what"] == "paused"][
        -1
    ] == []


def _files(folder: Path) -> dict[str, bytes]:
    return {
        os.fspath(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
