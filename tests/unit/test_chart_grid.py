"""The chart editor's grid without a screen: typing, parting, proposals, paste, drafts, values."""

from __future__ import annotations

import tomllib
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitcore.charts.chart import Chart
from fitcore.disk.chart_files import (
    chart_files,
    draft_values,
    drafts,
    drop_draft,
    write_draft,
    write_own_chart,
)
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.profile_reading import read_profile
from fitcore.lint.lint_codes import OF_PRESSURE
from fitcore.problems import ChangedOnDisk, FileFault, ProblemLevel, ProfileError
from fitcore.tables.chart_text import write_chart
from fitcore.tables.table_columns import TableColumn
from fitcore.tables.table_meanings import read_meaning
from fitcore.tables.table_sizes import split_size
from tui.chart_drafts import draft_text, grid_of_chart, grid_of_draft
from tui.chart_grid import ChartGrid
from tui.chart_grid_reading import GridReading, chart_values, gap_columns, read_grid_table
from tui.chart_head_form import head_asks, head_of_values, head_values, missing_keys
from tui.chart_paste import is_table, paste_into
from tui.chart_proposals import next_name, next_size
from tui.chart_saving import plan_save
from tui.chart_table_state import FIRST, HEADINGS, SIZE, GridRow, typed_column
from tui.charts_list import chart_lines, free_copy_id, free_draft_name
from tui.question_form import QuestionForm
from tui.typed_range import as_range

if TYPE_CHECKING:
    from pathlib import Path

    from fitcore.record.entries import Value
    from fitcore.units import Unit

PROFILES = load_profiles()
RANGES = PROFILES.ranges
HEAD: dict[str, Value] = {
    "maker": "Invented Mill Nine",
    "line": "Neap",
    "id": "neap",
    "form": "below_knee",
    "toe": "open",
    "purposes": "work, travel",
    "posture": "standing",
    "unit": "cm",
    "step_mm": Decimal(1),
    "source": "Made up for this test",
    "status": "invented",
}


def column(meaning: str, unit: Unit | None = "cm") -> TableColumn:
    """Return a column of one measure."""
    found = read_meaning(meaning)
    assert found is not None
    return TableColumn(meaning, found, None if found.system else unit)


def press(grid: ChartGrid, keys: str) -> list[str]:
    """Type keys; a line feed is Enter. Return what was told."""
    told = []
    for key in keys:
        if grid.asks_unit or (grid.question is not None and grid.typed is None):
            if not grid.choose(key):
                told.append(grid.type(key))
        else:
            told.append(grid.enter() if key == "\n" else grid.type(key))
    return [words for words in told if words]


def typed_grid(keys: str = "b\nc\n\nS\n1920.9\n3035.9\n2122.9\n3640\n") -> ChartGrid:
    """Return a grid of a small table."""
    grid = ChartGrid(head=HEAD, ranges=RANGES)
    press(grid, keys)
    return grid


def cells(grid: ChartGrid) -> list[tuple[str, ...]]:
    """Return every row: size, then its cells."""
    return [(row.size, *row.cells) for row in grid.table.rows]


# --- what is typed -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "meaning", "unit", "said"),
    [
        ("21-22.9", "B girth", "cm", "21-22.9"),
        ("2122.9", "B girth", "cm", "21-22.9"),
        ("21.522.9", "B girth", "cm", "21.5-22.9"),
        ("21,522,9", "B girth", "cm", "21,5-22,9"),
        ("21 23", "B girth", "cm", "21-23"),
        ("95105", "G girth", "cm", "95-105"),
        ("210230", "B girth", "mm", "210-230"),
        ("8 1/4 9", "B girth", "in", "8 1/4-9"),
        ("8 1/4 8 3/4", "B girth", "in", "8 1/4-8 3/4"),
        ("8.259", "B girth", "in", "8.25-9"),
        ("3638", "shoe eu", None, "36-38"),
        ("3.55", "shoe uk", None, "3.5-5"),
    ],
)
def test_a_range_is_read_where_it_can_be_read_in_one_way_alone(
    typed: str, meaning: str, unit: Unit | None, said: str
) -> None:
    assert as_range(typed, column(meaning, unit), RANGES) == said


