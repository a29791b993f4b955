"""A maker's table: the forms its cells and headings come in, and what is said of bad ones."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

from fitcore.charts.chart import Chart
from fitcore.clean_text import is_unsafe
from fitcore.problems import Problem, ProblemLevel, UnitError
from fitcore.tables.chart_table import ChartTable, parse_table
from fitcore.tables.chart_text import write_chart
from fitcore.tables.table_cells import parse_range, parse_shoe_range
from fitcore.tables.table_headings import read_heading
from fitcore.tables.table_meanings import read_meaning
from fitcore.tables.table_sizes import split_size
from fitcore.tables.table_values import printed_gaps, row_remarks, table_values

if TYPE_CHECKING:
    from fitcore.shoes import ShoeSystem
    from fitcore.units import Unit

CELLS = [
    # cell, unit of the column, low, high, unit in the cell
    ("21-23", "cm", "21", "23", None),
    ("21 – 23", "cm", "21", "23", None),
    ("21—23", "cm", "21", "23", None),
    ("21 − 23", "cm", "21", "23", None),
    ("21‑23", "cm", "21", "23", None),
    ("21 to 23 cm", "cm", "21", "23", "cm"),
    ("21to23", "cm", "21", "23", None),
    ("21 cm to 23 cm", "cm", "21", "23", "cm"),
    ("21 cm - 23", "cm", "21", "23", "cm"),
    ("from 21 to 23", "cm", "21", "23", None),
    ("between 21 and 23 cm", "cm", "21", "23", "cm"),
    ("21,5–23,5", "cm", "21.5", "23.5", None),
    ("21.50-23.0", "cm", "21.50", "23.0", None),
    ("  21\u00a0-\u200923  ", "cm", "21", "23", None),
    ("21\u200b-23", "cm", "21", "23", None),
    ("210-230 mm", "mm", "210", "230", "mm"),
    ('8 1/4 - 9"', "in", "8 1/4", "9", "in"),
    ('8 1/4" - 9 1/2"', "in", "8 1/4", "9 1/2", "in"),
    ("8¼-9 in", "in", "8 1/4", "9", "in"),
    ("8 ¼ – 9⅜ inches", "in", "8 1/4", "9 3/8", "in"),
    ("8 1⁄4″ to 9″", "in", "8 1/4", "9", "in"),
    ("8.25-9.0 In.", "in", "8.25", "9.0", "in"),
    ("3/4-7/8", "in", "3/4", "7/8", None),
    ("21-23 centimetres", "cm", "21", "23", "cm"),
    ("23-23", "cm", "23", "23", None),
    ("19,5-21", None, "19.5", "21", None),
    ("8 1/4 - 9", None, "8 1/4", "9", None),
]


@pytest.mark.parametrize(("cell", "column", "low", "high", "unit"), CELLS)
def test_a_range_is_read_as_it_is_printed(
    cell: str, column: Unit | None, low: str, high: str, unit: Unit | None
) -> None:
    found = parse_range(cell, column)
    assert (found.low, found.high, found.unit) == (low, high, unit)


def test_a_range_means_exact_millimetres() -> None:
    assert parse_range("8¼-9", "in").mm("in") == (Decimal("209.55"), Decimal("228.6"))
    assert parse_range("21,5 - 23 cm", "cm").mm("in") == (Decimal(215), Decimal(230))


REFUSED_CELLS = [
    ("", "empty_cell"),
    ("–", "empty_cell"),
    ("n/a", "empty_cell"),
    ("23", "one_number"),
    ("8 1/4 in", "one_number"),
    ("≤ 23", "open_ended"),
    ("<23", "open_ended"),
    ("under 23", "open_ended"),
    ("up to 23 cm", "open_ended"),
    ("max. 23", "open_ended"),
    ("from 44", "open_ended"),
    ("over 44", "open_ended"),
    ("44+", "open_ended"),
    ("44 and over", "open_ended"),
    ("44 -", "open_ended"),
    ("- 23", "open_ended"),
    ("23-21", "reversed"),
    ("8-1/4 in", "reversed"),
    ("8-1/4 - 9", "two_ranges"),
    ("21-23 / 8-9", "two_ranges"),
    ("-21-23", "two_ranges"),
    ("21/23", "not_a_range"),
    ("21 23", "not_a_range"),
    ("21\u00ad23", "not_a_range"),
    ("about 23", "not_a_range"),
    ("medium", "not_a_range"),
    ("x-23", "end_without_number"),
    ("21-x", "end_without_number"),
    ("(21-23)", "unit_not_known"),
    ("2 1-23", "not_a_number"),
    ("1.234,5-1.300", "not_a_number"),
    ("1 ft 3 - 1 ft 5", "not_a_number"),
    ("ca. 21-23", "not_a_number"),
    ("0-23", "zero_end"),
    ("21-23*", "footnote_mark"),
    ("21-23¹", "footnote_mark"),
    ("21-23 (a)", "footnote_mark"),
    ("21 cm - 9 in", "units_differ_in_cell"),
    ("18-21 mmHg", "unit_not_known"),
    ("8 1/4 - 9", "fraction_without_unit"),
    ("8 1/3 - 9 in", "fraction_not_on_tape"),
]


@pytest.mark.parametrize(("cell", "code"), REFUSED_CELLS)
def test_a_cell_that_leaves_something_open_is_refused(cell: str, code: str) -> None:
    with pytest.raises(UnitError) as refused:
        parse_range(cell, "cm")
    problem = refused.value.problem
    assert problem.code == code
    assert problem.text
    assert problem.mend
    assert not any(is_unsafe(c) for c in problem.text)


SHOES = [
    ("36-38", "eu", "36", "38"),
    ("EU 36 – 38", "eu", "36", "38"),
    ("36-38 EUR", "eu", "36", "38"),
    ("4½ to 7", "uk", "4.5", "7"),
    ("4 1/2 - 7", "uk", "4.5", "7"),
    ("3,5-5", "uk", "3.5", "5"),
    ("US W 6-8½", "us_women", "6", "8.5"),
    ("225-240", "mondo", "225", "240"),
]


@pytest.mark.parametrize(("cell", "system", "low", "high"), SHOES)
def test_shoe_sizes_are_read(cell: str, system: ShoeSystem, low: str, high: str) -> None:
    found = parse_shoe_range(cell, system)
    assert (found.low, found.high, found.unit) == (low, high, None)


@pytest.mark.parametrize(
    ("cell", "system", "code"),
    [
        ("39", "eu", "one_number"),
        ("46+", "eu", "open_ended"),
        ("40-38", "eu", "reversed"),
        ("UK 4-6", "eu", "shoe_system_differs"),
        ("4-6", "eu", "shoe_size_out_of_range"),
        ("US 4-6", "us_men", "us_size_which"),
        ("4 1/3 - 6", "uk", "not_a_shoe_size"),
    ],
)
def test_shoe_sizes_that_leave_something_open_are_refused(
    cell: str, system: ShoeSystem, code: str
) -> None:
    with pytest.raises(UnitError) as refused:
        parse_shoe_range(cell, system)
    assert refused.value.problem.code == code


HEADINGS = [
    # heading, what it means, unit
    ("Size", "size", None),
    ("Stocking size", "size", None),
    ("Width", "variant", None),
    ("Ankle (cm)", "B girth", "cm"),
    ("ankle B girth", "B girth", None),
    ("Narrowest ankle, cm", "B girth", "cm"),
    ("cB cm", "B girth", "cm"),
    ("c B [in]", "B girth", "in"),
    ("cB1", "B1 girth", None),
    ("B girth", "B girth", None),
    ("Calf in inches", "C girth", "in"),
    ("calf C girth", "C girth", None),
    ("Calf circumference (in)", "C girth", "in"),
    ('Widest part of the calf (")', "C girth", "in"),
    ("Below knee", "D girth", None),
    ("below the knee in mm", "D girth", "mm"),
    ("Knee (E)  girth", "E girth", None),
    ("mid-thigh F", "F girth", None),
    ("thigh G", "G girth", None),
    ("Thigh", "G girth", None),
    ("Upper thigh circumference", "G girth", None),
    ("Hip", "H girth", None),
    ("Foot length (cm)", "foot length", "cm"),
    ("Length of the foot", "foot length", None),
    ("lD (cm)", "D length", "cm"),
    ("ℓ D", "D length", None),
    ("Length to D", "D length", None),
    ("floor to below the knee (D)", "D length", None),
    ("round the ankle (B)", "B girth", None),
    ("Shoe size EU", "shoe eu", None),
    ("Shoe size (UK)", "shoe uk", None),
    ("US women's shoe size", "shoe us_women", None),
    ("US shoe, men's", "shoe us_men", None),
    ("Mondopoint", "shoe mondo", None),
]


@pytest.mark.parametrize(("text", "meaning", "unit"), HEADINGS)
def test_a_heading_in_trade_words_is_understood(text: str, meaning: str, unit: Unit | None) -> None:
    heading = read_heading(text)
    assert heading.question is None
    assert heading.meaning == read_meaning(meaning)
    assert heading.unit == unit


ASKED = [
    ("Length", "which_length"),
    ("Length to knee (cm)", "which_length"),
    ("Lower leg length", "which_length"),
    ("Knee height", "which_length"),
    ("Floor to hollow of knee", "which_length"),
    ("Seated height under the knee", "which_length"),
    ("Popliteal height D", "heading_contradicts"),
    ("Inside leg", "which_long_length"),
    ("Thigh length", "which_long_length"),
    ("Length to gluteal fold", "which_long_length"),
    ("Length to gluteal fold (G)", "heading_contradicts"),
    ("Knee", "which_knee"),
    ("Knee circumference", "which_knee"),
    ("Foot", "which_foot"),
    ("Ankle over the bones", "over_the_bones"),
    ("Ankle (C)", "heading_contradicts"),
    ("Length to ankle C", "heading_contradicts"),
    ("D", "girth_or_length"),
    ("Shoe size", "which_shoe_system"),
    ("Shoe size EU/UK", "which_shoe_system"),
    ("US shoe size", "which_us_shoe"),
    ("UK", "which_size"),
    ("EU size", "which_size"),
    ("Ankle cm (in)", "heading_two_units"),
    ("Weight", "heading_unknown"),
    ("Vorfuß", "heading_unknown"),
]


@pytest.mark.parametrize(("text", "code"), ASKED)
def test_a_heading_that_leaves_the_place_open_is_asked_not_guessed(text: str, code: str) -> None:
    heading = read_heading(text)
    assert heading.meaning is None
    assert heading.question is not None
    assert heading.question.problem.code == code
    assert heading.question.choices
    for choice in heading.question.choices:
        assert read_meaning(choice) is not None, choice


@pytest.mark.parametrize(
    ("text", "size", "variant"),
    [
        ("S", "S", ""),
        ("S wide", "S", "wide"),
        ("M / long", "M", "long"),
        ("M (extra wide)", "M", "extra wide"),
        ("2 short, regular", "2", "short regular"),
        ("X Large", "X Large", ""),
        ("Extra Large wide", "Extra Large", "wide"),
        ("Extra long", "Extra long", ""),
        ("S/M", "S/M", ""),
        ("III", "III", ""),
    ],
)
def test_a_size_and_its_variant_are_parted(text: str, size: str, variant: str) -> None:
    assert split_size(text) == (size, variant)


def names(table: ChartTable) -> dict[str, dict[str, tuple[str, str]]]:
    return {
        row.name: {key: (found.low, found.high) for key, found in row.ranges.items()}
        for row in table.rows
    }


PLAIN = {
    "S": {"ankle": ("19", "21"), "calf": ("30", "36.5")},
    "M wide": {"ankle": ("21", "23"), "calf": ("33", "40")},
}

LAYOUTS = {
    "comma": 'Size,Ankle (cm),Calf (cm)\nS,19-21,"30-36,5"\nM wide,21-23,33-40\n',
    "semicolon, BOM, CRLF": (
        "\ufeffSize;Ankle (cm);Calf (cm)\r\nS;19-21;30-36,5\r\nM wide;21-23;33-40\r\n"
    ),
    "tab": "Size\tAnkle (cm)\tCalf (cm)\nS\t19-21\t30-36.5\nM wide\t21-23\t33-40",
    "old line ends": "Size;Ankle (cm);Calf (cm)\rS;19-21;30-36,5\rM wide;21-23;33-40",
    "blanks": "Size     Ankle (cm)   Calf (cm)\nS        19-21    30-36,5\nM wide   21-23    33-40",
    "blanks, indented, a comma in a heading": (
        "   Size     Ankle, cm   Calf, cm\n   S        19-21    30-36,5\n"
        "   M wide   21-23    33-40\n"
    ),
    "bars": "| Size | Ankle (cm) | Calf (cm) |\n|---|:--:|---|\n| S | 19-21 | 30-36,5 |\n"
    "| M wide | 21-23 | 33-40 |\n",
    "box": "+----+-----+\n|Size|Ankle (cm)|Calf (cm)|\n+----+-----+\n|S|19-21|30-36.5|\n"
    "|M wide|21-23|33-40|\n+----+",
    "units in a line of their own": "Size;Ankle;Calf\n;(cm);(cm)\nS;19-21;30-36,5\n"
    "M wide;21-23;33-40",
    "units in cells": "Size;Ankle;Calf\nS;19-21 cm;30-36,5\nM wide;21-23;33-40 cm",
    "a column of variants": (
        "Size;Width;Ankle (cm);Calf (cm)\nS;;19-21;30-36,5\nM;wide;21-23;33-40"
    ),
    "a column of variants at the end": (
        "Size;Ankle (cm);Calf (cm);Variant\nS;19-21;30-36,5;\nM;21-23;33-40;wide"
    ),
    "no heading above the sizes": ";Ankle (cm);Calf (cm)\nS;19-21;30-36,5\nM wide;21-23;33-40",
    "sizes side by side": "Size;S;M wide\nAnkle (cm);19-21;21-23\nCalf (cm);30-36,5;33-40",
    "sizes side by side, corner empty": (
        "             S        M wide\nAnkle (cm)   19-21    21-23\nCalf (cm)    30-36,5  33-40"
    ),
    "sizes and widths side by side": (
        "Size;S;M\nWidth;;wide\nAnkle (cm);19-21;21-23\nCalf (cm);30-36,5;33-40"
    ),
    "blank lines, empty columns, a title and a remark": (
        "Low Tide leaflet\n\nSize;Ankle (cm);Calf (cm);;\nS;19-21;30-36,5;;\n\n"
        "M wide;21-23;33-40;;\nmeasured standing\n"
    ),
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_table_is_read_in_every_layout(layout: str) -> None:
    table = parse_table(LAYOUTS[layout])
    assert names(table) == PLAIN
    assert [(column.id, column.unit) for column in table.columns] == [
        ("ankle", "cm"),
        ("calf", "cm"),
    ]
    assert table.good_rows == table.rows
    assert [p for p in table.problems if p.level is not ProblemLevel.NOTE] == []
    assert table.turned == layout.startswith("sizes")
    assert table.turned == ("table_turned" in {p.code for p in table.notes})


def test_what_was_passed_over_is_told_with_its_line() -> None:
    table = parse_table(LAYOUTS["blank lines, empty columns, a title and a remark"])
    assert [(p.line, p.text) for p in table.notes] == [
        (1, "Passed over, no row of sizes: 'Low Tide leaflet'."),
        (7, "Passed over, no row of sizes: 'measured standing'."),
    ]


@pytest.mark.parametrize(
    "text",
    [
        "Size;Ankle (cm)\nA;19-21\nB;21-23\nC;23-25",
        "Size;A;B;C\nAnkle (cm);19-21;21-23;23-25",
        "Size\tA\tB\tC\nAnkle (cm)\t19-21\t21-23\t23-25",
    ],
)
def test_sizes_called_by_letters_are_not_taken_for_points(text: str) -> None:
    table = parse_table(text)
    assert list(names(table)) == ["A", "B", "C"]
    assert {row.ranges["ankle"].low for row in table.rows} == {"19", "21", "23"}
    assert table.questions == ()


def test_rows_of_a_table_side_by_side_must_be_whole_before_it_is_turned() -> None:
    table = parse_table("Size;S;M\nAnkle (cm);19-21\nCalf (cm);30-36;33-40")
    assert not table.turned
    assert table.questions, "nothing is taken from a table that cannot be turned"


def test_a_measure_without_any_range_is_no_remark() -> None:
    table = parse_table("Size;S;M\nAnkle (cm);19-21;21-23\nCalf (inches);;")
    assert [column.id for column in table.columns] == ["ankle", "calf"]
    assert [[p.code for p in row.problems] for row in table.rows] == [["empty_cell"]] * 2


def test_an_answer_can_be_given_to_columns_whose_headings_are_alike() -> None:
    text = 'Size;Length;Length;Ankle (")\nS;31-41 cm;24-27 cm;8-9\nS;31-41;24-27;8 in - 21 cm'
    asked = [question.heading for question in parse_table(text).questions]
    assert asked == ["column 2", "column 3"]
    table = parse_table(text, meanings={"column 2": "D length", "column 3": "skip"})
    assert table.questions == ()
    assert [column.id for column in table.columns] == ["length_d", "ankle"]


def test_short_and_long_under_length_are_variants_and_no_measure() -> None:
    table = parse_table("Size;Length;Ankle (cm)\n1;short;19-21\n1;long;19-21")
    assert [row.name for row in table.rows] == ["1 short", "1 long"]
    assert table.questions == ()


def test_a_meaning_somebody_gives_goes_before_the_heading() -> None:
    text = "Garment;Length to knee;Weight\nS;31-41;50-60"
    table = parse_table(
        text,
        unit="cm",
        meanings={"garment": "size", "Length to Knee": "D length", "column 3": "skip"},
    )
    assert table.problems == ()
    assert names(table) == {"S": {"length_d": ("31", "41")}}
    assert table.left_out == ("Weight",)


def test_a_quoted_cell_may_hold_the_separator_quotes_and_a_line_break() -> None:
    table = parse_table('Size,"Ankle,\n(in)"\nS,"8 1/4"" - 9"""\n')
    assert names(table) == {"S": {"ankle": ("8 1/4", "9")}}
    assert table.rows[0].line == 3


