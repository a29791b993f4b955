"""Damage: cut-off files, flipped bits and foreign bytes are accepted whole, asked, or set aside."""

from __future__ import annotations

from datetime import timedelta, timezone
from typing import TYPE_CHECKING

import tomli_w
from hypothesis import given
from hypothesis import strategies as st
from strategies import SESSION, entry_of, session_of, words

from fitcore.record.codec import read_session, write_session
from fitcore.record.readings import Readings
from fitcore.record.session import Seal

if TYPE_CHECKING:
    from collections.abc import Iterator

SAMPLE = session_of(
    entry_of("answers", "tern-k7qd:88", what="client", is_="tern-014-0"),
    entry_of("answers", "tern-k7qd:91", what="posture", is_="lying"),
    entry_of(
        "answers", "dunlin-m4ex:41", what="posture", is_="sitting", instead_of=["tern-k7qd:91"]
    ),
    entry_of(
        "readings",
        "tern-k7qd:92",
        side="left",
        point="B",
        kind="girth",
        round=1,
        typed="22.40",
        unit="cm",
        mm=224,
    ),
    entry_of("remarks", "tern-k7qd:95", text="Skin intact."),
    entry_of("withdrawn", "tern-k7qd:96", takes_back=["tern-k7qd:95"], why="other client"),
)
WHOLE = write_session(SAMPLE).encode()


def _fault(damaged: bytes) -> str | None:
    """Return what is wrong with how a damaged file was taken, or None."""
    session, problems = read_session(damaged)
    if session is None:
        return None if problems else "set aside without a word"
    if session.seal is not Seal.WHOLE:
        asked = {problem.code for problem in problems} & {"seal_broken", "seal_missing"}
        _ = (session.text("client"), Readings(session).places(), write_session(session))
        return None if asked else "taken without asking"
    return None if session == SAMPLE else "an entry changed under a whole seal"


def _cuts() -> Iterator[tuple[str, bytes]]:
    for length in range(len(WHOLE)):
        yield f"cut at {length}", WHOLE[:length]


def _flips() -> Iterator[tuple[str, bytes]]:
    for place in range(len(WHOLE)):
        for bit in range(8):
            flipped = WHOLE[place] ^ 1 << bit
            yield f"byte {place} bit {bit}", WHOLE[:place] + bytes([flipped]) + WHOLE[place + 1 :]


def _zeroed() -> Iterator[tuple[str, bytes]]:
    for start in range(0, len(WHOLE), 64):
        yield f"tail zeroed from {start}", WHOLE[:start] + bytes(len(WHOLE) - start)
        rest = WHOLE[start + 64 :]
        yield f"zeros at {start}", WHOLE[:start] + bytes(64) + rest
        yield f"block lost at {start}", WHOLE[:start] + rest
        yield f"block twice at {start}", WHOLE[: start + 64] + WHOLE[start:]


def _moved_lines() -> Iterator[tuple[str, bytes]]:
    lines = WHOLE.split(b"\n")
    for number, line in enumerate(lines):
        before, after = lines[:number], lines[number + 1 :]
        yield f"line {number} lost", b"\n".join([*before, *after])
        yield f"line {number} twice", b"\n".join([*before, line, line, *after])
        yield f"line {number} last", b"\n".join([*before, *after, line])
        for place in range(number):
            moved = [*lines[:place], line, *lines[place:number], *after]
            yield f"line {number} before {place}", b"\n".join(moved)


def _faults(damaged: Iterator[tuple[str, bytes]]) -> list[str]:
    return [f"{name}: {fault}" for name, raw in damaged if (fault := _fault(raw))]


def test_the_undamaged_sample_is_taken_as_it_is() -> None:
    assert read_session(WHOLE) == (SAMPLE, ())


def test_no_truncation_changes_an_entry_unnoticed() -> None:
    assert _faults(_cuts()) == []


def test_no_flipped_bit_changes_an_entry_unnoticed() -> None:
    assert _faults(_flips()) == []


def test_no_zeroed_lost_or_repeated_block_changes_an_entry_unnoticed() -> None:
    assert _faults(_zeroed()) == []


@given(st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), max_size=6))
def test_several_changed_bytes_never_change_an_entry_unnoticed(
    changes: list[tuple[int, int]],
) -> None:
    damaged = bytearray(WHOLE)
    for place, byte in changes:
        damaged[place] = byte
    assert _fault(bytes(damaged)) is None


def test_no_line_moved_lost_or_repeated_changes_an_entry_unnoticed() -> None:
    assert _faults(_moved_lines()) == []


@given(st.binary(max_size=200))
def test_law_13_any_bytes_end_in_a_session_or_a_problem(raw: bytes) -> None:
    session, problems = read_session(raw)
    assert session is not None or problems


_scalars = (
    st.booleans()
    | st.integers(-(2**63), 2**63)
    | st.floats()
    | words
    | st.dates()
    | st.times().map(lambda time: time.replace(fold=0))
    | st.datetimes().map(lambda instant: instant.replace(fold=0))
    | st.builds(
        lambda instant, hours: instant.replace(tzinfo=timezone(timedelta(hours=hours))),
        st.datetimes(),
        st.integers(-12, 14),
    )
)
_keys = st.sampled_from(("by", "at", "what", "is", "mm", "typed", "unit", "takes_back")) | words
_tables = st.dictionaries(_keys, _scalars | st.lists(_scalars, max_size=2), max_size=4)
_named = _tables.map(lambda table: {"by": "tern-k7qd:1", **table})
_documents = st.dictionaries(
    st.sampled_from(("answers", "readings", "withdrawn", "weights", "needs")) | words,
    st.lists(_tables | _named, max_size=2) | _scalars | _tables,
    max_size=4,
)


@given(_documents)
def test_law_13_any_toml_ends_in_a_session_or_a_problem(document: dict[str, object]) -> None:
    """A file laid out by another program, holding anything TOML can say."""
    values = {"format": 1, "session": SESSION} | document
    session, problems = read_session(tomli_w.dumps(values).encode())
    assert problems
    if session is not None:
        _ = (session.heads.fields, session.text("client"), Readings(session).places())
        assert write_session(session)


@given(_documents)
def test_a_file_laid_out_anew_is_written_so_that_we_can_read_it_again(
    document: dict[str, object],
) -> None:
    values = {"format": 1, "session": SESSION} | document
    session, _ = read_session(tomli_w.dumps(values).encode())
    if session is None:
        return
    again, problems = read_session(write_session(session).encode())
    assert problems == ()
    assert again is not None
    assert again.entries == session.entries
    views = {(entry.array, entry.line): entry.fields for entry in session.entries}
    assert {(entry.array, entry.line): entry.fields for entry in again.entries} == views
