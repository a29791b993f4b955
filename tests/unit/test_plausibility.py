"""Doubts about readings: codes, levels, words, and the silence about good legs."""

from __future__ import annotations

import itertools
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pydantic import ValidationError
from strategies import entry_of, session_of

from fitcore.doubts.neighbours import HEIGHTS, Context
from fitcore.doubts.plausibility import doubt_reading, judge_range, judge_readings
from fitcore.flags import Flag, Level
from fitcore.points import Kind, Place, Point, Side, other_side
from fitcore.profile_models import Ranges
from fitcore.record.readings import Readings
from fitcore.units import UNITS, parse_length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.units import Unit

ADULTS = Path(__file__).resolve().parents[2] / "profiles" / "ranges" / "adults.toml"
TABLE: dict[str, Any] = tomllib.loads(ADULTS.read_text("utf-8"), parse_float=Decimal)
RANGES = Ranges.model_validate(TABLE)
LEFT, RIGHT = Side.LEFT, Side.RIGHT
NOBODY: frozenset[Side] = frozenset()

Values = dict[tuple[Side, Point, Kind], Decimal]


def girths(side: Side = LEFT, **cm: str) -> Values:
    return {(side, Point(p), Kind.GIRTH): Decimal(text) * 10 for p, text in cm.items()}


def heights(side: Side = LEFT, **cm: str) -> Values:
    return {(side, Point(p), Kind.LENGTH): Decimal(text) * 10 for p, text in cm.items()}


def told(
    point: str,
    typed: str,
    known: Mapping[Place, Decimal] | None = None,
    *,
    side: Side = LEFT,
    kind: Kind = Kind.GIRTH,
    unit: Unit = "cm",
    before: Mapping[Place, Decimal] | None = None,
    just: tuple[Place, str, Decimal] | None = None,
    swollen: frozenset[Side] = NOBODY,
    explained: frozenset[Side] = NOBODY,
    ranges: Ranges = RANGES,
) -> tuple[Flag, ...]:
    """Type one reading; the place itself must never be asked for."""
    place = (side, Point(point), kind)

    def value(*asked: Any) -> Decimal | None:
        assert asked != place
        return (known or {}).get(asked)

    context = Context(
        value, lambda *asked: (before or {}).get(asked), just, swollen, unit, explained
    )
    length = parse_length(typed, unit)
    return doubt_reading(ranges, place, length.mm, typed, length.unit, context)


def codes(flags: tuple[Flag, ...]) -> list[str]:
    return [flag.code for flag in flags]


def session(*rows: tuple[str, str, str, str], **extra: Any) -> Readings:
    """Return the readings of a session: side, point, kind, typed cm; in the order of entry."""
    return Readings(
        session_of(
            *(
                entry_of(
                    "readings",
                    f"tern-k7qd:{number}",
                    side=side,
                    point=point,
                    kind=kind,
                    round=extra.get("rounds", {}).get(number, 1),
                    typed=cm,
                    unit="cm",
                    mm=Decimal(cm) * 10,
                )
                for number, (side, point, kind, cm) in enumerate(rows, 1)
            )
        )
    )


def recorded(
    readings: Readings,
    before: Mapping[Place, Decimal] | None = None,
    swollen: frozenset[Side] = NOBODY,
    explained: frozenset[Side] = NOBODY,
    differing: frozenset[Place] = frozenset(),
) -> list[tuple[str, Level, Side | None, Point | None]]:
    last = before or {}
    flags = judge_readings(
        RANGES, readings, lambda *asked: last.get(asked), swollen, explained, differing=differing
    )
    return [(flag.code, flag.level, flag.side, flag.point) for flag in flags]


# --- one reading by itself -----------------------------------------------------------------------


@pytest.mark.parametrize("cm", ["18", "22.4", "27"])
def test_a_reading_within_or_on_the_limits_is_not_doubted(cm: str) -> None:
    assert told("B", cm) == ()


