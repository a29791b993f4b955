"""Keys typed faster than the program draws: none is lost, none lands in another field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

pytest.importorskip("termios", reason="needs a pseudo-terminal")

from crash.terminal import ENTER, F2, Terminal, program
from crash.visit import FIELDS, answer, expected, readings

if TYPE_CHECKING:
    from pathlib import Path


def test_a_whole_first_visit_typed_without_looking(tmp_path: Path) -> None:
    """A slow laptop, a quick typist: all of it waits in the terminal before the first frame."""
    data = tmp_path / "data"
    with Terminal(program(data)) as terminal:
        terminal.until_shown("This laptop is called")
        terminal.type("tern", ENTER, "N-17", ENTER, F2, "N", ENTER * 6, "?", ENTER)
        terminal.type(*(key for field in FIELDS for key in (field.typed, ENTER)))
        terminal.until(lambda: len(readings(data)) == len(FIELDS), "all readings on disk")
    assert readings(data) == expected(FIELDS)
    assert answer(data, "measurer") == "N-17"
    assert str(answer(data, "client")).startswith("tern-001-")
    assert answer(data, "clock") == "correct"
    assert answer(data, "rising_at") == "unknown"
