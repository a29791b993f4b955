"""The drawn leg: exact width, allowed glyphs, the right side, the right level, the right shape."""

import math
from collections.abc import Mapping
from itertools import pairwise, product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcore.points import Kind, Point, Side
from tui.leg_drawing import LABEL_COLUMNS, RULER_COLUMNS, LegRow, draw_leg
from tui.leg_shape import TYPICAL_GIRTHS_CM, WILD_RATIO

Girths = Mapping[Point, float]

SHORT = (Point.B, Point.C, Point.D)
SOME = {Point.B: 22.4, Point.C: 38.5}
FULL = {
    Point.A: 23.4,
    Point.Y: 32.1,
    Point.B: 22.4,
    Point.B1: 27.7,
    Point.C: 38.5,
    Point.D: 35.0,
    Point.E: 38.0,
    Point.F: 52.25,
    Point.G: 66.0,
}
STYLES = {"leg", "unmeasured", "tape", "label", "done", "frame"}
ASCII = {chr(code) for code in range(0x20, 0x7F)}
ALLOWED = ASCII | set("─│┌┐└┘├┤█▀▄▌▐░▒▓←→↑↓")
MIRRORED = str.maketrans("▌▐└┘\\/", "▐▌┘└/\\")

girths = st.dictionaries(st.sampled_from(list(Point)), st.floats(-5, 900), max_size=9)
tops = st.sampled_from(list(Point))
sizes = st.tuples(st.integers(12, 40), st.integers(24, 60))


def draw(girths_cm: Girths | None = None, **changes: Any) -> list[LegRow]:
    girths_cm = girths_cm or {}
    settings: dict[str, Any] = {
        "side": Side.LEFT,
        "current": None,
        "kind": Kind.GIRTH,
        "done": tuple(girths_cm),
    }
    return draw_leg(girths_cm, **{**settings, **changes})


def lines(rows: list[LegRow]) -> list[str]:
    return [row.text.rstrip() for row in rows]


def bodies(rows: list[LegRow]) -> list[str]:
    """The leg alone, without ruler, margin and floor line."""
    return [row.text[: -LABEL_COLUMNS - RULER_COLUMNS] for row in rows[:-1]]


def half_cells(body: str) -> int:
    """How wide the outline is, in half cells: a half block at an edge counts as one."""
    leg = body.strip()
    return 2 * len(leg) - (leg[0] == "▐") - (leg[-1] == "▌")


def rows_with(rows: list[LegRow], style: str) -> list[int]:
    """Row numbers from the floor upwards (floor line 0) that hold a style."""
    return [
        up for up, row in enumerate(reversed(rows)) if any(name == style for _, name in row.spans)
    ]


def tape_row(point: Point, **changes: Any) -> int:
    (row,) = rows_with(draw(current=point, **changes), "tape")
    return row


# ------------------------------------------------------------------ the picture as text


def test_golden_short_set_left() -> None:
    rows = draw(SOME, current=Point.D, asked=SHORT)
    assert lines(rows) == [
        "   ▌░░░░░░░░░░▐",
        "   ▐░░└───┘░░░▌",
        "   ▐██████████▌     ← D below",
        "   ▐░░░░░░░░░░▌         knee",
        "   ▐▒▒▒▒▒▒▒▒▒▒▐",
        "   ▌▒▒▒▒▒▒▒▒▒▒▒▌",
        "   ▌▒▒▒▒▒▒▒▒▒▒▒▐    +C   38.5",
        "   ▐▒▒▒▒▒▒▒▒▒▒▐",
        "    ▐▒▒▒▒▒▒▒▒▐",
        "     ▌▒▒▒▒▒▒▐",
        "     ▐▒▒▒▒▒▒▌",
        "      ▌▒▒▒▒▐        +B   22.4",
        "     ▐░░░░░░▌",
        "     ▌░░░░░░▐",
        "    ▌░░░░░░░░░░▌",
        "    ▌░░▐░▐░▐░▐░▌",
        "──────────────────",
    ]