@pytest.mark.parametrize(
    ("typed", "meaning", "unit", "why"),
    [
        ("21", "B girth", "cm", "one number"),
        ("385", "C girth", "cm", "8 or 5 is no calf"),
        ("3025", "B girth", "cm", "reversed"),
        ("12", "shoe uk", None, "1 to 2, or size 12"),
        ("21.2522.75", "B girth", "cm", "more decimals than a table prints"),
        ("2122", "H girth", "cm", "nobody knows what hips can be"),
        ("8 1/4", "B girth", "in", "one number"),
        ("021022", "B girth", "cm", "no number begins with 0"),
    ],
)
def test_what_leaves_a_doubt_is_left_as_it_was_typed(
    typed: str, meaning: str, unit: Unit | None, why: str
) -> None:
    assert why
    assert as_range(typed, column(meaning, unit), RANGES) == typed


@given(
    st.integers(120, 599), st.integers(120, 599), st.sampled_from(["B girth", "C girth", "D girth"])
)
@settings(max_examples=150)
def test_parting_never_changes_a_digit_and_never_takes_another_range(
    one: int, other: int, meaning: str
) -> None:
    low, high = sorted((one, other))
    written = [f"{Decimal(end) / 10:f}".removesuffix(".0") for end in (low, high)]
    said = as_range("".join(written), column(meaning), RANGES)
    assert said.replace("-", "") == "".join(written)
    if "-" in said:
        assert said == "-".join(written)


def test_without_limits_nothing_is_parted() -> None:
    assert as_range("2122.9", column("B girth"), None) == "2122.9"


# --- moves ---------------------------------------------------------------------------------------


def test_enter_goes_across_then_to_the_next_size() -> None:
    grid = typed_grid()
    assert cells(grid) == [("S", "19-20.9", "30-35.9"), ("M", "21-22.9", "36-40")]
    assert (grid.row, grid.place, grid.proposed_size) == (2, FIRST, "L")
    assert grid.enter() == "The table ends here. Type the next size's range, or F6 saves."
    assert len(grid.table.rows) == 2


@pytest.mark.parametrize(
    ("before", "earlier", "after"),
    [
        ("1", "", "2"), ("9", "8", "10"), ("S", "", "M"), ("XL", "L", "XXL"), ("XXL", "XL", "XXXL"),
        ("2XL", "XL", "3XL"), ("II", "I", "III"), ("m", "s", "l"), ("A", "", "B"),
        ("M", "XS", ""), ("38", "36", "39"), ("petite", "", ""), ("", "", ""), ("4 plus", "", ""),
    ],
)  # fmt: skip
def test_the_next_size_is_counted_on_where_that_is_sure(
    before: str, earlier: str, after: str
) -> None:
    assert next_size(before, earlier) == after


@pytest.mark.parametrize(
    ("sizes", "after"),
    [
        ("II short", "II long"),
        ("II Short", "II Long"),
        ("II short,II long", "III short"),
        ("S short,S long,M short", "M long"),
        ("S short,S long,M short,M long", "L short"),
        ("S,S wide,M", "M wide"),
        ("S,S wide,M,M wide", "L"),
        ("S,M,M wide", "L"),
        ("S wide", ""),
        ("S wide,M wide", "L wide"),
        ("II long", ""),
        ("petite short,petite long", ""),
        ("S,M", "L"),
        ("", ""),
    ],
)
def test_the_next_variant_follows_what_the_sizes_above_have(sizes: str, after: str) -> None:
    rows = [GridRow(*split_size(size)) for size in sizes.split(",") if size]
    assert " ".join(next_name(rows)).strip() == after


def test_a_proposed_variant_is_taken_with_its_range() -> None:
    grid = ChartGrid(head=HEAD, ranges=RANGES)
    press(grid, "b\n\nII short\n1920.9\n")
    assert (grid.proposed_size, grid.place) == ("II long", FIRST)
    press(grid, "1920.9\n2122.9\n")
    named = [(row.size, row.variant) for row in grid.table.rows]
    assert named == [("II", "short"), ("II", "long"), ("III", "short")]


def test_a_typed_size_takes_the_place_of_a_proposed_variant() -> None:
    grid = ChartGrid(head=HEAD, ranges=RANGES)
    press(grid, "b\n\nII short\n1920.9\n")
    grid.place = SIZE
    press(grid, "III\n")
    assert (grid.table.rows[1].size, grid.table.rows[1].variant) == ("III", "")


def test_where_no_size_is_sure_the_cursor_waits_at_the_size() -> None:
    grid = ChartGrid(head=HEAD, ranges=RANGES)
    press(grid, "b\n\nII long\n1920.9\n")
    assert (grid.proposed_size, grid.row, grid.place) == ("", 1, SIZE)


