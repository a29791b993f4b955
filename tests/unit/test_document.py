"""Reading a file's bytes: hostile input, foreign layouts, and what is forgiven."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING

import pytest
from strategies import SESSION, entry_of, file_of, session_of, toml_value

from fitcore.clean_text import clean, is_unsafe
from fitcore.record import document
from fitcore.record.codec import read_session, write_session
from fitcore.record.ledger import read_ledger
from fitcore.record.readings import Readings
from fitcore.record.session import Seal

if TYPE_CHECKING:
    from fitcore.problems import Problem

HEAD = f'format = 1\nsession = "{SESSION}"\n'
DOCUMENTED_EXAMPLE = f"""\
# tern-014 · measured 4 March 2026 on tern        (for reading only)
format = 1
session = "{SESSION}"

answers = [
  {{ by = "tern-k7qd:88", at = 2026-03-04T09:12:40+01:00, what = "client", is = "tern-014-X" }},
  {{ by = "tern-k7qd:91", at = 2026-03-04T09:13:02+01:00, what = "posture", is = "lying" }},
  {{ by = "dunlin-m4ex:41", at = 2026-03-04T08:02:10+01:00, what = "posture", is = "standing", \
instead_of = ["tern-k7qd:91"] }},
]
readings = [
  {{ by = "tern-k7qd:92", at = 2026-03-04T09:14:05+01:00, side = "left", point = "B", \
kind = "girth", round = 1, typed = "22.40", unit = "cm", mm = 224.0 }},
  {{ by = "tern-k7qd:93", at = 2026-03-04T09:15:31+01:00, side = "left", point = "C", \
kind = "girth", round = 1, typed = "15 1/8", unit = "in", mm = 384.175 }},
  {{ by = "tern-k7qd:94", at = 2026-03-04T09:16:02+01:00, side = "left", point = "G", \
kind = "girth", round = 1, not_taken = "dressing" }},
]

