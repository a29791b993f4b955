"""The hour and the conditions of a session: every check at its limit, and what a wrong clock does.

Limits are read from the shipped file and held against the figures they were set to, so that neither
can change unnoticed. All people are invented.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import SESSION, entry_of, session_of

from fitcore.disk.profile_reading import read_profile
from fitcore.flags import Flag, Level
from fitcore.identity import EntryId
from fitcore.instants import hours_between
from fitcore.moment.conditions import Earlier, flags_now, judge_conditions, leg_times
from fitcore.moment.postures import leg_postures, posture_to_store, read_otherwise
from fitcore.moment.spacing import judge_set_now
from fitcore.moment.time_rules import TimeRules
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.record.edits import draft_answer, draft_reading, parse_typed
from fitcore.record.readings import Readings
from fitcore.record.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitcore.record.entries import Value

ROOT = Path(__file__).resolve().parents[2]
FILE = ROOT / "profiles" / "rules" / "time-of-day.toml"
RULES = read_profile(FILE.read_bytes(), TimeRules, FILE.name)
assert isinstance(RULES, TimeRules), RULES

NOTE, WARN, BLOCK = Level.NOTE, Level.WARN, Level.BLOCK
HOUR, MINUTE, SECOND = timedelta(hours=1), timedelta(minutes=1), timedelta(seconds=1)
NINE = datetime(2026, 3, 4, 9, 0, tzinfo=timezone(HOUR))
BERLIN = ZoneInfo("Europe/Berlin")
ANKLE, CALF = (Point.B, Kind.GIRTH), (Point.C, Kind.GIRTH)
LEFT, RIGHT = Side.LEFT, Side.RIGHT


class Sitting:
    """One invented session, made by the program's own drafts."""

    def __init__(self, **answers: Value) -> None:
        self.session = Session(SESSION, frozenset())
        self._number = 0
        self.answer(NINE, **{"posture": "standing", **answers})

    def answer(self, at: datetime, **answers: Value) -> Sitting:
        for what, value in answers.items():
            draft = draft_answer(self.session, what, value, at)
            if draft is not None:
                self._add(draft.entry(self._name()))
        return self

    def read(
        self,
        at: datetime,
        side: Side = LEFT,
        what: tuple[Point, Kind] = ANKLE,
        *,
        number: int = 1,
        cm: str = "24.6",
        posture: str = "",
        row: str = "",
        unit: Any = "cm",
        **more: Any,
    ) -> Sitting:
        typed = parse_typed(what[1], cm, unit)
        draft = draft_reading((side, *what), number, typed, at, posture=posture, **more)
        entry = draft.entry(self._name())
        if row:
            fields = {k: v for k, v in entry.fields.items() if k != "by"} | {"row": row}
            entry = entry_of("readings", str(entry.by), **fields)
        self._add(entry)
        return self

    def rival(self, what: str, value: Value) -> Sitting:
        """Answer a field on another laptop that has not seen the first answer."""
        self._add(entry_of("answers", "dunlin-m4ex:1", what=what, is_=value))
        return self

    def flags(self, sides: tuple[Side, ...] = LEGS, **more: Any) -> tuple[Flag, ...]:
        return judge_conditions(self.session, Readings(self.session), sides, RULES, **more)

    def earlier(self, tape_rule: str = "") -> Callable[[Side], Earlier]:
        return lambda _: Earlier(self.session, Readings(self.session), tape_rule)

    def _name(self) -> EntryId:
        self._number += 1
        return EntryId("tern-k7qd", self._number)

    def _add(self, entry: Any) -> None:
        self.session = self.session.with_entries(entry)


def codes_now(sitting: Sitting, now: datetime) -> list[str]:
    return [flag.code for flag in flags_now(sitting.session, now, RULES)]


def told(flags: tuple[Flag, ...], code: str) -> list[tuple[Side | None, Level]]:
    return [(flag.side, flag.level) for flag in flags if flag.code == code]


def levels(flags: tuple[Flag, ...], code: str) -> list[Level]:
    return [level for _, level in told(flags, code)]


def found(flags: tuple[Flag, ...]) -> list[tuple[str, Level]]:
    return [(flag.code, flag.level) for flag in flags]


def text(flags: tuple[Flag, ...], code: str) -> str:
    (found,) = [flag.text for flag in flags if flag.code == code]
    return found


# --- the file ------------------------------------------------------------------------------------


def test_the_limits_are_those_they_were_set_to() -> None:
    late, rising, took = RULES.late_in_day, RULES.rising_time, RULES.set_took_long
    assert (late.note_after_hours, late.late_after_hours, late.very_late_after_hours) == (1, 3, 10)
    assert (rising.ask_after_hours, rising.block_after_hours) == (18, 24)
    assert (took.note_after_minutes, took.warn_after_minutes, took.block_after_minutes) == (
        *(20, 30),
        60,
    )
    assert RULES.legs_far_apart.warn_after_minutes == 20
    spacing, change = RULES.repeat_spacing, RULES.posture_just_changed
    ways = ("each_point", "where_doubtful", "second_round", "", "as the moon is")
    assert [spacing.warn_after_minutes(way) for way in ways] == [10, 25, 25, 10, 10]
    assert spacing.note_below_seconds == 5
    assert (change.warn_below_minutes, change.warn_below_minutes_after_lying) == (10, 20)
    off = RULES.compression_off_long
    assert (
        off.fresh_after_compression_minutes,
        off.warn_after_hours,
        off.back_after_hours,
    ) == (30, 2, 24)
    assert RULES.follow_up_differs.hours == 2
    for ahead in (RULES.reading_in_future, RULES.clock_behind):
        assert (ahead.warn_after_minutes, ahead.block_after_hours) == (2, 24)
    assert RULES.clock_moved.seconds == 60


def test_a_service_may_leave_a_level_out_by_making_two_limits_the_same() -> None:
    shipped = FILE.read_text(encoding="utf-8")
    same = (
        shipped.replace("note_after_hours = 1\n", "note_after_hours = 3\n")
        .replace("warn_after_hours = 2\n", "warn_after_hours = 0.5\n")
        .replace("warn_after_minutes = 2\n", "warn_after_minutes = 1440\n")
    )
    own = read_profile(same.encode(), TimeRules, "ours.toml")
    assert isinstance(own, TimeRules), own
    sitting = Sitting(rising_at=NINE - 3 * HOUR).read(NINE)
    assert judge_conditions(sitting.session, Readings(sitting.session), LEGS, own) == ()