def test_golden_thigh_right_all_measured() -> None:
    rows = draw(FULL, side=Side.RIGHT, top=Point.G)
    assert lines(rows) == [
        " ▌▒▒▒▒▒▒▒▒▒▒▒▒▒▒▐",
        " ▌▒▒▒▒▒▒▒▒▒▒▒▒▒▒▐   +G   66.0",
        " ▐▒▒▒▒▒▒▒▒▒▒▒▒▒▒▌",
        "  ▐▒▒▒▒▒▒▒▒▒▒▒▒▌    +F  52.25",
        "   ▌▒▒▒▒▒▒▒▒▒▒▐",
        "    ▌▒▒▒▒▒▒▒▒▐",
        "    ▐▒▒└──┘▒▒▌      +E   38.0",
        "     ▌▒▒▒▒▒▒▐       +D   35.0",
        "    ▐▒▒▒▒▒▒▒▒▌",
        "   ▐▒▒▒▒▒▒▒▒▒▌      +C   38.5",
        "    ▐▒▒▒▒▒▒▒▐",
        "     ▐▒▒▒▒▒▒▌       +B1  27.7",
        "      ▐▒▒▒▒▌        +B   22.4",
        "      ▌▒▒▒▒▐        +Y   32.1",
        "    ▌▒▒▒▒▒▒▒▌       +A   23.4",
        "    ▌▒▒▒▒▒▌▒▌",
        "──────────────────",
    ]


def test_golden_ascii_length() -> None:
    rows = draw(SOME, current=Point.D, kind=Kind.LENGTH, ascii_only=True, asked=SHORT)
    assert lines(rows) == [
        "   |..........|",
        "   |..\\---/...|",
        "   |..........|----|<-D below",
        "   |..........|    |    knee",
        "   |##########|    |",
        "   |###########|   |",
        "   |###########|   |+C   38.5",
        "   |##########|    |",
        "    |########|     |",
        "     |######|      |",
        "     |######|      |",
        "      |####|       |+B   22.4",
        "     |......|      |",
        "     |......|      |",
        "    |..........|   |",
        "    |..|.|.|.|.|   |",
        "-------------------|",
    ]


def test_golden_slip() -> None:
    rows = draw({Point.B: 22.4, Point.C: 385.0}, current=Point.D, side=Side.RIGHT)
    assert lines(rows) == [
        "   ▌░░░░░░░░░░▐",
        "   ▐░░░└───┘░░▌",
        "   ▐██████████▌     ← D below",
        "   ▌░░░░░░░░░░▐         knee",
        " ▐▒▒▒▒▒▒▒▒▒▒▒▒▒▐",
        "▌▒▒▒▒▒▒▒▒▒▒▒▒▒▒▒▐",
        "!!▒▒▒▒▒▒▒▒▒▒▒▒▒▒!!  +C  385.0",
        " ▌▒▒▒▒▒▒▒▒▒▒▒▒▒▒▌",
        "   ▐░░░░░░░░░░▌",
        "     ▌░░░░░░▐        B1",
        "     ▐▒▒▒▒▒▒▌",
        "      ▌▒▒▒▒▐        +B   22.4",
        "     ▐░░░░░░▌",
        "     ▌░░░░░░▐        Y",
        "  ▐░░░░░░░░░░▐       A",
        "  ▐░▌░▌░▌░▌░░▐",
        "──────────────────",
    ]


# ------------------------------------------------------------------ frame and glyphs


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("kind", [*Kind, None])
def test_every_point_draws_in_its_frame_with_allowed_glyphs(
    side: Side, kind: Kind | None, *, ascii_only: bool
) -> None:
    allowed = ASCII if ascii_only else ALLOWED
    for point, top in product([*Point, None], Point):
        rows = draw(FULL, side=side, current=point, kind=kind, top=top, ascii_only=ascii_only)
        assert len(rows) == 17
        for row in rows:
            assert len(row.text) == 30
            assert set(row.text) <= allowed
            assert {name for _, name in row.spans} <= STYLES
            assert all(one[1] != two[1] for one, two in pairwise(row.spans))


@given(girths=girths, top=tops, size=sizes, current=st.sampled_from([*Point, None]))
def test_any_girths_and_size_fill_the_frame_exactly(
    girths: Girths, top: Point, size: tuple[int, int], current: Point | None
) -> None:
    rows = draw(girths, top=top, rows=size[0], columns=size[1], current=current)
    assert [len(row.text) for row in rows] == [size[1]] * size[0]


@pytest.mark.parametrize("size", [{"rows": 11}, {"columns": 23}])
def test_too_small_a_frame_is_refused(size: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="needs 24 x 12"):
        draw({}, **size)


def test_smallest_frame_still_has_every_level_on_its_own_row() -> None:
    rows = draw(FULL, top=Point.G, rows=12, columns=24)
    assert len(rows_with(rows, "done")) == len(FULL)


