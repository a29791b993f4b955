"""Laws of the merge: what holds for any copies of a session, byte for byte once written."""

from __future__ import annotations

import tomllib
from datetime import datetime, timedelta
from functools import reduce
from typing import TYPE_CHECKING

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from strategies import (
    LAPTOPS,
    SESSION,
    copies,
    entry_from_line,
    entry_of,
    line_of,
    pools,
    session_of,
    sessions,
)

from fitcore.problems import ReadingError
from fitcore.record.codec import read_session, write_session
from fitcore.record.reading import read_reading
from fitcore.record.readings import Readings
from fitcore.record.session import Heads, Seal, Session, join

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.record.entries import Entry

ARRAYS = ("answers", "readings", "remarks", "withdrawn", "decisions", "weights")


@given(copies(2))
def test_law_1_joining_is_commutative(two: tuple[Session, Session]) -> None:
    one, other = two
    assert write_session(join(one, other)) == write_session(join(other, one))


@given(copies(3))
def test_law_2_joining_is_associative(three: tuple[Session, Session, Session]) -> None:
    one, two, more = three
    assert write_session(join(one, join(two, more))) == write_session(join(join(one, two), more))


@given(sessions())
def test_law_3_joining_a_session_with_itself_changes_nothing(session: Session) -> None:
    assert write_session(join(session, session)) == write_session(session)


@given(copies(2))
def test_law_4_a_join_holds_the_entries_of_both_and_nothing_else(
    two: tuple[Session, Session],
) -> None:
    one, other = two
    joined = join(one, other)
    assert joined.entries == one.entries | other.entries
    text = write_session(joined)
    assert all(entry.line in text for entry in one.entries | other.entries)


@given(copies(4), st.data())
def test_law_9_any_order_repetition_or_late_arrival_gives_the_same_archive(
    four: tuple[Session, ...], data: st.DataObject
) -> None:
    arriving = data.draw(st.permutations([*four, data.draw(st.sampled_from(four))]))
    early, late = arriving[:2], arriving[2:]
    by_stick = join(reduce(join, early), reduce(join, late))
    assert write_session(reduce(join, arriving)) == write_session(reduce(join, four))
    assert write_session(by_stick) == write_session(reduce(join, four))


@given(sessions())
def test_law_9_however_a_session_is_split_its_parts_give_it_back(session: Session) -> None:
    parts = [Session(SESSION, frozenset([entry]), session.extra_head) for entry in session.entries]
    whole = reduce(join, parts, Session(SESSION, frozenset(), session.extra_head))
    assert write_session(whole) == write_session(session)


@given(sessions())
def test_law_12_every_line_comes_out_as_it_went_in(session: Session) -> None:
    """Unknown keys, unknown arrays and unknown head lines included."""
    written = write_session(session).splitlines()
    for entry in session.entries:
        assert f"  {entry.line}," in written
    for _, line in session.extra_head:
        assert line in written
    known = dict.fromkeys(entry.array for entry in session.entries)
    assert {f"{array} = [" for array in known} <= set(written)


@given(sessions())
def test_law_14_writing_what_was_read_changes_no_byte(session: Session) -> None:
    text = write_session(session)
    again, _ = read_session(text.encode())
    assert again is not None
    assert write_session(again) == text


@given(sessions())
def test_reading_back_gives_the_same_session_under_a_whole_seal(session: Session) -> None:
    again, problems = read_session(write_session(session).encode())
    assert problems == ()
    assert again == session
    assert again is not None
    assert again.seal is Seal.WHOLE
    views = {(entry.array, entry.line): entry.fields for entry in session.entries}
    assert {(entry.array, entry.line): entry.fields for entry in again.entries} == views


@given(sessions())
def test_a_file_is_canonical_sorted_and_without_empty_arrays(session: Session) -> None:
    values = tomllib.loads(write_session(session))
    arrays = [key for key, value in values.items() if isinstance(value, list) and key in ARRAYS]
    assert arrays == [array for array in ARRAYS if array in arrays]
    assert {entry.array for entry in session.entries} == set(arrays)
    for array in arrays:
        names = [(laptop, int(number)) for laptop, _, number in _parts(values[array])]
        assert names == sorted(names)
    assert values["seal"]["lines"] == len(session.entries)
    assert len(bytes.fromhex(values["seal"]["blake2b"])) == 16


def test_different_sessions_are_never_joined() -> None:
    other = Session("0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a8", frozenset())
    with pytest.raises(ReadingError, match="two sessions"):
        join(session_of(), other)


@given(sessions(), st.fixed_dictionaries({laptop: st.integers(-40, 40) for laptop in LAPTOPS}))
def test_law_8_no_clock_decides_what_holds(session: Session, years: Mapping[str, int]) -> None:
    """Every laptop's clock is wrong by its own amount, and the same entries hold."""
    shifted = session_of(*(_shift(entry, years[entry.by.laptop]) for entry in session.entries))
    assert _standing(shifted) == _standing(session)


@given(pools(twins=False))
def test_an_entry_is_live_unless_a_live_one_takes_it_back(pool: tuple[Entry, ...]) -> None:
    heads = Heads(pool)
    live = set(heads.live)
    for entry in pool:
        taken = any(str(entry.by) in other.takes_back for other in live)
        assert (entry in live) != taken


@given(pools(twins=False))
def test_a_head_is_a_live_entry_no_other_live_one_was_written_instead_of(
    pool: tuple[Entry, ...],
) -> None:
    heads = Heads(pool)
    for array in ARRAYS:
        expected = {
            entry
            for entry in heads.live
            if entry.array == array and not any(str(entry.by) in e.replaces for e in heads.live)
        }
        assert set(heads.heads_of(array)) == expected


