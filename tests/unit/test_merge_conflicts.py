"""Open questions of a session, each kind, and how a decision closes them."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import AT, SESSION, entry_of, session_of

from fitcore.identity import EntryId
from fitcore.merge.choices import draft_choice, draft_other_value
from fitcore.merge.conflicts import (
    STRUCK_OUT,
    Conflict,
    conflict_words,
    find_conflicts,
    may_be_disputed,
    settled_conflicts,
    waiting_for,
)
from fitcore.points import Kind, Point, Side
from fitcore.problems import ReadingError
from fitcore.record.readings import Readings
from fitcore.safety.decisions import decisions_of
from fitcore.safety.session_answers import is_assessment

if TYPE_CHECKING:
    from fitcore.merge.conflicts import Candidate
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session

TERN, DUNLIN, PETREL, DESK = "tern-k7qd", "dunlin-m4ex", "petrel-z9wa", "curlew-w2fs"
ANKLE = (Side.LEFT, Point.B, Kind.GIRTH)


def answer(by: str, value: object, *older: str, what: str = "posture", **more: object) -> Entry:
    seen = {"instead_of": list(older)} if older else {}
    return entry_of("answers", by, what=what, is_=value, **seen, **more)


def girth(by: str, cm: str, *older: str, **more: object) -> Entry:
    place = {"side": "left", "point": "B", "kind": "girth", "round": 1}
    seen = {"instead_of": list(older)} if older else {}
    return entry_of(
        "readings", by, **place, typed=cm, unit="cm", mm=Decimal(cm) * 10, **seen, **more
    )


def struck(by: str, *names: str) -> Entry:
    return entry_of("withdrawn", by, takes_back=list(names), why="tape had slipped")


def shoe(by: str, side: str, size: str, *older: str) -> Entry:
    place = {"side": side, "point": "foot", "kind": "shoe", "round": 1}
    seen = {"instead_of": list(older)} if older else {}
    value = {"typed": size, "value": Decimal(size), "system": "eu"}
    return entry_of("readings", by, **place, **value, **seen)


LYING = answer(f"{TERN}:90", "lying")
STANDING = answer(f"{DUNLIN}:41", "standing", f"{TERN}:90")
SITTING = answer(f"{TERN}:97", "sitting", f"{TERN}:90")


_names = st.sampled_from((f"{TERN}:1", f"{DUNLIN}:2", f"{PETREL}:3", f"{DESK}:4"))
_lines = st.one_of(
    st.builds(girth, _names, st.sampled_from(("22.3", "22.4"))),
    st.builds(girth, _names, st.sampled_from(("22.3", "22.4")), _names),
    st.builds(shoe, _names, st.sampled_from(("left", "both")), st.sampled_from(("39", "40"))),
    st.builds(shoe, _names, st.just("both"), st.just("39"), _names),
    st.builds(lambda by, row: girth(by, "22.3", row=row), _names, st.sampled_from(("a", "b"))),
    st.builds(struck, _names, _names),
)


@given(st.frozensets(_lines, max_size=6))
def test_readings_that_are_not_looked_at_stand_against_nothing(lines: frozenset[Entry]) -> None:
    session = session_of(*lines)
    if not may_be_disputed(session):
        assert Readings(session).disputes == []


def test_most_sessions_need_no_look_at_their_readings() -> None:
    plain = (girth(f"{TERN}:1", "22.3"), girth(f"{TERN}:2", "22.4"), struck(f"{TERN}:3", "x"))
    assert not may_be_disputed(session_of(*plain, shoe(f"{TERN}:4", "left", "39")))
    assert not may_be_disputed(
        session_of(shoe(f"{TERN}:4", "left", "39"), shoe(f"{TERN}:5", "right", "39"))
    )
    assert may_be_disputed(session_of(girth(f"{TERN}:2", "22.4", f"{TERN}:1")))
    assert may_be_disputed(
        session_of(shoe(f"{TERN}:4", "both", "39"), shoe(f"{DUNLIN}:5", "both", "39"))
    )


def only(session: Session) -> Conflict:
    (conflict,) = find_conflicts(session)
    return conflict


def settle(session: Session, candidate: Candidate, number: int = 1) -> Session:
    draft = draft_choice(only(session), candidate, who="C-02", why="phoned N-17", at=AT)
    return session.with_entries(draft.entry(EntryId(DESK, number)))


def pick(conflict: Conflict, value: object) -> Candidate:
    return next(candidate for candidate in conflict.candidates if candidate.value == value)


def test_two_answers_that_had_not_seen_each_other_are_one_question_with_all_values() -> None:
    named = answer(f"{TERN}:89", "N-17", what="measurer")
    conflict = only(session_of(LYING, STANDING, SITTING, named))
    assert (conflict.kind, conflict.field, conflict.session) == ("answer", "posture", SESSION)
    assert [candidate.value for candidate in conflict.candidates] == ["standing", "sitting"]
    assert conflict.names == {f"{DUNLIN}:41", f"{TERN}:97"}
    assert set(conflict.lineage) == {f"{TERN}:90", f"{TERN}:97", f"{DUNLIN}:41"}
    (origin,) = pick(conflict, "sitting").origins
    assert (origin.laptop, origin.measurer, origin.at) == (TERN, "N-17", AT)
    assert [(seen.name, seen.entry) for seen in origin.saw] == [(f"{TERN}:90", LYING)]
    assert not conflict.is_safety
    assert conflict_words(conflict) == "Posture"


def test_an_id_is_made_of_what_stands_against_each_other_not_of_what_else_is_there() -> None:
    conflict = only(session_of(LYING, STANDING, SITTING))
    assert only(session_of(SITTING, STANDING)).id == conflict.id
    assert only(session_of(SITTING, STANDING, girth(f"{PETREL}:1", "22.4"))).id == conflict.id
    assert only(session_of(LYING, answer(f"{PETREL}:2", "sitting"))).id != conflict.id
    assert len(bytes.fromhex(conflict.id)) == 6


def test_a_decision_closes_the_question_and_taken_back_opens_it_as_it_was() -> None:
    session = session_of(LYING, STANDING, SITTING)
    conflict = only(session)
    decided = settle(session, pick(conflict, "sitting"))
    assert find_conflicts(decided) == ()
    assert decided.value("posture") == "sitting"
    assert settled_conflicts([conflict], []) == (conflict,)
    (decision,) = decided.entries - session.entries
    assert decision.array == "decisions"
    assert decision.text("who") == "C-02"
    reopened = decided.with_entries(struck(f"{DESK}:2", f"{DESK}:1"))
    assert only(reopened).id == conflict.id
    assert only(reopened).candidates == conflict.candidates


def test_a_value_the_decision_had_not_seen_opens_a_smaller_question() -> None:
    session = session_of(LYING, STANDING, SITTING)
    before = only(session)
    late = settle(session, pick(before, "sitting")).with_entries(answer(f"{PETREL}:5", "lying"))
    conflict = only(late)
    assert {candidate.value for candidate in conflict.candidates} == {"sitting", "lying"}
    assert [o.is_decision for o in pick(conflict, "sitting").origins] == [True]
    assert settled_conflicts([before], [conflict]) == (before,)
    equal = settle(session, pick(before, "sitting")).with_entries(answer(f"{PETREL}:5", "sitting"))
    assert find_conflicts(equal) == ()


def test_a_question_that_only_grew_is_not_settled() -> None:
    session = session_of(LYING, STANDING, SITTING)
    more = session.with_entries(answer(f"{PETREL}:5", "lying"))
    assert settled_conflicts(find_conflicts(session), find_conflicts(more)) == ()


def test_two_coordinators_who_decide_differently_are_asked_again() -> None:
    session = session_of(LYING, STANDING, SITTING)
    one = settle(session, pick(only(session), "sitting"))
    other = settle(session, pick(only(session), "standing"), number=8)
    conflict = only(one.with_entries(*other.entries))
    assert all(origin.is_decision for c in conflict.candidates for origin in c.origins)


def test_the_same_value_twice_is_one_value_with_two_origins() -> None:
    also = answer(f"{PETREL}:5", "sitting", f"{TERN}:90")
    conflict = only(session_of(LYING, STANDING, SITTING, also))
    assert [len(candidate.origins) for candidate in conflict.candidates] == [1, 2]
    assert find_conflicts(session_of(LYING, SITTING, also)) == ()


def test_how_the_work_stands_is_no_question() -> None:
    told = [answer(f"{TERN}:1", "GP", what="told"), answer(f"{DUNLIN}:1", "ward", what="told")]
    assert find_conflicts(session_of(*told)) == ()


def test_what_bears_on_safety_is_asked_first() -> None:
    answers = [
        answer(f"{laptop}:{number}", value, what=what)
        for number, what in enumerate(("posture", "screen.clot", "pressure.arm_left"), 1)
        for laptop, value in ((TERN, "a"), (DUNLIN, "b"))
    ]
    found = find_conflicts(session_of(*answers))
    assert [c.field for c in found] == ["pressure.arm_left", "screen.clot", "posture"]
    assert [c.is_safety for c in found] == [True, True, False]


def test_two_corrections_of_one_reading_are_a_question_and_a_choice_settles_it() -> None:
    session = session_of(
        girth(f"{TERN}:1", "63.1"),
        girth(f"{TERN}:2", "36.1", f"{TERN}:1"),
        girth(f"{DUNLIN}:5", "31.6", f"{TERN}:1"),
    )
    conflict = only(session)
    assert (conflict.kind, conflict.field) == ("corrections", "left B girth")
    assert conflict_words(conflict) == "LEFT: round the ankle (B)"
    assert {candidate.value for candidate in conflict.candidates} == {Decimal(361), Decimal(316)}
    settled = settle(session, pick(conflict, Decimal(361)))
    assert find_conflicts(settled) == ()
    adopted = Readings(settled).adopted(*ANKLE)
    assert adopted is not None
    assert (adopted.mm, adopted.readings) == (Decimal(361), 1)


@pytest.mark.parametrize("keep", [True, False])
def test_struck_out_here_and_corrected_there_is_a_question(*, keep: bool) -> None:
    session = session_of(
        girth(f"{TERN}:1", "63.1"),
        struck(f"{TERN}:2", f"{TERN}:1"),
        girth(f"{DUNLIN}:5", "36.1", f"{TERN}:1"),
    )
    conflict = only(session)
    assert conflict.kind == "struck_out"
    assert [c.value for c in conflict.candidates] == [Decimal(361), STRUCK_OUT]
    assert conflict.candidates[1].entries[0].by == EntryId(TERN, 2)
    assert conflict.names == {f"{DUNLIN}:5", f"{TERN}:2"}
    settled = settle(session, conflict.candidates[0 if keep else 1])
    assert find_conflicts(settled) == ()
    adopted = Readings(settled).adopted(*ANKLE)
    assert (adopted.mm if adopted else None) == (Decimal(361) if keep else None)


def test_a_line_of_a_copied_disk_with_the_name_of_the_striking_out_is_not_it() -> None:
    """Two laptops went on from one disk: the same number is a remark on one of them."""
    first, twin = girth(f"{TERN}:2", "36.2"), entry_of("remarks", f"{TERN}:3", text="skin intact")
    away = struck(f"{TERN}:3", f"{TERN}:2")
    corrected = girth(f"{DUNLIN}:7", "36.1", f"{TERN}:2")
    conflict = only(session_of(first, twin, away, corrected))
    chosen = next(c for c in conflict.candidates if c.value == STRUCK_OUT)
    assert chosen.entries == (away,)
    draft = draft_choice(conflict, chosen, who="C-02", why="phoned", at=AT)
    assert draft.array == "withdrawn"


def test_two_readings_of_one_place_are_no_question() -> None:
    readings = [girth(f"{TERN}:1", "22.3"), girth(f"{DUNLIN}:1", "22.4")]
    assert find_conflicts(session_of(*readings)) == ()


def test_two_shoe_sizes_are_a_question() -> None:
    place = {"side": "both", "point": "foot", "kind": "shoe", "round": 1, "system": "eu"}
    sizes = [
        entry_of("readings", f"{laptop}:1", **place, typed=size, value=Decimal(size))
        for laptop, size in ((TERN, "39"), (DUNLIN, "40"))
    ]
    conflict = only(session_of(*sizes))
    assert conflict.kind == "shoe_sizes"
    assert find_conflicts(settle(session_of(*sizes), conflict.candidates[0])) == ()


def test_two_lines_under_one_name_are_told_apart() -> None:
    """A copied disk wrote number 7 twice: both stand, and the question names both."""
    twins = [answer(f"{TERN}:7", "lying"), answer(f"{TERN}:7", "sitting")]
    conflict = only(session_of(*twins))
    assert {candidate.value for candidate in conflict.candidates} == {"lying", "sitting"}
    other = only(session_of(twins[0], answer(f"{TERN}:7", "standing")))
    assert other.id != conflict.id
    later = [answer(f"{TERN}:7", v, at=AT.replace(year=1999)) for v in ("lying", "sitting")]
    assert only(session_of(*later)).id == conflict.id
    assert find_conflicts(settle(session_of(*twins), conflict.candidates[0])) == ()


def test_a_chosen_prescribers_decision_keeps_its_limits_and_its_own_reason() -> None:
    limits = {
        "by_whom": "Dr Invented", "role": "specialist", "how": "written",
        "decided_on": "2026-03-01", "review_date": "2026-09-01",
        "why": "stable for years", "covers": ["low_abpi"],
    }  # fmt: skip
    lines = [
        answer(f"{laptop}:1", words, what="prescriber.left", highest_mmhg=mmhg, **limits)
        for laptop, words, mmhg in ((TERN, "up to 21", 21), (DUNLIN, "up to 18", 18))
    ]
    session = session_of(*lines)
    settled = settle(session, pick(only(session), "up to 18"))
    (decision,) = decisions_of(settled)
    assert (decision.by, decision.highest_mmhg, decision.why) == (
        "Dr Invented",
        Decimal(18),
        "stable for years",
    )
    (line,) = settled.entries - session.entries
    assert line.text("decided_why") == "phoned N-17"


def test_a_choice_is_no_assessment() -> None:
    """An assessment had not seen the other laptop's answer, so choosing it lifts no hold."""
    finding = {"finding": "pulses felt", "assessed_by": "Dr Invented", "assessed_on": "2026-03-04"}
    lines = [
        answer(f"{TERN}:1", "no", what="screen.clot", **finding),
        answer(f"{DUNLIN}:1", "yes", what="screen.clot"),
    ]
    session = session_of(*lines)
    settled = settle(session, pick(only(session), "no"))
    (decision,) = settled.entries - session.entries
    assert settled.value("screen.clot") == "no"
    assert not is_assessment(decision)