# ------------------------------------------------------------------ left and right


@given(girths=girths, top=tops, size=sizes, current=st.sampled_from(list(Point)))
def test_left_leg_is_the_right_one_mirrored(
    girths: Girths, top: Point, size: tuple[int, int], current: Point | None
) -> None:
    common = {"top": top, "rows": size[0], "columns": size[1], "current": current}
    left = bodies(draw(girths, side=Side.LEFT, **common))
    right = bodies(draw(girths, side=Side.RIGHT, **common))
    assert left == [body[::-1].translate(MIRRORED) for body in right]


@pytest.mark.parametrize(("side", "outer"), [(Side.LEFT, 1), (Side.RIGHT, -1)])
def test_calf_and_foot_lean_to_the_outer_side(side: Side, outer: int) -> None:
    """Seen from the front, the outer side of the client's left leg is on the viewer's right."""
    body = bodies(draw(side=side))
    calf = max(body[4:11], key=half_cells)
    foot = body[-1]
    for row in (calf, foot):
        before = len(row) - len(row.lstrip())
        after = len(row) - len(row.rstrip())
        assert (before - after) * outer > 0


def test_big_toe_is_on_the_inner_side() -> None:
    toes = bodies(draw(side=Side.LEFT))[-1].strip()
    assert toes.startswith("▌░░▐")
    assert toes.count("▐") + toes.count("▌") == 6


# ------------------------------------------------------------------ the level to measure


@pytest.mark.parametrize("rows", [12, 17, 24, 40])
@pytest.mark.parametrize("top", [Point.D, Point.E, Point.F, Point.G])
def test_band_rises_with_the_point(rows: int, top: Point) -> None:
    points = list(TYPICAL_GIRTHS_CM)
    drawn = points[: points.index(top) + 1]
    found = [tape_row(point, top=top, rows=rows) for point in drawn]
    assert all(low < high for low, high in pairwise(found))
    assert found[0] > 1
    assert found[-1] < rows - 1


def test_band_is_solid_across_the_leg_and_named_beside_it() -> None:
    rows = draw(current=Point.B)
    row = next(row for row in rows if any(name == "tape" for _, name in row.spans))
    assert row.text.strip("█▌▐ ") == "← B ankle"
    assert "██████" in row.text
    assert ("← B ankle", "label") in row.spans


def test_name_on_two_rows() -> None:
    below, knee = [row.text.rstrip() for row in draw(current=Point.D)][2:4]
    assert below.endswith("← D below")
    assert knee.endswith("knee")


def test_half_a_name_is_never_shown() -> None:
    """Where the second word would hide another level's value, the letter stands alone."""
    margin = [row.text[-LABEL_COLUMNS:].strip() for row in draw(FULL, current=Point.D, rows=12)]
    assert "← D below" in margin
    margin = [
        row.text[-LABEL_COLUMNS:].strip()
        for row in draw(FULL, current=Point.D, rows=12, top=Point.G)
    ]
    assert "← D" in margin
    assert "+C   38.5" in margin


def test_nothing_is_marked_without_a_current_point() -> None:
    rows = draw(SOME)
    assert rows_with(rows, "tape") == rows_with(rows, "label") == []
    assert not any("█" in row.text for row in rows)


@pytest.mark.parametrize("point", [Point.Y, Point.B, Point.C, Point.D])
def test_length_is_a_ruler_from_the_floor_to_the_level(point: Point) -> None:
    rows = draw(current=point, kind=Kind.LENGTH)
    assert rows_with(rows, "tape") == list(range(tape_row(point) + 1))
    ruler = "".join(row.text[-LABEL_COLUMNS - 1] for row in reversed(rows)).rstrip()
    assert ruler == "┘" + "│" * (len(ruler) - 2) + "┐"
    assert not any("█" in row.text for row in rows)


@pytest.mark.parametrize("point", [Point.E, Point.K, Point.H, Point.T])
def test_length_above_the_drawing_runs_off_its_top(point: Point) -> None:
    rows = draw(current=point, kind=Kind.LENGTH)
    assert rows_with(rows, "tape") == list(range(17))
    assert f"│↑ {point.value} " in rows[0].text


def test_girth_above_the_drawing_is_named_at_the_top_without_a_band() -> None:
    rows = draw(current=Point.H)
    assert rows[0].text.endswith("↑ H hips  ")
    assert rows_with(rows, "tape") == []