@pytest.mark.parametrize(("cm", "code"), [("17.9", "soft_range"), ("27.1", "soft_range")])
def test_outside_what_nearly_all_legs_read_is_looked_at_again(cm: str, code: str) -> None:
    [flag] = told("B", cm)
    assert (flag.code, flag.level, flag.about) == (code, Level.WARN, "reading")
    assert (flag.side, flag.point, flag.kind) == (LEFT, Point.B, Kind.GIRTH)
    assert flag.text == (
        f"round the ankle (B): {cm} cm is outside 18 to 27 cm, where nearly all legs are. "
        "Look at the tape again."
    )


def test_the_word_for_the_range_beside_the_field_stands_for_no_other() -> None:
    """Beside the field stands *usually x to y*, the typical range; doubts speak of another."""
    for cm in ("27.1", "61", "8.7", "2.24"):
        assert all("usual" not in flag.text for flag in told("B", cm))


@pytest.mark.parametrize("cm", ["11.9", "60.1"])
def test_the_impossible_blocks(cm: str) -> None:
    assert {f.code: f.level for f in told("B", cm)}["hard_range"] is Level.BLOCK
    flag = judge_range(RANGES, (LEFT, Point.B, Kind.GIRTH), parse_length(cm, "cm"))
    assert flag is not None
    assert (flag.code, flag.level) == ("hard_range", Level.BLOCK)
    assert judge_range(RANGES, (LEFT, Point.B, Kind.GIRTH), parse_length("22.4", "cm")) is None


@pytest.mark.parametrize(
    ("typed", "unit", "expected", "words"),
    [
        ("8.7", "cm", ["hard_range", "unit_slip"], "Read in inches? Then type it with in. "),
        ("8.7", "cm", ["hard_range", "unit_slip"], "It would be 22.1 cm."),
        ("22.4", "in", ["unit_slip", "soft_range"], "Read in cm? Then type it with cm. It would"),
        ("22.4", "in", ["unit_slip", "soft_range"], "22.4 in = 56.896 cm"),
        ("224", "in", ["hard_range", "unit_slip", "tape_too_short"], "Read in mm?"),
        ("22.4", "mm", ["hard_range", "unit_slip", "decimal_slip"], "It would be 22.4 cm."),
        ("224", "cm", ["hard_range", "unit_slip", "decimal_slip", "tape_too_short"], "read in mm?"),
        ("2.24", "cm", ["hard_range", "decimal_slip"], "It reads like 22.4 cm."),
        # A rare ankle of 27.9 cm: the one meaning that can be at all.
        ("11", "cm", ["hard_range", "unit_slip"], "It would be 27.9 cm."),
        ("61", "cm", ["hard_range"], "Look at the tape again."),
    ],
)
def test_a_slip_of_unit_or_point_is_named_with_what_it_reads_like(
    typed: str, unit: Unit, expected: list[str], words: str
) -> None:
    flags = told("B", typed, unit=unit)
    assert codes(flags) == expected
    assert words in flags[0].text
    # One cause, one sentence.
    assert len({f.text for f in flags if f.code != "tape_too_short"}) == 1


def test_an_inch_reading_is_named_in_both_units() -> None:
    assert "11 in = 27.94 cm" in told("B", "11", unit="in")[0].text
    assert "11 1/2 in = 29.21 cm" in told("B", "11 1/2 in")[0].text


def test_a_girth_longer_than_the_tape_is_asked_about() -> None:
    long = RANGES.model_copy(update={"tape_cm": Decimal(60)})
    assert told("G", "60", ranges=long) == ()
    [flag] = told("G", "60.1", ranges=long)
    assert (flag.code, flag.level) == ("tape_too_short", Level.WARN)
    assert "longer than the tape (60 cm)" in flag.text
    assert told("G", "90", kind=Kind.LENGTH, ranges=long) == ()
    assert "tape_too_short" in codes(told("G", "151"))
    assert told("T", "149") == ()


def test_digits_swapped_far_outside_are_named_without_a_neighbour() -> None:
    flags = told("C", "63.2")
    assert codes(flags) == ["digits_swapped", "soft_range"]
    assert "Digits swapped, 36.2 cm? Look at the tape again." in flags[0].text
    assert codes(told("G", "86.8")) == ["soft_range"]  # a soldier's true thigh