# One line and column below is where the fault stands; the rest of each table is right.
MALFORMED = [
    # code, table, line, column (None: a whole line, "": a whole table), text found
    ("table_empty", " \n\t\n", None, "", ""),
    ("no_columns", "Size Ankle\nS 19-21", 1, None, ""),
    ("no_rows", "Size;Ankle (cm)", 1, None, ""),
    ("quotes_open", 'Size,Ankle (cm)\nS,19-21\n"M,21-23\nL,23-25', 3, None, ""),
    ("no_size_column", "Ankle (cm);Calf (cm)\n19-21;30-36", 1, None, "sizes"),
    ("no_measure", "Size;Width\nS;wide", 1, None, "measure"),
    ("table_too_big", "Size;Ankle (cm)\n" + "S;19-21\n" * 401, None, "", "400"),
    ("heading_unknown", "Size;Weight\nS;50-60 cm", 1, 2, "Weight"),
    ("which_length", "Size;Length to knee (cm)\nS;31-41", 1, 2, "Length to knee"),
    ("which_long_length", "Size;Inside leg (cm)\nS;70-80", 1, 2, "Inside leg"),
    ("which_knee", "Size;Knee (cm)\nS;31-41", 1, 2, "Knee"),
    ("which_foot", "Size;Foot (cm)\nS;21-24", 1, 2, "Foot"),
    ("over_the_bones", "Size;Ankle bones (cm)\nS;21-24", 1, 2, "bones"),
    ("heading_contradicts", "Size;Ankle (C) cm\nS;21-24", 1, 2, "Ankle (C)"),
    ("girth_or_length", "Size;D (cm)\nS;31-41", 1, 2, "D"),
    ("heading_two_units", "Size;Ankle cm / inches\nS;21-24", 1, 2, "cm / inches"),
    ("which_shoe_system", "Size;Shoe\nS;36-38", 1, 2, "Shoe"),
    ("which_us_shoe", "Size;Shoe US\nS;6-8", 1, 2, "Shoe US"),
    ("which_size", "Size;UK\nS;6-8", 1, 2, "UK"),
    ("columns_alike", "Size;Ankle (cm);Ankle (in)\nS;19-21;7 1/2 - 8", 1, 3, "Ankle (in)"),
    ("unit_unknown", "Size;Ankle\nS;19-21", 1, None, "Ankle"),
    ("size_missing", "Size;Ankle (cm)\nS;19-21\n;21-23", 3, None, ""),
    ("size_twice", "Size;Ankle (cm)\nS;19-21\nS;21-23", 3, None, "'S'"),
    ("size_too_long", "Size;Ankle (cm)\nThe first of all;19-21", 2, None, "The first of all"),
    ("too_few_cells", "Size;Ankle (cm);Calf (cm)\nS;19-21", 2, None, "S | 19-21"),
    ("too_many_cells", "Size,Ankle (cm)\nS,19,5-21,5", 2, None, "S | 19 | 5-21 | 5"),
    ("stray_line", "Size;Ankle (cm)\nS;19-21\nfrom size M 3 cm more", 3, None, "3 cm more"),
    ("empty_cell", "Size;Ankle (cm);Calf (cm)\nS;;30-36", 2, 2, ""),
    ("one_number", "Size;Ankle (cm)\nS;23", 2, 2, "'23'"),
    ("open_ended", "Size;Ankle (cm)\nS;≤ 23", 2, 2, "≤ 23"),
    ("reversed", "Size;Ankle (cm)\nS;23-21", 2, 2, "23-21"),
    ("two_ranges", "Size;Ankle (cm)\nS;21-23 (8-9)", 2, 2, "21-23 (8-9)"),
    ("not_a_range", "Size;Ankle (cm)\nS;21/23", 2, 2, "21/23"),
    ("end_without_number", "Size;Ankle (cm)\nS;21-x", 2, 2, "21-x"),
    ("not_a_number", "Size;Ankle (cm)\nS;2.1.0-23", 2, 2, "2.1.0"),
    ("zero_end", "Size;Ankle (cm)\nS;0-23", 2, 2, "0-23"),
    ("footnote_mark", "Size;Ankle (cm)\nS;21-23*", 2, 2, "21-23*"),
    ("unit_not_known", "Size;Ankle (cm)\nS;21-23 kg", 2, 2, "kg"),
    ("units_differ_in_cell", "Size;Ankle (cm)\nS;21 cm - 9 in", 2, 2, "21 cm - 9 in"),
    ("unit_differs_in_column", "Size;Ankle\nS;19-21 cm\nM;8 - 9 in", 3, 2, "8 - 9 in"),
    ("fraction_without_unit", "Size;Ankle (cm)\nS;8 1/4 - 9", 2, 2, "8 1/4"),
    ("fraction_not_on_tape", "Size;Ankle (in)\nS;8 1/3 - 9", 2, 2, "8 1/3"),
    ("shoe_system_differs", "Size;Shoe EU\nS;UK 4-6", 2, 2, "UK 4-6"),
    ("shoe_size_out_of_range", "Size;Shoe EU\nS;4-6", 2, 2, "4"),
    ("not_a_shoe_size", "Size;Shoe EU\nS;36a-38", 2, 2, "36a"),
]