[seal]
lines = 8
blake2b = "..."
"""
SAMPLE = session_of(
    entry_of("answers", "tern-k7qd:88", what="client", is_="tern-014-0"),
    entry_of("remarks", "tern-k7qd:89", text="Skin intact."),
)
WHOLE = write_session(SAMPLE)


def _entry(extra: str) -> bytes:
    """Write a file in our own form whose one reading holds this, too."""
    return file_of(("readings", [f'{{ by = "tern-k7qd:1", {extra} }}']))


def _refused(raw: bytes) -> Problem:
    session, problems = read_session(raw)
    assert session is None
    assert len(problems) == 1
    assert problems[0].mend
    assert not any(is_unsafe(character) for character in str(problems[0]))
    return problems[0]


def _dotted(parts: int, part: str = "a", dot: str = ".") -> str:
    return dot.join([part] * parts)


REFUSED: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "empty"),
    "blanks only": (b" \n\r\n\t", "empty"),
    "utf-16 little end first": (WHOLE.encode("utf-16-le").join([b"\xff\xfe", b""]), "utf16"),
    "utf-16 big end first": (WHOLE.encode("utf-16-be").join([b"\xfe\xff", b""]), "utf16"),
    "utf-16 without its mark": (HEAD.encode("utf-16-le"), "utf16"),
    "latin-1": (WHOLE.replace("intact", "Ödem").encode("latin-1"), "not_utf8"),
    "lone surrogate as bytes": (_entry("x = 1").replace(b"x", b"\xed\xa0\x80"), "not_utf8"),
    "too big": (WHOLE.encode() + b"#" * (1 << 20), "too_big"),
    "500 arrays deep": (HEAD.encode() + b"x = " + b"[" * 500 + b"]" * 500, "too_deep"),
    "500 tables deep": (HEAD.encode() + b"x = " + b"{a=" * 500 + b"1" + b"}" * 500, "too_deep"),
    "4 deep": (_entry("x = [[1]]"), "too_deep"),
    "integer of 4,000 digits": (_entry(f"x = {'9' * 4_000}"), "bad_number"),
    "integer of 5,000 digits": (_entry(f"x = {'9' * 5_000}"), "bad_number"),
    "integer of 4,000 hex digits": (_entry(f"x = 0x{'f' * 4_000}"), "bad_number"),
    "integer of 2 to the 63": (_entry(f"x = {1 << 63}"), "bad_number"),
    "1e999": (_entry("mm = 1e999"), "bad_number"),
    "-1e999": (_entry("mm = -1e999"), "bad_number"),
    "9e999999": (_entry("mm = 9e999999"), "bad_number"),  # finite, and sums of it overflow
    "1e-999": (_entry("mm = 1e-999"), "bad_number"),  # written out it fills the memory
    "nan": (_entry("mm = nan"), "bad_number"),
    "inf": (_entry("mm = inf"), "bad_number"),
    "nan in a list": (_entry("x = [nan]"), "bad_number"),
    "nan in the head": (file_of(head="needs = nan"), "bad_number"),
    "duplicate key": (_entry("x = 1, x = 2"), "not_toml"),
    "duplicate array": (file_of(("answers", []), ("answers", [])), "not_toml"),
    "bare CR": (WHOLE.replace("\n", "\r").encode(), "not_toml"),
    "not TOML": (b"the quick brown fox", "not_toml"),
    "escaped lone surrogate": (_entry('x = "\\ud800"'), "not_toml"),
    "text over several lines": (_entry('x = """a\nb"""'), "wrong_shape"),
    "literal over several lines": (_entry("x = '''a\r\nb'''"), "wrong_shape"),
    "no head": (b"answers = []\n", "wrong_shape"),
    "format 0": (WHOLE.replace("format = 1", "format = 0").encode(), "wrong_shape"),
    "format true": (WHOLE.replace("format = 1", "format = true").encode(), "wrong_shape"),
    "session no uuid": (WHOLE.replace(SESSION, "../../x").encode(), "wrong_shape"),
    "session upper case": (WHOLE.replace(SESSION, SESSION.upper()).encode(), "wrong_shape"),
    "a table of its own": (HEAD.encode() + b"[surprise]\nx = 1\n", "wrong_shape"),
    "entry without a name": (file_of(("remarks", ['{ text = "x" }'])), "bad_entry_id"),
    "counter from 2 to the 53": (
        file_of(("remarks", [f'{{ by = "tern-k7qd:{1 << 53}" }}'])),
        "bad_entry_id",
    ),
}


@pytest.mark.parametrize(("raw", "code"), REFUSED.values(), ids=REFUSED)
def test_hostile_input_is_set_aside_with_its_reason(raw: bytes, code: str) -> None:
    assert _refused(raw).code == code


UNSAFE: dict[str, bytes] = {
    "NUL": _entry('x = "a\0b"'),
    "raw ESC": _entry('x = "\x1b[2J"'),
    "raw DEL": _entry('x = "\x7f"'),
    "ESC in a comment": b"# \x1b]0;title\x07\n" + WHOLE.encode(),
    "ESC as a key": _entry('"\\u001b[2J" = nan'),
    "ESC as a table": HEAD.encode() + b'["\\u001b[2J"]\nx = 1\n',
    "ESC as an array": HEAD.encode() + b'"\\u001b[2J" = [{x = {}}]\n',
    "ESC as a name": file_of(("remarks", ['{ by = "\\u001b]0;t\\u0007" }'])),
}


@pytest.mark.parametrize("raw", UNSAFE.values(), ids=UNSAFE)
def test_what_steers_a_terminal_is_set_aside_in_safe_words(raw: bytes) -> None:
    _refused(raw)


DOTTED: dict[str, str] = {
    f"{name}, {parts} parts": wrapped.format(_dotted(parts, part, dot))
    for parts in (3, 2_100, 6_000, 9_000, 20_000)
    for name, part, dot, wrapped in (
        ("bare", "a", ".", "{} = 1"),
        ("spaced", "a", " . ", "{} = 1"),
        ("quoted", '"a"', ".", "{} = 1"),
        ("literal", "'a'", ".", "{} = 1"),
        ("header", "a", ".", "[{}]"),
        ("in an entry", "a", ".", 'x = [{{ by = "tern-k7qd:1", {} = 1 }}]'),
    )
}


@pytest.mark.parametrize("line", DOTTED.values(), ids=DOTTED)
def test_a_key_of_many_parts_is_refused_before_the_toml_reader_sees_it(
    line: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """20,000 parts cost a TOML reader seconds and gigabytes: at most one dot passes."""
    seen: list[int] = []

    def read(text: str, **_: object) -> dict[str, object]:
        seen.append(len(text))
        raise tomllib.TOMLDecodeError

    monkeypatch.setattr(document.tomllib, "loads", read)
    assert _refused(f"{HEAD}{line}\n".encode())
    assert seen == []


def test_twenty_thousand_headers_are_set_aside() -> None:
    _refused((HEAD + "".join(f"[h{number}]\n" for number in range(20_000))).encode())


def test_a_file_of_exactly_the_largest_size_is_read() -> None:
    padding = "# a comment to fill the file\n" * ((1 << 20) // 29 + 1)
    room = (1 << 20) - len(WHOLE.encode())
    assert read_session((WHOLE + padding[: room - 1] + "\n").encode()) == (SAMPLE, ())


FORGIVEN: dict[str, bytes] = {
    "as written": WHOLE.encode(),
    "byte-order mark": b"\xef\xbb\xbf" + WHOLE.encode(),
    "CRLF": WHOLE.replace("\n", "\r\n").encode(),
    "mark and CRLF": b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode(),
    "blanks at line ends": WHOLE.replace("\n", "  \n").encode(),
    "tabs for indentation": WHOLE.replace("  {", "\t{").encode(),
    "no last line feed": WHOLE.rstrip("\n").encode(),
    "blank lines": WHOLE.replace("\n", "\n\n").encode(),
    "other headings": b"# worded otherwise by a newer program\n"
    + WHOLE.partition("\n")[2].encode(),
}


@pytest.mark.parametrize("raw", FORGIVEN.values(), ids=FORGIVEN)
def test_what_an_editor_does_to_a_files_looks_raises_nothing(raw: bytes) -> None:
    assert read_session(raw) == (SAMPLE, ())


ASKED: dict[str, tuple[str, str]] = {
    "a value changed": (WHOLE.replace("intact", "broken"), "seal_broken"),
    "a line added": (WHOLE.replace("remarks = [", 'needs = ["x"]\nremarks = ['), "seal_broken"),
    "seal lines": (WHOLE.replace("lines = 2", "lines = 3"), "seal_broken"),
    "seal cut short": (WHOLE[:-10] + '"\n', "seal_broken"),
    "seal gone": (WHOLE.partition("[seal]")[0], "seal_missing"),
    "laid out anew": (WHOLE.replace("{ by", "{\tby").replace(" },", " }, # mine"), "seal_broken"),
}


@pytest.mark.parametrize(("text", "code"), ASKED.values(), ids=ASKED)
def test_a_file_changed_outside_the_program_is_asked_about(text: str, code: str) -> None:
    session, problems = read_session(text.encode())
    assert [problem.code for problem in problems] == [code]
    assert session is not None
    assert session.seal is not Seal.WHOLE


def test_a_newer_format_is_carried_not_interpreted() -> None:
    session, problems = read_session(WHOLE.replace("format = 1", "format = 2").encode())
    assert session is None
    assert [problem.code for problem in problems] == ["newer_format"]


NEWER = WHOLE.replace("format = 1", "format = 2")
UNREADABLE: dict[str, bytes] = {
    "entries in a form of their own": f"{HEAD}\nreadings <<\n  B 224\n>>\n".encode(),
    "broken off in an entry": WHOLE.encode()[:-120],
    "broken off after the format": b"format = 1",
    "a value over several lines": f"{HEAD}text = [\n[[[[1]]]]\n]\n".encode(),
    "a number no session holds": f"{HEAD}kg = 1e5\n".encode(),
    "bytes that are no text": HEAD.encode() + b"\x8f\xff\x00\x01",
    "an entry without a name": WHOLE.replace("by =", "from =").encode(),
    "with CRLF": HEAD.replace("\n", "\r\n").encode() + b"<<\r\n",
    "with a mark of byte order": b"\xef\xbb\xbf" + HEAD.encode() + b"<<\n",
    "format after other lines": f'session = "{SESSION}"\nneeds = ["x"]\nformat = 1\n<<\n'.encode(),
    "indented, under a comment": b"\n# newer\n  format=1  \n<<\n",
}
BEHIND_THE_HEAD: dict[str, bytes] = {
    "no head before it": b"<<\nformat = 2\n",
    "in a text over several lines": b'x = """\nformat = 2\n"""\n',
    "in an array": b"x = [\nformat = 2\n]\n",
    "in a table": b"[x]\nformat = 2\n<<\n",
    "after a line that is no text": b"x = \xff\nformat = 2\n",
    "format 1 stands before it": b"format = 1\nformat = 2\n",
    "no whole number": b"format = 2.5\n<<\n",
    "too long a number": b"format = 20000000000\n<<\n",
}


@pytest.mark.parametrize("raw", UNREADABLE.values(), ids=UNREADABLE)
def test_a_newer_format_is_told_by_the_head_though_nothing_else_can_be_read(raw: bytes) -> None:
    ours, _ = read_session(raw)
    assert ours is None  # as format 1 each of these is set aside
    newer = re.sub(rb"format( ?= ?)1", rb"format\g<1>2", raw)
    session, problems = read_session(newer)
    assert session is None
    assert [problem.code for problem in problems] == ["newer_format"]
    assert problems == read_session(NEWER.encode())[1]
    assert read_ledger(newer) == (None, problems)


@pytest.mark.parametrize("raw", BEHIND_THE_HEAD.values(), ids=BEHIND_THE_HEAD)
def test_a_format_that_is_not_read_in_the_head_carries_nothing(raw: bytes) -> None:
    assert _refused(raw).code != "newer_format"


def test_a_problem_names_the_line_it_is_on() -> None:
    lines = ['{ by = "tern-k7qd:1" }', '{ by = "tern-k7qd" }']
    assert _refused(file_of(("remarks", lines))).line == 5
    assert _refused(file_of(("remarks", [lines[0], "{ by = }"]))).line == 5


def test_a_damaged_reading_costs_no_other_reading() -> None:
    good = (
        '{ by = "tern-k7qd:1", side = "left", point = "B", kind = "girth", unit = "mm", mm = 224 }'
    )
    session, _ = read_session(
        file_of(("readings", [good, good.replace(":1", ":2").replace("left", "up")]))
    )
    assert session is not None
    readings = Readings(session)
    assert (len(readings.places()), len(readings.problems)) == (1, 1)


NUMBERLIKE = ["info", "infection", "nanny", "infra_red", "x1e5", "b2e1"]


@pytest.mark.parametrize("key", NUMBERLIKE)
@pytest.mark.parametrize("place", ["entry", "head", "array"])
def test_an_unknown_key_that_looks_like_a_number_is_carried(place: str, key: str) -> None:
    """Law 12: a newer program may call its fields what it likes."""
    line = f'{{ by = "tern-k7qd:1", {key if place == "entry" else "x"} = "yes" }}'
    raw = file_of(
        (key if place == "array" else "answers", [line]),
        head=f'{key} = "yes"' if place == "head" else "",
    )
    session, problems = read_session(raw)
    assert [problem.code for problem in problems] == ["seal_missing"]
    assert session is not None
    assert [entry.line for entry in session.entries] == [line]


def test_a_file_of_zeros_is_set_aside_and_not_called_another_programs() -> None:
    """What a power cut leaves behind."""
    assert _refused(bytes(2_000)).code not in ("utf16", "too_big")


def test_the_documented_example_reads_as_it_says() -> None:
    """Its seal is only a picture of one, so it is asked about."""
    session, problems = read_session(DOCUMENTED_EXAMPLE.encode())
    assert [problem.code for problem in problems] == ["seal_broken"]
    assert session is not None
    assert (session.text("client"), session.text("posture")) == ("tern-014-X", "standing")
    readings = Readings(session)
    assert readings.problems == []
    shown = [
        (str(place[1]), readings.not_taken(place), [str(r.mm) for r in readings.taken(place)])
        for place in readings.places()
    ]
    assert shown == [("B", "", ["224.0"]), ("C", "", ["384.175"]), ("G", "dressing", [])]


@pytest.mark.parametrize("text", ["A\u030angstro\u0308m", "left\tright"])
def test_loaded_text_reads_as_if_it_had_been_typed_here(text: str) -> None:
    """Text is cleaned alike on entry and on load, or one code becomes two."""
    line = f'{{ by = "tern-k7qd:1", what = "client", is = {toml_value(text)} }}'
    session, _ = read_session(file_of(("answers", [line])))
    assert session is not None
    assert session.text("client") == clean(text).text


@pytest.mark.parametrize("escape", ["\\u001b[2J", "\\u202e", "\\u0000", "\\u009b", "\\u200b"])
def test_loaded_text_is_cleaned_for_whoever_reads_it_and_its_line_is_kept(escape: str) -> None:
    """All text from outside is cleaned on load; the line itself stays."""
    line = f'{{ by = "tern-k7qd:1", what = "client", is = "tern{escape}014" }}'
    session, _ = read_session(file_of(("answers", [line])))
    assert session is not None
    assert [entry.line for entry in session.entries] == [line]
    assert not any(is_unsafe(character) for character in session.text("client"))