# --- beside the other girths of the leg ----------------------------------------------------------


def test_a_calf_read_ten_off_is_told_beside_the_ankle() -> None:
    flags = told("C", "46.2", girths(B="22.0"))
    assert [(f.code, f.level, f.point) for f in flags] == [("tape_slip", Level.WARN, Point.C)]
    assert flags[0].text == (
        "round the calf (C): 46.2 cm does not go with 22.0 cm round the ankle (B). "
        "It reads like 36.2 cm: look at the tape again."
    )


def test_an_ankle_slip_is_told_when_the_next_girth_betrays_it() -> None:
    assert codes(told("B", "32.0")) == ["soft_range"]
    flags = told("C", "36.5", girths(B="32.0"))
    assert [(f.code, f.point) for f in flags] == [("tape_slip", Point.B), ("ratio", Point.B)]
    assert "reads like 22.0 cm" in flags[0].text


def test_a_doubt_told_once_is_not_told_again_at_each_further_field() -> None:
    leg = girths(B="22.0", C="56.0")
    assert codes(told("C", "56.0", girths(B="22.0"))) == ["ratio", "soft_range"]
    assert told("E", "36.0", leg) == ()
    assert told("G", "56.0", {**leg, **girths(E="36.0")}) == ()


def test_swapped_digits_are_told_beside_the_ankle() -> None:
    flags = told("C", "63.2", girths(B="22.0"))
    assert codes(flags) == ["digits_swapped", "ratio", "soft_range"]
    assert "Digits swapped, 36.2 cm?" in flags[0].text


def test_a_tape_in_inches_has_digits_but_no_tens_to_slip_by() -> None:
    flags = told("C", "51 1/4", girths(B="22.0"), unit="in")
    [swapped] = [flag for flag in flags if flag.code == "digits_swapped"]
    assert "51 1/4 in = 130.175 cm" in swapped.text
    assert "38.7 cm" in swapped.text  # 15 1/4 in, rounded for the eye only
    # Read in cm, 31.25 is an ordinary calf: that explains it, not the digits.
    read_in_cm = told("C", "31 1/4", girths(B="22.0"), unit="in")
    assert codes(read_in_cm) == ["unit_slip", "soft_range"]
    assert "tape_slip" in codes(told("C", "46.2", girths(B="22.0")))
    assert "tape_slip" not in codes(told("C", "18 3/16", girths(B="22.0"), unit="in"))


@pytest.mark.parametrize(
    ("field", "typed", "known", "names"),
    [
        ("C", "22.4", girths(B="36.2"), ("round the ankle (B), 36.2 cm", "round the calf (C), 22")),
        ("B", "36.2", girths(C="22.4"), ("round the ankle (B), 36.2 cm", "round the calf (C), 22")),
        (
            "G",
            "36.2",
            girths(B="22.4", C="57.0", E="36.5"),
            ("round the calf (C), 57.0 cm", "round the top of the thigh (G), 36.2 cm"),
        ),
    ],
)
def test_two_neighbours_in_each_others_field_are_named(
    field: str, typed: str, known: Values, names: tuple[str, str]
) -> None:
    flag = told(field, typed, known)[0]
    assert (flag.code, flag.level) == ("neighbours_swapped", Level.WARN)
    assert all(name in flag.text for name in names)
    assert "Swapped? Measure both again." in flag.text


def test_an_ankle_not_smaller_than_the_calf_is_told_whichever_comes_last() -> None:
    for flags in (told("C", "26.0", girths(B="26.0")), told("B", "26.0", girths(C="26.0"))):
        assert codes(flags)[:3] == ["tape_slip", "ankle_not_smaller", "ratio"]
        assert flags[1].point is Point.C
        assert "It reads like 36.0 cm" in flags[1].text
    [first, *_] = told("C", "30.0", girths(B="50.0"))
    assert first.code == "ankle_not_smaller"
    assert "round the ankle (B), 50.0 cm, is not smaller than round the calf (C), 30" in first.text