def test_the_levels_are_those_they_were_set_to() -> None:
    heat, ride = RULES.heat_or_exercise, RULES.long_travel
    assert (heat.one, heat.heat_and_exercise) == (NOTE, WARN)
    assert (ride.within_day, ride.within_three_days) == (WARN, NOTE)
    assert (RULES.clock_moved.behind, RULES.clock_moved.ahead) == (WARN, NOTE)
    local = RULES.local_time_ambiguous
    assert (local.twice, local.never) == (WARN, BLOCK)
    assert (RULES.dent.stays, RULES.dent.not_tried) == (WARN, NOTE)
    named = {
        "posture_differs": WARN,
        "follow_up_differs": WARN,
        "clock_not_confirmed": WARN,
        "offset_missing": BLOCK,
        "offset_wrong": WARN,
        "zone_changed": NOTE,
        "compression_just_off": NOTE,
        "off_after_reading": BLOCK,
        "compression_on": WARN,
        "not_bare_skin": WARN,
    }
    assert {code: getattr(RULES, code).level for code in named} == named


def test_each_check_has_its_number_and_its_source() -> None:
    checks = {name: check for name, check in RULES if name not in ("format", "id", "source")}
    numbers = [check.number for check in checks.values()]
    assert numbers == [*range(1, 19), *range(20, 26)]
    assert all(check.source.text and check.source.status for check in checks.values())
    assert (
        RULES.late_after_hours,
        RULES.ask_after_hours,
        RULES.fresh_after_compression_minutes,
    ) == (3, 18, 30)


@pytest.mark.parametrize(
    ("line", "broken", "key"),
    [
        ("late_after_hours = 3", "late_after_hours = 11", "late_in_day"),
        ("late_after_hours = 3", "late_after_hours = -3", "late_in_day.late_after_hours"),
        ("late_after_hours = 3", 'late_after_hours = "3"', "late_in_day.late_after_hours"),
        ("note_after_minutes = 20", "", "set_took_long.note_after_minutes"),
        ("warn_after_hours = 2", "warn_after_hours = 0.4", "compression_off_long"),
        ('within_day = "warn"', 'within_day = "red"', "long_travel.within_day"),
        ("number = 20", "number = 19\nnote_after_hours = 1", "zone_changed.note_after_hours"),
        ("number = 20", "number = 17", None),
        ("warn_after_minutes = 2\nblock", "warn_after_minutes = 2000\nblock", "reading_in_future"),
    ],
)
def test_a_rules_file_that_cannot_be_right_is_told_with_its_key(
    line: str, broken: str, key: str | None
) -> None:
    shipped = FILE.read_text(encoding="utf-8")
    assert line in shipped
    found = read_profile(shipped.replace(line, broken, 1).encode(), TimeRules, "ours.toml")
    assert isinstance(found, tuple), "not refused"
    assert [problem.key for problem in found] == [key]
    assert found[0].mend


# --- 1 and 2: the hour ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("up", "level", "strong"),
    [
        (timedelta(0), None, False),
        (HOUR - SECOND, None, False),
        (HOUR, None, False),
        (HOUR + SECOND, NOTE, False),
        (3 * HOUR - SECOND, NOTE, False),
        (3 * HOUR, NOTE, False),
        (3 * HOUR + SECOND, WARN, False),
        (10 * HOUR - SECOND, WARN, False),
        (10 * HOUR, WARN, False),
        (10 * HOUR + SECOND, WARN, True),
    ],
)
def test_1_late_in_the_day(up: timedelta, level: Level | None, *, strong: bool) -> None:
    sitting = Sitting(rising_at=NINE - up).read(NINE)
    flags = sitting.flags()
    assert told(flags, "late_in_day") == ([] if level is None else [(LEFT, level)])
    assert [f.code for f in flags_now(sitting.session, NINE, RULES)] == [f.code for f in flags]
    if level is WARN:
        said = text(flags, "late_in_day")
        assert said.startswith("Very late" if strong else "Late")
        # A late reading errs one way, and the sentence names it.
        assert said.index("too large") < said.index("too big") < said.index("too low")


@pytest.mark.parametrize(
    ("up", "level"),
    [
        (-SECOND, BLOCK),
        (timedelta(0), None),
        (SECOND, None),
        (18 * HOUR - SECOND, None),
        (18 * HOUR, None),
        (18 * HOUR + SECOND, WARN),
        (24 * HOUR - SECOND, WARN),
        (24 * HOUR, WARN),
        (24 * HOUR + SECOND, BLOCK),
        (-2000 * 24 * HOUR, BLOCK),
        (2000 * 24 * HOUR, BLOCK),
    ],
)
def test_2_the_time_of_rising(up: timedelta, level: Level | None) -> None:
    sitting = Sitting(rising_at=NINE - up).read(NINE)
    for flags in (sitting.flags((LEFT,)), flags_now(sitting.session, NINE, RULES, LEFT)):
        assert told(flags, "rising_time") == ([] if level is None else [(LEFT, level)])
        if level is BLOCK:
            assert levels(flags, "late_in_day") == [], "hours nobody can believe are not told"


def test_2_rising_between_a_legs_readings_is_no_time_of_rising() -> None:
    flags = Sitting(rising_at=NINE + MINUTE).read(NINE).read(NINE + 5 * MINUTE, what=CALF).flags()
    assert told(flags, "rising_time") == [(LEFT, BLOCK)]


def test_an_unknown_time_of_rising_is_no_flag() -> None:
    for flags in (Sitting().read(NINE).flags(), Sitting(rising_at="unknown").read(NINE).flags()):
        assert flags == ()


