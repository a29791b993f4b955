"""What Enter comes to at an open session: what is told, asked and stored, and for what a reason is.

All people are invented. The clock is the test's own and stands still until it is moved.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.surroundings import Surroundings
from fitcore.flags import Flag, Level
from fitcore.moment.postures import read_otherwise
from fitcore.points import Side
from tui.desk import Desk
from tui.desk_conditions import keep_set, posture_question, put_postures_right
from tui.judging import Judged, judge_typed, opening_words
from tui.measure_view import hours_content, moving_lines
from tui.review import review_lines
from tui.telling import COLUMNS, ROWS, page, rows

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from fitcore.record.entries import Entry

    Sit = Callable[..., "Sitting"]

PROFILES = replace(load_profiles(), charts=())
RULES = PROFILES.rules.time
MORNING = datetime(2026, 3, 5, 8, 40, tzinfo=UTC)
HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
FIRST = ("22.4", "37.0", "41.0", "EU 39")
ANSWERS: dict[str, Any] = {
    "purpose": "work",
    "forms": ["below_knee"],
    "sides": ["left", "right"],
    "protocol": "below-knee-short",
    "rising_at": MORNING - HOUR,
    "posture": "standing",
    "bare_skin": "yes",
    "compression": "none",
    "tape": "cm",
    "dent": "none",
    "swollen": "none",
    "repeats": "where_doubtful",
}


class Sitting:
    """A desk with a clock that stands still, and the nurse's way through one field."""

    def __init__(self, folder: Path, **answers: Any) -> None:
        self.now = MORNING
        self.clock: tuple[Flag, ...] = ()
        around = Surroundings(
            lambda: self.now,
            random.Random(1).randbytes,  # noqa: S311 - the same letters in every run
            folder / "state",
            "UTC",
        )
        self.folder = DataFolder(folder / "data", around, label="tern", measurer="N-17")
        self.desk = Desk(
            self.folder,
            PROFILES,
            self.folder.new_session(),
            now=lambda: self.now,
            clock_flags=lambda: self.clock,
        )
        self.desk.start_measuring(
            {what: value for what, value in (ANSWERS | answers).items() if value is not None}
        )

    def open(self) -> str:
        """Tell what the screen tells before the first field."""
        words, tells = opening_words(self.desk)
        self.desk.telling.note(tells)
        return words

    def enter(self, text: str, why: str = "") -> list[Judged]:
        """Press Enter until the text is stored; return what each Enter came to."""
        found: list[Judged] = []
        seen = False
        while not found or found[-1].outcome == "look_again":
            found.append(judge_typed(self.desk, text, seen=seen))
            self.desk.telling.note(found[-1].tells)
            seen = True
            assert len(found) < 10, "Enter leads nowhere"
        assert found[-1].outcome in ("ready", "needs_reason"), found[-1]
        assert (found[-1].outcome == "needs_reason") == bool(why), found[-1]
        self.desk.store(found[-1], why)
        return found

    def entries(self) -> list[Entry]:
        """Return all readings ever written, in the order they were."""
        written = (e for e in self.desk.session.entries if e.array == "readings")
        return sorted(written, key=lambda entry: entry.by)

    @property
    def last(self) -> Entry:
        return self.entries()[-1]


@pytest.fixture
def sit(tmp_path: Path) -> Iterator[Callable[..., Sitting]]:
    opened: list[Sitting] = []

    def begin(**answers: Any) -> Sitting:
        opened.append(Sitting(tmp_path / str(len(opened)), **answers))
        return opened[-1]

    yield begin
    for sitting in opened:
        sitting.folder.close()


def outcomes(found: list[Judged]) -> list[str]:
    return [judged.outcome for judged in found]


# --- told before it is stored --------------------------------------------------------------------

BAD_CONDITIONS: dict[str, Any] = {
    "rising_at": MORNING - 19 * HOUR,
    "posture_since": MORNING - 2 * MINUTE,
    "bare_skin": "no",
    "compression": "on",
    "long_ride": "within_day",
    "lately": ["exercise", "hot_bath"],
    "dent": "both",
    "clock": "wrong",
}
CLOCK_DOUBT = Flag("clock_moved", Level.WARN, "clock", "The clock was put back by 8.0 h.")
OF_CONDITIONS = {
    "rising_time",
    "late_in_day",
    "posture_just_changed",
    "not_bare_skin",
    "compression_on",
    "long_travel",
    "heat_or_exercise",
    "clock_not_confirmed",
    "clock_moved",
}