@given(knee=st.integers(330, 400), calf=st.integers(330, 400), ankle=st.integers(200, 240))
def test_the_calf_may_be_larger_than_the_knee_and_never_reads_as_swapped(
    knee: int, calf: int, ankle: int
) -> None:
    known = girths(B=str(Decimal(ankle) / 10), C=str(Decimal(calf) / 10))
    flags = told("E", str(Decimal(knee) / 10), known)
    assert {"neighbours_swapped", "ankle_not_smaller"}.isdisjoint(codes(flags))
    if Decimal("0.87") < Decimal(knee) / calf < Decimal("1.17"):
        assert flags == ()


def test_a_ratio_no_healthy_leg_has_is_told_where_no_slip_explains_it() -> None:
    flags = told("G", "60.0", girths(C="27.5"))
    assert "ratio" in codes(flags)
    [flag] = told("Y", "58.0", girths(B="26.0"))
    assert flag.text == (
        "round heel and instep (Y): 58.0 cm does not go with 26.0 cm round the ankle (B). "
        "Measure both again."
    )


def test_without_ratios_in_the_data_nothing_is_compared() -> None:
    bare = Ranges.model_validate(
        {k: v for k, v in TABLE.items() if k not in ("ratios", "lines", "swaps", "differences")}
    )
    assert told("C", "46.2", girths(B="22.0") | girths(RIGHT, C="36.0"), ranges=bare) == ()


def test_a_number_that_cannot_be_right_is_told_for_that_alone() -> None:
    """Read in inches, it is an ordinary ankle: what else is odd about it is no news."""
    beside = girths(C="36.0") | girths(RIGHT, B="22.0")
    flags = told("B", "8.7", beside, before=girths(B="22.0"))
    assert codes(flags) == ["hard_range", "unit_slip"]
    assert codes(told("B", "61", beside)) == ["hard_range"]
    kept = girths(B="8.7") | girths(RIGHT, B="8.7", C="95.0")
    assert told("C", "36.0", kept, before=girths(C="9.0")) == ()
    assert codes(told("D", "4.05", heights(C="30", E="46"), kind=Kind.LENGTH)) == [
        "hard_range",
        "decimal_slip",
    ]
    assert told("E", "46", heights(C="3", D="400"), kind=Kind.LENGTH) == ()
    rows = session(
        ("left", "B", "girth", "8.7"),
        ("left", "C", "girth", "36.0"),
        ("right", "B", "girth", "22.0"),
    )
    assert recorded(rows) == [
        ("hard_range", Level.BLOCK, LEFT, Point.B),
        ("unit_slip", Level.WARN, LEFT, Point.B),
    ]


def test_two_meanings_that_can_both_be_are_not_guessed_between() -> None:
    assert codes(told("B", "5")) == ["hard_range"]  # 12.7 cm in inches, or 50


def test_of_two_equally_doubtful_the_one_just_read_is_looked_at_again() -> None:
    """A tape in inches has no tens to slip by: nothing explains the pair."""
    calf = told("C", "18 1/8", girths(B="20.8"), unit="in")
    ankle = told("B", "8 3/16", girths(C="46.0"), unit="in")
    assert [(f.code, f.point) for f in calf] == [("ratio", Point.C)]
    assert [(f.code, f.point) for f in ankle] == [("ratio", Point.B)]


def test_of_two_at_odds_the_rare_one_is_doubted() -> None:
    flags = told("E", "14 3/16", girths(B="40.0"), unit="in")
    assert [(f.code, f.point) for f in flags] == [("ratio", Point.B)]
    # The calf then adds what anybody can see, and no more.
    flags = told("C", "15", girths(B="40.0", E="36.0"), unit="in")
    assert [(f.code, f.point) for f in flags] == [
        ("ankle_not_smaller", Point.B),
        ("ratio", Point.B),
    ]
    assert told("F", "20", girths(B="40.0", E="36.0"), unit="in") == ()


def test_a_unit_that_does_not_go_with_the_leg_explains_nothing() -> None:
    """28.4 in are 72.1 cm: a thigh for one knee, too much for another."""
    assert codes(told("G", "28.4", girths(E="40.0"))) == ["unit_slip", "soft_range"]
    assert codes(told("G", "28.4", girths(E="34.0"))) == ["unit_slip", "ratio", "soft_range"]


