"""What people do to a session, as drafts of entries."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from strategies import SESSION, entry_of, session_of

from fitcore.clean_text import is_unsafe
from fitcore.identity import EntryId
from fitcore.points import Kind, Place, Point, Side
from fitcore.problems import ReadingError, UnitError
from fitcore.record.codec import read_session, write_session
from fitcore.record.edits import (
    draft_answer,
    draft_kept,
    draft_not_taken,
    draft_other_leg,
    draft_postures,
    draft_reading,
    draft_remark,
    draft_withdrawal,
    parse_typed,
)
from fitcore.record.readings import Readings
from fitcore.record.reasons import Reason, reason_for, reason_for_set, reasons_given
from fitcore.record.session import Session

if TYPE_CHECKING:
    from fitcore.record.entries import Draft

AT = datetime(2026, 3, 4, 9, 14, 5, tzinfo=timezone(timedelta(hours=1)))
ANKLE: Place = (Side.LEFT, Point.B, Kind.GIRTH)
RIGHT_ANKLE: Place = (Side.RIGHT, Point.B, Kind.GIRTH)


class Desk:
    """A session and the laptop that writes to it, numbering its entries from one."""

    def __init__(self) -> None:
        self.session = Session(SESSION, frozenset())
        self.number = 0

    def add(self, draft: Draft | None) -> str:
        assert draft is not None
        self.number += 1
        entry = draft.entry(EntryId("tern-k7qd", self.number))
        self.session = self.session.with_entries(entry)
        return str(entry.by)

    def read(self, place: Place, text: str, number: int = 1, **more: object) -> str:
        typed = parse_typed(place[2], text, "cm")
        return self.add(draft_reading(place, number, typed, AT, **more))  # type: ignore[arg-type]

    @property
    def readings(self) -> Readings:
        return Readings(self.session)


@pytest.fixture
def desk() -> Desk:
    return Desk()


def test_a_reading_is_written_as_the_documented_example_shows(desk: Desk) -> None:
    desk.number = 91
    desk.read(ANKLE, "22.40")
    desk.read((Side.LEFT, Point.C, Kind.GIRTH), "15 1/8 in")
    first, second = sorted(desk.session.entries, key=lambda entry: entry.by)
    assert first.line == (
        '{ by = "tern-k7qd:92", at = 2026-03-04T09:14:05+01:00, side = "left", point = "B", '
        'kind = "girth", round = 1, typed = "22.40", unit = "cm", mm = 224.0 }'
    )
    assert 'typed = "15 1/8 in", unit = "in", mm = 384.175 }' in second.line


def test_an_answer_given_twice_is_written_once(desk: Desk) -> None:
    desk.add(draft_answer(desk.session, "posture", "lying", AT))
    assert draft_answer(desk.session, "posture", "lying", AT) is None
    assert draft_answer(desk.session, "posture", "sitting", AT) is not None


def test_an_answer_to_a_dispute_names_every_value_it_saw() -> None:
    session = session_of(
        entry_of("answers", "tern-k7qd:1", what="posture", is_="lying"),
        entry_of("answers", "dunlin-m4ex:1", what="posture", is_="standing"),
    )
    assert session.answer("posture").disputed
    draft = draft_answer(session, "posture", "lying", AT)
    assert draft is not None
    settled = session.with_entries(draft.entry(EntryId("tern-k7qd", 2)))
    assert settled.value("posture") == "lying"


def test_an_answer_names_every_earlier_one_of_its_field_not_only_the_last(desk: Desk) -> None:
    """Writers list the whole set they had seen, so a missing line cannot part them."""
    first = desk.add(draft_answer(desk.session, "posture", "lying", AT))
    second = desk.add(draft_answer(desk.session, "posture", "sitting", AT))
    third = desk.add(draft_answer(desk.session, "posture", "standing", AT))
    (last,) = (entry for entry in desk.session.entries if str(entry.by) == third)
    assert set(last.replaces) == {first, second}


def test_striking_out_a_middle_answer_brings_no_older_one_back_into_dispute(desk: Desk) -> None:
    desk.add(draft_answer(desk.session, "posture", "lying", AT))
    middle = desk.add(draft_answer(desk.session, "posture", "sitting", AT))
    desk.add(draft_answer(desk.session, "posture", "standing", AT))
    desk.add(draft_withdrawal([middle], "typed for another client", AT))
    assert desk.session.value("posture") == "standing"


def test_equal_decimals_written_differently_are_one_value() -> None:
    """22.40 and 22.4 stay different texts, equal values."""
    session = session_of(
        entry_of("answers", "tern-k7qd:1", what="weight", is_=Decimal("22.40")),
        entry_of("answers", "dunlin-m4ex:1", what="weight", is_=Decimal("22.4")),
    )
    assert not session.answer("weight").disputed
    assert session.value("weight") == Decimal("22.4")


def test_a_correction_stands_in_place_of_the_reading_with_its_reason(desk: Desk) -> None:
    wrong = desk.read(ANKLE, "63.1")
    right = desk.read(ANKLE, "36.1", instead_of=[wrong], why="digits swapped")
    current = desk.readings.current(ANKLE)
    assert [(reading.name, reading.why) for reading in current] == [(right, "digits swapped")]


def test_an_accepted_doubt_is_kept_with_the_reading(desk: Desk) -> None:
    name = desk.read(ANKLE, "33.0", doubts=["soft_range"], why="swollen, read twice")
    reading = desk.readings.by_name(name)
    assert reading is not None
    assert (reading.doubts, reading.why) == (("soft_range",), "swollen, read twice")


def test_not_taken_is_an_answer_with_its_reason(desk: Desk) -> None:
    desk.add(draft_not_taken(ANKLE, 1, "dressing", AT))
    assert desk.readings.not_taken(ANKLE) == "dressing"


def test_striking_out_and_restoring(desk: Desk) -> None:
    name = desk.read(ANKLE, "22.4")
    struck = desk.add(draft_withdrawal([name], "tape had slipped", AT))
    assert desk.readings.current(ANKLE) == ()
    assert name in {str(entry.by) for entry in desk.session.entries}
    desk.add(draft_withdrawal([struck], "it had not", AT))
    assert [reading.name for reading in desk.readings.current(ANKLE)] == [name]


@pytest.mark.parametrize("reason", ["", "  ", "\n", "\x1b", "\u202e\u200b"])
def test_nothing_is_struck_out_left_out_or_remarked_without_a_word(reason: str) -> None:
    with pytest.raises(ReadingError):
        draft_withdrawal(["tern-k7qd:1"], reason, AT)
    with pytest.raises(ReadingError):
        draft_not_taken(ANKLE, 1, reason, AT)
    with pytest.raises(ReadingError):
        draft_remark(reason, AT)


def test_a_remark_keeps_its_lines_and_still_stands_on_one(desk: Desk) -> None:
    desk.add(draft_remark('Skin intact.\nSaid "soft" \\ C:\\temp', AT))
    (entry,) = desk.session.entries
    assert "\n" not in entry.line
    again, problems = read_session(write_session(desk.session).encode())
    assert problems == ()
    assert again is not None
    assert [e.text("text") for e in again.entries] == ['Skin intact.\nSaid "soft" \\ C:\\temp']


@pytest.mark.parametrize("text", ["\x1b[2Jred", "a\u202eb", "zero\u200bwidth", "bell\x07"])
def test_what_steers_a_terminal_never_reaches_an_entry(desk: Desk, text: str) -> None:
    desk.add(draft_remark(text, AT))
    name = desk.read(ANKLE, "22.4", why=text)
    desk.add(draft_withdrawal([name], text, AT))
    for entry in desk.session.entries:
        assert not any(is_unsafe(c) for c in entry.text("text") + entry.text("why") + entry.line)


def test_readings_of_the_wrong_leg_go_to_the_other(desk: Desk) -> None:
    name = desk.read(ANKLE, "22.4")
    for draft in draft_other_leg(desk.readings, [Side.LEFT], AT):
        desk.add(draft)
    assert desk.readings.current(ANKLE) == ()
    (moved,) = desk.readings.current(RIGHT_ANKLE)
    assert (moved.mm, moved.typed, moved.instead_of) == (Decimal(224), "22.4", (name,))
    assert moved.why


def test_swapped_legs_change_places_and_swapping_again_gives_them_back(desk: Desk) -> None:
    desk.read(ANKLE, "22.4")
    desk.read(RIGHT_ANKLE, "23.9")
    desk.add(draft_not_taken((Side.RIGHT, Point.C, Kind.GIRTH), 1, "dressing", AT))
    seen = []
    for _ in range(2):
        for draft in draft_other_leg(desk.readings, [Side.LEFT, Side.RIGHT], AT):
            desk.add(draft)
        left, right = desk.readings.current(ANKLE), desk.readings.current(RIGHT_ANKLE)
        seen.append([[str(reading.mm) for reading in leg] for leg in (left, right)])
    assert seen == [[["239.0"], ["224.0"]], [["224.0"], ["239.0"]]]
    assert desk.readings.not_taken((Side.RIGHT, Point.C, Kind.GIRTH)) == "dressing"


def test_a_moved_reading_keeps_its_own_posture_and_doubts() -> None:
    entry = entry_of(
        "readings",
        "tern-k7qd:1",
        side="left",
        point="B",
        kind="girth",
        round=1,
        unit="mm",
        mm=224,
        posture="sitting",
        doubts=["soft_range"],
    )
    (draft,) = draft_other_leg(Readings(session_of(entry)), [Side.LEFT], AT)
    moved = session_of(entry, draft.entry(EntryId("tern-k7qd", 2)))
    (reading,) = Readings(moved).current(RIGHT_ANKLE)
    assert (reading.posture, reading.doubts) == ("sitting", ("soft_range",))


def test_no_readings_means_nothing_to_move(desk: Desk) -> None:
    assert draft_other_leg(desk.readings, [Side.LEFT, Side.RIGHT], AT) == ()


@pytest.mark.parametrize(("kind", "text"), [(Kind.GIRTH, "EU 39"), (Kind.SHOE, "22.4 cm")])
def test_a_shoe_size_is_no_length_and_a_length_no_shoe_size(kind: Kind, text: str) -> None:
    with pytest.raises(UnitError):
        parse_typed(kind, text, "cm")


# --- what a reason is for, and readings kept or put right ----------------------------------------

CALF: Place = (Side.LEFT, Point.C, Kind.GIRTH)


def test_a_reason_is_stored_with_what_it_was_asked_for(desk: Desk) -> None:
    desk.read(ANKLE, "8.7", why="thin", why_for=["hard_range"], doubts=["hard_range", "unit_slip"])
    desk.read(CALF, "36.2", why="asked again", why_for=["rising_time", "set_took_long"])
    desk.read(RIGHT_ANKLE, "22.4", why="misread the first time")
    assert reasons_given(desk.session) == (
        Reason("thin", ("hard_range",), "left", 1),
        Reason("asked again", ("rising_time", "set_took_long"), "left", 1),
    )
    assert reason_for(desk.session, "rising_time") == "asked again"
    assert reason_for(desk.session, "clock_behind") == ""
    assert reason_for_set(desk.session, "set_took_long", "left", 1) == "asked again"
    assert reason_for_set(desk.session, "set_took_long", "left", 2) == ""
    assert reason_for_set(desk.session, "set_took_long", "right", 1) == ""


def test_the_reason_of_a_reading_corrected_since_still_counts_of_one_struck_out_not(
    desk: Desk,
) -> None:
    first = desk.read(ANKLE, "22.4", why="asked again", why_for=["rising_time"])
    second = desk.read(ANKLE, "22.6", instead_of=[first])
    assert reason_for(desk.session, "rising_time") == "asked again"
    desk.add(draft_withdrawal([second, first], "tape had slipped", AT))
    assert reason_for(desk.session, "rising_time") == ""


@pytest.mark.parametrize("number", ["1", True, Decimal("1.5")])
def test_a_reason_with_a_damaged_round_is_carried_and_answers_nothing_it_was_not(
    number: object,
) -> None:
    entry = entry_of(
        "readings", "tern-k7qd:1", side="left", round=number, why="x", why_for=["set_took_long"]
    )
    session = session_of(entry)
    assert len(session.entries) == 1
    assert reasons_given(session) == ()


@pytest.mark.parametrize(
    ("place", "text"),
    [(ANKLE, "22.40"), (CALF, "15 1/8 in"), ((Side.LEFT, Point.FOOT, Kind.SHOE), "EU 39")],
)
def test_a_reading_kept_is_the_same_reading_with_the_reason(
    place: Place, text: str, desk: Desk
) -> None:
    own = {"doubts": ["soft_range"], "posture": "sitting", "measurer": "N-18"}
    name = desk.read(place, text, 2, **own)
    old = desk.readings.by_name(name)
    assert old is not None
    kept = desk.add(draft_kept(old, "cannot come again", ["set_took_long"], AT))
    (reading,) = desk.readings.current(place)
    assert (reading.name, reading.why, reading.instead_of) == (kept, "cannot come again", (name,))
    for what in ("mm", "value", "system", "unit", "typed", "round", "doubts", "posture"):
        assert getattr(reading, what) == getattr(old, what), what
    assert reading.measurer == "N-18"
    with pytest.raises(ReadingError):
        draft_kept(old, " ", ["set_took_long"], AT)


def test_readings_said_to_be_of_another_posture_are_corrections_of_that_alone(desk: Desk) -> None:
    names = [desk.read(ANKLE, "22.4", posture="standing"), desk.read(CALF, "36.2", posture="")]
    found = [reading for name in names if (reading := desk.readings.by_name(name)) is not None]
    for draft in draft_postures(found, "lying", AT):
        desk.add(draft)
    for place, name in zip((ANKLE, CALF), names, strict=True):
        (reading,) = desk.readings.current(place)
        assert (reading.posture, reading.instead_of) == ("lying", (name,))
        assert reading.why
    assert [str(desk.readings.current(p)[0].mm) for p in (ANKLE, CALF)] == ["224.0", "362.0"]