def test_a_low_end_is_proposed_and_taken_by_its_key_only() -> None:
    grid = typed_grid()
    assert grid.proposed_low == "23"
    grid.type("-")
    press(grid, "24.9\n")
    assert grid.table.rows[2].cells == ("23-24.9",)
    assert grid.proposed_low == "40.1", "as far above as in the row before"


def test_a_typed_character_begins_a_cell_anew_and_escape_brings_it_back() -> None:
    grid = typed_grid()
    grid.go_to(0, FIRST)
    grid.type("1")
    assert grid.shown == "1"
    assert grid.drop_typed()
    assert grid.shown == "19-20.9"
    grid.erase()
    assert grid.shown == "19-20."


def test_rows_and_columns_go_and_come_back() -> None:
    grid = typed_grid()
    before = grid.table
    grid.go_to(0, FIRST)
    grid.delete_row()
    assert [row.size for row in grid.table.rows] == ["M"]
    grid.delete_column()
    assert [c.id for c in grid.table.columns] == ["calf"]
    grid.insert_row()
    assert [row.size for row in grid.table.rows] == ["", "M"]
    for _ in range(3):
        grid.undo()
    assert grid.table == before


@given(
    st.lists(
        st.sampled_from(
            [*"1234.-b \n", "undo", "del", "up", "down", "left", "tab", "row", "col", "ins"]
        ),
        max_size=60,
    )
)
@settings(max_examples=120)
def test_no_row_of_keys_leads_out_of_the_grid(keys: list[str]) -> None:
    grid = typed_grid()
    for key in keys:
        actions = {
            "undo": grid.undo,
            "del": grid.erase,
            "up": lambda: grid.move(down=-1),
            "down": lambda: grid.move(down=1),
            "left": lambda: grid.move(across=-1),
            "tab": lambda: grid.move(across=1),
            "row": grid.delete_row,
            "col": grid.delete_column,
            "ins": grid.insert_row,
        }
        if key in actions:
            actions[key]()
        else:
            press(grid, key)
        assert HEADINGS <= grid.row <= len(grid.table.rows)
        assert 0 <= grid.place <= FIRST + len(grid.table.columns)
        read_grid_table(grid, RANGES, on=None)
    again, _ = grid_of_draft(draft_values(draft_text(grid, "").encode()), RANGES)
    assert cells(again) == cells(grid)


# --- headings ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "spec"),
    [
        ("b", "ankle"), ("cB", "ankle"), ("ld", "length_d"), ("eu", "shoe"),
        ("foot", "foot_length"),
        ("G girth", "thigh"), ("Ankle (cm)", "ankle"), ("b1", "b1"), ("skip", "skip"),
    ],
)  # fmt: skip
def test_a_heading_is_understood(typed: str, spec: str) -> None:
    found = typed_column(typed)
    assert found.meaning is not None
    assert found.meaning.id == spec


@pytest.mark.parametrize("typed", ["Length to knee", "Ankle bone", "US size", "Arm", "shoe size"])
def test_a_heading_that_leaves_anything_open_is_asked_about(typed: str) -> None:
    found = typed_column(typed)
    assert found.meaning is None
    assert found.question is not None


# --- paste ---------------------------------------------------------------------------------------

SIDEWAYS = "Size;S;M;L\nAnkle cm;19-21;21-23;23-25\nCalf cm;30-36;33-40;35-43\n"


def test_a_pasted_table_stands_upright_with_its_unit() -> None:
    grid = ChartGrid(ranges=RANGES)
    told = paste_into(grid, SIDEWAYS)
    assert "the table was turned" in told
    assert grid.unit == "cm"
    assert cells(grid)[2] == ("L", "23-25", "35-43")
    grid.undo()
    assert cells(grid) == []


def test_a_unit_that_one_column_says_is_not_taken_for_another() -> None:
    grid = ChartGrid(ranges=RANGES)
    paste_into(grid, "Size\tAnkle (cm)\tCalf\nS\t19-21\t30-36\n")
    assert grid.asks_unit
    assert [column.unit for column in grid.table.columns] == ["cm", None]