def test_of_two_times_of_rising_the_more_careful_counts() -> None:
    sitting = Sitting(rising_at=NINE - HOUR).rival("rising_at", NINE - 5 * HOUR).read(NINE)
    assert levels(sitting.flags(), "late_in_day") == [WARN]
    later = Sitting(rising_at=NINE - HOUR).rival("rising_at", NINE + HOUR).read(NINE)
    assert levels(later.flags(), "rising_time") == [BLOCK]


# --- 3, 4 and 5: how far apart readings lie ------------------------------------------------------


@pytest.mark.parametrize(
    ("took", "level"),
    [
        (timedelta(0), None),
        (20 * MINUTE - SECOND, None),
        (20 * MINUTE, None),
        (20 * MINUTE + SECOND, NOTE),
        (30 * MINUTE - SECOND, NOTE),
        (30 * MINUTE, NOTE),
        (30 * MINUTE + SECOND, WARN),
        (60 * MINUTE - SECOND, WARN),
        (60 * MINUTE, WARN),
        (60 * MINUTE + SECOND, BLOCK),
    ],
)
def test_3_a_set_that_took_long(took: timedelta, level: Level | None) -> None:
    flags = Sitting().read(NINE, RIGHT).read(NINE + took, RIGHT, CALF).flags()
    assert told(flags, "set_took_long") == ([] if level is None else [(RIGHT, level)])
    if level is BLOCK:
        assert "new session" in text(flags, "set_took_long")


@pytest.mark.parametrize(
    ("side", "number", "kept"), [(LEFT, 1, True), (RIGHT, 1, False), (LEFT, 2, False)]
)
def test_3_a_reason_lets_the_set_go_on_it_was_given_for(
    side: Side, number: int, *, kept: bool
) -> None:
    sitting = Sitting().read(NINE).read(NINE + 61 * MINUTE, what=CALF)
    why = {"why": "cannot come again", "why_for": ["set_took_long"]}
    sitting.read(NINE + 61 * MINUTE, side, (Point.D, Kind.LENGTH), cm="41", number=number, **why)
    (flag,) = (f for f in sitting.flags() if f.code == "set_took_long")
    assert (flag.side, flag.level) == (LEFT, WARN if kept else BLOCK)
    assert flag.text.endswith("Kept: cannot come again.") == kept


def test_3_a_set_without_a_reason_is_told_before_a_longer_one_that_has_one() -> None:
    sitting = Sitting().read(NINE)
    sitting.read(NINE + 99 * MINUTE, what=CALF, why="kept", why_for=["set_took_long"])
    later = NINE + 2 * HOUR
    sitting.read(later, number=2).read(later + 61 * MINUTE, what=CALF, number=2)
    (flag,) = (f for f in sitting.flags() if f.code == "set_took_long")
    assert flag.level is BLOCK
    assert "took 61 min" in flag.text


def test_3_the_set_of_a_reading_taken_now() -> None:
    sitting = Sitting().read(NINE).read(NINE + MINUTE, RIGHT)
    readings = Readings(sitting.session)

    def now(side: Side, number: int, at: datetime) -> list[Level]:
        judged = judge_set_now(sitting.session, readings, side, number, now=at, rules=RULES)
        return [flag.level for flag in judged]

    assert now(LEFT, 1, NINE + 60 * MINUTE) == [WARN]
    assert now(LEFT, 1, NINE + 60 * MINUTE + SECOND) == [BLOCK]
    assert now(RIGHT, 1, NINE + 60 * MINUTE + SECOND) == [WARN]
    assert now(LEFT, 2, NINE + 90 * MINUTE) == [], "the first of another round begins a set"
    assert now(LEFT, 1, NINE.replace(tzinfo=None) + HOUR * 9) == [], "counted from no instant"


@pytest.mark.parametrize("code", ["rising_time", "off_after_reading"])
def test_a_block_kept_with_a_reason_is_a_doubt_with_that_reason(code: str) -> None:
    wrong: dict[str, Value] = {"rising_at": NINE + HOUR}
    if code == "off_after_reading":
        wrong = {"compression": "off", "compression_off_at": NINE + HOUR}
    assert levels(Sitting(**wrong).read(NINE).flags(), code) == [BLOCK]
    for other in ("hard_range", "clock_behind"):
        about_else = Sitting(**wrong).read(NINE, why="thin leg", why_for=[other])
        assert levels(about_else.flags(), code) == [BLOCK], "a reason for something else"
    flags = Sitting(**wrong).read(NINE, why="asked twice.", why_for=[code]).flags()
    assert levels(flags, code) == [WARN]
    assert text(flags, code).endswith("Kept: asked twice.")


def test_3_each_time_round_is_a_set_of_its_own() -> None:
    sitting = Sitting()
    for number, start in ((1, NINE), (2, NINE + 40 * MINUTE)):
        sitting.read(start, number=number).read(start + 15 * MINUTE, what=CALF, number=number)
    assert levels(sitting.flags(), "set_took_long") == []


def test_3_the_longest_of_the_sets_counts() -> None:
    sitting = Sitting().read(NINE).read(NINE + 25 * MINUTE, what=CALF)
    sitting.read(NINE + 26 * MINUTE, number=2).read(NINE + 27 * MINUTE, what=CALF, number=2)
    assert levels(sitting.flags(), "set_took_long") == [NOTE]
    assert "took 25 min" in text(sitting.flags(), "set_took_long")


def test_3_a_shoe_size_is_no_reading_of_the_tape() -> None:
    shoe = (Point.FOOT, Kind.SHOE)
    sitting = Sitting().read(NINE - 3 * HOUR, LEFT, shoe, cm="EU 39").read(NINE)
    assert levels(sitting.flags(), "set_took_long") == []


def test_3_a_correction_made_later_changes_no_hour() -> None:
    sitting = Sitting().read(NINE).read(NINE + MINUTE, what=CALF, cm="63.1")
    (old,) = Readings(sitting.session).current((LEFT, *CALF))
    late = draft_reading(
        (LEFT, *CALF),
        1,
        parse_typed(Kind.GIRTH, "36.1", "cm"),
        NINE + 5 * HOUR,
        instead_of=[old.name],
    )
    sitting.session = sitting.session.with_entries(late.entry(EntryId("tern-k7qd", 90)))
    assert sitting.flags() == ()


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("gap", "flagged"),
    [
        (timedelta(0), False),
        (20 * MINUTE - SECOND, False),
        (20 * MINUTE, False),
        (20 * MINUTE + SECOND, True),
        (48 * HOUR, True),
    ],
)
def test_4_legs_far_apart(gap: timedelta, sign: int, *, flagged: bool) -> None:
    sitting = Sitting().read(NINE).read(NINE + sign * gap, RIGHT)
    assert told(sitting.flags(), "legs_far_apart") == ([(None, WARN)] if flagged else [])
    assert levels(sitting.flags((LEFT,)), "legs_far_apart") == []


