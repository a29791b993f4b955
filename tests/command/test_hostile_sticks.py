"""Everything wrong on one stick: each hostile file and each editor's accident has its answer.

A file is *taken* as it was, *asked* about line by line, *carried*, or set aside with a reason. The
stick stays as it is, and the laptop's own folder mends what can be mended.
"""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.disk.session_files import find_session_files, read_session_file

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from command.conftest import Anklefirst

TAKEN, ASKED, NEWER = "taken", "asked", "carried"

Spoil = tuple["Callable[[bytes], bytes]", str]


def text(change: Callable[[str], str]) -> Callable[[bytes], bytes]:
    """Change a file as text."""
    return lambda raw: change(raw.decode()).encode()


def within(more: str) -> Callable[[bytes], bytes]:
    """Write something into the first entry."""
    return text(lambda whole: whole.replace("{ by", f"{{ {more}, by", 1))


def head(line: str) -> Callable[[bytes], bytes]:
    """Write a line below the head."""
    return text(lambda whole: whole.replace("\n\nanswers", f"\n{line}\n\nanswers", 1))


EDITORS: dict[str, Spoil] = {
    "a byte-order mark": (lambda raw: b"\xef\xbb\xbf" + raw, TAKEN),
    "CRLF": (lambda raw: raw.replace(b"\n", b"\r\n"), TAKEN),
    "mark, CRLF and blanks at line ends": (
        lambda raw: b"\xef\xbb\xbf" + raw.replace(b"\n", b"  \r\n"),
        TAKEN,
    ),
    "some lines CRLF": (lambda raw: raw.replace(b"\n", b"\r\n", 3), TAKEN),
    "blanks at line ends": (lambda raw: raw.replace(b"\n", b"   \n"), TAKEN),
    "tabs at line ends": (lambda raw: raw.replace(b"\n", b"\t\n"), TAKEN),
    "tabs for indentation": (lambda raw: raw.replace(b"  {", b"\t{"), TAKEN),
    "no indentation": (lambda raw: raw.replace(b"\n  {", b"\n{"), TAKEN),
    "blank lines between": (lambda raw: raw.replace(b"\n", b"\n\n"), TAKEN),
    "no last line feed": (lambda raw: raw.rstrip(b"\n"), TAKEN),
    "more blank lines at the end": (lambda raw: raw + b"\r\n\r\n", TAKEN),
    "heading reworded": (lambda raw: raw.replace(b"# ", b"# seen by N-17: ", 1), TAKEN),
    "a comment of one's own": (lambda raw: b"# see also SK-08\n" + raw, TAKEN),
    "UTF-16 with its mark": (lambda raw: raw.decode().encode("utf-16"), "utf16"),
    "UTF-16, big end first": (
        lambda raw: b"\xfe\xff" + raw.decode().encode("utf-16-be"),
        "utf16",
    ),
    "UTF-16 without its mark": (lambda raw: raw.decode().encode("utf-16-le"), "utf16"),
    "UTF-32": (lambda raw: raw.decode().encode("utf-32"), "utf16"),
    "an older Windows code": (
        lambda raw: raw.decode().replace("SK-", "SÖ-").encode("cp1252"),
        "not_utf8",
    ),
    "line ends of an old Mac": (lambda raw: raw.replace(b"\n", b"\r"), "not_toml"),
    "end-of-file sign of old editors": (lambda raw: raw + b"\x1a", "not_toml"),
    "typographic quotes": (text(lambda whole: whole.replace('"', "\u201c")), "not_toml"),
    "decimal commas": (lambda raw: raw.replace(b"361.0", b"361,0"), "not_toml"),
    "no-break spaces": (text(lambda whole: whole.replace(" ", "\u00a0")), "not_toml"),
    "lines wrapped": (lambda raw: raw.replace(b", what", b",\n what"), "not_toml"),
    "a mark of a merge tool": (
        lambda raw: raw.replace(b"readings", b"<<<<<<< mine\nreadings"),
        "not_toml",
    ),
    "saved as an empty file": (lambda _: b"", "empty"),
    "saved as blanks": (lambda _: b"  \r\n \r\n", "empty"),
    "a value put right by hand": (lambda raw: raw.replace(b"36.1", b"38.1"), ASKED),
    "a line taken out": (
        text(lambda whole: re.sub(r"\n  \{[^\n]*posture[^\n]*", "", whole)),
        ASKED,
    ),
    "all of it in lower case": (text(str.lower), ASKED),
    "entries on lines of their own": (
        text(lambda whole: whole.replace("answers = [\n  {", "answers = [ {")),
        ASKED,
    ),
    "the seal taken out": (lambda raw: raw.partition(b"[seal]")[0], ASKED),
}
HOSTILE: dict[str, Spoil] = {
    "cut in the middle": (lambda raw: raw[: len(raw) // 2], "not_toml"),
    "cut before the seal's digest": (lambda raw: raw.partition(b"blake2b")[0], ASKED),
    "zeros only": (lambda raw: bytes(len(raw)), "zeros"),
    "end zeroed": (lambda raw: raw[:300] + bytes(len(raw) - 300), "not_toml"),
    "500 arrays deep": (head("x = " + "[" * 500 + "]" * 500), "too_deep"),
    "500 tables deep": (head("x = " + "{a=" * 500 + "1" + "}" * 500), "too_deep"),
    "key of 20,000 parts": (head(".".join("a" * 20_000) + " = 1"), "too_deep"),
    "20,000 headers": (
        lambda raw: raw + "".join(f"[h{n}]\n" for n in range(20_000)).encode(),
        "wrong_shape",
    ),
    "integer of 4,000 digits": (within(f"x = {'9' * 4_000}"), "bad_number"),
    "integer of 5,000 digits": (within(f"x = {'9' * 5_000}"), "bad_number"),
    "integer of 2 to the 63": (within(f"x = {1 << 63}"), "bad_number"),
    "1e999": (within("x = 1e999"), "bad_number"),
    "nan": (within("x = nan"), "bad_number"),
    "duplicate keys": (within("x = 1, x = 2"), "not_toml"),
    "NUL": (within('x = "a\0b"'), "not_toml"),
    "raw escape": (within('x = "\x1b[2J"'), "not_toml"),
    "lone surrogate": (
        lambda raw: raw.replace(b"{ by", b'{ x = "\xed\xa0\x80", by', 1),
        "not_utf8",
    ),
    "escaped lone surrogate": (within('x = "\\ud800"'), "not_toml"),
    "text over several lines": (within('x = """a\r\nb"""'), "wrong_shape"),
    "escaped escape": (within('x = "\\u001b[2J"'), ASKED),
    "10 MB of comments": (lambda raw: raw + b"# more\n" * 1_500_000, "too_big"),
    "another session's name inside": (
        text(lambda whole: re.sub(r'session = "0', 'session = "1', whole)),
        "name_mismatch",
    ),
    "a newer format": (lambda raw: raw.replace(b"format = 1", b"format = 2"), NEWER),
    "a format nobody has": (lambda raw: raw.replace(b"format = 1", b"format = 0"), "wrong_shape"),
    "another kind of file": (lambda _: b"[tool]\nname = 'x'\n", "wrong_shape"),
    "a program": (lambda _: b"MZ\x90\x00\x03" * 400, "not_utf8"),
}
ALL = EDITORS | HOSTILE


def test_each_file_of_a_stick_has_its_own_answer(anklefirst: Anklefirst, tmp_path: Path) -> None:
    curlew = replace(anklefirst, data=tmp_path / "curlew")
    names = dict(zip(begin_sessions(anklefirst, len(ALL)), ALL, strict=True))
    stick = tmp_path / "stick"
    shutil.copytree(anklefirst.data, stick)
    brought = {}
    for path in find_session_files(stick):
        spoil, _ = ALL[names[path.stem]]
        brought[path] = spoil(path.read_bytes())
        path.write_bytes(brought[path])

    ran = curlew.bare("merge", curlew.data, stick, "--json")
    assert ran.code == 1
    reasons = {file["path"]: file["reason"] for file in ran.json["set_aside"]}
    answers = {names[path.stem]: reasons.get(str(path), "lost") for path in brought}
    answers |= dict.fromkeys(taken_as_they_were(curlew, anklefirst, names), TAKEN)
    proposals = curlew("conflicts", "--json").json["proposals"]
    answers |= dict.fromkeys((names[proposal["about"]] for proposal in proposals), ASKED)
    filed = {path.stem: path.read_bytes() for path in find_session_files(curlew.data)}
    for path, raw in brought.items():
        if answers[names[path.stem]] == "lost" and filed.get(path.stem) == raw:
            answers[names[path.stem]] = NEWER
    assert answers == {name: answer for name, (_, answer) in ALL.items()}
    assert {path: path.read_bytes() for path in brought} == brought
    kept = {path.read_bytes() for path in curlew.data.glob("set-aside/*.copy")}

    # The laptop's own folder mends it: every line is there, and what was set aside is kept.
    mended = curlew.bare("merge", curlew.data, anklefirst.data, "--json").json
    assert mended["gaps"] == []
    assert taken_as_they_were(curlew, anklefirst, names) == set(ALL)
    odd = {
        raw for path, raw in brought.items() if answers[names[path.stem]] not in (TAKEN, "too_big")
    }
    held = {path.read_bytes() for path in curlew.data.glob("set-aside/*.copy")}
    assert odd <= held
    assert kept <= held


def begin_sessions(laptop: Anklefirst, count: int) -> list[str]:
    """Write sessions of one reading each and return their ids, in the order of their paths."""
    hour = "2026-03-04T09:12+01:00"
    rows = (f"SK-{n:02},{hour},N-17,left,C,girth,,36.1,cm,standing," for n in range(count))
    assert laptop("import", laptop.sheet(*rows)).code == 0
    return [path.stem for path in find_session_files(laptop.data)]


def taken_as_they_were(archive: Anklefirst, laptop: Anklefirst, names: dict[str, str]) -> set[str]:
    """Return the names of sessions that read in the archive as the laptop wrote them."""
    there = {
        path.stem: read_session_file(path).session for path in find_session_files(archive.data)
    }
    own = {path.stem: read_session_file(path).session for path in find_session_files(laptop.data)}
    return {names[key] for key, session in there.items() if session == own[key]}