@given(
    st.lists(
        st.lists(
            st.sampled_from(["S", "21-23", "x", "under 3", "8 1/4-9", ""]), min_size=3, max_size=5
        ),
        min_size=2,
        max_size=5,
    )
)
@settings(max_examples=120)
def test_nothing_pasted_is_lost(rows: list[list[str]]) -> None:
    text = "\n".join(["Size\tAnkle (cm)\tWhatever", *("\t".join(row) for row in rows)])
    grid = ChartGrid(ranges=RANGES)
    told = paste_into(grid, text)
    wanted = sorted(cell for row in rows for cell in row if cell)
    kept = [text for row in grid.table.rows for text in (row.size, row.variant, *row.cells) if text]
    seen = " ".join([*kept, *grid.remarks, told])
    assert all(cell in seen for cell in wanted)
    if all(row[1] for row in rows):
        assert sorted(kept) == wanted


def test_rows_without_headings_fill_from_the_present_cell_on() -> None:
    grid = typed_grid()
    paste_into(grid, "23-24.9\t41-45\textra\n25-26.9\t46-50\t\n")
    assert cells(grid)[2:] == [("", "23-24.9", "41-45", "extra"), ("", "25-26.9", "46-50", "")]
    assert grid.question is not None, "the third column must be explained"


def test_rows_that_begin_with_their_size_fill_it_wherever_the_cursor_is() -> None:
    for grid in (typed_grid(), typed_grid()):
        paste_into(grid, "L wide\t23-24.9\t41-45\nXL\t25-26.9\t46-50\n")
        assert cells(grid)[2:] == [("L", "23-24.9", "41-45"), ("XL", "25-26.9", "46-50")]
        assert grid.table.rows[2].variant == "wide"


def test_rows_without_headings_begin_a_new_table_whose_columns_are_asked_about() -> None:
    grid = ChartGrid(head={"unit": "cm"}, ranges=RANGES)
    paste_into(grid, "S\t19-21\t30-36\nM\t21-23\t33-40\n")
    assert cells(grid) == [("S", "19-21", "30-36"), ("M", "21-23", "33-40")]
    assert grid.question is not None
    assert grid.choose("1")
    assert grid.table.columns[0].id == "ankle"


@pytest.mark.parametrize(
    ("text", "many"), [("21-23", False), ("8 1/4 - 9", False), ("a\tb", True), ("1\n2", True)]
)
def test_one_cell_is_no_table(text: str, many: bool) -> None:  # noqa: FBT001 - a table of cases
    assert is_table(text) is many


# --- judging -------------------------------------------------------------------------------------


def test_a_cell_that_cannot_be_read_is_told_at_its_place() -> None:
    grid = typed_grid("b\nc\n\nS\n1920.9\n35\n")
    reading = read_grid_table(grid, RANGES, on=None)
    (unread,) = reading.unread
    assert (unread.row, unread.place, unread.code) == (0, FIRST + 1, "one_number")
    assert reading.marked(0, FIRST + 1) == "!"


def test_what_lint_says_stands_at_its_cell() -> None:
    grid = typed_grid("b\nc\n\nS\n1920.9\n30-35.9\n21-22.9\n36-39\n27-29\n40-44\n")
    grid.head["step_mm"] = Decimal(1)
    reading = read_grid_table(grid, RANGES, on=None)
    gap = next(remark for remark in reading.remarks if "gap" in remark.code)
    assert gap.place == FIRST
    assert gap.row in (1, 2)
    assert reading.first(gap.row, gap.place)[0] == gap or reading.marked(gap.row, gap.place)


def test_the_table_is_judged_before_its_head_is_filled_in() -> None:
    grid = typed_grid()
    grid.head = {"unit": "cm"}
    reading = read_grid_table(grid, RANGES, on=None)
    assert reading.chart is not None
    assert not reading.unread
    assert "invented_chart" not in {remark.code for remark in reading.remarks}


def test_columns_alike_are_told() -> None:
    grid = typed_grid("b\nb\n\nS\n1920.9\n")
    assert "columns_alike" in {r.code for r in read_grid_table(grid, RANGES, on=None).unread}


# --- values, drafts, files -----------------------------------------------------------------------


def test_a_typed_table_is_the_chart_it_says() -> None:
    grid = typed_grid()
    text = write_chart(chart_values(grid, head_values(grid.head)))
    chart = read_profile(text.encode(), Chart, "")
    assert isinstance(chart, Chart)
    assert chart.sizes[0].ranges == {"ankle": (190, 209), "calf": (300, 359)}
    assert chart.purposes == ("work", "travel")
    assert chart.invented


