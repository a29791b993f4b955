"""Repeats: how many readings a place wants, whether they agree, and what is still single."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import entry_of, session_of

from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import SizeAnswer, decide_size
from fitcore.disk.profile_files import load_profiles
from fitcore.doubts.repeats import (
    agree,
    doubted_places,
    explained_sides,
    is_settled,
    judge_repeats,
    limit_mm,
    near_edges,
    repeat_way,
    rounds_wanted,
)
from fitcore.flags import Flag, Level
from fitcore.points import LEGS, Kind, Place, Point, Side
from fitcore.profile_models import RepeatRule
from fitcore.protocol import plan
from fitcore.record.readings import Adopted, Readings

if TYPE_CHECKING:
    from fitcore.record.entries import Entry

PROFILES = load_profiles()
RULE = RepeatRule()
ANKLE: Place = (Side.LEFT, Point.B, Kind.GIRTH)
CALF: Place = (Side.LEFT, Point.C, Kind.GIRTH)


def answered(number: int, what: str, value: object) -> Entry:
    return entry_of("answers", f"tern-k7qd:{number}", what=what, **{"is": value})


def read(number: int, place: Place, cm: str, turn: int = 1, **more: object) -> Entry:
    side, point, kind = place
    where = {"side": side.value, "point": point.value, "kind": kind.value, "round": turn}
    value = {} if "not_taken" in more else {"typed": cm, "unit": "cm", "mm": Decimal(cm) * 10}
    return entry_of("readings", f"tern-k7qd:{number}", **where, **value, **more)


@pytest.mark.parametrize(
    ("first", "second", "same"),
    [
        ("22.4", "22.7", True),  # 3 mm, the floor
        ("22.4", "22.8", False),
        ("36.2", "36.56", True),  # 1 % of 36.38 is 3.638 mm
        ("36.2", "36.57", False),
        ("62.0", "62.6", True),  # 1 % of 62.3 is 6.23 mm
        ("62.0", "62.7", False),
    ],
)
def test_two_readings_agree_up_to_the_larger_of_three_millimetres_and_one_percent(
    first: str,
    second: str,
    *,
    same: bool,
) -> None:
    values = [Decimal(first) * 10, Decimal(second) * 10]
    assert agree(RULE, values) is same
    assert agree(RULE, values[::-1]) is same


@given(st.lists(st.integers(150, 900).map(Decimal), min_size=1, max_size=3))
def test_the_limit_is_never_below_its_floor_nor_its_percentage(values: list[Decimal]) -> None:
    limit = limit_mm(RULE, values)
    assert limit >= 3
    assert limit >= sum(values) / len(values) / 100
    assert agree(RULE, values[:1])
    if len(set(values)) == 1:
        assert agree(RULE, values)


def test_a_third_reading_settles_what_two_left_open() -> None:
    assert agree(RULE, [Decimal(362), Decimal(380), Decimal(363)])
    assert not agree(RULE, [Decimal(362), Decimal(380), Decimal(371)])


def test_a_repeat_is_wanted_only_where_something_is_doubtful() -> None:
    session = session_of(read(1, ANKLE, "22.4"), read(2, CALF, "50.0", doubts=["soft_range"]))
    readings = Readings(session)
    assert rounds_wanted(session, readings, RULE, ANKLE) == 1
    assert rounds_wanted(session, readings, RULE, ANKLE, {ANKLE}) == 2
    assert rounds_wanted(session, readings, RULE, CALF, {CALF}) == 2


def test_what_was_doubted_when_it_was_typed_is_history() -> None:
    """The neighbour read since, or a correction of the other leg, may have settled it."""
    session = session_of(read(1, CALF, "40.2", doubts=["other_leg"]))
    assert rounds_wanted(session, Readings(session), RULE, CALF) == 1


@pytest.mark.parametrize(
    ("code", "sides"),
    [
        ("other_leg", LEGS),
        ("same_both_legs", LEGS),
        ("last_time", (Side.LEFT,)),
        ("ratio", LEGS[:1]),
    ],
)
def test_a_doubt_about_two_legs_asks_for_both(code: str, sides: tuple[Side, ...]) -> None:
    flag = Flag(code, Level.WARN, "reading", "Doubtful.", *CALF)
    assert doubted_places([flag]) == {(side, *CALF[1:]) for side in sides}
    assert doubted_places([replace(flag, level=Level.NOTE)]) == frozenset()
    assert doubted_places([replace(flag, side=None)]) == frozenset()


def test_the_hour_is_no_reason_to_repeat() -> None:
    session = session_of(read(1, ANKLE, "22.4", doubts=["late_in_day"]))
    assert rounds_wanted(session, Readings(session), RULE, ANKLE) == 1


@pytest.mark.parametrize("what", ["swollen", "dent"])
def test_a_swollen_leg_is_repeated_at_every_point(what: str) -> None:
    session = session_of(answered(1, what, "left"), read(2, ANKLE, "29.5"))
    readings = Readings(session)
    assert repeat_way(session, RULE, Side.LEFT) == "each_point"
    assert repeat_way(session, RULE, Side.RIGHT) == "where_doubtful"
    assert rounds_wanted(session, readings, RULE, ANKLE) == 2
    assert rounds_wanted(session, readings, RULE, (Side.RIGHT, Point.B, Kind.GIRTH)) == 1


def test_a_whole_second_round_stays_one_on_a_swollen_leg() -> None:
    session = session_of(answered(1, "swollen", "both"), answered(2, "repeats", "second_round"))
    assert repeat_way(session, RULE, Side.LEFT) == "second_round"


@pytest.mark.parametrize("second", ["22.7", "23.0"])
def test_a_third_is_wanted_where_two_differ(second: str) -> None:
    session = session_of(read(1, ANKLE, "22.4"), read(2, ANKLE, second, 2))
    wanted = rounds_wanted(session, Readings(session), RULE, ANKLE)
    assert wanted == (3 if second == "23.0" else 2)


def test_what_was_not_taken_is_not_repeated() -> None:
    session = session_of(
        answered(1, "repeats", "second_round"), read(2, ANKLE, "", not_taken="wound")
    )
    assert rounds_wanted(session, Readings(session), RULE, ANKLE) == 1


def test_repeats_left_out_are_asked_again_when_taken_up() -> None:
    asked = [answered(1, "repeats", "second_round"), read(2, ANKLE, "22.4")]
    left_out = answered(3, "round_skipped", "client is tired")
    again = entry_of(
        "answers",
        "tern-k7qd:4",
        what="round_skipped",
        **{"is": "none"},
        instead_of=["tern-k7qd:3"],
    )
    for entries, wanted in ((asked, 2), ([*asked, left_out], 1), ([*asked, left_out, again], 2)):
        session = session_of(*entries)
        assert rounds_wanted(session, Readings(session), RULE, ANKLE) == wanted


def test_a_second_round_comes_after_the_first_and_a_quick_repeat_at_once() -> None:
    protocol = PROFILES.protocols["below-knee-short"]
    names = [s.name for s in plan(protocol, (Side.LEFT,), wanted=lambda _: 2)]
    first = [name for name in names if name.endswith(" 1")]
    assert names == [*first, *(name.replace(" 1", " 2") for name in first)]
    names = [
        s.name for s in plan(protocol, (Side.LEFT,), wanted=lambda _: 3, at_once=lambda _: True)
    ]
    assert names[:4] == [
        "left B girth 1",
        "left B girth 2",
        "left B girth 3",
        "left C girth 1",
    ]


def test_a_place_wanted_once_stands_once_among_others() -> None:
    protocol = PROFILES.protocols["below-knee-short"]
    steps = plan(protocol, LEGS, wanted=lambda place: 2 if place == CALF else 1)
    assert [s.name for s in steps if s.round == 2] == ["left C girth 2"]
    assert steps[-1].name == "left C girth 2"


@pytest.mark.parametrize(
    ("entries", "code", "level"),
    [
        ([read(1, ANKLE, "22.4")], None, None),
        ([read(1, ANKLE, "28.0", doubts=["soft_range"])], "single_reading", "warn"),
        (
            [
                read(1, ANKLE, "28.0", doubts=["soft_range"]),
                read(2, ANKLE, "", 2, not_taken="client is tired"),
            ],
            "single_reading",
            "note",
        ),
        (
            [
                read(1, ANKLE, "28.0", doubts=["soft_range"]),
                answered(2, "round_skipped", "no time"),
            ],
            "single_reading",
            "note",
        ),
        ([read(1, ANKLE, "22.4"), read(2, ANKLE, "22.9", 2)], "repeat_differs", "warn"),
        ([read(1, ANKLE, "22.4"), read(2, ANKLE, "22.6", 2)], None, None),
        (
            [read(1, ANKLE, "22.4"), read(2, ANKLE, "22.9", 2), read(3, ANKLE, "22.8", 3)],
            None,
            None,
        ),
        (
            [read(1, ANKLE, "22.4"), read(2, ANKLE, "22.9", 2), read(3, ANKLE, "23.4", 3)],
            "repeat_differs",
            "warn",
        ),
    ],
)
def test_what_is_told_of_repeats(entries: list[Entry], code: str | None, level: str | None) -> None:
    session = session_of(*entries)
    readings = Readings(session)
    doubtful = {place for place in readings.places() for r in readings.taken(place) if r.doubts}
    flags = judge_repeats(session, readings, RULE, LEGS, doubtful)
    told = [(flag.code, flag.level.value, flag.point) for flag in flags]
    assert told == ([(code, level, Point.B)] if code else [])


def test_two_postures_are_never_averaged() -> None:
    session = session_of(
        answered(1, "posture", "standing"),
        read(2, CALF, "36.2"),
        read(3, CALF, "36.6", 2, posture="sitting"),
    )
    readings = Readings(session)
    assert readings.disputed(CALF)
    assert readings.adopted(*CALF) is None
    assert len(readings.current(CALF)) == 2


def test_near_an_edge_is_within_the_limit_of_it() -> None:
    """The edges are looked up in the chart itself, not in our own margins."""
    chart = next(c for c in PROFILES.charts if any(d.point is Point.C for d in c.dimensions))
    calf = next(d for d in chart.dimensions if d.point is Point.C and d.kind is Kind.GIRTH)
    others = {
        d.point: sum(chart.sizes[1].ranges[d.id], Decimal(0)) / 2
        for d in chart.dimensions
        if d is not calf and d.kind is not Kind.SHOE
    }
    low, high = chart.sizes[1].ranges[calf.id]
    middle = (low + high) / 2
    for mm, near in ((middle, False), (low + 1, True), (high - 1, True)):
        entries = [read(1, CALF, str(mm / 10))]
        for number, (point, value) in enumerate(others.items(), 2):
            entries.append(read(number, (Side.LEFT, point, Kind.GIRTH), str(value / 10)))
        readings = Readings(session_of(*entries))
        answer = decide_size(chart, lambda p, k, r=readings: r.adopted(Side.LEFT, p, k))
        places = near_edges(
            Side.LEFT, [(chart, answer)], RULE, lambda p, k, r=readings: r.adopted(Side.LEFT, p, k)
        )
        assert (CALF in places) is near, (chart.id, mm, answer)


@pytest.mark.parametrize(
    ("code", "second", "settled"),
    [
        ("soft_range", "28.1", True),
        ("tape_slip", "28.0", True),
        ("soft_range", "28.6", False),
        ("soft_range", None, False),
        # Confirmed by a second reading, a leg larger than the other is more worrying, not less.
        ("other_leg", "28.1", False),
        ("last_time", "28.1", False),
        ("late_in_day", "28.1", False),
    ],
)
def test_a_second_reading_settles_a_slip_but_never_a_finding(
    code: str, second: str | None, *, settled: bool
) -> None:
    entries = [read(1, ANKLE, "28.0")] + ([read(2, ANKLE, second, 2)] if second else [])
    flag = Flag(code, Level.WARN, "reading", "told", ANKLE[0], ANKLE[1], ANKLE[2])
    assert is_settled(Readings(session_of(*entries)), RULE, flag) is settled


def test_only_a_swelling_known_of_old_explains_a_difference() -> None:
    swollen = answered(1, "swollen", "left")
    for known, explained in (("oedema", {Side.LEFT}), ("none", set()), ("heart_failure", set())):
        session = session_of(swollen, answered(2, "swelling_known", known))
        assert explained_sides(session) == explained
    assert explained_sides(session_of(swollen)) == set()
    disputed = [answered(2, "swelling_known", "oedema"), answered(3, "swelling_known", "none")]
    assert explained_sides(session_of(swollen, *disputed)) == set()


@pytest.mark.parametrize("code", ["hard_range", "unit_slip", "decimal_slip"])
def test_the_same_wrong_tape_settles_nothing(code: str) -> None:
    """8.7 read twice on an inch tape is 8.7 twice."""
    readings = Readings(session_of(read(1, ANKLE, "8.7"), read(2, ANKLE, "8.7", 2)))
    flag = Flag(code, Level.WARN, "reading", "", *ANKLE)
    assert not is_settled(readings, RULE, flag)


def test_two_that_agree_settle_nothing_about_a_third() -> None:
    flag = Flag("soft_range", Level.WARN, "reading", "", *CALF)
    three = session_of(read(1, CALF, "56.2"), read(2, CALF, "36.2", 2), read(3, CALF, "36.2", 3))
    assert not is_settled(Readings(three), RULE, flag)
    two = session_of(read(1, CALF, "56.2"), read(2, CALF, "56.1", 2))
    assert is_settled(Readings(two), RULE, flag)


def test_two_pairs_far_apart_do_not_agree_on_the_middle_between_them() -> None:
    cm = ("36.0", "36.1", "46.0", "46.1")
    assert not agree(RULE, [Decimal(value) * 10 for value in cm])
    rows = [read(n, CALF, value, n) for n, value in enumerate(cm, 1)]
    session = session_of(*rows)
    (flag,) = judge_repeats(session, Readings(session), RULE, LEGS)
    assert flag.code == "repeat_differs"


def test_a_length_and_a_girth_of_one_height_are_told_apart() -> None:
    length: Place = (Side.LEFT, Point.D, Kind.LENGTH)
    session = session_of(read(1, length, "41"), read(2, length, "43", 2))
    (flag,) = judge_repeats(session, Readings(session), RULE, LEGS)
    assert (flag.point, flag.kind) == (Point.D, Kind.LENGTH)
    assert flag.as_json()["kind"] == "length"


def test_two_corrections_of_one_reading_are_a_question_and_no_repeat() -> None:
    session = session_of(
        read(1, CALF, "36.0"),
        read(2, CALF, "38.0", instead_of=["tern-k7qd:1"]),
        read(3, CALF, "39.0", instead_of=["tern-k7qd:1"]),
    )
    readings = Readings(session)
    assert readings.disputed(CALF)
    assert rounds_wanted(session, readings, RULE, CALF) == 1
    assert judge_repeats(session, readings, RULE, LEGS) == ()


def test_a_shoe_size_that_stands_for_the_length_is_asked_once() -> None:
    foot: Place = (Side.LEFT, Point.FOOT, Kind.LENGTH)
    shoe = entry_of(
        "readings", "tern-k7qd:2", side="left", point="foot", kind="shoe", round=1, typed="EU 39",
        value=Decimal(39), system="eu",
    )  # fmt: skip
    session = session_of(answered(1, "repeats", "second_round"), shoe)
    assert rounds_wanted(session, Readings(session), RULE, foot) == 1


SPINDRIFT = next(c for c in PROFILES.charts if c.id == "mill-two-spindrift")


@given(st.integers(180, 330), st.integers(280, 480), st.integers(330, 480), st.sampled_from("BCD"))
def test_a_repeat_is_asked_wherever_it_could_change_the_size(
    ankle: int, calf: int, length: int, moved: str
) -> None:
    """Moved by up to the limit, one measure at a time; other sizes' edges count too."""
    places = {"B": ANKLE, "C": CALF, "D": (Side.LEFT, Point.D, Kind.LENGTH)}
    mm = {"B": Decimal(ankle), "C": Decimal(calf), "D": Decimal(length)}

    def judged(values: dict[str, Decimal]) -> tuple[SizeAnswer, frozenset[Place]]:
        rows = [read(n, places[p], str(v / 10)) for n, (p, v) in enumerate(values.items(), 1)]
        readings = Readings(session_of(*rows))

        def measured(point: Point, kind: Kind) -> Adopted | None:
            return readings.adopted(Side.LEFT, point, kind)

        answer = decide_size(SPINDRIFT, measured)
        return answer, near_edges(Side.LEFT, [(SPINDRIFT, answer)], RULE, measured)

    def outcome(answer: SizeAnswer) -> tuple[object, ...]:
        inside = answer.verdict in (Verdict.FITS, Verdict.OVERLAP)
        return (inside, answer.size, answer.variant, answer.alternatives)

    now, near = judged(mm)
    limit = int(limit_mm(RULE, (mm[moved],)))
    for step in range(-limit, limit + 1):
        changed, _ = judged(mm | {moved: mm[moved] + step})
        if outcome(changed) != outcome(now):
            assert places[moved] in near, (now, changed)