@pytest.mark.parametrize(
    ("point", "kind", "expected"),
    [
        (Point.FOOT, Kind.LENGTH, [1, 2, 3]),
        (Point.FOOT, Kind.SHOE, [1, 2, 3]),
        (None, Kind.SHOE, [1, 2, 3]),
        (Point.FOOT, Kind.GIRTH, [2]),
        (Point.A, Kind.LENGTH, [2, 3]),
        (Point.A, Kind.GIRTH, [2]),
        (Point.Y, Kind.GIRTH, [3]),
    ],
)
def test_foot_measures_light_up_their_part_of_the_foot(
    point: Point | None, kind: Kind | None, expected: list[int]
) -> None:
    rows = draw(current=point, kind=kind)
    assert rows_with(rows, "tape") == expected
    assert all("█" in rows[-1 - up].text for up in expected)


# ------------------------------------------------------------------ values and ticks


def test_done_levels_have_a_tick_and_their_value_and_others_their_letter() -> None:
    margin = [row.text[-LABEL_COLUMNS:] for row in draw(SOME, asked=SHORT)]
    assert [text.strip() for text in margin if text.strip()] == ["D", "+C   38.5", "+B   22.4"]


def test_done_without_a_girth_has_a_tick_only() -> None:
    margin = [row.text[-LABEL_COLUMNS:].strip() for row in draw(done=[Point.D, Point.FOOT])]
    assert "+D" in margin
    assert "+foot" in margin


def test_foot_girth_stands_beside_the_toes_or_not_at_all() -> None:
    assert draw({Point.FOOT: 24.0})[-2].text.endswith("+foot 24.0")
    assert draw({Point.FOOT: 24.05})[-2].text.endswith("+foot     ")


def test_value_is_never_cut_short() -> None:
    assert any(row.text.endswith("+B1 1234.5") for row in draw({Point.B1: 1234.5}))
    assert any(row.text.endswith("+B1       ") for row in draw({Point.B1: 12345.5}))


def test_girth_not_done_yet_shows_no_value() -> None:
    assert not any("38.5" in row.text for row in draw(SOME, done=()))


@pytest.mark.parametrize(
    ("value", "shown"), [(38.0, "38.0"), (38.25, "38.25"), (8.7, "8.7"), (123.45, "123.45")]
)
def test_values_keep_their_decimals(value: float, shown: str) -> None:
    assert any(f"+C  {shown:>5}" in row.text for row in draw({Point.C: value}))


# ------------------------------------------------------------------ the client's own shape


def row_of(point: Point, girths_cm: Girths, **changes: Any) -> str:
    return bodies(draw(girths_cm, **changes))[::-1][tape_row(point, **changes) - 1]


@given(
    low=st.floats(20, 120),
    more=st.floats(0, 60),
    others=st.dictionaries(
        st.sampled_from([p for p in TYPICAL_GIRTHS_CM if p is not Point.C]), st.floats(15, 80)
    ),
    top=st.sampled_from([Point.D, Point.G]),
)
def test_wider_calf_never_draws_a_narrower_row(
    low: float, more: float, others: Girths, top: Point
) -> None:
    narrow = row_of(Point.C, {**others, Point.C: low}, top=top)
    wide = row_of(Point.C, {**others, Point.C: low + more}, top=top)
    assert half_cells(wide) >= half_cells(narrow)


@pytest.mark.parametrize("top", [Point.D, Point.G])
@pytest.mark.parametrize("point", [Point.A, Point.B, Point.C, Point.D])
def test_larger_girth_draws_a_wider_row(point: Point, top: Point) -> None:
    typical = TYPICAL_GIRTHS_CM[point]
    widths = [
        half_cells(row_of(point, {**FULL, point: typical * times}, top=top))
        for times in (0.7, 1.0, 1.3)
    ]
    assert widths[0] < widths[1] < widths[2]


@given(girths=st.fixed_dictionaries({p: st.floats(15, 80) for p in (Point.B, Point.C, Point.D)}))
def test_curve_does_not_leave_the_range_between_two_levels(girths: Girths) -> None:
    body = bodies(draw(girths, top=Point.D, asked=SHORT, rows=30))[::-1]
    low, high = tape_row(Point.C, rows=30) - 1, tape_row(Point.D, rows=30) - 1
    ends = sorted([half_cells(body[low]), half_cells(body[high])])
    for row in body[low : high + 1]:
        # One half cell a side is rounding.
        assert ends[0] - 2 <= half_cells(row) <= ends[1] + 2


