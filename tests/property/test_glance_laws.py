"""A glance at a file's bytes against the file parsed: the same, or nothing said.

A changed line breaks the seal, and then nothing is said at all. So files are changed here and
sealed again, and it is the lines that are tried.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import LAPTOPS, NOT_ARRIVED, SESSION, entry_from_line, line_of, sessions, words

from fitcore.identity import EntryId
from fitcore.merge.clients import codes_in
from fitcore.record.codec import read_session, write_session
from fitcore.record.entries import SESSION_ARRAYS, Draft, Entry
from fitcore.record.glance import Glance, glance_of, quick_glance
from fitcore.record.seal import seal_lines
from fitcore.record.session import Heads, Seal, Session

if TYPE_CHECKING:
    from collections.abc import Iterable

PLAIN = SESSION_ARRAYS[:3]
OFFSETS = (0, 60, 60, 60, 120, -210, 345)
"""Minutes; a session is mostly written in one offset."""
_START = datetime(2026, 2, 27, 22, 58, 50, tzinfo=UTC)

_values: dict[str, st.SearchStrategy[Any]] = {
    "client": st.sampled_from(("tern-014-0", "KES 17/b", "KES 17/ß", 'KES "17"', "")),
    "measurer": st.sampled_from(("N-17", "N-02", "Nürse")),
    "finished": st.booleans(),
    "clock": st.sampled_from(("correct", "correct", "wrong")),
    "protocol": st.just("below-knee-short"),
    "paused": st.lists(st.sampled_from(("left.B.girth.1", "22.", "")), max_size=2),
    "posture": st.sampled_from(("standing", "lying")),
    "forms": st.lists(st.sampled_from(("below_knee", "thigh")), max_size=2),
    "rising_at": st.just(_START),
    "weight": st.just(Decimal("71.5")),
}
_remarks = st.sampled_from(
    ("Skin intact.", "Ödem, „rot“", 'says "no"', "two\nlines  of\ttext", " ")
)


@st.composite
def _plain(draw: st.DrawFn) -> Session:
    """Draw what several laptops wrote in one session, where nobody struck out or erased a thing."""
    times = [timezone(timedelta(minutes=draw(st.sampled_from(OFFSETS)))) for _ in range(2)]
    entries: list[Entry] = []
    for number in draw(st.lists(st.integers(1, 60), max_size=14, unique=True)):
        array = draw(st.sampled_from(PLAIN))
        fields: dict[str, Any] = {"text": draw(_remarks)}
        if array == "answers":
            what = draw(st.sampled_from(sorted(_values)))
            fields = {"what": what, "is": draw(_values[what])}
        elif array == "readings":
            taken = {"typed": "22.4", "unit": "cm", "mm": Decimal("224.0")}
            fields = {"side": "left", "point": "B1", "kind": "girth", "round": 1}
            fields |= taken if draw(st.booleans()) else {"not_taken": draw(words.filter(bool))}
        if draw(st.booleans()):
            names = [*(str(entry.by) for entry in entries), *NOT_ARRIVED]
            fields["instead_of"] = draw(st.lists(st.sampled_from(names), max_size=3)) or None
        more = st.sampled_from(({}, {}, {}, {"why": "Rißwunde"}, {"row": "af01"}, {"later": 1}))
        at = _START + timedelta(minutes=draw(st.integers(0, 4)))
        draft = Draft(array, at.astimezone(draw(st.sampled_from(times))), fields | draw(more))
        entries.append(draft.entry(EntryId(draw(st.sampled_from(LAPTOPS)), number)))
    return Session(SESSION, frozenset(entries))


def _bytes(session: Session) -> bytes:
    return write_session(session).encode()


def _fault(raw: bytes) -> str | None:
    """Return how a glance at the bytes differs from the glance of what they parse to, or None."""
    quick = quick_glance(raw)
    if quick is None:
        return None
    session, problems = read_session(raw)
    if session is None:
        return f"told, though {problems}"
    # Compared as written out, too: times of one instant and two offsets are equal to Python.
    full = glance_of(session)
    return None if (quick, repr(quick)) == (full, repr(full)) else f"{quick}\nis not\n{full}"


@given(_plain())
def test_a_plain_session_is_told_from_its_bytes_as_it_is_parsed(session: Session) -> None:
    raw = _bytes(session)
    assert quick_glance(raw) is not None
    assert _fault(raw) is None


@given(sessions(twins=False))
def test_nothing_but_struck_out_decided_and_unknown_lines_has_to_be_parsed(
    session: Session,
) -> None:
    plain = replace(session, entries=frozenset(e for e in session.entries if e.array in PLAIN))
    assert quick_glance(_bytes(plain)) is not None
    assert _fault(_bytes(plain)) is None
    others = {entry.array for entry in session.entries} - set(PLAIN)
    assert (quick_glance(_bytes(session)) is None) == bool(others)


@given(sessions())
def test_whatever_the_program_writes_is_told_as_it_is_parsed_or_not_at_all(
    session: Session,
) -> None:
    assert _fault(_bytes(session)) is None


# --- what a glance is ----------------------------------------------------------------------------


@given(_plain() | sessions())
def test_a_glance_says_what_the_session_says(session: Session) -> None:
    glance, heads = glance_of(session), Heads(session.entries)
    shown = [e for e in session.entries if "row" not in e.fields and e.at is not None]
    assert (glance.id, glance.is_whole) == (session.id, True)
    assert (glance.client, glance.measurer) == (session.text("client"), session.text("measurer"))
    assert glance.codes == codes_in(session)
    assert glance.is_finished == (session.value("finished") is True)
    assert glance.says_finished == any(e.text("what") == "finished" for e in session.entries)
    begun = [*session.answer("protocol").heads, *session.answer("paused").heads]
    assert glance.is_begun == bool(begun)
    assert glance.was_measured == session.was_measured
    assert repr(glance.measured_at) == repr(session.measured_at)
    remarks = [" ".join(e.text("text").split()) for e in heads.heads_of("remarks")]
    assert glance.remark == ("" if glance.is_finished or not remarks else remarks[-1])
    assert [one.laptop for one in glance.written] == sorted({e.by.laptop for e in session.entries})
    for one in glance.written:
        numbers = [e.by.number for e in session.entries if e.by.laptop == one.laptop]
        own = [e.at for e in shown if e.by.laptop == one.laptop]
        assert (one.highest, one.newest) == (max(numbers), _latest(own))
    assert glance.newest_reading == _latest(e.at for e in shown if e.array == "readings")
    assert list(glance.confirmed) == sorted(
        {
            (e.by.laptop, e.at.date())
            for e in session.answer("clock").heads
            if e.fields["is"] == "correct" and e.at is not None
        }
    )


def _latest(instants: Iterable[datetime | None]) -> datetime | None:
    return max((at for at in instants if at is not None), default=None)


@pytest.mark.parametrize("seal", [Seal.BROKEN, Seal.MISSING])
def test_a_glance_says_whether_the_seal_is_whole(seal: Seal) -> None:
    assert not glance_of(Session(SESSION, frozenset(), seal=seal)).is_whole


# --- damage and change ---------------------------------------------------------------------------

SAMPLE = Session(
    SESSION,
    frozenset(
        entry_from_line(array, line_of({"by": f"{by}", "at": at, **fields}))
        for array, by, at, fields in (
            ("answers", "tern-k7qd:88", _START, {"what": "client", "is": "KES-1"}),
            (
                "answers",
                "tern-k7qd:89",
                _START,
                {"what": "client", "is": "KES-2", "instead_of": ["tern-k7qd:88"]},
            ),
            ("answers", "dunlin-m4ex:3", _START, {"what": "clock", "is": "correct"}),
            ("answers", "dunlin-m4ex:4", _START, {"what": "rising_at", "is": _START}),
            (
                "readings",
                "tern-k7qd:91",
                _START,
                {"side": "left", "point": "B", "kind": "girth", "round": 1, "not_taken": "wound"},
            ),
            ("remarks", "tern-k7qd:92", _START, {"text": "Ödem."}),
        )
    ),
)


def _seal(text: str) -> bytes:
    """Seal whatever lines stand there, as the rule says: stripped, neither blank nor comments."""
    data = [line.strip() for line in text.split("\n")]
    data = [line for line in data if line and not line.startswith("#")]
    entries = sum(line.startswith("{") for line in data)
    return "\n".join([text.rstrip("\n"), "", *seal_lines(data, entries), ""]).encode()


def _unsealed(session: Session) -> str:
    return write_session(session).partition("\n[seal]\n")[0]


def test_nothing_is_told_of_a_file_that_was_cut() -> None:
    raw = _bytes(SAMPLE)
    assert quick_glance(raw) is not None
    assert [at for at in range(len(raw)) if quick_glance(raw[:at]) is not None] == []


def test_a_flipped_bit_is_told_as_it_is_parsed_or_not_at_all() -> None:
    raw = _bytes(SAMPLE)
    told = set()
    for place in range(len(raw)):
        for bit in range(8):
            flipped = raw[:place] + bytes([raw[place] ^ 1 << bit]) + raw[place + 1 :]
            assert _fault(flipped) is None, (place, bit)
            if quick_glance(flipped) is not None:
                told.add(place)
    assert max(told) < raw.index(b"\n")  # in the heading for people alone


def test_a_flipped_bit_under_a_true_seal_is_told_as_it_is_parsed_or_not_at_all() -> None:
    text = _unsealed(SAMPLE)
    told = 0
    for place in range(text.index("format"), len(text)):
        for bit in range(7):
            raw = _seal(text[:place] + chr(ord(text[place]) ^ 1 << bit) + text[place + 1 :])
            assert _fault(raw) is None, (place, bit)
            told += quick_glance(raw) is not None
    assert told > 100


PIECES = (
    *'"\\#[]{}=,. \t\n\x7f\u2028\u0301Ö-:09eTZ', "},", ", later = 1", ', what = "finished"',
    ", is = true", ", erased = true", ', takes_back = ["tern-k7qd:88"]', ', row = "a"', "\\n",
    "\\u0041", "\\ud800", "2026-02-30", "+01:00", ", instead_of = []", "]\n", "[]", "\n  { ",
    ', instead_of = ["x\\", \\"tern-k7qd:89"]', " },\n", "\nanswers = [\n", "format = 1\n",
)  # fmt: skip


@st.composite
def _changed(draw: st.DrawFn) -> bytes:
    """Draw a file of the program, change some places of it, and seal it again."""
    text = _unsealed(draw(_plain()))
    ends = [at for at in range(len(text)) if text.startswith((" },", ", "), at)]
    anywhere = st.integers(0, len(text))
    for _ in range(draw(st.integers(1, 3))):
        at = draw(anywhere | st.sampled_from(ends) if ends else anywhere)
        until = min(len(text), at + draw(st.sampled_from((0, 0, 0, 1, 2))))
        text = text[:at] + draw(st.sampled_from(PIECES)) + text[until:]
    return _seal(text)


@given(_changed())
def test_a_changed_and_sealed_file_is_told_as_it_is_parsed_or_not_at_all(raw: bytes) -> None:
    assert _fault(raw) is None


def test_any_piece_at_any_place_is_told_as_it_is_parsed_or_not_at_all() -> None:
    text = _unsealed(SAMPLE)
    told = 0
    for place in range(text.index("format"), len(text) + 1):
        for piece in PIECES:
            raw = _seal(text[:place] + piece + text[place:])
            assert _fault(raw) is None, (place, piece)
            told += quick_glance(raw) is not None
    assert told > 100


@given(_plain(), st.data())
def test_lines_moved_lost_or_repeated_are_told_as_they_are_parsed_or_not_at_all(
    session: Session, data: st.DataObject
) -> None:
    lines = _unsealed(session).split("\n")
    moved = data.draw(st.permutations(lines) | st.lists(st.sampled_from(lines)))
    assert _fault(_seal("\n".join(moved))) is None


@given(st.binary(max_size=100))
def test_nothing_is_told_of_bytes_that_are_no_file(raw: bytes) -> None:
    told: Glance | None = quick_glance(raw)
    assert told is None