def test_4_only_the_same_reading_of_both_legs_is_compared() -> None:
    other = Sitting().read(NINE).read(NINE + HOUR, RIGHT, CALF)
    assert levels(other.flags(), "legs_far_apart") == []
    rounds = Sitting().read(NINE).read(NINE + 5 * MINUTE, RIGHT)
    rounds.read(NINE + 40 * MINUTE, number=2).read(NINE + 45 * MINUTE, RIGHT, number=2)
    assert levels(rounds.flags(), "legs_far_apart") == []


def test_4_the_widest_gap_is_told_with_its_place() -> None:
    sitting = Sitting().read(NINE).read(NINE + MINUTE, what=CALF)
    sitting.read(NINE + 2 * MINUTE, RIGHT).read(NINE + 31 * MINUTE, RIGHT, CALF)
    assert "30 min apart, round the calf (C)" in text(sitting.flags(), "legs_far_apart")


@pytest.mark.parametrize(
    ("gap", "level"),
    [
        (timedelta(0), NOTE),
        (4 * SECOND, NOTE),
        (5 * SECOND, None),
        (6 * SECOND, None),
        (10 * MINUTE - SECOND, None),
        (10 * MINUTE, None),
        (10 * MINUTE + SECOND, WARN),
    ],
)
def test_5_a_reading_and_its_repeat(gap: timedelta, level: Level | None) -> None:
    flags = Sitting().read(NINE).read(NINE + gap, number=2).flags()
    assert told(flags, "repeat_spacing") == ([] if level is None else [(LEFT, level)])


@pytest.mark.parametrize(
    ("way", "most"),
    [("", 10), ("each_point", 10), ("where_doubtful", 25), ("second_round", 25)],
)
def test_5_each_way_of_repeating_has_its_own_limit(way: str, most: int) -> None:
    answers = {"repeats": way} if way else {}
    for more, expected in ((timedelta(0), []), (SECOND, [WARN])):
        sitting = Sitting(**answers).read(NINE).read(NINE + most * MINUTE + more, number=2)
        assert levels(sitting.flags(), "repeat_spacing") == expected
        told = sitting.flags(way_of=lambda _: "each_point")
        assert levels(told, "repeat_spacing") == ([WARN] if most > 10 else expected)


@pytest.mark.parametrize("steps", [11, 17])
def test_5_the_full_sets_at_a_steady_pace_are_not_told(steps: int) -> None:
    """11 readings of a leg below the knee, 17 with the thigh; 35 s each, both legs, twice over."""
    sitting = Sitting(repeats="second_round")
    at, points = NINE, [p for p in Point if p is not Point.FOOT]
    fields = [(p, k) for k in (Kind.GIRTH, Kind.LENGTH) for p in points][:steps]
    for number in (1, 2):
        for side in LEGS:
            for what in fields:
                sitting.read(at, side, what, number=number)
                at += 35 * SECOND
    assert levels(sitting.flags(), "repeat_spacing") == []


def test_5_a_whole_second_round_is_told_once_for_each_leg() -> None:
    sitting = Sitting()
    for number, start in ((1, NINE), (2, NINE + 15 * MINUTE)):
        for side in LEGS:
            for step, what in enumerate((ANKLE, CALF)):
                sitting.read(start + step * MINUTE, side, what, number=number)
    assert told(sitting.flags(), "repeat_spacing") == [(LEFT, WARN), (RIGHT, WARN)]


def test_5_the_shortest_and_the_longest_gap_of_a_leg_are_told() -> None:
    sitting = Sitting().read(NINE).read(NINE + 3 * SECOND, number=2)
    sitting.read(NINE + 7 * MINUTE, number=3)
    sitting.read(NINE + MINUTE, what=CALF).read(NINE + 15 * MINUTE, what=CALF, number=2)
    flags = [flag for flag in sitting.flags() if flag.code == "repeat_spacing"]
    assert [flag.level for flag in flags] == [WARN, NOTE]
    assert "14 min apart, round the calf (C)" in flags[0].text
    assert "only 3 s apart, round the ankle (B)" in flags[1].text


def test_5_rows_of_a_sheet_with_one_time_say_nothing_about_seconds() -> None:
    sheet = Sitting().read(NINE, row="a1").read(NINE, number=2, row="a2")
    assert levels(sheet.flags(), "repeat_spacing") == []
    seconds = Sitting().read(NINE, row="a1").read(NINE + 3 * SECOND, number=2, row="a2")
    assert levels(seconds.flags(), "repeat_spacing") == [NOTE]
    typed = Sitting().read(NINE, row="a1").read(NINE, number=2)
    assert levels(typed.flags(), "repeat_spacing") == [NOTE]


# --- 6 and 7: posture ----------------------------------------------------------------------------


def test_6_one_recorded_posture_is_fine() -> None:
    sitting = Sitting().read(NINE).read(NINE, what=CALF, posture="standing").read(NINE, RIGHT)
    assert levels(sitting.flags(), "posture_differs") == []


def test_6_two_postures_in_one_set() -> None:
    flags = Sitting().read(NINE).read(NINE, what=CALF, posture="sitting").read(NINE, RIGHT).flags()
    assert told(flags, "posture_differs") == [(LEFT, WARN)]
    assert "sitting, standing" in text(flags, "posture_differs")


def test_6_a_posture_nobody_recorded() -> None:
    unrecorded = session_of(
        *(e for e in Sitting().read(NINE).session.entries if e.array != "answers")
    )
    flags = judge_conditions(unrecorded, Readings(unrecorded), (LEFT,), RULES)
    assert told(flags, "posture_differs") == [(LEFT, WARN)]
    assert "not recorded" in text(flags, "posture_differs")