def _the(code: str, table: ChartTable) -> Problem:
    found = [problem for problem in table.problems if problem.code == code]
    assert len(found) == 1, (code, [str(problem) for problem in table.problems])
    return found[0]


@pytest.mark.parametrize(("code", "text", "line", "column", "found"), MALFORMED)
def test_a_malformed_table_says_where_what_and_the_mend(
    code: str, text: str, line: int | None, column: int | str | None, found: str
) -> None:
    table = parse_table(text)
    problem = _the(code, table)
    assert problem.level is ProblemLevel.ERROR
    assert problem.line == line
    if isinstance(column, int):
        assert problem.key is not None
        assert problem.key.startswith(f"column {column}")
    assert found in problem.text
    assert problem.mend.endswith(".")


def test_every_malformed_table_has_a_message_of_its_own() -> None:
    said = [_the(code, parse_table(text)) for code, text, *_ in MALFORMED]
    assert len(said) >= 30
    assert len({problem.text for problem in said}) == len(said)
    assert len({problem.code for problem in said}) == len(said)


def test_meanings_that_cannot_be_meant_are_told() -> None:
    table = parse_table(
        "Size;Ankle (cm);Calf (cm)\nS;19-21;30-36",
        meanings={"Ankle (cm)": "ankle somewhere", "Hip": "H girth"},
    )
    assert _the("meaning_not_known", table).line == 1
    assert "Hip" in _the("heading_not_there", table).text