def test_the_reading_at_odds_with_a_third_is_doubted_first() -> None:
    flags = told("B", "8 3/16", girths(C="46.0", E="38.5"), unit="in")
    assert [(f.code, f.point) for f in flags] == [("ratio", Point.C)]


# --- heights -------------------------------------------------------------------------------------


def test_heights_must_rise_among_those_known() -> None:
    known = heights(B="12", C="33")
    assert told("D", "38", known, kind=Kind.LENGTH) == ()
    for cm in ("33", "32.9"):
        [flag] = told("D", cm, known, kind=Kind.LENGTH)
        assert (flag.code, flag.level, flag.point) == ("lengths_not_rising", Level.WARN, Point.D)
        assert flag.kind is Kind.LENGTH
        assert "floor to below the knee (D)" in flag.text
        assert "floor to the calf mark (C), 33.0 cm. Measure both again." in flag.text


def test_the_height_at_odds_with_most_others_is_the_one_doubted() -> None:
    flags = told("E", "46", heights(B="12", C="20", D="18"), kind=Kind.LENGTH)
    assert flags == ()  # C and D were told when D was read
    wrong_c = heights(B="12", C="50", D="38")
    assert told("E", "46", wrong_c, kind=Kind.LENGTH)[0].point is Point.C
    rows = [("left", p, "length", cm) for p, cm in (("B", "12"), ("C", "50"), ("D", "38"))]
    assert recorded(session(*rows, ("left", "E", "length", "46")))[:1] == [
        ("lengths_not_rising", Level.WARN, LEFT, Point.C)
    ]


@given(st.data())
def test_rising_heights_and_only_those_pass(data: st.DataObject) -> None:
    millimetres = []
    for point in HEIGHTS:
        known = RANGES.of(point, Kind.LENGTH)
        low, high = known.hard_cm if known and known.hard_cm else (Decimal(40), Decimal(120))
        millimetres.append(data.draw(st.integers(int(low) * 10, int(high) * 10)))
    if data.draw(st.booleans()):
        millimetres.sort()
    rows = [
        ("left", point.value, "length", str(Decimal(mm) / 10))
        for point, mm in zip(HEIGHTS, millimetres, strict=True)
    ]
    assume(not any(code == "hard_range" for code, *_ in recorded(session(*rows))))
    found = [code for code, *_ in recorded(session(*rows)) if code == "lengths_not_rising"]
    rises = all(low < high for low, high in itertools.pairwise(millimetres))
    assert (not found) == rises


# --- the other leg, last time, the same number ---------------------------------------------------


@pytest.mark.parametrize(
    ("cm", "asked"), [("37.5", False), ("37.8", False), ("37.9", True), ("34.2", True)]
)
def test_the_other_leg_is_compared_beyond_the_limit(cm: str, asked: bool) -> None:  # noqa: FBT001
    """The larger of 1.5 cm and 5 % of the mean: 1.846 at 36.0 and 37.9."""
    flags = told("C", cm, girths(C="36.0", side=RIGHT))
    assert codes(flags) == (["other_leg"] if asked else [])
    if asked:
        assert f"{cm} cm, the other leg 36.0 cm. Measure both again." in flags[0].text
        assert "newly swollen? Ask the prescriber or a doctor today" in flags[0].text
        assert "protocol" in flags[0].text


def test_ten_off_the_other_leg_reads_like_a_slip_and_is_still_a_difference() -> None:
    flags = told("G", "66.0", girths(RIGHT, G="56.4"))
    assert [(f.code, f.level) for f in flags] == [
        ("tape_slip", Level.WARN),
        ("other_leg", Level.WARN),
    ]
    assert "but the other leg 56.4 cm. It reads like 56.0 cm" in flags[0].text
    assert codes(told("G", "66.0", before=girths(G="56.4"))) == ["tape_slip", "last_time"]
    assert codes(told("G", "66.0", girths(RIGHT, G="56.4"), before=girths(G="65.8"))) == [
        "other_leg"
    ]