def test_conditions_are_told_before_the_first_field_and_then_stored(sit: Sit) -> None:
    sitting = sit(bare_skin="no", posture_since=MORNING - 2 * MINUTE)
    words = sitting.open()
    assert "Bare the leg." in words
    assert "wait until it is 10 min, then measure" in words
    assert outcomes(sitting.enter("22.4")) == ["ready"], "told already, so Enter saves"
    assert set(sitting.last.names("doubts")) == {"not_bare_skin", "posture_just_changed"}


def test_what_was_not_told_is_told_before_the_reading_is_stored(sit: Sit) -> None:
    sitting = sit(bare_skin="no")
    told, stored = sitting.enter("22.4")
    assert "Bare the leg." in told.message
    assert told.message.endswith("Enter again keeps it.")
    assert stored.doubts == ("not_bare_skin",)
    assert outcomes(sitting.enter("37.0")) == ["ready"], "each is told once"
    assert sitting.last.names("doubts") == ("not_bare_skin",)


def test_a_doubt_that_arises_while_measuring_is_told_when_it_does(sit: Sit) -> None:
    sitting = sit(rising_at=MORNING - 3 * HOUR + MINUTE)
    assert sitting.open() == ""
    assert outcomes(sitting.enter("22.4")) == ["ready"]
    assert sitting.last.names("doubts") == ()
    sitting.now += 5 * MINUTE
    told, _ = sitting.enter("37.0")
    assert "Late in the day (3.1 h up)" in told.message
    assert sitting.last.names("doubts") == ("late_in_day",)
    sitting.clock = (CLOCK_DOUBT,)
    assert CLOCK_DOUBT.text in sitting.enter("41.0")[0].message
    assert set(sitting.last.names("doubts")) == {"late_in_day", "clock_moved"}


def test_after_the_questions_all_is_told_again(sit: Sit) -> None:
    """Another posture taken up in the middle is one more to wait for."""
    sitting = sit(posture_since=MORNING - 2 * MINUTE)
    assert "wait until it is 10 min" in sitting.open()
    assert sitting.open() == ""
    sitting.desk.start_measuring({"posture": "lying", "posture_since": MORNING - MINUTE})
    assert "for only 1 min: wait" in sitting.open()


def test_however_much_is_doubtful_all_is_told_page_by_page(sit: Sit) -> None:
    sitting = sit(**BAD_CONDITIONS)
    sitting.clock = (CLOCK_DOUBT,)
    due = [*sitting.desk.time_flags()]
    assert {flag.code for flag in due if flag.level is Level.WARN} == OF_CONDITIONS
    pages = [sitting.open()]
    while (judged := judge_typed(sitting.desk, "", seen=False)).outcome == "look_again":
        pages.append(judged.message)
        sitting.desk.telling.note(judged.tells)
    assert len(pages) > 1, "more than one screen holds"
    assert judged.outcome == "refused", "Enter on an empty field asks for a number at last"
    for text in pages:
        assert sum(rows(part.removeprefix("! ")) for part in text.split("\n")) <= ROWS
    texts = " ".join(pages)
    assert all(flag.text in texts for flag in due if flag.level is not Level.NOTE)
    assert texts.count("A dent stays when pressed") == 2
    assert outcomes(sitting.enter("22.4")) == ["ready"]
    assert set(sitting.last.names("doubts")) == OF_CONDITIONS


def test_whoever_types_at_once_is_told_all_and_only_that_is_stored(sit: Sit) -> None:
    sitting = sit(**BAD_CONDITIONS)
    first = judge_typed(sitting.desk, "22.4", seen=False)
    assert set(first.doubts) == {flag.code for flag in first.tells if flag.code != "dent"}
    assert set(first.doubts) < OF_CONDITIONS
    told = " ".join(judged.message for judged in sitting.enter("22.4"))
    assert all(f.text in told for f in sitting.desk.time_flags() if f.level is Level.WARN)
    assert set(sitting.last.names("doubts")) == OF_CONDITIONS - {"clock_moved"}