@given(pools(), st.data())
def test_withdrawing_a_withdrawal_restores(pool: tuple[Entry, ...], data: st.DataObject) -> None:
    assume(pool)
    target = str(data.draw(st.sampled_from(pool)).by)
    struck = entry_of("withdrawn", "gannet-q5rt:1", takes_back=[target], why="wrong client")
    back = entry_of("withdrawn", "gannet-q5rt:2", takes_back=["gannet-q5rt:1"], why="was right")
    before = Heads(pool)
    assert not any(str(entry.by) == target for entry in Heads([*pool, struck]).live)
    after = Heads([*pool, struck, back])
    assert [entry for entry in after.live if entry.by.laptop != "gannet-q5rt"] == [*before.live]


@given(pools(), st.data())
def test_a_decision_over_all_heads_settles_and_taking_it_back_reopens(
    pool: tuple[Entry, ...], data: st.DataObject
) -> None:
    session = session_of(*pool)
    assume(session.heads.fields)
    what = data.draw(st.sampled_from(session.heads.fields))
    before = session.answer(what)
    decision = entry_of(
        "decisions",
        "gannet-q5rt:1",
        what=what,
        is_="lying",
        instead_of=list(before.names),
        who="C-02",
        why="phoned N-17",
    )
    decided = session_of(*pool, decision)
    assert decided.value(what) == "lying"
    back = entry_of("withdrawn", "gannet-q5rt:2", takes_back=["gannet-q5rt:1"], why="misheard")
    assert decided.with_entries(back).answer(what).heads == before.heads


@given(copies(2))
def test_law_4_a_value_goes_only_through_a_line_that_says_so(two: tuple[Session, Session]) -> None:
    one, other = two
    joined = join(one, other)
    named = {name for entry in joined.entries for name in (*entry.replaces, *entry.takes_back)}
    for copy in two:
        for what in copy.heads.fields:
            lost = set(copy.answer(what).heads) - set(joined.answer(what).heads)
            assert {str(entry.by) for entry in lost} <= named


@given(sessions())
def test_every_reading_is_used_kept_aside_with_its_problem_or_struck(session: Session) -> None:
    readings = Readings(session)
    for place in readings.places():
        assert all(readings.by_name(reading.name) for reading in readings.current(place))
    # Two lines of one name that say the same of a reading are one reading.
    live = {
        read_reading(e)
        for e in session.heads.live
        if e.array == "readings" and not session.heads.successors(e)
    }
    shown = sum(len(readings.current(place)) for place in readings.places())
    assert shown == len(live)
    assert readings.problems == []


@pytest.mark.parametrize("names", [("tern-k7qd:9", "tern-k7qd:10"), ("a1-aaaa:2", "a-bbbb:1")])
def test_counters_sort_as_numbers_within_a_laptop(names: tuple[str, str]) -> None:
    entries = [entry_of("remarks", name, text="skin intact") for name in names]
    rows = tomllib.loads(write_session(session_of(*entries)))["remarks"]
    found = [(laptop, int(number)) for laptop, _, number in _parts(rows)]
    assert found == sorted(found)


def test_an_entry_that_names_itself_replaces_and_withdraws_nothing() -> None:
    """A head is not named by another live entry; only damage names itself."""
    answer = entry_of(
        "answers", "tern-k7qd:1", what="posture", is_="lying", instead_of=["tern-k7qd:1"]
    )
    circle = entry_of(
        "withdrawn", "tern-k7qd:2", takes_back=["tern-k7qd:2", "tern-k7qd:1"], why="?"
    )
    assert session_of(answer, circle).value("posture") == "lying"


def test_two_withdrawals_of_each_other_make_nothing_disappear() -> None:
    answer = entry_of("answers", "tern-k7qd:1", what="posture", is_="lying")
    one = entry_of("withdrawn", "tern-k7qd:2", takes_back=["tern-k7qd:1", "tern-k7qd:3"], why="?")
    other = entry_of("withdrawn", "tern-k7qd:3", takes_back=["tern-k7qd:2"], why="?")
    assert session_of(answer, one, other).value("posture") == "lying"


def test_a_field_whose_only_answer_is_struck_out_is_unanswered() -> None:
    answer = entry_of("answers", "tern-k7qd:1", what="posture", is_="lying")
    struck = entry_of("withdrawn", "tern-k7qd:2", takes_back=["tern-k7qd:1"], why="other client")
    session = session_of(answer, struck)
    assert (session.value("posture"), session.heads.fields) == (None, ())


def _parts(rows: list[dict[str, str]]) -> list[tuple[str, str, str]]:
    return [row["by"].rpartition(":") for row in rows]


def _shift(entry: Entry, years: int) -> Entry:
    at = entry.fields["at"]
    assert isinstance(at, datetime)
    # Held to what a laptop's clock can show, so that the shift itself never overflows.
    moved = min(max(at.year + years, 1970), 2099) - at.year
    shifted = at + timedelta(days=365 * moved)
    return entry_from_line(entry.array, line_of({**entry.fields, "at": shifted}))


def _standing(session: Session) -> tuple[object, ...]:
    heads = session.heads
    live = sorted(_without_clock(entry) for entry in heads.live)
    registers = {
        what: sorted(_without_clock(entry) for entry in session.answer(what).heads)
        for what in heads.fields
    }
    disputed = {what: session.answer(what).disputed for what in heads.fields}
    return live, registers, disputed


def _without_clock(entry: Entry) -> str:
    kept = {key: value for key, value in entry.fields.items() if key != "at"}
    return f"{entry.array} {line_of(kept)}"
