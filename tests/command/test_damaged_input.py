"""Whatever a file holds, a command ends with its code and one document, never with a surprise."""

from __future__ import annotations

import io
import json
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcore.disk.surroundings import Surroundings
from fitcore.record.seal import seal_lines
from tui.command_line import run

ROOT = Path(__file__).resolve().parents[2]
SESSIONS = sorted((ROOT / "sample_sessions").rglob("*-*.toml"))
PROFILES = sorted((ROOT / "profiles").rglob("*.toml"))
SHEET = """client,measured_at,measurer,side,point,kind,round,value,unit,posture,rising_at
SK-07,2026-03-04T09:12,N-17,left,B,girth,,"22,4",cm,standing,2026-03-04T06:30
SK-07,2026-03-04T09:13+01:00,N-17,left,C,girth,2,15 1/8,in,lying,
SK-08,1970-01-01T00:20+01:00,N-17,right,foot,shoe,,39,eu,,
"""
PIECES = [
    *"'\"{}[]=,#;\n\t\r",
    *("nan", "-inf", "1e999999", "0", "-1", "9" * 20, "true", "[1, 2]", "[]", '""', "1/0", "in"),
    *("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "1979-05-27", "07:32:00"),
    *("\\u001b", "\\u202e", "\x1b]0;x\x07", "\u202e", "shoe", "both", "unknown", "takes_back"),
    *("[[sizes]]", "[[dimensions]]", "[source]", "unit = [1]", "id = [1]", "dimensions = 4"),
]

edits = st.lists(
    st.tuples(st.floats(0, 1), st.integers(0, 40), st.sampled_from(PIECES) | st.text(max_size=4)),
    min_size=1,
    max_size=4,
)


def damaged(text: str, changes: list[tuple[float, int, str]]) -> bytes:
    """Replace a few characters, each at a place given as a share of the text."""
    for share, length, piece in changes:
        at = round(share * len(text))
        text = text[:at] + piece + text[at + length :]
    return text.encode(errors="surrogatepass")


def sealed_anew(raw: bytes) -> bytes:
    """Put a true seal under damaged lines, so that they are read in earnest."""
    text = raw.decode(errors="replace").split("[seal]")[0]
    lines = [line.strip() for line in text.split("\n")]
    data = [line for line in lines if line and not line.startswith("#")]
    seal = seal_lines(data, sum(line.startswith("{") for line in data))
    return "\n".join([*data, *seal, ""]).encode()


def call(place: Path, *words: str | Path) -> Any:
    """Run with --json and return the document; fails on a surprise."""
    surroundings = Surroundings(
        now=lambda: datetime(2026, 3, 4, 9, tzinfo=UTC),
        random_bytes=bytes,
        state_folder=place / "state",
        zone="Europe/Berlin",
    )
    out, err = io.StringIO(), io.StringIO()
    line = ["--data", place / "tern", *words, "--json"]
    with redirect_stdout(out), redirect_stderr(err):
        code = run([str(word) for word in line], surroundings)
    document = json.loads(out.getvalue())
    assert code in (0, 1, 2)
    assert "unexpected" not in err.getvalue()
    assert "unexpected" not in [p["code"] for p in document.get("problems", [])]
    return document


@pytest.mark.parametrize("seal_anew", [False, True], ids=["as it is", "sealed anew"])
@given(path=st.sampled_from(SESSIONS), changes=edits)
def test_a_damaged_session(
    path: Path, changes: list[tuple[float, int, str]], *, seal_anew: bool
) -> None:
    raw = damaged(path.read_text(encoding="utf-8"), changes)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        file = place / "some.toml"
        file.write_bytes(sealed_anew(raw) if seal_anew else raw)
        call(place, "check", file)
        call(place, "fit", file)


@given(path=st.sampled_from(PROFILES), changes=edits)
def test_a_damaged_profile(path: Path, changes: list[tuple[float, int, str]]) -> None:
    raw = damaged(path.read_text(encoding="utf-8"), changes)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        own = place / "tern" / path.parent.name
        own.mkdir(parents=True)
        (own / path.name).write_bytes(raw)
        call(place, "check", place)
        call(place, "fit", SESSIONS[0])


@given(changes=edits)
def test_a_damaged_sheet_is_imported_once(changes: list[tuple[float, int, str]]) -> None:
    raw = damaged(SHEET, changes)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        sheet = place / "sheet.csv"
        sheet.write_bytes(raw)
        first = call(place, "import", sheet)
        again = call(place, "import", sheet)
        if "added" in first:
            assert again["added"] == 0
            assert again["skipped"] == first["added"] + first["skipped"]
            assert again["refused"] == first["refused"]
        if first.get("added"):
            assert call(place, "check", place / "tern")["problems"] == []