def test_a_page_holds_at_least_one_doubt_and_never_more_than_there_is_room_for() -> None:
    flags = [Flag(f"f{n}", Level.WARN, "conditions", "word " * 18) for n in range(8)]
    assert rows(flags[0].text) == 2
    assert len(page(flags)) == (ROWS - 1) // 2
    assert len(page(flags, "word " * 50)) < len(page(flags))
    long = Flag("long", Level.WARN, "conditions", "word " * 200)
    assert page([long, *flags]) == [long]
    assert all(len(line) <= COLUMNS for line in flags[0].text.split())


def test_walking_over_recorded_fields_is_never_stopped(sit: Sit) -> None:
    sitting = sit()
    sitting.enter("22.4")
    sitting.desk.move(-1)
    sitting.clock = (CLOCK_DOUBT,)
    assert judge_typed(sitting.desk, "", seen=False).outcome == "nothing_typed"


# --- a reason is for one thing -------------------------------------------------------------------


def test_a_reason_for_a_number_answers_no_clock(sit: Sit) -> None:
    sitting = sit(rising_at=MORNING - 23 * HOUR)
    sitting.open()
    sitting.enter("8.7", why="a very thin leg")
    assert sitting.last.names("why_for") == ("hard_range",)
    sitting.now += 2 * HOUR
    *_, asked = sitting.enter("37.0", why="asked again, it is so; no time for a new session")
    assert [ask.codes for ask in asked.asks] == [("rising_time",), ("set_took_long",)]
    assert sitting.last.names("why_for") == ("rising_time", "set_took_long")
    assert outcomes(sitting.enter("41.0")) == ["ready"], "once in a session"


def test_a_reason_for_the_hour_answers_no_number(sit: Sit) -> None:
    sitting = sit(rising_at=MORNING - 25 * HOUR)
    sitting.enter("22.4", why="asked again, it is so")
    *_, asked = sitting.enter("8.7", why="measured twice, it is so")
    assert [ask.codes for ask in asked.asks] == [("hard_range",)]
    assert sitting.last.names("why_for") == ("hard_range",)


def test_a_number_and_the_hour_are_asked_apart(sit: Sit) -> None:
    sitting = sit(rising_at=MORNING - 25 * HOUR)
    *_, asked = sitting.enter("8.7", why="thin; nobody knows exactly")
    assert [ask.codes for ask in asked.asks] == [("hard_range",), ("rising_time",)]
    number, hour = asked.asks
    assert number.question == "Keep 8.7? Why is it right?"
    assert "very swollen leg" in number.choices
    assert hour.question.startswith("Up for more than 24 h: ask again when they got up")
    assert hour.question.endswith("Keep 8.7 all the same? Why?")
    assert not set(hour.choices) & set(number.choices)


@pytest.mark.parametrize(
    ("code", "usual"),
    [
        ("clock_behind", "the clock is wrong and cannot be set here"),
        ("reading_in_future", "compared with a watch: the clock is right"),
        ("offset_missing", "the clock is wrong and cannot be set here"),
    ],
)
def test_a_wrong_clock_is_asked_about_in_words_of_the_clock(
    code: str, usual: str, sit: Sit
) -> None:
    sitting = sit()
    sitting.clock = (Flag(code, Level.BLOCK, "clock", "The clock is 3 days behind."),)
    told, asked = sitting.enter("22.4", why=usual)
    assert told.message == "The clock is 3 days behind. Enter again keeps it, with a reason."
    (ask,) = asked.asks
    assert ask.question == "The clock is 3 days behind. Keep 22.4 all the same? Why?"
    assert usual in ask.choices
    assert not any("swollen" in choice for choice in ask.choices)
    assert sitting.last.names("why_for") == (code,)


def test_a_reason_for_a_reading_struck_out_is_asked_anew(sit: Sit) -> None:
    sitting = sit(rising_at=MORNING - 25 * HOUR)
    sitting.enter("22.4", why="asked again, it is so")
    sitting.desk.move(-1)
    sitting.desk.strike_out("misread")
    assert sitting.enter("22.6", why="asked again, it is so")[-1].asks


