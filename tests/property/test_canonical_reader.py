"""The fast reader against the standard TOML reader: the same of every file, or not taken at all.

A changed line breaks the seal, and a broken seal alone sends a file the long way. So files are
changed here and sealed again, and it is the shape of the lines that is tried.
"""

from __future__ import annotations

from datetime import timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import SESSION, entry_of, instants, session_of, sessions, toml_value, words

from fitcore.problems import Problem
from fitcore.record.canonical import read_canonical, read_file
from fitcore.record.codec import read_session, write_session
from fitcore.record.document import LARGEST_FILE, Document, read_document
from fitcore.record.entries import Entry, render_line
from fitcore.record.seal import seal_lines
from fitcore.record.session import Seal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitcore.record.session import Session

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sessions"
HEAD = f'format = 1\nsession = "{SESSION}"\n'
SAMPLE = session_of(
    entry_of("answers", "tern-k7qd:88", what="client", is_="tern-014-0"),
    entry_of("answers", "tern-k7qd:89", what="finished", is_=True),
    entry_of(
        "readings",
        "tern-k7qd:92",
        side="left",
        point="B",
        kind="girth",
        round=1,
        typed="22.40",
        doubts=["low", "neighbour"],
        mm=224,
    ),
    entry_of("remarks", "tern-k7qd:95", text='Skin "intact", \\ Ödem.'),
)
WHOLE = write_session(SAMPLE)


def _seal(text: str) -> bytes:
    """Seal whatever lines stand there, as the rule says: stripped, neither blank nor comments."""
    data = [line.strip() for line in text.split("\n")]
    data = [line for line in data if line and not line.startswith("#")]
    entries = sum(line.startswith("{") for line in data)
    return "\n".join([text.rstrip("\n"), "", *seal_lines(data, entries), ""]).encode()


def _unsealed(session: Session) -> str:
    return write_session(session).partition("\n[seal]\n")[0]


def _of_entry(body: str) -> bytes:
    """Write a sealed file whose one remark is this."""
    return _seal(f'{HEAD}\nremarks = [\n  {{ by = "tern-k7qd:1", {body} }},\n]\n')


def _views(document: Document) -> list[tuple[str, str, str]]:
    # Compared as written out: 1, 1.0, true and decimals of equal value are different things.
    return [(entry.array, entry.line, repr(dict(entry.fields))) for entry in document.entries]


def _fault(raw: bytes) -> str | None:
    """Return how the fast reader's answer differs from the slow one's, or None."""
    fast = read_canonical(raw)
    if fast is None:
        return None
    slow = read_document(raw)
    if isinstance(slow, Problem):
        return f"taken, though {slow.code}"
    if slow.seal is not Seal.WHOLE or fast.seal is not Seal.WHOLE:
        return "taken without a whole seal"
    if repr(fast.head) != repr(dict(slow.head)):
        return f"another head: {fast.head}"
    return None if _views(fast) == _views(slow) else f"other entries: {_views(fast)}"


def _is_taken(raw: bytes) -> bool:
    assert _fault(raw) is None
    return read_canonical(raw) is not None


# --- what the program itself writes is read the quick way ----------------------------------------


@given(sessions())
def test_what_the_program_writes_is_taken_and_read_alike(session: Session) -> None:
    assert _is_taken(write_session(session).encode())


@given(
    st.dictionaries(
        st.sampled_from(("text", "why", "later_key", "at-2", "7")),
        st.text(max_size=30)
        | st.booleans()
        | st.integers(-(10**15) + 1, 10**15 - 1)
        | st.decimals(-9999, 9999, places=3)
        | instants
        | st.dates()
        | st.lists(st.text(max_size=5), max_size=3),
        min_size=1,
    )
)
def test_whatever_an_entry_may_hold_is_taken_as_it_is_written(
    fields: dict[str, str | bool | int],
) -> None:
    line = render_line({"by": "tern-k7qd:1", **fields})
    session = session_of(Entry("remarks", line, fields | {"by": "tern-k7qd:1"}))
    assert _is_taken(write_session(session).encode())


def test_every_file_of_the_demo_day_is_taken() -> None:
    files = [*SAMPLES.glob("*/sessions/*/*.toml"), *SAMPLES.glob("*/ledger/*.toml")]
    assert len(files) >= 15
    assert [file.name for file in files if not _is_taken(file.read_bytes())] == []


