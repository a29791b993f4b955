"""Laws of getting a table in: nothing changes on the way, nothing is lost, nothing is raised."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from hypothesis import given
from hypothesis import strategies as st
from strategies import Grid, grids

from fitcore.charts.chart import Chart
from fitcore.problems import ProblemLevel
from fitcore.tables.chart_table import parse_table
from fitcore.tables.chart_text import write_chart
from fitcore.tables.table_values import table_values

if TYPE_CHECKING:
    from collections.abc import Sequence

WORDS = {
    "ankle": ("Ankle", "cB", "Narrowest ankle girth"),
    "calf": ("Calf", "c C", "Widest part of the calf"),
    "length": ("lD", "floor to below the knee (D)", "Length to D"),
}
IDS = {"ankle": "ankle", "calf": "calf", "length": "length_d"}
DASHES = ("-", " - ", "–", " — ", " to ", "−")
SEPARATORS = (";", "\t", " | ", "   ")
JUNK = ("≤ 23", "23", "", "x", "23-21", "21-23 kg", "21-23-25", "0-23", "n/a")


def _chart(values: object) -> Chart:
    return Chart.model_validate(values)


@st.composite
def documents(draw: st.DrawFn) -> dict[str, Any]:
    """Draw the values of a chart file as it would be read."""
    inches = draw(st.booleans())
    grid = draw(grids(inches=inches))
    values = grid.table("in" if inches else draw(st.sampled_from(("cm", "mm"))))
    words = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1)
    values["maker"] = "Invented " + draw(words)[:40]
    if draw(st.booleans()):
        values["pressure"] = {"mmhg": [10, Decimal("14.50")], "standard": "x", "class": "light"}
    if draw(st.booleans()):
        values["made"], values["sold"] = "off_the_shelf", "single"
    return values


@given(documents())
def test_a_chart_written_and_read_again_is_the_same(values: dict[str, Any]) -> None:
    text = write_chart(values)
    read = tomllib.loads(text, parse_float=Decimal)
    assert _chart(read) == _chart(values)
    assert write_chart(read) == text, "canonical: the same values, the same text"


def _print(edge: object, *, comma: bool) -> str:
    text = f"{edge:f}" if isinstance(edge, Decimal) else str(edge)
    return text.replace(".", ",") if comma else text


@st.composite
def printed(draw: st.DrawFn) -> tuple[Grid, str, list[list[str]], str]:
    """Draw a chart and a table of it as a leaflet may print it; some stand the other way."""
    inches = draw(st.booleans())
    grid = draw(grids(inches=inches))
    unit = "in" if inches else draw(st.sampled_from(("cm", "mm")))
    dash, comma = draw(st.sampled_from(DASHES)), draw(st.booleans())
    in_cells = draw(st.booleans())
    table = grid.table(unit)
    rows = [["Size", *(draw(st.sampled_from(WORDS[name])) for name in grid.columns)]]
    if not in_cells:
        sign = draw(st.sampled_from((" ({})", " in {}", ", {}", " [{}]")))
        unit_word = "inches" if unit == "in" else unit
        rows[0][1:] = [f"{heading}{sign.format(unit_word)}" for heading in rows[0][1:]]
    sizes: Any = table["sizes"]
    for size in sizes:
        name = " ".join(word for word in (size["size"], size["variant"]) if word)
        ranges = [
            dash.join(_print(edge, comma=comma) for edge in size[column]) for column in grid.columns
        ]
        rows.append([name, *(f"{text} {unit}" if in_cells else text for text in ranges)])
    if draw(st.booleans()):
        rows = [list(column) for column in zip(*rows, strict=True)]
    return grid, unit, rows, draw(st.sampled_from(SEPARATORS))


def _text(rows: Sequence[Sequence[str]], separator: str) -> str:
    return "\n".join(separator.join(row) for row in rows)


def _values(text: str, grid: Grid, unit: str) -> dict[str, object]:
    head = {k: v for k, v in grid.table(unit).items() if k not in ("unit", "dimensions", "sizes")}
    return table_values(parse_table(text), head)


def _ranges(chart: Chart) -> list[tuple[str, dict[str, tuple[Decimal, Decimal]]]]:
    return [(size.name, size.ranges) for size in chart.sizes]


@given(printed())
def test_a_printed_table_read_gives_the_same_ranges(
    case: tuple[Grid, str, list[list[str]], str],
) -> None:
    grid, unit, rows, separator = case
    text = _text(rows, separator)
    table = parse_table(text)
    assert [p for p in table.problems if p.level is not ProblemLevel.NOTE] == []
    read = _chart(_values(text, grid, unit))
    asked = [
        (name, {IDS[column]: pair for column, pair in ranges.items()})
        for name, ranges in _ranges(_chart(grid.table(unit)))
    ]
    assert _ranges(read) == asked
    again = tomllib.loads(write_chart(_values(text, grid, unit)), parse_float=Decimal)
    assert _chart(again) == read


@given(printed(), st.sampled_from(JUNK), st.data())
def test_one_bad_cell_spoils_its_row_only_and_keeps_the_chart_from_use(
    case: tuple[Grid, str, list[list[str]], str], junk: str, data: st.DataObject
) -> None:
    grid, unit, rows, _ = case
    before = parse_table(_text(rows, ";"))
    row = data.draw(st.integers(1, len(rows) - 1))
    column = data.draw(st.integers(1, len(rows[0]) - 1))
    rows[row][column] = junk
    text = _text(rows, ";")
    table = parse_table(text, unit="cm")
    [bad] = [row for row in table.rows if row.problems]
    assert list(bad.unread.values()) == [junk]
    assert [problem.line for problem in bad.problems] == [row + 1]
    assert [r.ranges for r in table.good_rows] == [
        r.ranges for r in before.rows if r.name != bad.name
    ]
    usable = True
    try:
        _chart(_values(text, grid, unit))
    except ValueError:
        usable = False
    assert not usable


@given(
    st.text(
        st.sampled_from('Size;,\t|\n\r "SML Ankle(cm)Calf0123456789-–to/¼≤\x00\x1b\u00ad=Length')
    )
)
def test_whatever_is_pasted_is_told_and_never_raised(text: str) -> None:
    table = parse_table(text)
    for problem in table.problems:
        assert problem.text
        assert problem.mend
    if not (table.questions or table.faults):
        assert table.rows