def test_a_slip_must_go_with_the_leg_and_its_range_to_explain_a_difference() -> None:
    other = girths(RIGHT, G="56.4")
    assert codes(told("G", "66.0", other | girths(E="36.0"))) == ["tape_slip", "other_leg"]
    assert codes(told("G", "66.0", other | girths(E="45.0"))) == ["other_leg"]
    assert codes(told("C", "37.9", girths(RIGHT, C="48.0"))) == ["other_leg"]  # 47.9 is rare too


@pytest.mark.parametrize(("cm", "asked"), [("23.0", False), ("23.1", True), ("20.9", True)])
def test_last_time_is_compared_beyond_the_limit(cm: str, asked: bool) -> None:  # noqa: FBT001
    flags = told("B", cm, before=girths(B="22.0"))
    assert codes(flags) == (["last_time"] if asked else [])
    if asked:
        assert f"{cm} cm, last time 22.0 cm. Measure it again before believing" in flags[0].text


def test_lengths_are_compared_without_a_word_on_swelling() -> None:
    [flag] = told("D", "43", heights(RIGHT, D="40"), kind=Kind.LENGTH)
    assert flag.code == "other_leg"
    assert "swollen" not in flag.text
    assert codes(told("D", "43", before=heights(D="40"), kind=Kind.LENGTH)) == ["last_time"]


def test_the_same_number_for_both_legs_is_asked_about_right_after_only() -> None:
    left = (LEFT, Point.C, Kind.GIRTH)
    known = girths(C="36.2")
    just = (left, "36.2", Decimal(362))
    [flag] = told("C", "36.2", known, side=RIGHT, just=just)
    assert (flag.code, flag.level, flag.side) == ("same_both_legs", Level.WARN, RIGHT)
    assert "36.2 cm, the same as the other leg to the mm. Was this leg measured too?" in flag.text
    assert told("C", "36.3", known, side=RIGHT, just=just) == ()
    assert told("C", "36.2", known, side=RIGHT) == ()
    other = ((LEFT, Point.E, Kind.GIRTH), "36.2", Decimal(362))
    assert told("C", "36.2", known, side=RIGHT, just=other) == ()
    own = ((RIGHT, Point.C, Kind.GIRTH), "36.2", Decimal(362))
    assert told("C", "36.2", known, side=RIGHT, just=own) == ()
    silent = RANGES.model_copy(update={"ask_same_both_legs": False})
    assert told("C", "36.2", known, side=RIGHT, just=just, ranges=silent) == ()


# --- swollen legs --------------------------------------------------------------------------------


def test_on_a_swollen_leg_proportions_are_notes_and_nothing_blocks() -> None:
    swollen = frozenset({LEFT})
    flags = told("C", "46.2", girths(B="22.0"), swollen=swollen)
    assert [(f.code, f.level) for f in flags] == [("tape_slip", Level.NOTE)]
    flags = told("C", "58.0", girths(B="25.0"), swollen=swollen)
    assert {f.code: f.level for f in flags} == {"ratio": Level.NOTE, "soft_range": Level.WARN}
    flags = told("C", "30.0", girths(B="50.0"), swollen=swollen)
    assert {f.code: f.level for f in flags}["ankle_not_smaller"] is Level.NOTE
    assert told("B", "61.0", swollen=swollen)[0].level is Level.WARN
    assert told("B", "61.0", side=RIGHT, swollen=swollen)[0].level is Level.BLOCK
    # The range betrays it as well as the neighbours: still asked.
    flags = told("C", "48.2", girths(B="22.0"), swollen=swollen)
    assert {f.code: f.level for f in flags}["tape_slip"] is Level.WARN


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_difference_is_a_note_only_where_the_swelling_is_known_of_old(side: Side) -> None:
    """One leg newly larger is for a doctor today, however it was recorded."""
    legs = frozenset({side})
    for explained, level in ((NOBODY, Level.WARN), (legs, Level.NOTE)):
        flags = told("C", "44.0", girths(RIGHT, C="37.8"), swollen=legs, explained=explained)
        assert [(f.code, f.level) for f in flags] == [("other_leg", level)]


# --- whole recorded sessions ---------------------------------------------------------------------