TAKEN: dict[str, str] = {
    "empty text": 'x = ""',
    "text like a field": 'x = "a, by = 1"',
    "text like an end": 'x = " }, ]"',
    "text like a comment": 'x = "# [seal]"',
    "short escapes": r'x = "\b\t\n\f\r\"\\"',
    "a letter escaped": r'x = "\u00e9\U0001F9B6"',
    "an escape sequence": r'x = "\u001b[2J"',
    "letters that compose": 'x = "e\u0301"',
    "a direction override": 'x = "a\u202eb"',
    "a line separator": 'x = "a\u2028b\x85c"',
    "a mark of byte order inside": 'x = "\ufeffa"',
    "literal quotes in text": "x = \"'a'\"",
    "whole numbers": "x = 0, y = -0, z = -17, w = 999999999999999",
    "decimals": "x = 0.0, y = -0.0, z = 22.40, w = 999999999999999.5",
    "true and false": "x = true, y = false",
    "an instant": "x = 2026-03-04T09:12:40+01:00",
    "an instant in UTC": "x = 2026-03-04T09:12:40Z, y = 2026-03-04T09:12:40+00:00",
    "an instant a little west": "x = 2026-03-04T09:12:40-00:00, y = 2026-03-04T09:12:40-23:59",
    "a leap day": "x = 2028-02-29",
    "the first and the last year": "x = 0001-01-01, y = 9999-12-31T23:59:59Z",
    "a list": 'x = ["a", "", "b, c", "]"]',
    "a list of nothing": "x = []",
    "a list of all kinds": 'x = ["a", 1, 1.50, true, 2026-03-04]',
    "keys that look like values": "1 = 1, true = true, nan = 1, -_- = 2, 2026-03-04 = 3, 1e5 = 4",
}
LEFT: dict[str, str] = {
    "an exponent": "x = 1e3",
    "a large exponent": "x = 1e999",
    "not a number": "x = nan",
    "infinite": "x = -inf",
    "sixteen digits": "x = 1234567890123456",
    "sixteen digits and a part": "x = 1234567890123456.5",
    "a plus": "x = +1",
    "a zero in front": "x = 01",
    "a bar between digits": "x = 1_000",
    "hexadecimal": "x = 0xff",
    "a point without digits": "x = 1.",
    "a point in front": "x = .5",
    "parts of a second": "x = 2026-03-04T09:12:40.5+01:00",
    "a local time": "x = 2026-03-04T23:59:59",
    "a blank for T": "x = 2026-03-04 09:12:40+01:00",
    "a small t": "x = 2026-03-04t09:12:40z",
    "a day that is none": "x = 2026-02-30",
    "a month that is none": "x = 2026-13-01",
    "hour 24": "x = 2026-03-04T24:00:00Z",
    "a leap second": "x = 2026-03-04T23:59:60Z",
    "an offset of a day": "x = 2026-03-04T09:12:40+24:00",
    "year zero": "x = 0000-01-01",
    "a time of day": "x = 09:12:40",
    "capital True": "x = True",
    "literal text": "x = 'a'",
    "text over lines": 'x = """a"""',
    "a tab in text": 'x = "a\tb"',
    "DEL in text": 'x = "a\x7fb"',
    "NUL in text": 'x = "a\0b"',
    "half a pair": r'x = "\ud800"',
    "no character": r'x = "\U00110000"',
    "no escape": r'x = "\x41"',
    "text that never ends": 'x = "a',
    "a dotted key": "x.y = 1",
    "a quoted key": '"x" = 1',
    "an empty key": '"" = 1',
    "a key of other letters": "ä = 1",
    "a key twice": "x = 1, x = 1",
    "a list in a list": "x = [[1]]",
    "a table": "x = { y = 1 }",
    "a list with a last comma": "x = [1,]",
    "a list without a blank": "x = [1,2]",
    "a comma at the end": "x = 1,",
    "two blanks": "x  = 1",
    "no blanks": "x=1",
    "a comment": "x = 1 } # {",
}


@pytest.mark.parametrize("body", TAKEN.values(), ids=TAKEN)
def test_a_canonical_line_is_taken(body: str) -> None:
    assert _is_taken(_of_entry(body))


@pytest.mark.parametrize("body", LEFT.values(), ids=LEFT)
def test_a_line_out_of_the_ordinary_is_left_to_the_other_reader(body: str) -> None:
    assert not _is_taken(_of_entry(body))