def test_6_two_answers_are_two_postures_and_not_none() -> None:
    flags = Sitting().rival("posture", "sitting").read(NINE).flags()
    assert "sitting, standing" in text(flags, "posture_differs")


def test_6_the_legs_in_different_postures() -> None:
    flags = Sitting().read(NINE).read(NINE, RIGHT, posture="lying").flags()
    assert told(flags, "posture_differs") == [(None, WARN)]


def test_6_another_answer_does_not_change_what_a_reading_carries() -> None:
    sitting = Sitting().read(NINE, posture="standing").read(NINE, RIGHT, posture="standing")
    sitting.answer(NINE + MINUTE, posture="lying")
    readings = Readings(sitting.session)
    assert [leg_postures(sitting.session, readings, s) for s in LEGS] == [{"standing"}] * 2
    assert told(sitting.flags(), "posture_differs") == [(None, WARN)]
    said = text(sitting.flags(), "posture_differs")
    assert "Posture answered: lying; read and kept as standing." in said
    assert "Strike out what was read otherwise" in said


def test_6_of_two_different_answers_one_may_be_what_the_readings_carry() -> None:
    sitting = Sitting().read(NINE, posture="standing").rival("posture", "sitting")
    assert levels(sitting.flags(), "posture_differs") == []
    neither = Sitting(posture="lying").read(NINE, posture="standing").rival("posture", "sitting")
    assert "answered: lying, sitting; read" in text(neither.flags(), "posture_differs")
    assert read_otherwise(neither.session, Readings(neither.session)) == ()


def test_6_the_posture_stored_with_a_reading_is_the_answer_where_there_is_one() -> None:
    session = Sitting(posture="lying").session
    assert [posture_to_store(session, kind) for kind in Kind] == [
        "" if kind is Kind.SHOE else "lying" for kind in Kind
    ]
    assert posture_to_store(session_of(), Kind.GIRTH) == ""
    disputed = Sitting(posture="lying").rival("posture", "sitting").session
    assert posture_to_store(disputed, Kind.GIRTH) == ""


def test_6_a_place_read_in_two_postures_is_not_averaged() -> None:
    sitting = Sitting().read(NINE, posture="standing")
    sitting.answer(NINE, posture="lying").read(NINE + MINUTE, number=2, posture="lying")
    assert Readings(sitting.session).adopted(LEFT, *ANKLE) is None


def test_6_a_leg_without_a_reading_has_no_posture() -> None:
    assert Sitting(posture="sitting").flags() == ()


@pytest.mark.parametrize(
    ("posture", "ago", "flagged"),
    [
        ("standing", -SECOND, True),
        ("standing", timedelta(0), True),
        ("standing", 10 * MINUTE - SECOND, True),
        ("standing", 10 * MINUTE, True),
        ("sitting", 20 * MINUTE - SECOND, True),
        ("sitting", 20 * MINUTE, False),
        ("standing", 20 * MINUTE + SECOND, False),
        ("lying", 10 * MINUTE - SECOND, True),
        ("lying", 10 * MINUTE, False),
    ],
)
def test_7_a_posture_taken_up_just_now(posture: str, ago: timedelta, *, flagged: bool) -> None:
    sitting = Sitting(posture=posture, posture_since=NINE - ago).read(NINE)
    for flags in (sitting.flags((LEFT,)), flags_now(sitting.session, NINE, RULES, LEFT)):
        assert told(flags, "posture_just_changed") == ([(LEFT, WARN)] if flagged else [])


@pytest.mark.parametrize(("minutes", "asks"), [(9, False), (10, True), (19, True)])
def test_7_from_ten_minutes_on_it_depends_on_having_lain(minutes: int, *, asks: bool) -> None:
    sitting = Sitting(posture_since=NINE - minutes * MINUTE).read(NINE)
    assert ("if they lay before" in text(sitting.flags(), "posture_just_changed")) == asks


def test_7_the_legs_first_reading_counts() -> None:
    sitting = Sitting(posture_since=NINE - 15 * MINUTE).read(NINE).read(NINE + 6 * MINUTE, RIGHT)
    sitting.read(NINE + 8 * MINUTE, what=CALF)
    assert told(sitting.flags(), "posture_just_changed") == [(LEFT, WARN)]


def test_7_of_two_times_the_later_counts() -> None:
    sitting = Sitting(posture_since=NINE - HOUR).rival("posture_since", NINE - 15 * MINUTE)
    assert levels(sitting.read(NINE).flags(), "posture_just_changed") == [WARN]


# --- 8: compression ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ago", "code", "level"),
    [
        (-SECOND, "off_after_reading", BLOCK),
        (timedelta(0), "compression_just_off", NOTE),
        (30 * MINUTE - SECOND, "compression_just_off", NOTE),
        (30 * MINUTE, "compression_just_off", NOTE),
        (30 * MINUTE + SECOND, "compression_off_long", NOTE),
        (2 * HOUR - SECOND, "compression_off_long", NOTE),
        (2 * HOUR, "compression_off_long", NOTE),
        (2 * HOUR + SECOND, "compression_off_long", WARN),
        (24 * HOUR, "compression_off_long", WARN),
        (24 * HOUR + SECOND, "compression_off_long", WARN),
    ],
)
def test_8_compression_off(ago: timedelta, code: str, level: Level) -> None:
    sitting = Sitting(compression="off", compression_off_at=NINE - ago).read(NINE)
    for flags in (sitting.flags((LEFT,)), flags_now(sitting.session, NINE, RULES, LEFT)):
        assert [(f.code, f.level, f.side) for f in flags] == [(code, level, LEFT)]
        assert ("may be back" in flags[0].text) == (ago > 24 * HOUR)


@pytest.mark.parametrize(
    ("ago", "late"),
    [
        (timedelta(0), False),
        (30 * MINUTE, False),
        (30 * MINUTE + SECOND, True),
        (-SECOND, True),
        (3 * HOUR, True),
    ],
)
def test_8_fresh_out_of_compression_a_leg_is_not_late(ago: timedelta, *, late: bool) -> None:
    sitting = Sitting(
        rising_at=NINE - 8 * HOUR, compression="off", compression_off_at=NINE - ago
    ).read(NINE)
    assert levels(sitting.flags(), "late_in_day") == ([WARN] if late else [])


