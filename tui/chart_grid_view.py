"""The chart editor's grid as rows of text, and what is said below it. No screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.coverage.coverage import cover
from fitcore.coverage.coverage_picture import coverage_picture
from fitcore.problems import ProblemLevel
from fitcore.words import say
from tui.chart_table_state import FIRST, HEADINGS, SIZE, VARIANT, typed_column

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fitcore.charts.chart import Chart
    from fitcore.coverage.leg_set import LegSet
    from tui.chart_grid import ChartGrid
    from tui.chart_grid_reading import GridReading
    from tui.chart_grid_remarks import GridRemark

_LEAST, _MOST = 8, 15
_SIZE_COLUMNS = 8
_ROW_MARK = 2

Span = tuple[str, str]
"""Text and style: `marked`, `heading`, `proposed`, `wrong`, or none."""


@dataclass(frozen=True, slots=True)
class _Lay:
    """Which places are drawn, and how wide."""

    places: tuple[int, ...]
    widths: dict[int, int]
    more_left: bool
    more_right: bool


def grid_rows(
    grid: ChartGrid,
    reading: GridReading,
    width: int,
    height: int,
    cut: Callable[[str, int], str],
) -> list[list[Span]]:
    """Draw the part of the grid round the cursor.

    Args:
        grid: the grid.
        reading: what it comes to.
        width: cells a row may have.
        height: rows there are, headings included.
        cut: brings a text to so many cells, whatever its letters.

    Returns:
        Rows of spans; the present cell carries `>` and its row, too.
    """
    lay = _lay(grid, width)
    rows = [_row(grid, reading, HEADINGS, lay, cut)]
    room = max(1, height - 1)
    count = len(grid.table.rows) + 1
    first = max(0, min(grid.row - room // 2, count - room))
    rows += [_row(grid, reading, row, lay, cut) for row in range(first, min(count, first + room))]
    return rows


def cell_words(grid: ChartGrid) -> str:
    """Say what the present cell is, and what it says so far."""
    if grid.row == HEADINGS:
        return _heading_words(grid)
    column = grid.table.column(grid.place)
    own = " ".join(grid.table.text(grid.row, place) for place in (SIZE, VARIANT)).strip()
    size = own or grid.proposed_size
    name = say("size {size}", size=size) if size else say("a new size")
    if grid.place == SIZE:
        if not grid.shown and grid.proposed_size:
            return say("The size. Enter takes {size}.", size=grid.proposed_size)
        return say("The size, as it stands on the garment.")
    if grid.place == VARIANT:
        return say("{name}: wide, long and the like; empty for the regular one.", name=name)
    if column is None:
        return say("Go up to the headings first: say what the columns measure.")
    what = column.words or column.heading
    unit = column.unit or grid.unit or ""
    told = f"{name}, {what}" + (f", {unit}" if unit and not _is_shoe(grid) else "")
    if not grid.shown and grid.proposed_low:
        return told + say(". - takes {low} as its low end.", low=grid.proposed_low)
    said = grid.reading()
    if grid.typed is not None and said != grid.typed and said != " ".join(grid.typed.split()):
        return told + say(". Enter takes {said}.", said=said)
    return told


def question_words(grid: ChartGrid) -> tuple[str, str]:
    """Return what is asked now and its answers; empty where nothing is."""
    if grid.asks_unit:
        asked = say("Which unit is the printed table in?")
    elif grid.question is not None:
        asked = f"{grid.question.problem.text} {grid.question.problem.mend}"
    else:
        return "", ""
    return asked, "   ".join(f"{key} {_answer(choice)}" for key, choice in grid.choice_keys)


def remark_lines(remarks: Sequence[GridRemark], grid: ChartGrid) -> list[str]:
    """Return remarks as lines: how bad, where, what, and the mend."""
    levels = {
        ProblemLevel.ERROR: say("! error"),
        ProblemLevel.WARNING: say("? look"),
        ProblemLevel.NOTE: say("  note"),
    }
    lines = []
    for remark in remarks:
        place = _place_words(remark, grid)
        lines.append(
            f"{levels[remark.level]}: {place}{': ' if place else ''}{remark.text} {remark.mend}"
        )
    return lines


def count_words(reading: GridReading) -> str:
    """Say how many remarks there are of each kind."""
    counts = [sum(r.level is level for r in reading.remarks) for level in ProblemLevel]
    if not any(counts):
        return say("Nothing to remark so far.")
    return say(
        "Errors {errors}, to look at {warnings}, notes {notes}.",
        errors=counts[0],
        warnings=counts[1],
        notes=counts[2],
    )


def coverage_lines(chart: Chart, legs: LegSet, width: int, height: int) -> list[str]:
    """Return whom a chart would fit in a set of legs: counts, what must be said, the picture."""
    told = [say("Against {set}: {count} legs.", set=legs.name, count=len(legs.legs))]
    told += legs.about
    for dimension in chart.dimensions:
        stand_in = legs.stand_ins.get((dimension.point, dimension.kind))
        if stand_in:
            told.append(stand_in)
    told.append(say("Numbers in a chart are not the whole fit, and clear nobody's leg."))
    if not legs.legs:
        return told
    counts = cover(chart, legs.legs)
    shares = [
        (say("one size"), counts.one_size),
        (say("several sizes"), counts.several),
        (say("none: a gap between sizes"), counts.between),
        (say("none: outside all sizes"), counts.off_chart),
        (say("none: measures point to different sizes"), counts.proportions),
        (say("a measure of the chart is not in the set"), counts.not_measured),
    ]
    told.append("")
    told += [
        f"{number:>7} {100 * number / counts.legs:>6.1f} %  {words}"
        for words, number in shares
        if number or words in (shares[0][0], shares[1][0])
    ]
    by_size = "   ".join(f"{name} = {number}" for name, number in counts.by_size.items())
    told += ["", say("By size: {sizes}", sizes=by_size), ""]
    return told + coverage_picture(chart, legs.legs, width, height)


# -------------------------------------------------------------------------------------------------


def _lay(grid: ChartGrid, width: int) -> _Lay:
    table = grid.table
    fixed = [SIZE] + ([VARIANT] if table.has_variants or grid.place == VARIANT else [])
    ranges = list(range(FIRST, FIRST + len(table.columns)))
    if grid.row == HEADINGS and table.column(grid.place) is None:
        ranges.append(FIRST + len(table.columns))
    widths = dict.fromkeys(fixed, _SIZE_COLUMNS)
    if VARIANT in widths:
        longest = max((len(row.variant) for row in table.rows), default=0)
        widths[VARIANT] = min(_MOST, max(len(say("Variant")) + 2, longest + 2))
    for place in ranges:
        column = table.column(place)
        texts = [row.text(place) for row in table.rows]
        texts += [column.shown if column is not None else ""]
        if place == grid.place:
            texts.append(grid.shown + "_")
        widths[place] = min(_MOST, max(_LEAST, *(len(text) + 3 for text in texts)))
    room = width - _ROW_MARK - sum(widths[place] for place in fixed) - 2
    at = grid.place if grid.place in ranges else FIRST
    first = next(
        (start for start in ranges if sum(widths[p] for p in range(start, at + 1)) <= room), at
    )
    shown: list[int] = []
    for place in ranges[first - FIRST :]:
        if widths[place] > room:
            break
        shown.append(place)
        room -= widths[place]
    return _Lay(
        (*fixed, *shown),
        widths,
        bool(shown) and shown[0] > FIRST,
        bool(shown) and shown[-1] < FIRST + len(ranges) - 1,
    )


def _row(
    grid: ChartGrid,
    reading: GridReading,
    row: int,
    lay: _Lay,
    cut: Callable[[str, int], str],
) -> list[Span]:
    spans: list[Span] = [("> " if row == grid.row and row != HEADINGS else "  ", "")]
    for place in lay.places:
        text, style = _cell(grid, reading, row, place)
        here = (row, place) == (grid.row, grid.place)
        sign = reading.marked(row, place) or " "
        lead = ">" if here else sign
        spans.append((cut(f"{lead}{text}", lay.widths[place] - 1), "marked" if here else style))
        spans.append((" ", ""))
    arrows = ("←" if lay.more_left else "") + ("→" if lay.more_right else "")
    return [*spans, (arrows, "")] if arrows else spans


def _cell(grid: ChartGrid, reading: GridReading, row: int, place: int) -> Span:
    here = (row, place) == (grid.row, grid.place)
    if here and grid.typed is not None:
        return f"{grid.typed}_", ""
    if row == HEADINGS:
        if place in (SIZE, VARIANT):
            return (say("Size") if place == SIZE else say("Variant")), "heading"
        column = grid.table.column(place)
        return (column.shown if column is not None else ("_" if here else "")), "heading"
    text = grid.table.text(row, place)
    if not text and row == grid.row:
        proposed = grid.proposed.text(place)
        if proposed:
            return f"{proposed}?", "proposed"
        if here and grid.proposed_low:
            return f"{grid.proposed_low}-?", "proposed"
        if here:
            return "_", ""
    return text, "wrong" if reading.marked(row, place) == "!" else ""


def _heading_words(grid: ChartGrid) -> str:
    column = grid.table.column(grid.place)
    text = grid.shown.strip()
    if grid.typed is not None and text:
        meant = typed_column(text)
        if meant.meaning is not None:
            return say("This column: {what}.", what=meant.words)
        return say("The heading as it is printed; what it leaves open is asked.")
    if column is not None:
        return say("This column: {what}.", what=column.words or say("not said yet"))
    return say("A column: b c d f g = girth there, lb ld = height, foot, eu uk, or as printed.")


def _answer(choice: str) -> str:
    words = {"skip": say("leave it out"), "in": say("inches")}
    return words.get(choice, choice)


def _is_shoe(grid: ChartGrid) -> bool:
    column = grid.table.column(grid.place)
    return column is not None and column.meaning is not None and column.meaning.system is not None


def _place_words(remark: GridRemark, grid: ChartGrid) -> str:
    column = grid.table.column(remark.place) if remark.place is not None else None
    name = (column.words or column.heading) if column is not None else ""
    if remark.row is None or not remark.unread:
        return ""  # lint names the place in its own words
    if remark.row == HEADINGS:
        return name
    row = grid.table.rows[remark.row]
    size = f"{row.size} {row.variant}".strip() or say("row {number}", number=remark.row + 1)
    return f"{size}, {name}" if name else size