def _frames() -> Iterator[tuple[str, bytes]]:
    bare = _unsealed(SAMPLE)
    whole = WHOLE.encode()
    yield "mark of byte order", b"\xef\xbb\xbf" + whole
    yield "CRLF", whole.replace(b"\n", b"\r\n")
    yield "one CR", whole.replace(b"\n", b"\r\n", 1)
    yield "no last line feed", whole[:-1]
    yield "blanks at the end", whole + b"\n"
    yield "a comment at the end", whole + b"# signed\n"
    yield "a table after the seal", whole + b"[more]\nx = 1\n"
    yield "a table in front", _seal(f"[more]\nx = 1\n{bare}")
    yield "a key in the seal", whole + b"x = 1\n"
    yield "no seal", bare.encode()
    yield "a seal of another count", whole.replace(b"lines = 4", b"lines = 5")
    yield "a count with a point", whole.replace(b"lines = 4", b"lines = 4.0")
    yield "a seal in capitals", whole[:-34] + whole[-34:].upper()
    yield "a seal twice", whole + whole.partition(b"\n\n[seal]")[2]
    yield "another seal first", _seal(bare.replace("\nreadings", "\n[seal]\nreadings"))
    yield "an array called seal", _seal(bare.replace("remarks", "seal"))
    yield "a head line called seal", _seal(bare.replace("format = 1\n", "format = 1\nseal = 1\n"))
    yield "an array called format", _seal(bare.replace("remarks", "format"))
    yield "an array twice", _seal(bare.replace("remarks", "answers"))
    yield "a head line twice", _seal(bare.replace("format = 1\n", "format = 1\nformat = 1\n"))
    yield "a head line at the end", _seal(bare + "\npaper = 1\n")
    yield "an empty array", _seal(bare + "\nweights = [\n]\n")
    yield "a quoted array", _seal(bare.replace("remarks =", '"remarks" ='))
    yield "a comment in an array", _seal(bare.replace("remarks = [\n", "remarks = [\n# note\n"))
    yield "a comment behind an array", _seal(bare.replace("remarks = [", "remarks = [ # note"))
    yield "no comma after an entry", _seal(bare.replace(" },\n]", " }\n]"))
    yield "two entries a line", _seal(bare.replace(" },\n  {", " }, {"))
    yield "tables of arrays", _seal(f'{HEAD}\n[[remarks]]\nby = "tern-k7qd:1"\n')
    yield "other indentation", _seal(bare.replace("\n  {", "\n    {"))
    yield "no indentation", _seal(bare.replace("\n  {", "\n{"))
    yield "no head", _seal(bare.partition("\n\n")[2])
    yield "an entry without a name", _seal(bare.replace('by = "tern-k7qd:88", ', ""))
    yield "a name that is none", _seal(bare.replace("tern-k7qd:88", "tern-k7qd:088"))
    yield "a name that is a number", _seal(bare.replace('"tern-k7qd:88"', "88"))
    yield "a newer format", _seal(bare.replace("format = 1", "format = 2"))
    yield "too big", _seal(f"{'# x' * (LARGEST_FILE // 3)}\n{bare}")
    yield "UTF-16", WHOLE.encode("utf-16")
    yield "half a letter", whole.replace("Ö".encode(), b"\xc3")
    yield "a letter in too many bytes", whole.replace(b"intact", b"\xc0\xafntac")


FRAMES = dict(_frames())


@pytest.mark.parametrize("raw", FRAMES.values(), ids=FRAMES)
def test_a_file_out_of_the_ordinary_is_left_to_the_other_reader(raw: bytes) -> None:
    assert not _is_taken(raw)


def test_other_kinds_of_frame_are_taken() -> None:
    bare = _unsealed(SAMPLE)
    assert _is_taken(WHOLE.encode())
    assert _is_taken(_seal(HEAD))
    assert _is_taken(_seal(f"# one\n#two\n#\n{bare}"))
    assert _is_taken(_seal(bare.replace("format = 1\n", 'format = 1\nneeds = ["skin", "Ö"]\n')))
    assert _is_taken(_seal(bare.replace("remarks", "1e5")))
    twins = bare.replace(":89", ":88").replace("tern-k7qd:95", "tern-k7qd:88")
    assert _is_taken(_seal(twins))


# --- damage and change ---------------------------------------------------------------------------