def test_a_block_kept_with_a_reason_is_a_doubt_that_says_why(sit: Sit) -> None:
    sitting = sit(rising_at=MORNING - 25 * HOUR)
    sitting.enter("22.4", why="night shift, asked twice.")
    (flag,) = (f for f in sitting.desk.flags if f.code == "rising_time")
    assert flag.level is Level.WARN
    assert flag.text.endswith("Kept: night shift, asked twice.")


# --- swollen legs --------------------------------------------------------------------------------


def test_on_a_swollen_leg_an_impossible_number_is_asked_about_and_wants_a_reason(sit: Sit) -> None:
    """224 for 22.4: no limit blocks a swollen leg, and yet nothing slips through on Enter twice."""
    sitting = sit(swollen="left", swelling_known="oedema")
    told, asked = sitting.enter("224", why="measured twice, it is so")
    assert told.outcome == "look_again"
    assert "cannot be right" in told.message
    assert told.message.endswith("with a reason.")
    assert [ask.codes for ask in asked.asks] == [("hard_range",)]
    assert all(f.level is not Level.BLOCK for f in sitting.desk.flags if f.about == "reading")


# --- a set that took too long --------------------------------------------------------------------


def test_a_set_that_took_too_long_is_told_at_the_field_and_kept_with_a_reason(sit: Sit) -> None:
    sitting = sit(rising_at="unknown")
    sitting.enter("22.4")
    sitting.now += 61 * MINUTE
    told, asked = sitting.enter("37.0", why="no time for a new session")
    assert "LEFT: First to last reading took 61 min: start a new session" in told.message
    (ask,) = asked.asks
    assert "no time for a new session" in ask.choices
    assert sitting.last.names("why_for") == ("set_took_long",)
    assert sitting.last.names("doubts") == ("set_took_long",)
    (flag,) = (f for f in sitting.desk.flags if f.code == "set_took_long")
    assert flag.level is Level.WARN
    assert flag.text == "First to last reading took 61 min. Kept: no time for a new session."
    assert not any(line.flag.code == "set_took_long" for line in review_lines(sitting.desk))


def test_the_reason_for_one_leg_is_none_for_the_other(sit: Sit) -> None:
    sitting = sit(rising_at="unknown")
    sitting.enter("22.4")
    sitting.now += 61 * MINUTE
    sitting.enter("37.0", why="no time for a new session")
    for text in FIRST[2:]:
        sitting.enter(text)
    sitting.enter("22.4")
    sitting.now += 61 * MINUTE
    *_, asked = sitting.enter("37.1", why="no time for a new session")
    assert [ask.codes for ask in asked.asks] == [("set_took_long",)]


def test_a_set_stored_without_a_reason_can_be_kept_with_one_afterwards(sit: Sit) -> None:
    """Recorded by command, or on another laptop: the review blocks, and a reason lets it go on."""
    sitting = sit(rising_at="unknown", sides=["left"])
    sitting.enter("22.4")
    sitting.now += 61 * MINUTE
    for text in FIRST[1:]:
        sitting.desk.store(judge_typed(sitting.desk, text, seen=True))
    (line,) = (x for x in review_lines(sitting.desk) if x.flag.code == "set_took_long")
    assert line.flag.level is Level.BLOCK
    before = sitting.entries()
    keep_set(sitting.desk, Side.LEFT, "the client cannot come again")
    (flag,) = (f for f in sitting.desk.flags if f.code == "set_took_long")
    assert (flag.level, flag.text[-35:]) == (Level.WARN, "Kept: the client cannot come again.")
    assert len(sitting.entries()) == len(before) + 1
    kept = sitting.last
    assert kept.replaces == (str(before[-2].by),), "the last reading of the tape, not the shoe"
    same = ("side", "point", "kind", "round", "typed", "unit", "mm", "posture", "doubts")
    assert {k: kept.fields.get(k) for k in same} == {k: before[-2].fields.get(k) for k in same}


def test_the_line_below_the_list_is_never_cut_off(sit: Sit) -> None:
    sitting = sit(rising_at="unknown")
    for text in FIRST:
        sitting.enter(text)
    assert hours_content(sitting.desk).plain == "LEFT: 4 read.  Time of rising not known."
    sitting.clock = (replace(CLOCK_DOUBT, code="offset_missing", level=Level.WARN),)
    shown = hours_content(sitting.desk).plain
    assert shown == "Time of rising not known. ! is the clock right?"
    assert len(shown) <= 47