def test_a_recorded_difference_is_told_once_at_the_larger_leg() -> None:
    rows = session(("left", "C", "girth", "37.0"), ("right", "C", "girth", "40.2"))
    assert recorded(rows) == [("other_leg", Level.WARN, RIGHT, Point.C)]
    legs = frozenset({RIGHT})
    assert recorded(rows, swollen=legs) == [("other_leg", Level.WARN, RIGHT, Point.C)]
    assert recorded(rows, swollen=legs, explained=legs) == [
        ("other_leg", Level.NOTE, RIGHT, Point.C)
    ]


def test_a_recorded_slip_is_told_at_the_leg_it_explains() -> None:
    rows = session(
        ("left", "B", "girth", "22.0"),
        ("left", "C", "girth", "26.4"),
        ("right", "B", "girth", "22.1"),
        ("right", "C", "girth", "36.2"),
    )
    assert recorded(rows) == [
        ("tape_slip", Level.WARN, LEFT, Point.C),
        ("other_leg", Level.WARN, LEFT, Point.C),
        ("ratio", Level.WARN, LEFT, Point.C),
        ("soft_range", Level.WARN, LEFT, Point.C),
    ]


def test_where_each_leg_could_be_the_others_slip_none_is_named() -> None:
    rows = session(("left", "G", "girth", "66.0"), ("right", "G", "girth", "56.4"))
    assert recorded(rows) == [("other_leg", Level.WARN, LEFT, Point.G)]


def test_recorded_readings_are_each_judged_and_compared_only_where_they_agree() -> None:
    """The mean of 36 and 48 is nobody's calf: a doctor today because of it would be wrong."""
    right = ("right", "C", "girth", "36.4")
    apart = session(
        ("left", "C", "girth", "36.0"), ("left", "C", "girth", "48.0"), right, rounds={2: 2}
    )
    found = recorded(apart, differing=frozenset({(LEFT, Point.C, Kind.GIRTH)}))
    assert ("soft_range", Level.WARN, LEFT, Point.C) in found
    assert "other_leg" not in {code for code, *_ in found}
    agreeing = session(
        ("left", "C", "girth", "42.0"), ("left", "C", "girth", "42.1"), right, rounds={2: 2}
    )
    assert ("other_leg", Level.WARN, LEFT, Point.C) in recorded(agreeing)


def test_recorded_readings_right_after_each_other_alike_are_asked_about() -> None:
    left, right = ("left", "C", "girth", "36.2"), ("right", "C", "girth", "36.2")
    same = ("same_both_legs", Level.WARN, RIGHT, Point.C)
    assert recorded(session(left, right)) == [same]
    assert recorded(session(left, ("left", "B", "girth", "22.0"), right)) == []
    assert recorded(session(left, right, rounds={2: 2})) == []


def test_the_same_number_from_two_laptops_was_not_typed_in_a_row() -> None:
    def reading(name: str, side: str) -> Any:
        return entry_of(
            "readings",
            name,
            side=side,
            point="C",
            kind="girth",
            round=1,
            typed="36.2",
            unit="cm",
            mm=Decimal(362),
        )

    alone = session_of(reading("tern-k7qd:1", "left"), reading("tern-k7qd:2", "right"))
    both = session_of(reading("dunlin-m4ex:9", "left"), reading("tern-k7qd:2", "right"))
    assert [code for code, *_ in recorded(Readings(alone))] == ["same_both_legs"]
    assert recorded(Readings(both)) == []


def test_a_recorded_change_since_last_time_is_told() -> None:
    rows = session(("left", "B", "girth", "22.0"))
    assert recorded(rows, before=girths(B="23.4")) == [("last_time", Level.WARN, LEFT, Point.B)]


@pytest.mark.parametrize(("value", "count"), [(39, 0), (93, 1)])
def test_a_shoe_size_is_judged_by_its_system(value: int, count: int) -> None:
    entry = entry_of(
        "readings",
        "tern-k7qd:1",
        side="both",
        point="foot",
        kind="shoe",
        round=1,
        typed=f"EU {value}",
        system="eu",
        value=value,
    )
    found = recorded(Readings(session_of(entry)))
    assert found == [("hard_range", Level.BLOCK, None, Point.FOOT)] * count
    assert (
        doubt_reading(
            RANGES,
            (Side.BOTH, Point.FOOT, Kind.SHOE),
            Decimal(250),
            "39",
            "cm",
            Context(lambda *_: None, lambda *_: None, None, NOBODY, "cm"),
        )
        == ()
    )