def test_unknown_levels_follow_the_known_ones() -> None:
    thin, thick = ({Point.B: 18.0}, {Point.B: 27.0})
    assert half_cells(row_of(Point.C, thin)) < half_cells(row_of(Point.C, thick))


def test_leg_narrows_at_the_ankle_and_widens_at_the_toes() -> None:
    ankle, calf, knee = (half_cells(row_of(p, {})) for p in (Point.B, Point.C, Point.D))
    toes = half_cells(bodies(draw())[-1])
    assert ankle < knee < calf
    assert ankle * 1.3 < toes < calf


@pytest.mark.parametrize("unusable", [math.nan, 0.0, -3.0])
def test_what_is_no_girth_counts_as_unknown(unusable: float) -> None:
    assert draw({Point.C: unusable}) == draw(done=[Point.C])


def test_measured_parts_are_darker_than_unmeasured_ones() -> None:
    rows = draw(SOME, asked=SHORT)
    dark = [up for up, row in enumerate(reversed(rows)) if "▒" in row.text]
    light = [up for up, row in enumerate(reversed(rows)) if "░" in row.text]
    assert dark == rows_with(rows, "leg")
    assert light == rows_with(rows, "unmeasured")
    assert tape_row(Point.B) in dark
    assert tape_row(Point.C) in dark
    assert tape_row(Point.D) in light
    assert {1, 2, 3} <= set(light)


def test_girth_below_the_knee_does_not_count_for_the_knee() -> None:
    rows = draw({**SOME, Point.D: 35.0}, asked=SHORT)
    assert "▒" in rows[-1 - tape_row(Point.D)].text
    assert ["░" in row.text for row in rows[:3]] == [True, True, False]


def test_whole_leg_is_dark_when_all_is_measured() -> None:
    rows = draw(FULL, top=Point.G)
    assert rows_with(rows, "unmeasured") == []
    assert rows_with(rows, "leg") == list(range(1, 17))


# ------------------------------------------------------------------ slips


@pytest.mark.parametrize("side", [Side.LEFT, Side.RIGHT])
@pytest.mark.parametrize("current", [Point.C, Point.D, None])
@pytest.mark.parametrize("value", [385.0, 1e6, math.inf])
def test_slip_is_clipped_at_the_frame_and_marked(
    side: Side, current: Point | None, value: float
) -> None:
    rows = draw({Point.B: 22.4, Point.C: value}, side=side, current=current)
    marked = [up for up, row in enumerate(reversed(rows)) if "!!" in row.text[:18]]
    assert marked == [tape_row(Point.C)]
    body = rows[-1 - marked[0]].text[:18]
    assert body[:2] == body[-2:] == "!!"
    assert " " not in body


def test_slip_leaves_the_rest_of_the_leg_in_its_shape() -> None:
    assert row_of(Point.B, {**SOME, Point.C: 385.0}) == row_of(Point.B, SOME)
    assert row_of(Point.D, {**SOME, Point.C: 385.0}, top=Point.G).count("░") < 16


@pytest.mark.parametrize("point", list(TYPICAL_GIRTHS_CM))
def test_very_large_leg_is_drawn_whole_and_unmarked(point: Point) -> None:
    large = TYPICAL_GIRTHS_CM[point] * (WILD_RATIO - 0.01)
    assert not any("!!" in row.text for row in draw({point: large}, top=Point.G))
    slip = TYPICAL_GIRTHS_CM[point] * (WILD_RATIO + 0.01)
    assert any("!!" in row.text for row in draw({point: slip}, top=Point.G))


def test_large_leg_is_drawn_smaller_rather_than_cut_flat() -> None:
    """A calf of 80 cm is the one widest row; clipping would give several rows of full width."""
    large = {Point.B: 29.5, Point.C: 80.0}
    widths = [half_cells(body) for body in bodies(draw(large, rows=24, columns=40))]
    assert widths.count(max(widths)) <= 2
    assert half_cells(row_of(Point.B, large)) < half_cells(row_of(Point.B, {Point.B: 29.5}))


def test_slip_downwards_does_not_cut_the_leg_or_shrink_the_foot() -> None:
    rows = draw({Point.B: 2.24, Point.C: 38.5})
    assert all(len(body.strip()) >= 2 for body in bodies(rows))
    assert half_cells(bodies(rows)[-1]) == half_cells(bodies(draw({Point.C: 38.5}))[-1])