def test_a_value_nobody_brought_may_be_decided() -> None:
    session = session_of(STANDING, SITTING)
    draft = draft_other_value(only(session), "lying", who="C-02", why="she lay", at=AT)
    decided = session.with_entries(draft.entry(EntryId(DESK, 1)))
    assert decided.value("posture") == "lying"


def test_a_choice_needs_a_reason_and_one_of_the_values() -> None:
    conflict = only(session_of(STANDING, SITTING))
    with pytest.raises(ReadingError, match="No reason"):
        draft_choice(conflict, conflict.candidates[0], who="C-02", why=" ", at=AT)
    other = only(session_of(LYING, answer(f"{PETREL}:2", "sitting")))
    with pytest.raises(ReadingError, match="not one of the values"):
        draft_choice(conflict, other.candidates[0], who="C-02", why="?", at=AT)
    rivals = session_of(
        girth(f"{TERN}:2", "36.1", f"{TERN}:1"), girth(f"{DUNLIN}:5", "31.6", f"{TERN}:1")
    )
    with pytest.raises(ReadingError, match="that were read"):
        draft_other_value(only(rivals), "lying", who="C-02", why="?", at=AT)


def test_a_line_that_has_not_arrived_is_waited_for_and_is_no_question() -> None:
    session = session_of(SITTING)
    assert find_conflicts(session) == ()
    assert waiting_for(session) == (f"{TERN}:90",)
    assert waiting_for(session_of(SITTING, LYING)) == ()