# --- laws ----------------------------------------------------------------------------------------

_places = st.tuples(
    st.sampled_from((LEFT, RIGHT)),
    st.sampled_from(tuple(Point)),
    st.sampled_from((Kind.GIRTH, Kind.LENGTH)),
)
_mm = st.integers(1, 20_000).map(lambda tenths: Decimal(tenths) / 10) | st.integers(150, 700).map(
    Decimal
)
_values = st.dictionaries(_places, _mm, max_size=8)


@given(_places, _mm, st.sampled_from(UNITS), st.tuples(_values, _values), st.booleans())
def test_every_doubt_is_a_whole_sentence_worst_first_and_the_same_on_either_leg(
    place: Place,
    mm: Decimal,
    unit: Unit,
    both: tuple[Values, Values],
    swollen: bool,  # noqa: FBT001
) -> None:
    known, before = both

    def judged(mirror: bool) -> tuple[Flag, ...]:  # noqa: FBT001
        def turn(side: Side) -> Side:
            return other_side(side) if mirror else side

        context = Context(
            lambda side, *rest: known.get((turn(side), *rest)),
            lambda side, *rest: before.get((turn(side), *rest)),
            None,
            frozenset({turn(LEFT)}) if swollen else NOBODY,
            unit,
        )
        here = (turn(place[0]), *place[1:])
        return doubt_reading(RANGES, here, mm, f"{mm} mm", unit, context)

    flags, mirrored = judged(mirror=False), judged(mirror=True)
    levels = [(Level.BLOCK, Level.WARN, Level.NOTE).index(flag.level) for flag in flags]
    assert levels == sorted(levels)
    assert all(flag.text and "None" not in flag.text and "{" not in flag.text for flag in flags)
    assert len(set(flags)) == len(flags)
    assert [(f.code, f.level, f.text) for f in flags] == [
        (f.code, f.level, f.text) for f in mirrored
    ]
    assert {f.side for f in flags} <= {place[0]}


@given(st.permutations(["B", "C", "E", "F", "G"]), st.data())
def test_a_file_is_judged_alike_in_whatever_order_it_was_measured(
    order: list[str], data: st.DataObject
) -> None:
    cm = {p: str(Decimal(data.draw(st.integers(150, 800))) / 10) for p in "BCEFG"}
    forwards = recorded(session(*(("left", p, "girth", cm[p]) for p in "BCEFG")))
    shuffled = recorded(session(*(("left", p, "girth", cm[p]) for p in order)))
    assert sorted(forwards, key=str) == sorted(shuffled, key=str)


# --- the data ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "row"),
    [
        ("ratios", {"point": "C", "to": "C", "possible": [1, 2]}),
        ("ratios", {"point": "C", "to": "B", "possible": [2, 1]}),
        ("ratios", {"point": "C", "to": "B", "possible": [0, 1]}),
        ("ratios", {"point": "C", "to": "B", "possible": [1, 2], "usual": [1, 3]}),
        ("swaps", {"points": ["B"]}),
        ("differences", {"code": "other_arm", "kind": "girth", "cm": 1, "percent": 1}),
        ("differences", {"code": "other_leg", "kind": "girth", "cm": -1, "percent": 1}),
    ],
)
def test_limits_that_cannot_be_meant_are_refused(table: str, row: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Ranges.model_validate({**TABLE, table: [{**row, "source": "made up for a test"}]})


def test_every_limit_shipped_names_its_source() -> None:
    tables = (RANGES.ranges, RANGES.ratios, RANGES.lines, RANGES.swaps, RANGES.differences)
    sources = [row.source.casefold() for table in tables for row in table]
    assert len(sources) > 30
    for source in sources:
        assert any(word in source for word in ("judgement", "computed", "read", "usual:"))