def test_every_truncation_is_read_alike() -> None:
    raw = WHOLE.encode()
    cuts = [raw[:length] for length in range(len(raw))]
    assert [fault for cut in cuts if (fault := _fault(cut))] == []
    assert [length for length, cut in enumerate(cuts) if read_canonical(cut) is not None] == []


def test_every_flipped_bit_is_read_alike() -> None:
    raw = WHOLE.encode()
    for place in range(len(raw)):
        for bit in range(8):
            flipped = raw[:place] + bytes([raw[place] ^ 1 << bit]) + raw[place + 1 :]
            assert _fault(flipped) is None, (place, bit)


PIECES = (
    *'"\\\'#[]{}=,. \t\r\n\0\x7f\x85\u2028\ufeff\u0301Ö-+_:09eExTZ',
    '""', '"""', "\n\n", "},", ", x = 1", "x.y", "nan", "true", "0x1f", "1_0", "1e5", ".5", "\\n",
    "\\u0041", "\\ud800", "\\U00110000", "2026-02-30", "24:00:00", "+24:00", ".25", "9" * 16,
    "[seal]\n", "]\n", "[]", '["a"]', "\n  { ", " },\n", "# note\n", "format = 1\n",
)  # fmt: skip


@st.composite
def _changed(draw: st.DrawFn) -> bytes:
    """Draw a file of the program, change some places of it, and seal it again."""
    text = _unsealed(draw(sessions()))
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(text)))
        until = min(len(text), at + draw(st.integers(0, 3)))
        text = text[:at] + draw(st.sampled_from(PIECES)) + text[until:]
    return _seal(text)


@given(_changed())
def test_a_changed_and_sealed_file_is_read_alike(raw: bytes) -> None:
    assert _fault(raw) is None


@given(sessions(), st.data())
def test_lines_moved_lost_or_repeated_are_read_alike(session: Session, data: st.DataObject) -> None:
    lines = _unsealed(session).split("\n")
    moved = data.draw(st.lists(st.sampled_from(lines), max_size=len(lines) + 2))
    assert _fault(_seal("\n".join(moved))) is None


def test_any_piece_at_any_place_of_a_sealed_file_is_read_alike() -> None:
    text = _unsealed(session_of(entry_of("remarks", "tern-k7qd:9", x=1, y=["a"], z="b")))
    at = text.index("format")
    for place in range(at, len(text) + 1):
        for piece in PIECES:
            raw = _seal(text[:place] + piece + text[place:])
            assert _fault(raw) is None, (place, piece)


_values = (
    st.booleans()
    | st.integers(-(2**63), 2**63)
    | st.floats().map(repr)
    | st.decimals(allow_nan=False, allow_infinity=False).map(str)
    | words
    | st.datetimes().map(lambda at: at.isoformat())
    | st.builds(
        lambda at, minutes: at.replace(tzinfo=timezone(timedelta(minutes=minutes))).isoformat(" "),
        st.datetimes(),
        st.integers(-1439, 1439),
    )
)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(("x", "y", "x.y", '"x"', "x-1", "é", "")),
            _values | st.lists(words, max_size=2),
            st.booleans(),
        ),
        min_size=1,
        max_size=3,
    )
)
def test_any_value_is_read_alike(fields: list[tuple[str, object, bool]]) -> None:
    """Texts stand bare in half the cases: then they are numbers, times and words TOML refuses."""
    body = ", ".join(
        f"{key} = {value if bare and isinstance(value, str) else toml_value(value)}"
        for key, value, bare in fields
    )
    assert _fault(_of_entry(body)) is None


# --- together ------------------------------------------------------------------------------------


@given(_changed() | st.binary(max_size=100) | sessions().map(lambda s: write_session(s).encode()))
def test_the_two_together_say_what_the_slow_one_says(raw: bytes) -> None:
    both, slow = read_file(raw), read_document(raw)
    if isinstance(slow, Problem) or isinstance(both, Problem):
        assert both == slow
    else:
        assert (_views(both), repr(dict(both.head))) == (_views(slow), repr(dict(slow.head)))
        assert both.seal is slow.seal


def test_what_is_taken_is_cleaned_as_text_from_outside_is() -> None:
    session, problems = read_session(_of_entry(r'text = "a\u001b[2Jb\u202e"'))
    assert problems == ()
    assert session is not None
    (entry,) = session.entries
    assert entry.fields["text"] == "a[2Jb"
    assert "\\u001b" in entry.line