@pytest.mark.parametrize("chart", PROFILES.charts, ids=lambda chart: chart.id)
def test_every_shipped_chart_goes_through_the_grid_unchanged(chart: Chart, tmp_path: Path) -> None:
    grid = grid_of_chart(chart_files(tmp_path)[chart.id].values, RANGES)
    reading = read_grid_table(grid, RANGES, on=None)
    assert reading.unread == ()
    assert missing_keys(grid.head, reading.gaps) == ()
    text = write_chart(chart_values(grid, head_values(grid.head)))
    assert read_profile(text.encode(), Chart, "") == chart
    again, edits = grid_of_draft(draft_values(draft_text(grid, chart.id).encode()), RANGES)
    assert edits == chart.id
    assert (again.table, again.head) == (grid.table, grid.head)


def test_a_gap_rule_and_an_id_of_its_own_survive_the_editor() -> None:
    values = head_values(HEAD) | {
        "format": 1,
        "unit": "in",
        "dimensions": [
            {"id": "lower", "point": "B", "kind": "girth", "gap": "nearest"},
            {"id": "shoe", "point": "foot", "kind": "shoe", "system": "eu", "step": Decimal("0.5")},
        ],
        "sizes": [{"size": "S", "lower": ["8 1/4", "9"], "shoe": [Decimal(36), Decimal("38.5")]}],
    }
    grid = grid_of_chart(values, RANGES)
    text = write_chart(chart_values(grid, head_values(grid.head)))
    before, after = (read_profile(t.encode(), Chart, "") for t in (write_chart(values), text))
    assert isinstance(before, Chart)
    assert before == after


def test_a_half_typed_cell_is_in_the_draft() -> None:
    grid = typed_grid()
    press(grid, "23-")
    again, _ = grid_of_draft(draft_values(draft_text(grid, "").encode()), RANGES)
    assert (again.typed, again.row, again.place) == ("23-", 2, FIRST)


@given(st.text(max_size=30), st.text(max_size=30))
@settings(max_examples=100)
def test_any_text_survives_a_draft_as_it_may_be_shown(cell: str, heading: str) -> None:
    from fitcore.clean_text import clean

    grid = typed_grid()
    grid.table = grid.table.with_row(0, grid.table.rows[0].with_text(FIRST, clean(cell).text))
    grid.table = grid.table.with_column(1, typed_column(clean(heading).text))
    again, _ = grid_of_draft(draft_values(draft_text(grid, "").encode()), RANGES)
    assert cells(again) == cells(grid)
    assert again.table.columns[1].meaning == grid.table.columns[1].meaning


@pytest.mark.parametrize(
    "raw",
    [
        b"", b"\xff\x00", b"rows = 3", b"columns = [1, 2]", b"[head]\nunit = 4",
        b'row = 9\nplace = -7\ntyped = 3\n[[rows]]\nsize = 1\ncells = "x"',
        b'[[columns]]\nheading = "\\u001b[31m"\nmeaning = "nonsense"',
    ],
    ids=ascii,
)  # fmt: skip
def test_a_draft_that_was_changed_by_hand_opens_as_far_as_it_goes(raw: bytes) -> None:
    grid, _ = grid_of_draft(draft_values(raw), RANGES)
    read_grid_table(grid, RANGES, on=None)
    assert "\x1b" not in "".join(c.heading for c in grid.table.columns)


def test_a_draft_is_never_loaded_as_a_chart(tmp_path: Path) -> None:
    write_draft(tmp_path, "neap", draft_text(typed_grid(), ""))
    assert list(drafts(tmp_path)) == ["neap"]
    loaded = load_profiles(tmp_path)
    assert loaded.charts == PROFILES.charts
    assert loaded.problems == ()
    drop_draft(tmp_path, "neap")
    drop_draft(tmp_path, "neap")
    assert drafts(tmp_path) == {}


@pytest.mark.parametrize("name", ["", "../x", "a/b", ".", "A", "x" * 99])
def test_a_name_cannot_lead_out_of_the_folder(name: str, tmp_path: Path) -> None:
    with pytest.raises(FileFault):
        write_draft(tmp_path, name, "")


def test_saving_tells_what_lies_there_and_never_writes_over_something_else(tmp_path: Path) -> None:
    grid = typed_grid()
    reading = read_grid_table(grid, RANGES, on=None)
    save = plan_save(grid, reading, tmp_path)
    assert save.told == ()
    save.write(tmp_path, "neap")
    first = save.path.read_bytes()
    with pytest.raises(ChangedOnDisk):
        save.write(tmp_path, "neap")
    again = plan_save(grid, reading, tmp_path)
    assert "neap.toml is there already" in again.told[0]
    write_own_chart(save.path, "# somebody else's\n", expected=first)
    with pytest.raises(ChangedOnDisk):
        again.write(tmp_path, "neap")
    assert save.path.read_text() == "# somebody else's\n"


