"""Text that could steer a terminal, through every way in and out.

The fixture `anklefirst` itself fails where an unsafe character reaches stdout or stderr; here also
the documents are looked through, because readers of JSON print what they hold.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from fitcore.clean_text import is_unsafe
from fitcore.record.seal import digest_lines

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import Anklefirst

ESCAPE = "SK\x1b[41m-07"
TITLE = "SK\x1b]0;gone\x07-07"
OVERRIDE = "SK\u202e70-\u2066\u200b07"
BRACKETS = "SK[left] [/] [bold]"
WIDE = "\u6f22\u5b57 e\u0301 \u0e01\u0e33"
LONG = "x" * 10_000
SURROGATES = "\udcff\ud800"
HOSTILE = [ESCAPE, TITLE, OVERRIDE, BRACKETS, WIDE, "SK\x00-07", "SK\x9b31m", SURROGATES, LONG]
IDS = ["escape", "title", "override", "brackets", "wide", "nul", "c1", "surrogate", "long"]
ROW = "{client},2026-03-04T09:12+01:00,{measurer},left,B,girth,1,{value},cm,standing,"


def assert_safe(value: Any) -> None:
    """Look through a whole document."""
    if isinstance(value, dict):
        assert_safe(list(value.values()))
    elif isinstance(value, list):
        for item in value:
            assert_safe(item)
    elif isinstance(value, str):
        assert [c for c in value if c != "\n" and is_unsafe(c)] == []


def lines_of(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").split("\n")


def assert_stored_safely(anklefirst: Anklefirst) -> None:
    for path in anklefirst.data.rglob("*.toml"):
        for line in lines_of(path):
            assert [c for c in line if is_unsafe(c)] == []
            assert "\\u" not in line, "nothing unsafe may be stored, escaped or not"


@pytest.mark.parametrize("text", HOSTILE, ids=IDS)
def test_through_new_and_fit(text: str, anklefirst: Anklefirst) -> None:
    ran = anklefirst("new", "--client", text, "--json")
    assert_safe(ran.json)
    if text in (LONG, SURROGATES):  # too long, or nothing is left
        assert ran.code == 2
        return
    assert ran.code == 0
    if text not in (BRACKETS, WIDE):
        assert "client: U+" in ran.err, "what was taken out is said"
    assert_stored_safely(anklefirst)
    anklefirst.record(ran.json["session"], "left", "B", "girth", "22.4")
    shown = anklefirst("fit", anklefirst.data, "--json")
    assert_safe(shown.json)
    plain = anklefirst("fit", anklefirst.data)
    client = shown.json["sessions"][0]["client"]
    assert f"Client {client}, session" in plain.out
    if text == BRACKETS:
        assert client == BRACKETS


@pytest.mark.parametrize("text", HOSTILE, ids=IDS)
def test_through_every_argument(text: str, anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    entry = anklefirst.record(session, "left", "B", "girth", "22.4")
    lines = [
        ["set", session, "measurer", text],
        ["set", session, text, "x"],
        ["set", session, "posture", text],
        ["set", session, "zone", text],
        ["set", session, "rising_at", text],
        ["set", text, "posture", "lying"],
        ["remark", session, text],
        ["record", session, text, "B", "girth", "22"],
        ["record", session, "left", text, "girth", "22"],
        ["record", session, "left", "B", text, "22"],
        ["record", session, "left", "B", "girth", text],
        ["record", session, "left", "C", "girth", "--not-taken", text],
        ["record", session, "left", "B", "girth", "22", "--round", text],
        ["correct", text, "22", "--why", "w"],
        ["correct", entry, text, "--why", "w"],
        ["correct", entry, "22.5", "--why", text],
        ["withdraw", entry, "--why", text],
        ["new", "--client", "SK-08", "--protocol", text],
        ["fit", text],
        ["fit", str(anklefirst.data), "--chart", text],
        ["fit", str(anklefirst.data), "--charts", text],
        ["check", text],
        ["import", text],
        ["where", f"--{text}"],
        [text],
    ]
    for words in lines:
        plain = anklefirst(*words)
        assert plain.code in (0, 1, 2), words
        assert "unexpected" not in plain.err, words
        told = anklefirst(*words, "--json")
        assert_safe(told.json)
        assert len(told.err) < 3_000, "a fault quotes no whole page"
    assert_stored_safely(anklefirst)


def test_what_cleaning_took_out_is_said(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    ran = anklefirst("remark", session, f"skin \x1b[31mred\u202e {LONG}")
    assert ran.code == 0
    assert ran.err == "TEXT: U+001B, U+202E, too long was taken out.\n"


@pytest.mark.parametrize("text", HOSTILE, ids=IDS)
@pytest.mark.parametrize("place", ["client", "measurer", "value"])
def test_through_a_sheet(text: str, place: str, anklefirst: Anklefirst) -> None:
    cells = {"client": "SK-07", "measurer": "N-17", "value": "22.4"} | {place: text}
    path = anklefirst.data.parent / "sheet.csv"
    head = "client,measured_at,measurer,side,point,kind,round,value,unit,posture,rising_at"
    rows = [ROW.format(**cells), ROW.format(client="SK-09", measurer="N-17", value="23")]
    path.write_bytes("\n".join([head, *rows]).encode(errors="surrogatepass"))
    ran = anklefirst("import", path, "--json")
    assert_safe(ran.json)
    if "\x00" in text or "\udcff" in text:
        assert (ran.code, ran.json["problems"][0]["line"]) == (2, 2)
        return
    assert ran.json["added"] + len(ran.json["refused"]) == 2
    if any(is_unsafe(c) for c in text):
        assert "Line 2: U+" in ran.err
    anklefirst("import", path)
    assert_stored_safely(anklefirst)
    assert_safe(anklefirst("fit", anklefirst.data, "--json").json)
    anklefirst("fit", anklefirst.data)


@pytest.mark.parametrize("text", [ESCAPE, TITLE, OVERRIDE, BRACKETS, WIDE, "SK\x9b31m"])
def test_through_the_header_of_a_sheet(text: str, anklefirst: Anklefirst) -> None:
    path = anklefirst.sheet(header=f"{text},client,side")
    ran = anklefirst("import", path, "--json")
    assert ran.code == 2
    assert_safe(ran.json)
    anklefirst("import", path)


def test_a_cell_of_ten_thousand_characters_is_one_refusal(anklefirst: Anklefirst) -> None:
    row = ROW.format(client="SK-07", measurer="N-17", value=LONG)
    good = ROW.format(client="SK-09", measurer="N-17", value="23")
    ran = anklefirst("import", anklefirst.sheet(row, good), "--json")
    assert (ran.code, ran.json["added"]) == (1, 1)
    [refused] = ran.json["refused"]
    assert refused["line"] == 2
    assert len(refused["why"]) < 300


ESCAPED = r"SK\u001b]0;gone\u0007\u202e\u009b-07 [/]"
SESSION = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7"


def planted(folder: Path) -> Path:
    """Write a session from outside whose texts hold escaped control characters, truly sealed."""
    at = "2026-03-04T09:12:40+01:00"
    data = [
        "format = 1",
        f'session = "{SESSION}"',
        "answers = [",
        f'{{ by = "tern-k7qd:1", at = {at}, what = "client", is = "{ESCAPED}" }},',
        f'{{ by = "tern-k7qd:2", at = {at}, what = "posture", is = "{ESCAPED}" }},',
        f'{{ by = "dunlin-m4ex:2", at = {at}, what = "{ESCAPED}", is = "x" }},',
        f'{{ by = "dunlin-m4ex:3", at = {at}, what = "{ESCAPED}", is = "y" }},',
        f'{{ by = "tern-k7qd:5", at = {at}, what = "forms", is = ["{ESCAPED}"] }},',
        "]",
        "readings = [",
        f'{{ by = "tern-k7qd:3", at = {at}, side = "left", point = "B", kind = "girth", '
        f'round = 1, typed = "{ESCAPED}", unit = "cm", mm = 224.0 }},',
        f'{{ by = "tern-k7qd:4", at = {at}, side = "{ESCAPED}", point = "B" }},',
        "]",
    ]
    seal = ["[seal]", "lines = 7", f'blake2b = "{digest_lines(data)}"']
    folder.mkdir(parents=True)
    path = folder / f"{SESSION}.toml"
    path.write_text("\n".join([*data, *seal]) + "\n", encoding="utf-8")
    return path


def test_out_of_a_file_from_outside(anklefirst: Anklefirst) -> None:
    path = planted(anklefirst.data / "sessions" / "2025-10")
    lines: list[list[str | Path]] = [["fit", path], ["check", path], ["fit", anklefirst.data]]
    for words in lines:
        told = anklefirst(*words, "--json")
        assert_safe(told.json)
        plain = anklefirst(*words)
        assert plain.code == told.code == 1, "a reading nobody can use needs a person"
        assert "gone" in plain.out, "the harmless part is shown"
    found = anklefirst("check", path, "--json").json["problems"]
    assert "unsafe_text" in [problem["code"] for problem in found]
    stored = path.read_bytes()
    ran = anklefirst("record", SESSION, "right", "B", "girth", "22.4", "--json")
    assert ran.code == 0
    for line in stored.split(b"\n"):
        if line.startswith(b"{ by"):
            assert line in path.read_bytes(), "what a file holds is carried as it is"


def test_out_of_names_of_files(anklefirst: Anklefirst, tmp_path: Path) -> None:
    folder = tmp_path / "stick\x1b[31m\u202e"
    path = planted(folder)
    broken = folder / f"{SESSION.replace('0199', '0198')}.toml"
    broken.write_bytes(b"")
    lines: list[list[str | Path]] = [
        ["fit", folder],
        ["check", folder],
        ["check", path],
        ["where", "--data", folder],
    ]
    for words in lines:
        told = anklefirst(*words, "--json")
        assert_safe(told.json)
        anklefirst(*words)
    chart = folder / "chart.toml"
    chart.write_text(
        'format = 1\nid = "\\u001b[31m"\n[[sizes]]\nsize = "\\u202e"\n', encoding="utf-8"
    )
    assert_safe(anklefirst("check", chart, "--json").json)
    assert anklefirst("check", chart).code == 1