def test_up_since_another_day_is_the_files_figure_not_ours(sit: Sit) -> None:
    sitting = sit(rising_at=MORNING - 20 * HOUR)
    assert "another day" not in hours_content(sitting.desk).plain
    shorter = RULES.rising_time.model_copy(update={"block_after_hours": 19, "ask_after_hours": 18})
    time = RULES.model_copy(update={"rising_time": shorter})
    sitting.desk.profiles = replace(PROFILES, time_rules=time)
    assert "another day" in hours_content(sitting.desk).plain


# --- posture -------------------------------------------------------------------------------------


def test_another_answer_gives_readings_taken_before_no_other_posture(sit: Sit) -> None:
    sitting = sit()
    for text in FIRST:
        sitting.enter(text)
    sitting.desk.start_measuring({"posture": "lying"})
    for text in ("22.5", "37.1", "41.2"):
        sitting.enter(text)
    told = [(e.text("kind"), e.text("side"), e.text("posture")) for e in sitting.entries()]
    assert told == [
        ("girth", "left", "standing"),
        ("girth", "left", "standing"),
        ("length", "left", "standing"),
        ("shoe", "left", ""),
        ("girth", "right", "lying"),
        ("girth", "right", "lying"),
        ("length", "right", "lying"),
    ]
    (flag,) = (f for f in sitting.desk.flags if f.code == "posture_differs")
    assert "Left and right were read in different postures" in flag.text


def test_a_posture_nobody_knows_is_not_stored(sit: Sit) -> None:
    sitting = sit(posture=None)
    sitting.enter("22.4")
    assert "posture" not in sitting.last.fields


def test_a_correction_stays_in_the_posture_of_the_reading_it_corrects(sit: Sit) -> None:
    sitting = sit()
    sitting.enter("22.4")
    sitting.desk.start_measuring({"posture": "lying"})
    sitting.desk.go_to(sitting.desk.steps[0])
    sitting.enter("22.6")
    assert sitting.last.text("posture") == "standing"


def test_a_wrong_answer_is_put_right_for_readings_taken_before(sit: Sit) -> None:
    sitting = sit()
    sitting.enter("22.4")
    sitting.enter("8.7", why="thin")
    assert not sitting.desk.posture_changed
    sitting.desk.start_measuring({"posture": "lying"})
    assert sitting.desk.posture_changed
    asked = posture_question(sitting.desk)
    assert asked is not None
    assert "2 readings stand as read standing" in asked.text
    at = sitting.desk.step.name
    before = sitting.entries()
    assert put_postures_right(sitting.desk) == "2 readings: lying."
    assert sitting.desk.step.name == at
    assert read_otherwise(sitting.desk.session, sitting.desk.readings) == ()
    for old, new in zip(before, sitting.entries()[2:], strict=True):
        assert new.replaces == (str(old.by),)
        assert new.text("posture") == "lying"
        assert new.fields["mm"] == old.fields["mm"]
    assert posture_question(sitting.desk) is None
    sitting.desk.start_measuring({"posture": "lying"})
    assert not sitting.desk.posture_changed


# --- the other leg -------------------------------------------------------------------------------


def test_where_one_leg_was_asked_its_fields_go_with_its_readings(sit: Sit) -> None:
    sitting = sit(sides=["left"])
    sitting.enter("22.4")
    sitting.enter("37.0")
    assert moving_lines(sitting.desk)[0] == "RIGHT is the leg to measure from now on."
    assert sitting.desk.move_to_other_leg() == "2 readings moved to the other leg."
    assert sitting.desk.session.value("sides") == ["right"]
    assert sitting.desk.step.name == "right D length 1"
    assert {place[0] for place in sitting.desk.readings.places()} == {Side.RIGHT}


def test_where_both_legs_are_asked_both_stay_asked(sit: Sit) -> None:
    sitting = sit()
    sitting.enter("22.4")
    assert len(moving_lines(sitting.desk)) == 1
    sitting.desk.move_to_other_leg()
    assert sitting.desk.session.value("sides") == ["left", "right"]