def test_a_shipped_charts_id_is_refused(tmp_path: Path) -> None:
    grid = typed_grid()
    grid.head["id"] = PROFILES.charts[0].id
    with pytest.raises(ProfileError, match="comes with the program"):
        plan_save(grid, read_grid_table(grid, RANGES, on=None), tmp_path)


# --- the head ------------------------------------------------------------------------------------


def test_the_head_asks_for_a_step_only_where_a_gap_leaves_it_open() -> None:
    grid = typed_grid()
    del grid.head["step_mm"]
    reading = read_grid_table(grid, RANGES, on=None)
    assert missing_keys(grid.head, reading.gaps) == ("step_mm",)
    asked = [ask.what for ask in head_asks(grid.head, reading.gaps, shoes=False)]
    assert "step_mm" in asked
    assert "step_mm" not in [ask.what for ask in head_asks(grid.head, (), shoes=False)]


def test_the_heads_answers_are_the_charts_keys_and_back() -> None:
    head = HEAD | {"mmhg": "18-21.5", "standard": "invented scale", "class": "light"}
    values = head_values(head)
    assert values["pressure"] == {
        "mmhg": [18, Decimal("21.5")], "standard": "invented scale", "class": "light",
    }  # fmt: skip
    assert values["overlap"] == "ask", "what nobody said is asked at each leg"
    assert head_of_values({**values, "unit": "cm"}) == head | {"overlap": "ask"}


@pytest.mark.parametrize(
    ("what", "typed", "fault"),
    [
        ("id", "Mill Nine", "is no short name"),
        ("purposes", "7", "is no purpose"),
        ("purposes", "17", "is no purpose"),
        ("printed", "4 March", "is not a day"),
        ("printed", "03/04/2025", "may be read two ways"),
        ("mmhg", "18", "is not a pressure"),
        ("valid_until", "2026-02-30", "is not a day"),
    ],
)
def test_what_is_no_answer_is_told(what: str, typed: str, fault: str) -> None:
    form = QuestionForm(lambda answers: head_asks(answers, (), shoes=False), {})
    form.at = [line.what for line in form.lines].index(what)
    for sign in typed:
        form.type(sign)
    assert fault in form.accept()[1]


def answered(what: str, typed: str, given: dict[str, Value] | None = None) -> QuestionForm:
    """Return the leaflet's page after one line was typed and taken with Enter."""
    form = QuestionForm(
        lambda answers: head_asks(answers, (), shoes=False, standards=PROFILES.standards),
        given or {},
    )
    form.at = [line.what for line in form.lines].index(what)
    for sign in typed:
        form.type(sign)
    form.accept()
    return form


@pytest.mark.parametrize(
    ("what", "typed", "kept"),
    [
        ("purposes", "12", "work, standing"),
        ("purposes", "1 5", "work, prescribed"),
        ("purposes", "31, sport", "travel, work, sport"),
        ("printed", "2019-05", "2019-05"),
        ("printed", "03/2025", "2025-03"),
        ("printed", "31/12/2020", date(2020, 12, 31)),
        ("mmhg", "23-32 mmHg", "23-32"),
        ("source", "??", "?"),
        ("source", "Leaflet 4, page 2", "Leaflet 4, page 2"),
        ("standard", "Skerrow scale", "Skerrow scale"),
        ("standard", "1", PROFILES.standards[0].name),
    ],
)
def test_an_answer_is_read_as_people_say_it(what: str, typed: str, kept: Value) -> None:
    assert answered(what, typed).answers()[what] == kept


def test_the_mmhg_of_a_known_class_are_proposed_and_not_taken_unasked() -> None:
    form = answered("class", "2", {"standard": "RAL"})
    assert form.line.what == "mmhg"
    assert (form.line.proposed, form.words(form.line)) == ("23-32", "23-32")
    assert "RAL-GZ 387/1 class II, 23 to 32 mmHg" in form.line.hint
    assert "mmhg" not in form.answers()
    form.accept()
    assert form.answers()["mmhg"] == "23-32"


def test_mmhg_that_were_typed_are_not_changed_by_a_class() -> None:
    form = answered("class", "2", {"standard": "RAL", "mmhg": "18-21"})
    assert form.answers()["mmhg"] == "18-21"