BAD_ROWS = [case for case in MALFORMED if (case[2] or 0) > 1 and case[0] != "quotes_open"]


@pytest.mark.parametrize(("code", "text"), [(case[0], case[1]) for case in BAD_ROWS])
def test_a_row_that_could_not_be_read_stays_and_keeps_the_chart_from_use(
    code: str, text: str
) -> None:
    table = parse_table(text)
    assert _the(code, table) in [problem for row in table.rows for problem in row.problems]
    written = write_chart(table_values(table, HEAD), row_remarks(table))
    assert "# TO MEND, line" in written
    raw = tomllib.loads(written, parse_float=Decimal)
    assert len(raw["sizes"]) == len(table.rows)
    with pytest.raises(ValueError, match="validation error"):
        Chart.model_validate(raw)
    unread = [cell for row in table.rows for cell in row.unread.values()]
    for cell in unread:
        assert cell in written


HEAD = {
    "id": "mill-nine-neap",
    "maker": "Invented Mill Nine",
    "line": "Neap",
    "invented": True,
    "form": "below_knee",
    "toe": "open",
    "purposes": ["work"],
    "step_mm": Decimal(0),
    "posture": "standing",
    "overlap": "larger",
    "source": {"status": "invented", "text": 'Made up; a "quote", a \\ and ½'},
}