def test_8_a_time_without_compression_off_says_nothing() -> None:
    sitting = Sitting(compression="none", compression_off_at=NINE - 3 * HOUR).read(NINE)
    assert sitting.flags() == ()
    assert Sitting(compression="off", compression_off_at="unknown").read(NINE).flags() == ()


def test_8_where_two_people_differ_the_more_careful_answer_counts() -> None:
    off = Sitting(rising_at=NINE - 5 * HOUR, compression="off", compression_off_at=NINE - MINUTE)
    worn = off.read(NINE).rival("compression", "none").flags()
    assert levels(worn, "late_in_day") == [WARN]
    long_ago = Sitting(
        rising_at=NINE - 5 * HOUR, compression="off", compression_off_at=NINE - MINUTE
    ).rival("compression_off_at", NINE - 3 * HOUR)
    longer = long_ago.read(NINE).flags()
    assert found(longer) == [("compression_off_long", WARN), ("late_in_day", WARN)]
    later = Sitting(compression="off", compression_off_at=NINE - MINUTE)
    later.rival("compression_off_at", NINE + MINUTE).read(NINE)
    assert found(later.flags()) == [("off_after_reading", BLOCK)]


@pytest.mark.parametrize("what", [{"compression": "on"}, {"bare_skin": "no"}])
def test_compression_on_and_clothes_are_told_once(what: dict[str, Value]) -> None:
    sitting = Sitting(**what).read(NINE).read(NINE, RIGHT)
    code = "compression_on" if "compression" in what else "not_bare_skin"
    assert [(f.code, f.level, f.side) for f in sitting.flags()] == [(code, WARN, None)]
    assert codes_now(sitting, NINE) == [code]


def test_a_bandaged_leg_is_sent_to_the_next_bandage_change_not_to_the_morning() -> None:
    said = text(Sitting(compression="on").read(NINE).flags(), "compression_on")
    assert "at the next bandage change, once swelling has settled" in said
    assert "morning" not in said


# --- 9 and 10: heat, exercise, travel ------------------------------------------------------------


@pytest.mark.parametrize(
    ("lately", "level"),
    [
        (["nothing"], None),
        ([], None),
        (["exercise"], NOTE),
        (["hot_bath"], NOTE),
        (["warm_room"], NOTE),
        (["hot_bath", "warm_room"], NOTE),
        (["exercise", "warm_room"], WARN),
        (["hot_bath", "exercise"], WARN),
    ],
)
def test_9_heat_and_exercise(lately: list[str], level: Level | None) -> None:
    sitting = Sitting(lately=lately).read(NINE).read(NINE, RIGHT)
    for flags in (sitting.flags(), flags_now(sitting.session, NINE, RULES)):
        assert told(flags, "heat_or_exercise") == ([] if level is None else [(None, level)])


def test_9_what_two_people_noted_counts_together() -> None:
    sitting = Sitting(lately=["exercise"]).rival("lately", ["hot_bath"]).read(NINE)
    assert levels(sitting.flags(), "heat_or_exercise") == [WARN]


@pytest.mark.parametrize(
    ("ride", "level"), [("none", None), ("within_day", WARN), ("within_three_days", NOTE)]
)
def test_10_travel(ride: str, level: Level | None) -> None:
    sitting = Sitting(long_ride=ride).read(NINE)
    for flags in (sitting.flags(), flags_now(sitting.session, NINE, RULES)):
        assert told(flags, "long_travel") == ([] if level is None else [(None, level)])


# --- the dent ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dent", "swollen", "expected"),
    [
        ("none", "both", []),
        ("left", "none", [(LEFT, WARN)]),
        ("both", "none", [(LEFT, WARN), (RIGHT, WARN)]),
        ("not_tried", "none", []),
        ("not_tried", "right", [(RIGHT, NOTE)]),
        ("not_tried", "both", [(LEFT, NOTE), (RIGHT, NOTE)]),
    ],
)
def test_a_dent(dent: str, swollen: str, expected: list[tuple[Side, Level]]) -> None:
    flags = Sitting(dent=dent, swollen=swollen).flags()
    assert told(flags, "dent") == expected, "before a reading is taken, so that it is in time"
    if (LEFT, WARN) in expected:
        said = next(flag.text for flag in flags)
        assert "reduce swelling first, then measure, unless the prescriber says otherwise" in said


# --- 11: against the last session ----------------------------------------------------------------


def last_time(**answers: Value) -> Sitting:
    return Sitting(**answers).read(NINE - 90 * 24 * HOUR).read(NINE - 90 * 24 * HOUR, RIGHT)


@pytest.mark.parametrize(
    ("differ", "flagged"),
    [
        (timedelta(0), False),
        (2 * HOUR - SECOND, False),
        (2 * HOUR, False),
        (2 * HOUR + SECOND, True),
        (-2 * HOUR, False),
        (-2 * HOUR - SECOND, True),
    ],
)
def test_11_hours_since_rising(differ: timedelta, *, flagged: bool) -> None:
    up = 4 * HOUR + 40 * MINUTE
    before = last_time(rising_at=NINE - 90 * 24 * HOUR - up).earlier()
    flags = Sitting(rising_at=NINE - up - differ).read(NINE).flags(earlier=before)
    assert told(flags, "follow_up_differs") == ([(LEFT, WARN)] if flagged else [])


@pytest.mark.parametrize(
    ("then", "now", "flagged"),
    [("standing", "standing", False), ("sitting", "standing", True), ("standing", "lying", True)],
)
def test_11_posture(then: str, now: str, *, flagged: bool) -> None:
    sitting = Sitting(posture=now).read(NINE).read(NINE, RIGHT)
    flags = sitting.flags(earlier=last_time(posture=then).earlier())
    assert told(flags, "follow_up_differs") == ([(s, WARN) for s in LEGS] if flagged else [])