def test_one_of_pressure_class_and_standard_asks_for_the_others() -> None:
    for key in ("standard", "class", "mmhg"):
        asks = head_asks({key: "18-21"}, (), shoes=False)
        needed = {ask.what for ask in asks if not ask.may_stay_open}
        assert {"standard", "class", "mmhg"} <= needed
    open_ones = {ask.what for ask in head_asks({}, (), shoes=False) if ask.may_stay_open}
    assert {"standard", "class", "mmhg"} <= open_ones


def test_hints_look_like_no_answer() -> None:
    (mmhg,) = [ask for ask in head_asks({}, (), shoes=False) if ask.what == "mmhg"]
    assert mmhg.hint == "both ends, such as 18-21"


@pytest.mark.parametrize("printed", [date(2025, 3, 1), "2025-03", "2025"])
def test_a_printed_date_is_saved_as_exact_as_it_was_said(printed: Value) -> None:
    grid = typed_grid()
    grid.head["printed"] = printed
    text = write_chart(chart_values(grid, head_values(grid.head)))
    chart = read_profile(text.encode(), Chart, "")
    assert isinstance(chart, Chart)
    assert chart.source.printed == printed
    again, _ = grid_of_draft(draft_values(draft_text(grid, "").encode()), RANGES)
    assert again.head["printed"] == printed


def test_a_gap_that_gets_no_size_is_kept_and_no_longer_asked_about() -> None:
    grid = typed_grid("b\nc\n\nS\n1920.9\n30-35.9\n23-24.9\n36-39\n")
    before = {r.code: r.level for r in read_grid_table(grid, RANGES, on=None).remarks}
    assert before["gap"] is ProblemLevel.WARNING
    grid.head["gap_ankle"] = "none"
    after = {r.code: r.level for r in read_grid_table(grid, RANGES, on=None).remarks}
    assert after["gap"] is ProblemLevel.NOTE
    text = write_chart(chart_values(grid, head_values(grid.head)))
    saved = grid_of_chart(tomllib.loads(text, parse_float=Decimal), RANGES)
    assert saved.head["gap_ankle"] == "none"
    assert gap_columns(saved, read_grid_table(saved, RANGES, on=None))


def test_a_cell_is_judged_while_the_rest_of_its_row_is_still_to_come() -> None:
    grid = typed_grid("b\nc\n\nS\n1920.9\n3035.9\n8-10\n")
    reading = read_grid_table(grid, RANGES, on=None)
    assert reading.marked(1, FIRST) == "!"
    assert reading.marked(0, FIRST) == ""
    told = [r for r in reading.remarks if (r.row, r.place) == (1, FIRST)]
    assert [r.code for r in told] == ["looks_like_inches"]
    grid.go_to(1, FIRST + 1)
    press(grid, "nothing\n")
    assert read_grid_table(grid, RANGES, on=None).marked(1, FIRST) == "!", "and beside a bad cell"


def test_cells_of_rows_without_a_size_or_with_the_same_one_are_judged_too() -> None:
    grid = typed_grid("b\nc\n\nS\n1920.9\n3035.9\n")
    paste_into(grid, "\t8-10\t36-39\nS\t7-9\t36-39\n")
    rows = [row.cells for row in grid.table.rows]
    reading = read_grid_table(grid, RANGES, on=None)
    bad = [(n, FIRST) for n, row in enumerate(rows) if row[0] in ("8-10", "7-9")]
    assert len(bad) == 2
    assert all(reading.marked(*place) == "!" for place in bad)


def test_mends_in_the_editor_name_its_keys_and_lines_and_no_file() -> None:
    grid = typed_grid("b\nc\n\nS\n1920.9\n30-35.9\n23-24.9\n36-39\n")
    grid.head |= {"status": "read", "source": "?"}
    remarks = read_grid_table(grid, RANGES, on=date(2026, 6, 1)).remarks
    mends = {remark.code: remark.mend for remark in remarks}
    assert {"gap", "no_source", "no_source_date", "no_validity", "no_pressure"} <= set(mends)
    assert not [mend for mend in mends.values() if "Write " in mend or " = " in mend]
    lines = {ask.text for ask in head_asks(grid.head, (), shoes=False, gap_columns={
        "ankle": "round the ankle (B)"})}  # fmt: skip
    for code in ("gap", "no_source", "no_source_date"):
        named = mends[code].split("line '")[1].split("'")[0]
        assert any(line.startswith(named) for line in lines), (code, named)


