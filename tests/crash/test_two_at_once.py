"""Several programs on the same folders at once: each works or is refused; nothing is lost."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest

pytest.importorskip("termios", reason="needs a pseudo-terminal")

from crash.terminal import ROOT, Terminal, program
from crash.visit import FIELDS, expected, leave_session, measure, measuring, readings, session_files

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path


@dataclass(frozen=True)
class Ended:
    """How one process ended."""

    code: int
    json: Any

    @property
    def refused(self) -> bool:
        """Whether it did nothing because somebody has the folder open."""
        if self.code != 2:
            return False
        return [problem["code"] for problem in self.json["problems"]] == ["folder_in_use"]


def begin(*words: str | Path) -> subprocess.Popen[str]:
    """Start a command in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "tui", *map(str, words), "--json"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def end(process: subprocess.Popen[str]) -> Ended:
    out, err = process.communicate(timeout=60)
    assert "Traceback" not in err
    return Ended(process.returncode, json.loads(out))


def command(*words: str | Path) -> Ended:
    return end(begin(*words))


def names(folder: Path) -> set[str]:
    """Return the names of all entries of a folder's sessions, by a TOML reader."""
    found = set()
    for file in session_files(folder):
        values = tomllib.loads(file.read_text(encoding="utf-8"))
        lists: Iterable[list[dict[str, Any]]] = (v for v in values.values() if isinstance(v, list))
        found |= {row["by"] for rows in lists for row in rows}
    return found


def test_merging_while_somebody_measures_on_the_screen(tmp_path: Path) -> None:
    """Her folder is refused as an archive and taken as a source; her visit goes on undisturbed."""
    data, archive, stick = tmp_path / "data", tmp_path / "archive", tmp_path / "stick"
    leave_session(data, FIELDS[:1])
    shutil.copytree(data, stick)
    (session,) = (file.stem for file in session_files(data))
    with Terminal(program(data)) as terminal:
        measuring(terminal, data, FIELDS[:1])
        measure(terminal, data, FIELDS[1:3])
        before = {file: file.read_bytes() for file in session_files(data)}
        running = [
            begin("merge", data, stick),
            begin("--data", data, "set", session, "posture", "lying"),
            begin("merge", archive, data, stick),
        ]
        *refused, merged = map(end, running)
        assert [ended.refused for ended in refused] == [True] * 2
        assert (merged.code, merged.json["added"], merged.json["gaps"]) == (0, 1, [])
        assert {file: file.read_bytes() for file in session_files(data)} == before
        assert readings(archive) == expected(FIELDS[:3])
        measure(terminal, data, FIELDS[3:4])
        terminal.kill()
    assert readings(data) == expected(FIELDS[:4])
    assert command("merge", archive, data).json["updated"] == 1
    assert names(archive) == names(data)


def test_verbs_and_merges_all_at_once(tmp_path: Path) -> None:
    """Whatever the order the machine gives them: what was acknowledged is there, and no more."""
    data, archive, stick = tmp_path / "data", tmp_path / "archive", tmp_path / "stick"
    leave_session(data, FIELDS[:1])
    shutil.copytree(data, stick)
    (session,) = (file.stem for file in session_files(data))
    before = names(data)
    words = ("--data", data, "record", session, "left", "C", "girth")
    recording = [begin(*words, f"36.{n}") for n in range(2)]
    merging = [
        begin("merge", archive, data, stick),
        begin("merge", archive, stick, data),
        begin("merge", data, stick),
    ]
    recorded, merged = [*map(end, recording)], [*map(end, merging)]
    assert all(ended.refused or ended.code in (0, 1) for ended in (*recorded, *merged))
    assert not all(ended.refused for ended in (*recorded, *merged))
    saved = {name for ended in recorded if not ended.refused for name in ended.json["entries"]}
    assert names(data) == before | saved
    assert names(archive) <= names(data)
    last = command("merge", archive, data, stick)
    assert (last.code, last.json["gaps"], last.json["clones"]) == (0, [], [])
    assert names(archive) == names(data)
    assert command("verify", archive).code == 0