@pytest.mark.parametrize(
    ("then", "now", "flagged"),
    [
        ("Tape on the mark.", "Tape on the mark.", False),
        ("Tape on the mark.", "Tape  on the mark.\n", False),
        ("Tape on the mark.", "Tape below the mark.", True),
        ("", "Tape below the mark.", False),
        ("Tape on the mark.", "", False),
    ],
)
def test_11_the_rule_of_the_tape(then: str, now: str, *, flagged: bool) -> None:
    flags = Sitting().read(NINE).flags(earlier=last_time().earlier(then), tape_rule=now)
    assert told(flags, "follow_up_differs") == ([(None, WARN)] if flagged else [])


def test_11_what_is_not_known_of_either_time_is_not_compared() -> None:
    before = last_time(rising_at=NINE).earlier()  # by a clock that was wrong
    assert (
        levels(Sitting(rising_at=NINE - HOUR).read(NINE).flags(earlier=before), "follow_up_differs")
        == []
    )
    only_left = Sitting(posture="lying").read(NINE - 90 * 24 * HOUR).earlier()
    assert Sitting().read(NINE, RIGHT).flags(earlier=only_left) == ()


# --- 16, 17: recorded times ----------------------------------------------------------------------


def test_16_a_recorded_time_without_an_offset_is_told_and_counted_from_by_nothing() -> None:
    naive = NINE.replace(tzinfo=None, hour=2)
    sitting = Sitting()
    sitting.rival("rising_at", naive).read(NINE)
    assert [(f.code, f.level) for f in sitting.flags()] == [("offset_missing", BLOCK)]
    times = leg_times(sitting.session, Readings(sitting.session), LEFT)
    assert times is not None
    assert times.hours_up is None
    where = {"side": "left", "point": "B", "kind": "girth", "round": 1, "unit": "cm", "mm": 246}
    unplaced = session_of(entry_of("readings", "tern-k7qd:1", at=naive, **where))
    readings = Readings(unplaced)
    flags = judge_conditions(unplaced, readings, (LEFT,), RULES)
    assert levels(flags, "offset_missing") == [BLOCK]
    assert readings.adopted(LEFT, *ANKLE) is not None, "the reading itself is kept"


@pytest.mark.parametrize(
    ("zone", "flagged"),
    [("Europe/Berlin", 0), ("", 0), ("Europe/London", 1), ("Skerrow/Isles", 1)],
)
def test_17_recorded_offsets_against_the_sessions_zone(zone: str, flagged: int) -> None:
    sitting = Sitting(zone=zone).read(NINE).read(NINE + MINUTE, RIGHT)
    assert levels(sitting.flags(), "offset_wrong") == [WARN] * flagged


# --- 19: elapsed time ----------------------------------------------------------------------------


@pytest.mark.parametrize(("day", "hours"), [((2025, 3, 30), 5), ((2025, 10, 26), 7)])
def test_19_a_night_with_a_change_of_the_clocks(day: tuple[int, int, int], hours: int) -> None:
    """One to seven by the clock on the wall; Python's own subtraction says six on both days."""
    up = datetime(*day, 1, 0, tzinfo=BERLIN)
    seven = datetime(*day, 7, 0, tzinfo=BERLIN)
    assert seven - up == 6 * HOUR
    sitting = Sitting(rising_at=up, zone="Europe/Berlin").read(seven)
    times = leg_times(sitting.session, Readings(sitting.session), LEFT)
    assert times is not None
    assert times.hours_up == hours
    assert f"({hours}.0 h up)" in text(sitting.flags(), "late_in_day")
    assert f"({hours}.0 h up)" in text(flags_now(sitting.session, seven, RULES), "late_in_day")
    assert levels(sitting.flags(), "offset_wrong") == []


offsets = st.integers(-23 * 60, 23 * 60).map(lambda minutes: timezone(minutes * MINUTE))
_SOON = st.integers(-3 * 86400, 3 * 86400).map(lambda s: s * SECOND)


@settings(max_examples=40)
@given(st.lists(st.tuples(_SOON, offsets), min_size=5, max_size=5))
def test_19_flags_do_not_depend_on_the_offset_a_time_is_written_with(
    times: list[tuple[timedelta, timezone]],
) -> None:
    def flags(*, moved: bool) -> tuple[Flag, ...]:
        rising, off, since, one, other = (
            (NINE + gap).astimezone(offset if moved else UTC) for gap, offset in times
        )
        sitting = Sitting(
            rising_at=rising, compression="off", compression_off_at=off, posture_since=since
        )
        return sitting.read(one).read(other, RIGHT).read(other, number=2).flags()

    assert flags(moved=True) == flags(moved=False)


# --- whatever the clock says ---------------------------------------------------------------------


def _whole_minutes(instant: datetime) -> datetime:
    return instant.replace(microsecond=0)


wild = st.datetimes(
    datetime.min,  # noqa: DTZ901 - the calendar's end is the point
    datetime.max,  # noqa: DTZ901
    timezones=st.none() | offsets,
).map(_whole_minutes)