def test_a_table_becomes_a_chart() -> None:
    table = parse_table("Size;cB (in);Calf;Shoe UK\nS wide;8 1/4 - 9;30-36,50 cm;3½-5")
    values = table_values(table, HEAD, shoe_step=Decimal("0.5"))
    assert values["unit"] == "in"
    chart = Chart.model_validate(values)
    [size] = chart.sizes
    assert size.name == "S wide"
    assert size.ranges == {
        "ankle": (Decimal("209.55"), Decimal("228.6")),
        "calf": (Decimal(300), Decimal(365)),
        "shoe": (Decimal("3.5"), Decimal(5)),
    }
    text = write_chart(values)
    assert 'ankle = ["8 1/4", 9]' in text
    assert 'calf = ["30 cm", "36.50 cm"]' in text
    assert "shoe = [3.5, 5]" in text
    assert Chart.model_validate(tomllib.loads(text, parse_float=Decimal)) == chart


def test_the_narrowest_gap_of_each_column_is_found() -> None:
    table = parse_table(
        "Size;Ankle (cm);Calf (in);Shoe EU\nS;19-20,9;12-13;35-37\nM;21-22,9;13-14;38-40\n"
        "L;25-27;14-15;42-44"
    )
    assert [(g.column.id, g.below, g.above, g.width) for g in printed_gaps(table)] == [
        ("ankle", "20.9", "21", Decimal(1)),
        ("shoe", "37", "38", Decimal(1)),
    ]


@pytest.mark.parametrize(
    "name", sorted(f.name for f in (files("profiles") / "charts").iterdir() if "mill" in f.name)
)
def test_a_shipped_chart_is_written_as_it_stands(name: str) -> None:
    shipped = (files("profiles") / "charts" / name).read_text(encoding="utf-8")
    bare = "".join(line for line in shipped.splitlines(keepends=True) if line[0] != "#")
    assert write_chart(tomllib.loads(shipped, parse_float=Decimal)) == bare


def test_keys_of_a_newer_chart_are_written_too() -> None:
    values = {"format": 1, "later": ["a"], "also": {"odd key": True}, "none": None, "sizes": []}
    text = write_chart(values)
    assert tomllib.loads(text) == {k: v for k, v in values.items() if v is not None}


def test_a_remark_cannot_end_the_comment() -> None:
    text = write_chart({"sizes": [{"size": "S"}]}, {0: ["a\nsize = 'M'\x1b[2J"]})
    assert tomllib.loads(text) == {"sizes": [{"size": "S"}]}
    assert not any(is_unsafe(c) for c in text if c != "\n")
