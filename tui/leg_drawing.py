"""Draws one leg from the front as rows of text, in the shape of this client's own girths.

Pure: it imports no screen library, reads nothing and keeps nothing. The drawing is an aid; whatever
it shows must also be said in words beside it.
"""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Literal

from fitcore.points import POINT_ORDER, Kind, Point, Side
from fitcore.words import say
from tui.leg_shape import (
    ABOVE_TOP_CM,
    BALL,
    FRONT_WIDTH,
    INSTEP,
    LOWER_THIGH_CM,
    OUTWARD,
    TOES,
    TYPICAL_FILL,
    TYPICAL_GIRTHS_CM,
    TYPICAL_HEIGHTS_CM,
    WILD_RATIO,
    girth_words,
    smooth_between,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

StyleName = Literal["leg", "unmeasured", "tape", "label", "done", "frame"]
Span = tuple[str, StyleName]

MIN_ROWS = 12
MIN_COLUMNS = 24

LABEL_COLUMNS = 10
"""Width of the margin for letters and values: an arrow, a letter and a six-letter word (ours)."""

RULER_COLUMNS = 2
"""Kept free beside the leg even without a ruler, so that the leg does not jump."""


@dataclass(frozen=True, slots=True)
class LegRow:
    """One row of the drawing: spans of text with the name of their style, left to right."""

    spans: tuple[Span, ...]

    @property
    def text(self) -> str:
        """Return the row without its styles."""
        return "".join(text for text, _ in self.spans)


@dataclass(frozen=True, slots=True)
class _Glyphs:
    """The characters of one mode; halves are the left and the right half of a cell."""

    measured: str
    unmeasured: str
    tape: str
    halves: str
    tape_halves: str
    arrow: str
    up: str
    line: str
    upright: str
    ruler_ends: str
    kneecap: str


_BLOCKS = _Glyphs("▒", "░", "█", "▌▐", "▌▐", "←", "↑", "─", "│", "┐┘", "└┘")
_ASCII = _Glyphs("#", ".", "=", "||", "==", "<-", "^", "-", "|", "||", "\\/")
_MIRROR = str.maketrans("▌▐└┘\\/", "▐▌┘└/\\")


@dataclass(frozen=True, slots=True)
class _Edges:
    """Where the leg begins and ends in one row, in half cells from the left of the frame."""

    left: int
    right: int
    clipped: bool

    @property
    def cells(self) -> range:
        """Return the cells the leg touches, whole or half."""
        return range(self.left // 2, (self.right + 1) // 2)


def draw_leg(
    girths_cm: Mapping[Point, float],
    *,
    side: Side,
    current: Point | None,
    kind: Kind | None,
    done: Collection[Point],
    rows: int = 17,
    columns: int = 30,
    ascii_only: bool = False,
    top: Point = Point.D,
    asked: Collection[Point] | None = None,
) -> list[LegRow]:
    """Draw one leg seen from the front, with the level to measure now marked across it.

    A part is drawn as measured when the level nearest to it has a girth. The leg is seen as by
    someone facing the client: the outer side of the client's left leg is on the right.

    Args:
        girths_cm: girths in cm known so far; they shape the leg. What is not a positive number
            counts as not known yet.
        side: the client's leg; `BOTH` (a shoe size) is drawn as the right one.
        current: the point to measure now, or None. One above the drawing is named at its top.
        kind: what is read there. A length is a ruler from the floor; the two lengths along the
            foot and a shoe size light up the foot itself.
        done: points that get a tick and, where the girth is known and fits, its value in cm.
        rows: height in cells, floor line included; at least 12.
        columns: width in cells, margin included; at least 24.
        ascii_only: use no character outside ASCII.
        top: the highest level drawn, D to G; a lower one is drawn as D, a higher one as G.
        asked: points whose letters stand in the margin besides those known or done; None means
            every level drawn.

    Returns:
        `rows` rows, top of the leg first, each exactly `columns` cells wide.

    Raises:
        ValueError: fewer rows or columns than the least; leave the leg out on such a screen.
    """
    if rows < MIN_ROWS or columns < MIN_COLUMNS:
        raise ValueError(
            f"leg drawing of {columns} x {rows} cells: needs {MIN_COLUMNS} x {MIN_ROWS} or more"
        )
    height = rows - 1
    frame = columns - LABEL_COLUMNS - RULER_COLUMNS
    glyphs = _ASCII if ascii_only else _BLOCKS
    highest = min(max(top, Point.D, key=_rank), Point.G, key=_rank)
    known = {p: cm for p, cm in girths_cm.items() if cm > 0}
    levels = _place_levels(highest, height)
    drawn = {p: row for p, row in levels.items() if _rank(p) <= _rank(highest)}
    wanted = {*(drawn if asked is None else asked), *known, *done, current}
    shown = {p: row for p, row in ({Point.FOOT: TOES} | drawn).items() if p in wanted}

    outline = _trace_outline(known, levels, highest, frame, height)
    # The foot and the level above the drawing count too: an ankle's girth says nothing about them.
    zones = {
        row: p
        for p, row in levels.items()
        if p in shown or p in known or row <= INSTEP or _rank(p) == _rank(highest) + 1
    }
    tape = _tape_rows(current, kind, drawn)
    ruler = _ruler_top(current, kind, drawn, height)
    margin = _write_margin(known, shown, done)
    if current is not None:
        arrow = glyphs.arrow if current in shown else glyphs.up
        _write_current(margin, current, shown.get(current, height - 1), arrow)

    picture = []
    for row, edges in enumerate(outline):
        nearest = zones[min((abs(zone - row), zone) for zone in zones)[1]]
        style: StyleName = "tape" if row in tape else "leg" if nearest in known else "unmeasured"
        leg = _leg_text(edges, frame, style, glyphs, toes=row == TOES)
        if row == levels[Point.E] and style != "tape":
            leg = _add_kneecap(leg, edges, glyphs)
        if side is Side.LEFT:
            leg = leg[::-1].translate(_MIRROR)
        leads = row == ruler and current in drawn
        spans = _leg_spans(leg, style, glyphs.line if leads else " ", clipped=edges.clipped)
        spans.append(_ruler_span(row, ruler, glyphs, leads=leads))
        spans.append(margin.get(row, ("", "frame")))
        picture.append(_join(spans, columns))
    picture.reverse()
    foot_of_ruler = glyphs.line + glyphs.ruler_ends[1] if ruler is not None else ""
    picture.append(_join([(glyphs.line * frame, "frame"), (foot_of_ruler, "tape")], columns))
    return picture


def _rank(point: Point) -> int:
    return POINT_ORDER[point]


def _place_levels(highest: Point, height: int) -> dict[Point, int]:
    """Return the row of every level above the floor line; those above `highest` may lie outside."""
    ends_at_cm = TYPICAL_HEIGHTS_CM[highest] + ABOVE_TOP_CM[highest]
    ankle_cm = TYPICAL_HEIGHTS_CM[Point.B]
    # One row more than to scale: the foot needs it to be seen as one.
    ankle = max(INSTEP, _nearest(height * ankle_cm / ends_at_cm)) + 1
    rows_per_cm = (height - 1 - ankle) / (ends_at_cm - ankle_cm)
    levels = {Point.A: BALL, Point.Y: INSTEP}
    for point, cm in TYPICAL_HEIGHTS_CM.items():
        to_scale = _nearest(ankle + (cm - ankle_cm) * rows_per_cm)
        levels[point] = max(to_scale, max(levels.values()) + 1)
    # The row above the top level stays free for naming points that lie higher still.
    ceiling = height - 2
    for point in reversed([p for p in levels if _rank(p) <= _rank(highest)]):
        levels[point] = min(levels[point], ceiling)
        ceiling = levels[point] - 1
    return levels


def _trace_outline(
    known: Mapping[Point, float],
    levels: Mapping[Point, int],
    highest: Point,
    frame: int,
    height: int,
) -> list[_Edges]:
    """Return the leg's edges from the floor upwards, outer side to the left.

    Levels not known yet follow the ratio of client to typical at the known ones around them, so
    that a calf stays a calf while only the ankle is known. Slips take no part in that.
    """
    ratio = {p: known[p] / typical for p, typical in TYPICAL_GIRTHS_CM.items() if p in known}
    wild = {p for p, times in ratio.items() if times >= WILD_RATIO}
    trusted = [(levels[p], r) for p, r in ratio.items() if 1 / WILD_RATIO < r < WILD_RATIO]
    trusted = trusted or [(TOES, 1.0)]
    seen, reach, typical_reach = {}, {}, {}
    for p, typical in TYPICAL_GIRTHS_CM.items():
        width, lean = FRONT_WIDTH.get(p, 1.0), 1 + OUTWARD.get(p, 0.0)
        seen[p] = typical * width * ratio.get(p, smooth_between(trusted, levels[p]))
        if p not in wild and levels[p] < height:
            reach[p] = seen[p] * lean
        if _rank(p) <= _rank(highest):
            typical_reach[p] = typical * width * lean
    widest = max(max(typical_reach.values()) / TYPICAL_FILL[highest], *reach.values(), 0.0)
    seen |= dict.fromkeys(wild, widest)

    above_cm, above_girth_cm = LOWER_THIGH_CM
    knee_cm, thigh_cm = TYPICAL_HEIGHTS_CM[Point.E], TYPICAL_HEIGHTS_CM[Point.F]
    knee, thigh = levels[Point.E], levels[Point.F]
    above = knee + (above_cm - knee_cm) / (thigh_cm - knee_cm) * (thigh - knee)
    curve = [(float(levels[p]), girth) for p, girth in seen.items()]
    curve = sorted([*curve, (above, above_girth_cm * smooth_between(trusted, above))])
    outward = [(levels[p], OUTWARD.get(p, 0.0)) for p in TYPICAL_GIRTHS_CM]
    # Half cells of half-width per cm of radius; the widest level reaches the frame on its side.
    stretch = frame / (widest / (2 * math.pi))

    outline = []
    for row in range(height):
        half = smooth_between(curve, row) / (2 * math.pi) * stretch
        middle = frame - half * smooth_between(outward, row)
        left, right = max(0, _nearest(middle - half)), min(2 * frame, _nearest(middle + half))
        if any(levels[p] == row for p in wild):
            outline.append(_Edges(0, 2 * frame, clipped=True))
        else:
            # Two cells at least, or a tenfold slip downwards would cut the leg in two.
            centre = (left + right) // 2
            outline.append(_Edges(min(left, centre - 2), max(right, centre + 2), clipped=False))
    return outline


def _nearest(value: float) -> int:
    # Not round(): its halves go to the even neighbour, which makes an edge jump to and fro.
    return math.floor(value + 0.5)


def _tape_rows(current: Point | None, kind: Kind | None, drawn: Mapping[Point, int]) -> set[int]:
    """Return the rows drawn as a solid band."""
    if kind is Kind.SHOE or (current is Point.FOOT and kind is Kind.LENGTH):
        return {TOES, BALL, INSTEP}
    if current is Point.FOOT:
        return {BALL}
    if current is Point.A and kind is Kind.LENGTH:
        return {BALL, INSTEP}
    if current is None or kind is Kind.LENGTH or current not in drawn:
        return set()
    return {drawn[current]}


def _ruler_top(
    current: Point | None, kind: Kind | None, drawn: Mapping[Point, int], height: int
) -> int | None:
    """Return the row a length is measured up to, or None where no ruler belongs."""
    if current is None or kind is not Kind.LENGTH or current in {Point.FOOT, Point.A}:
        return None
    return drawn.get(current, height - 1)


def _leg_text(edges: _Edges, frame: int, style: StyleName, glyphs: _Glyphs, *, toes: bool) -> str:
    """Return one row of the leg as wide as the frame, outer side to the left."""
    solid = style == "tape"
    fill = {"tape": glyphs.tape, "leg": glyphs.measured}.get(style, glyphs.unmeasured)
    halves = glyphs.tape_halves if solid else glyphs.halves
    chars = [fill if cell in edges.cells else " " for cell in range(frame)]
    if edges.left % 2 or not solid:
        chars[edges.cells[0]] = halves[edges.left % 2]
    if edges.right % 2 or not solid:
        chars[edges.cells[-1]] = halves[1 - edges.right % 2]
    if toes:
        for cell in _toe_gaps(edges.cells):
            chars[cell] = glyphs.halves[solid]
    return "".join(chars)


def _toe_gaps(foot: range) -> list[int]:
    """Return the cells where a toe begins, from the little toe on the left to the big toe.

    Where five toes do not fit, only the big toe is set off: four toes would be a statement.
    """
    if len(foot) < 11:
        return [foot[-3]] if len(foot) > 5 else []
    small, wider = divmod(max(8, len(foot) * 2 // 3), 4)
    widths = [small + (toe >= 4 - wider) for toe in range(4)]
    return [foot[sum(widths[: toe + 1])] for toe in range(4)]


def _add_kneecap(leg: str, edges: _Edges, glyphs: _Glyphs) -> str:
    """Return the row with the lower rim of the kneecap: it says that this is the front."""
    size = len(edges.cells) // 2 - 1
    if size < 2:
        return leg
    start = (edges.left + edges.right - 2 * size + 2) // 4
    rim = glyphs.kneecap[0] + glyphs.line * (size - 2) + glyphs.kneecap[1]
    return leg[:start] + rim + leg[start + size :]


def _leg_spans(leg: str, style: StyleName, lead: str, *, clipped: bool) -> list[Span]:
    """Return the row with its styles; `lead` fills the way from the leg to the ruler."""
    if clipped:
        return [("!!", "label"), (leg[2:-2], style), ("!!", "label")]
    before, after = len(leg) - len(leg.lstrip()), len(leg) - len(leg.rstrip())
    to_ruler: Span = (lead * after, "frame" if lead == " " else "tape")
    return [(" " * before, "frame"), (leg.strip(), style), to_ruler]


def _ruler_span(row: int, ruler: int | None, glyphs: _Glyphs, *, leads: bool) -> Span:
    """Return what stands between the leg and the margin."""
    if ruler is None or row > ruler:
        return (" " * RULER_COLUMNS, "frame")
    return (glyphs.line + glyphs.ruler_ends[0] if leads else " " + glyphs.upright, "tape")


def _write_margin(
    known: Mapping[Point, float], shown: Mapping[Point, int], done: Collection[Point]
) -> dict[int, Span]:
    """Return letters by row, with a tick where the point is done, and its value if that fits."""
    margin: dict[int, Span] = {}
    for point, row in shown.items():
        letter = say("foot")[:4] if point is Point.FOOT else f"{point.value:<2}"
        if point in done:
            # Two decimals only where they are needed: the mean of two readings ends in a half.
            value = girth_words(known[point]) if point in known else ""
            text = f"+{letter} {value:>{LABEL_COLUMNS - 3 - len(letter)}}"
            # A value cut short would be another value.
            margin[row] = (text if len(text) <= LABEL_COLUMNS else f"+{letter}", "done")
        else:
            margin[row] = (f" {letter}", "frame")
    return margin


def _write_current(margin: dict[int, Span], current: Point, row: int, arrow: str) -> None:
    """Put the name of the level to measure now into the margin, on two rows where it needs them."""
    start = f"{arrow:<2}" if current is Point.FOOT else f"{arrow:<2}{current.value} "
    room = LABEL_COLUMNS - len(start)
    lines = textwrap.wrap(_short_words(current), room, break_long_words=False)
    fits = all(len(line) <= room for line in lines) and len(lines) <= 2
    if not fits or (len(lines) == 2 and (row - 1 in margin or row == 0)):
        # Half a name misleads: "below" without "knee". The letter alone does not.
        lines = []
    margin[row] = (start + "".join(lines[:1]), "label")
    if lines[1:]:
        margin[row - 1] = (" " * len(start) + lines[1], "label")


def _short_words(point: Point) -> str:
    """Return one or two short words for the margin; the full ones stand beside the drawing."""
    words = {
        Point.FOOT: say("foot"),
        Point.A: say("ball"),
        Point.Y: say("instep"),
        Point.B: say("ankle"),
        Point.C: say("calf"),
        Point.D: say("below knee"),
        Point.E: say("knee"),
        Point.F: say("mid thigh"),
        Point.G: say("top thigh"),
        Point.K: say("crotch"),
        Point.H: say("hips"),
        Point.T: say("waist"),
    }
    return words.get(point, "")


def _join(spans: Sequence[Span], columns: int) -> LegRow:
    """Return a row filled up to its width, with neighbouring spans of one style made one."""
    blank: Span = (" " * (columns - sum(len(text) for text, _ in spans)), "frame")
    full = [span for span in (*spans, blank) if span[0]]
    return LegRow(
        tuple(
            ("".join(text for text, _ in group), style)
            for style, group in groupby(full, key=lambda span: span[1])
        )
    )