@settings(max_examples=150)
@given(
    times=st.lists(wild, min_size=8, max_size=8),
    now=wild,
    zone=st.sampled_from(("", "Europe/Berlin", "Pacific/Apia", "nowhere")),
)
def test_no_clock_makes_a_judgement_fail_or_a_reading_disappear(
    times: list[datetime], now: datetime, zone: str
) -> None:
    what = ("rising_at", "compression_off_at", "posture_since")
    answers = [
        entry_of("answers", f"tern-k7qd:{n}", at=now, what=name, is_=value)
        for n, (name, value) in enumerate([*zip(what, times[:3], strict=True), ("zone", zone)], 1)
    ]
    worn = entry_of("answers", "tern-k7qd:9", what="compression", is_="off")
    readings = [
        entry_of(
            "readings",
            f"tern-k7qd:{20 + n}",
            at=at,
            side=("left", "right")[n % 2],
            point=("B", "C")[n // 2 % 2],
            kind="girth",
            round=1 + n // 4,
            typed="24.6",
            unit="cm",
            mm=246,
        )
        for n, at in enumerate(times[3:])
    ]
    session = session_of(*answers, worn, *readings)
    found = Readings(session)
    earlier = Earlier(session_of(*answers[:1], *readings[:2]), found)
    flags = judge_conditions(session, found, LEGS, RULES, earlier=lambda _: earlier)
    flags_now(session, now, RULES, LEFT)
    assert sum(len(found.taken(place)) for place in found.places()) == len(readings)
    assert all(flag.text and flag.about in ("clock", "conditions") for flag in flags)
    order = [list(Level).index(flag.level) for flag in flags]
    assert order == sorted(order, reverse=True), "worst first"
    naive = [at for at in times if at.utcoffset() is None]
    assert levels(flags, "offset_missing") == [BLOCK] * bool(naive)


def test_a_moment_without_an_offset_is_a_block_and_no_hour_is_counted_from_it() -> None:
    session = Sitting(rising_at=NINE - 5 * HOUR, bare_skin="no").session
    flags = flags_now(session, NINE.replace(tzinfo=None), RULES)
    assert [(f.code, f.level) for f in flags] == [
        ("offset_missing", BLOCK),
        ("not_bare_skin", WARN),
    ]


def test_flags_stand_worst_first_and_each_leg_is_told_once() -> None:
    sitting = Sitting(
        rising_at=NINE - 5 * HOUR,
        compression="off",
        compression_off_at=NINE + HOUR,
        lately=["exercise"],
        dent="left",
    )
    flags = sitting.read(NINE).read(NINE + MINUTE, what=CALF).read(NINE, RIGHT).flags()
    assert [(f.code, f.side) for f in flags] == [
        ("off_after_reading", LEFT),
        ("off_after_reading", RIGHT),
        ("late_in_day", LEFT),
        ("dent", LEFT),
        ("late_in_day", RIGHT),
        ("heat_or_exercise", None),
    ]


def test_damaged_answers_are_no_answers() -> None:
    session = session_of(
        *(
            entry_of("answers", f"tern-k7qd:{n}", what=what, is_=["left"])
            for n, what in enumerate(
                (
                    "rising_at",
                    "posture",
                    "compression",
                    "dent",
                    "swollen",
                    "long_ride",
                    "bare_skin",
                ),
                1,
            )
        ),
        entry_of("answers", "tern-k7qd:11", what="lately", is_="exercise"),
        entry_of("answers", "tern-k7qd:12", what="zone", is_=7),
    )
    judge_conditions(session, Readings(session), LEGS, RULES)
    flags_now(session, NINE, RULES)


# --- the demo day --------------------------------------------------------------------------------


def at(hour: int, minute: int) -> datetime:
    return datetime(2026, 3, 4, hour, minute, tzinfo=UTC)


def test_case_2_night_baker_up_at_four_in_the_afternoon_is_not_late() -> None:
    sitting = Sitting(rising_at=at(16, 0), bare_skin="yes", compression="none")
    sitting.read(at(16, 40), LEFT, CALF, cm="38.0").read(at(16, 42), RIGHT, CALF, cm="38.1")
    assert sitting.flags() == ()
    assert codes_now(sitting, at(16, 40)) == []


def test_case_3_teacher_is_late_in_strong_words() -> None:
    sitting = Sitting(rising_at=at(6, 0), bare_skin="yes", compression="none")
    for minute, (side, what, cm) in enumerate(
        ((LEFT, ANKLE, "24.6"), (LEFT, CALF, "39.9"), (RIGHT, ANKLE, "24.5"), (RIGHT, CALF, "40.0"))
    ):
        sitting.read(at(16, 40 + minute), side, what, cm=cm)
    flags = sitting.flags()
    assert [(f.code, f.level, f.side) for f in flags] == [
        ("late_in_day", WARN, LEFT),
        ("late_in_day", WARN, RIGHT),
    ]
    assert "too large, so the garment too big and its pressure too low" in flags[0].text
    assert flags[0].text.startswith("Very late in the day (10.7 h up)")
    assert codes_now(sitting, at(16, 40)) == ["late_in_day"]


def test_case_6_ten_minutes_out_of_the_bandage_is_a_note_and_not_late() -> None:
    sitting = Sitting(
        rising_at=at(7, 0),
        compression="off",
        compression_off_at=at(15, 20),
        swollen="left",
        dent="none",
    )
    sitting.read(at(15, 30), LEFT, ANKLE, cm="29.5").read(at(15, 31), LEFT, CALF, cm="44.0")
    flags = sitting.flags()
    assert [(f.code, f.level, f.side) for f in flags] == [("compression_just_off", NOTE, LEFT)]
    assert flags[0].text.startswith("Measured 10 min after")
    assert hours_between(at(7, 0), at(15, 30)) == 8.5


def test_leg_times_are_first_and_last_of_the_leg() -> None:
    sitting = Sitting(rising_at=NINE - HOUR).read(NINE).read(NINE + 3 * MINUTE, what=CALF)
    readings = Readings(sitting.session)
    times = leg_times(sitting.session, readings, LEFT)
    assert times is not None
    assert (times.first, times.last) == (NINE, NINE + 3 * MINUTE)
    assert times.hours_up == 1.05
    assert times.minutes_since_compression is None
    sitting.answer(NINE, compression="off", compression_off_at=NINE - 20 * MINUTE)
    off = leg_times(sitting.session, Readings(sitting.session), LEFT)
    assert off is not None
    assert off.minutes_since_compression == 20
    assert leg_times(sitting.session, readings, RIGHT) is None


def test_a_shoe_size_asked_later_gives_the_leg_no_hour() -> None:
    shoe = (Point.FOOT, Kind.SHOE)
    sitting = Sitting(rising_at=NINE - HOUR).read(NINE - 20 * MINUTE, what=CALF)
    early = leg_times(sitting.session, Readings(sitting.session), LEFT)
    sitting.read(NINE + 10 * HOUR, LEFT, shoe, cm="EU 39")
    assert leg_times(sitting.session, Readings(sitting.session), LEFT) == early
    assert levels(sitting.flags(), "late_in_day") == []
    only = Sitting(rising_at=NINE - HOUR).read(NINE, LEFT, shoe, cm="EU 39")
    assert leg_times(only.session, Readings(only.session), LEFT) is None