def test_the_pressure_of_the_leaflet_is_held_against_its_class() -> None:
    grid = typed_grid()
    for standard, grade, code in (
        ("RAL", "2", "pressure_not_of_class"),
        ("RAL", "1", ""),
        ("RAL", "9", "class_unknown"),
        ("Skerrow scale", "2", "standard_unknown"),
    ):
        grid.head |= {"mmhg": "18-21", "standard": standard, "class": grade, "status": "read"}
        reading = read_grid_table(grid, RANGES, on=None, standards=PROFILES.standards)
        told = {remark.code for remark in reading.remarks} & OF_PRESSURE
        assert told == ({code} if code else set())


def test_one_cell_in_inches_does_not_turn_its_column() -> None:
    table = 'Size\tAnkle\tCalf\nS\t19-21\t30-34\nM\t8 1/4 - 9"\t34-38\nL\t23-25\t38-42\n'
    grid = ChartGrid(ranges=RANGES)
    paste_into(grid, table)
    assert grid.asks_unit
    grid.choose("1")
    reading = read_grid_table(grid, RANGES, on=None)
    assert [(r.code, r.row, r.place) for r in reading.unread] == [
        ("unit_differs_in_column", 1, FIRST)
    ]
    assert "inches, in a column of cm: 21-22.9 cm?" in reading.unread[0].text
    assert [reading.marked(row, FIRST) for row in range(3)] == ["", "!", ""]


def test_f9_goes_in_the_order_the_remarks_are_shown() -> None:
    grid = typed_grid("b\nc\n\nS\n1920.9\n60-70\n2122.9\n30x\n23y\n42-46\n")
    reading = read_grid_table(grid, RANGES, on=None)
    top = (reading.remarks[0].row, reading.remarks[0].place)
    assert reading.next_place((0, SIZE), led=False) == top
    order = [top]
    while (after := reading.next_place(order[-1], led=True)) not in order:
        assert after is not None
        order.append(after)
    shown = dict.fromkeys((r.row, r.place) for r in reading.remarks if r.row is not None)
    assert order == list(shown)
    assert len(order) >= 3
    assert reading.next_place(order[1], led=False) == order[1], "its own remark stands on top"
    assert GridReading().next_place((0, SIZE), led=False) is None


def test_what_holds_in_a_gap_is_asked_for_columns_that_have_one() -> None:
    grid = typed_grid("b\nc\n\nS\n1920.9\n30-35.9\n23-24.9\n36-39\n")
    reading = read_grid_table(grid, RANGES, on=None)
    wide = gap_columns(grid, reading)
    assert wide == {"ankle": "round the ankle (B)"}
    asks = head_asks(grid.head, reading.gaps, shoes=False, gap_columns=wide)
    (ask,) = [ask for ask in asks if ask.what.startswith("gap_")]
    grid.head[ask.what] = "nearest"
    text = write_chart(chart_values(grid, head_values(grid.head)))
    chart = read_profile(text.encode(), Chart, "")
    assert isinstance(chart, Chart)
    assert [dimension.gap for dimension in chart.dimensions] == ["nearest", "none"]
    assert gap_columns(grid, read_grid_table(grid, RANGES, on=None)) == wide, "asked as long as set"


def test_names_are_free() -> None:
    assert free_draft_name({"new-1"}) == "new-2"
    assert free_copy_id("haar", {"haar", "haar-copy"}) == "haar-copy2"
    assert len(free_copy_id("x" * 48, set())) <= 48


def test_the_list_tells_what_a_chart_is() -> None:
    from datetime import date

    old = PROFILES.charts[0].model_copy(
        update={"id": "old", "valid_until": date(2020, 1, 1), "valid_from": None}
    )
    new = old.model_copy(update={"id": "new", "valid_until": None, "valid_from": date(2099, 1, 1)})
    lines = chart_lines(
        [old, new], {"new-1": typed_grid()}, {"torn": "Invented Torn"}, own={"old"},
        favourites={"new"}, on=date(2026, 3, 5), wanted="",
    )  # fmt: skip
    states = {line.id: line.state for line in lines}
    assert [line.id for line in lines] == ["new-1", "torn", "new", "old"]
    assert "cannot be used" in states["torn"]
    assert "EXPIRED 2020-01-01" in states["old"]
    assert states["old"].startswith("own")
    assert "not valid before 2099-01-01" in states["new"]
    assert states["new"].startswith("shipped")
    assert states["new"].endswith("favourite")
