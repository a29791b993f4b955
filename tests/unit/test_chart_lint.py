"""Lint of size charts: one slip at a time in a chart that is otherwise in order.

The chart is invented; it is called read and printed here only so that nothing is left to remark.
"""

from __future__ import annotations

import copy
import tomllib
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitcore.charts.boxes import chart_boxes
from fitcore.charts.chart import Chart
from fitcore.charts.reach import is_ever_chosen
from fitcore.lint.chart_lint import lint_chart
from fitcore.lint.chart_remark import ChartRemark
from fitcore.problems import ProblemLevel
from fitcore.profile_models import Ranges

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    Table = dict[str, Any]
    Leg = Sequence[Fraction]

PROFILES = Path(__file__).resolve().parents[2] / "profiles"
RANGES = Ranges.model_validate(
    tomllib.loads((PROFILES / "ranges/adults.toml").read_text("utf-8"), parse_float=Decimal)
)
TODAY = date(2026, 6, 1)

SOUND: Table = tomllib.loads(
    """
format = 1
id = "mill-nine-lint"
maker = "Invented Mill Nine"
line = "Lint"
form = "below_knee"
toe = "open"
purposes = ["work"]
unit = "cm"
step_mm = 1
posture = "standing"
valid_from = 2026-01-01

[source]
status = "read"
text = "Made up for this test."
printed = 2025-11-01

[pressure]
mmhg = [10, 14]
standard = "invented scale"
class = "light"

[[dimensions]]
id = "ankle"
point = "B"
kind = "girth"

[[dimensions]]
id = "calf"
point = "C"
kind = "girth"

[[sizes]]
size = "S"
ankle = [19, 20.9]
calf = [31, 34.9]

[[sizes]]
size = "M"
ankle = [21, 22.9]
calf = [35, 38.9]

[[sizes]]
size = "L"
ankle = [23, 24.9]
calf = [39, 42.9]

[[sizes]]
size = "XL"
ankle = [25, 26.9]
calf = [43, 46.9]
""",
    parse_float=Decimal,
)


def lint(table: Table, on: date | None = TODAY) -> tuple[ChartRemark, ...]:
    return lint_chart(Chart.model_validate(table), RANGES, on=on)


def changed(*changes: Callable[[Table], object]) -> Table:
    table = copy.deepcopy(SOUND)
    for change in changes:
        change(table)
    return table


def put(path: str, value: object) -> Callable[[Table], object]:
    """Set one key, such as `sizes.2.ankle`."""
    *way, last = path.split(".")

    def change(table: Table) -> None:
        place: Any = table
        for part in way:
            place = place[int(part)] if part.isdigit() else place[part]
        place[last] = value

    return change


def cell(row: int, name: str, low: object, high: object) -> Callable[[Table], object]:
    return put(f"sizes.{row}.{name}", [number(low), number(high)])


def number(value: object) -> object:
    return Decimal(str(value)) if isinstance(value, float) else value


def column(name: str, *ranges: tuple[object, object]) -> Callable[[Table], object]:
    def change(table: Table) -> None:
        for row, (low, high) in zip(table["sizes"], ranges, strict=True):
            row[name] = [number(low), number(high)]

    return change


def dimension(name: str, point: str, kind: str = "girth", **more: object) -> Callable[[Table], Any]:
    return lambda table: table["dimensions"].append(
        {"id": name, "point": point, "kind": kind, **more}
    )


def without(name: str) -> Callable[[Table], object]:
    def change(table: Table) -> None:
        table["dimensions"] = [d for d in table["dimensions"] if d["id"] != name]
        for row in table["sizes"]:
            row.pop(name)

    return change


def row(size: str, variant: str = "", **ranges: tuple[object, object]) -> Table:
    cells = {name: [number(edge) for edge in pair] for name, pair in ranges.items()}
    return {"size": size, "variant": variant, **cells}


def rows(*made: Table) -> Callable[[Table], object]:
    return lambda table: table.update({"sizes": list(made)})


def insert(at: int, made: Table) -> Callable[[Table], object]:
    return lambda table: table["sizes"].insert(at, made)


FEET = ((35, 37), (38, 40), (41, 44), (45, 48))
THIGHS = ((45, 54.9), (55, 64.9), (65, 74.9), (75, 84.9))
SHOE = dimension("shoe", "foot", "shoe", system="eu", step=1)
THIGH = dimension("thigh", "G")
KNEE_LENGTH = dimension("to_knee", "D", "length")
THIGH_LENGTH = dimension("to_thigh", "G", "length")

# What is wrong: the changed chart, and every remark there must be: code to keys.
CASES: dict[str, tuple[Table, dict[str, list[str]]]] = {
    "an ankle in inches": (
        changed(cell(0, "ankle", 8, 8.9)),
        {"looks_like_inches": ["sizes.0.ankle"], "gap": ["sizes.1.ankle"]},
    ),
    "an ankle in mm": (
        changed(cell(3, "ankle", 250, 269)),
        {"looks_like_mm": ["sizes.3.ankle"]},
    ),
    "a calf in cm in a chart in mm": (
        changed(
            put("unit", "mm"),
            column("ankle", (190, 209), (210, 229), (230, 249), (250, 269)),
            column("calf", (31, 34), (350, 389), (390, 429), (430, 469)),
        ),
        {"looks_like_cm": ["sizes.0.calf"], "gap": ["sizes.1.calf"]},
    ),
    "a column in inches": (
        changed(column("ankle", (7.5, 8.2), (8.3, 9), (9.1, 9.7), (9.8, 10.5))),
        {"column_in_other_unit": ["dimensions.0"]},
    ),
    "a whole table in inches called cm": (
        changed(
            column("ankle", (7.5, 8.2), (8.3, 9), (9.1, 9.7), (9.8, 10.5)),
            column("calf", (12.2, 13.7), (13.8, 15.2), (15.3, 16.8), (16.9, 18.4)),
        ),
        {"table_in_other_unit": ["unit"]},
    ),
    "a whole table in cm called inches": (
        changed(put("unit", "in")),
        {"table_in_other_unit": ["unit"], "step_not_set": ["step_mm", "step_mm"]},
    ),
    "a range no leg has in any unit": (
        changed(cell(0, "calf", 1, 3)),
        {"impossible_range": ["sizes.0.calf"], "gap": ["sizes.1.calf"]},
    ),
    "an edge that lost its decimal point": (
        changed(cell(3, "ankle", 25, 269)),
        {"point_lost": ["sizes.3.ankle"]},
    ),
    "an edge no leg has": (
        changed(cell(3, "calf", 43, 95)),
        {"impossible_edge": ["sizes.3.calf"], "end_range_wide": ["sizes.3.calf"]},
    ),
    "a size for hardly any leg": (
        changed(cell(3, "ankle", 27.5, 29.4), put("dimensions.0.gap", "nearest")),
        {"rare_legs_only": ["sizes.3.ankle"]},
    ),
    "shoes of another system": (
        changed(SHOE, column("shoe", (3, 4), (5, 6), (7, 8), (9, 10))),
        {"other_shoe_system": [f"sizes.{n}.shoe" for n in range(4)]},
    ),
    "shoes nobody wears": (
        changed(SHOE, column("shoe", *FEET[:3], (45, 480))),
        {"impossible_shoe": ["sizes.3.shoe"]},
    ),
    "ankle and calf swapped in a row": (
        changed(cell(3, "ankle", 43, 46.9), cell(3, "calf", 25, 26.9)),
        {
            "ankle_not_below_calf": ["sizes.3.ankle"],
            "rare_legs_only": ["sizes.3.ankle", "sizes.3.calf"],
            "gap": ["sizes.0.calf"],
            "order_falls": ["sizes.3.calf"],
        },
    ),
    "a calf wider than the thigh": (
        changed(put("form", "thigh"), THIGH, column("thigh", *THIGHS[:3], (36, 38))),
        {
            "calf_not_below_thigh": ["sizes.3.calf"],
            "rare_legs_only": ["sizes.3.thigh"],
            "gap": ["sizes.0.thigh"],
            "order_falls": ["sizes.3.thigh"],
        },
    ),
    "an ankle wider than the thigh": (
        changed(
            without("calf"), THIGH, cell(3, "ankle", 40, 42), column("thigh", *THIGHS[:3], (36, 38))
        ),
        {
            "ankle_not_below_thigh": ["sizes.3.ankle"],
            "usual_girth_missing": ["dimensions"],
            "rare_legs_only": ["sizes.3.ankle", "sizes.3.thigh"],
            "gap": ["sizes.0.thigh"],
            "order_falls": ["sizes.3.thigh"],
        },
    ),
    "proportions nobody has": (
        changed(cell(3, "calf", 28, 31.9)),
        {"proportions_of_nobody": ["sizes.3.calf"], "order_falls": ["sizes.3.calf"]},
    ),
    "a thigh no higher than the knee": (
        changed(
            KNEE_LENGTH,
            THIGH_LENGTH,
            column("to_knee", (35, 45), (35, 45), (35, 45), (35, 45)),
            column("to_thigh", (60, 70), (60, 70), (34, 35), (60, 70)),
        ),
        {
            "lengths_not_rising": ["sizes.2.to_knee"],
            "gap": ["sizes.0.to_thigh"],
            "order_falls": ["sizes.2.to_thigh"],
            "end_range_wide": ["sizes.3.to_thigh"],
        },
    ),
    "a gap": (changed(cell(2, "ankle", 23.5, 24.9)), {"gap": ["sizes.2.ankle"]}),
    "a gap between shoe sizes": (
        changed(SHOE, column("shoe", (35, 36), *FEET[1:])),
        {"gap": ["sizes.1.shoe"]},
    ),
    "a step that was not set": (
        changed(put("step_mm", 0)),
        {"step_not_set": ["step_mm", "step_mm"]},
    ),
    "a step as wide as a range": (
        changed(put("step_mm", 20)),
        {"step_too_wide": ["step_mm"]},
    ),
    "a range of one value": (
        changed(cell(1, "ankle", 22.9, 22.9)),
        {"single_value": ["sizes.1.ankle"], "gap": ["sizes.1.ankle"]},
    ),
    "an edge printed twice": (
        changed(cell(1, "ankle", 20.9, 22.9)),
        {"edges_touch": ["dimensions.0"]},
    ),
    "two rows alike": (
        changed(insert(2, row("ML", ankle=(21, 22.9), calf=(35, 38.9)))),
        {"same_ranges": ["sizes.2"]},
    ),
    "a size inside another": (
        changed(insert(2, row("ML", ankle=(21.5, 22.5), calf=(36, 38)))),
        {"inside_another": ["sizes.2"]},
    ),
    "a size nobody gets, inside a larger one": (
        changed(cell(1, "ankle", 23.5, 24.5), cell(1, "calf", 40, 42)),
        {
            "never_chosen": ["sizes.1"],
            "gap": ["sizes.2.ankle", "sizes.2.calf"],
        },
    ),
    "a size nobody gets, under two larger ones": (
        changed(
            put("step_mm", 0),
            rows(
                row("S", ankle=(21, 25), calf=(35, 38)),
                row("M", ankle=(20, 23), calf=(34, 39)),
                row("L", ankle=(23, 26), calf=(34, 39)),
            ),
        ),
        {
            "never_chosen": ["sizes.0"],
            "overlap": ["sizes.0"],
            "order_falls": ["sizes.1.ankle"],
        },
    ),
    "sizes that overlap": (
        changed(cell(1, "ankle", 20, 22.9), cell(1, "calf", 34, 38.9)),
        {"overlap": ["sizes.0"]},
    ),
    "sizes listed from large to small": (
        changed(lambda table: table["sizes"].reverse()),
        {"largest_first": ["sizes.0"]},
    ),
    "a size that falls": (
        changed(lambda table: table["sizes"].insert(0, table["sizes"].pop(2))),
        {"order_falls": ["sizes.1.ankle", "sizes.1.calf"]},
    ),
    "a range twice as wide as those beside it": (
        changed(
            column("ankle", (17, 18.9), (19, 22.9), (23, 24.9), (25, 26.9)),
        ),
        {"range_jumps": ["sizes.1.ankle"]},
    ),
    "a last range twice as wide": (
        changed(cell(3, "ankle", 25, 29)),
        {"end_range_wide": ["sizes.3.ankle"]},
    ),
    "a wide size with no regular one": (
        changed(insert(4, row("XXL", "wide", ankle=(27, 28.9), calf=(47, 50.9)))),
        {"variant_without_regular": ["sizes.4"]},
    ),
    "a wide size before the regular one": (
        changed(insert(1, row("M", "wide", ankle=(21, 22.9), calf=(39, 42.9)))),
        {"variant_before_regular": ["sizes.1"]},
    ),
    "a wide size left out": (
        changed(
            insert(1, row("S", "wide", ankle=(19, 20.9), calf=(35, 38.9))),
            insert(3, row("M", "wide", ankle=(21, 22.9), calf=(39, 42.9))),
            insert(5, row("L", "wide", ankle=(23, 24.9), calf=(43, 46.9))),
        ),
        {"variant_missing": ["sizes"]},
    ),
    "a shoe column without a step": (
        changed(
            lambda table: table["dimensions"].append(
                {"id": "shoe", "point": "foot", "kind": "shoe", "system": "eu"}
            ),
            column("shoe", *FEET),
        ),
        {"shoe_without_step": ["dimensions.2"]},
    ),
    "a step at a length": (
        changed(put("dimensions.0.step", Decimal(1))),
        {"step_unused": ["dimensions.0.step"]},
    ),
    "the ankle twice": (
        changed(put("dimensions.1.point", "B")),
        {
            "same_measure_twice": ["dimensions.0", "dimensions.1"],
            "rare_legs_only": [f"sizes.{n}.calf" for n in range(4)],
            "usual_girth_missing": ["dimensions"],
        },
    ),
    "an ankle rule without an ankle": (
        changed(without("ankle"), put("overlap", "ankle")),
        {"ankle_rule_without_ankle": ["overlap"]},
    ),
    "a prescribed garment without an ankle": (
        changed(without("ankle"), put("purposes", ["prescribed"])),
        {"prescribed_without_ankle": ["dimensions"]},
    ),
    "a thigh garment without a thigh": (
        changed(put("form", "thigh")),
        {"usual_girth_missing": ["dimensions"]},
    ),
    "a closed toe and no foot": (
        changed(put("toe", "closed")),
        {"closed_toe_without_foot": ["toe"]},
    ),
    "a sleeve with a toe": (
        changed(put("form", "footless_sleeve")),
        {"toe_and_form": ["toe"]},
    ),
    "no pressure": (
        changed(lambda table: table.pop("pressure"), put("purposes", ["work", "prescribed"])),
        {"no_pressure": ["pressure"]},
    ),
    "a pressure in kPa": (
        changed(put("pressure.mmhg", [Decimal("2.4"), Decimal("2.8")])),
        {"pressure_not_mmhg": ["pressure.mmhg"]},
    ),
    "no printed date": (
        changed(lambda table: table["source"].pop("printed")),
        {"no_source_date": ["source"]},
    ),
    "no validity": (
        changed(lambda table: table.pop("valid_from")),
        {"no_validity": ["valid_from"]},
    ),
    "typed from memory": (
        changed(put("source.status", "from memory")),
        {"not_from_leaflet": ["source.status"]},
    ),
    "invented and not marked": (
        changed(put("source.status", "invented")),
        {"invented_not_marked": ["source.status"]},
    ),
    "invented": (
        changed(lambda table: table.update(invented=True)),
        {"invented_chart": ["invented"]},
    ),
    "run out": (
        changed(put("valid_until", date(2026, 5, 31))),
        {"expired": ["valid_until"]},
    ),
    "not yet valid": (
        changed(put("valid_from", date(2026, 6, 2))),
        {"not_yet_valid": ["valid_from"]},
    ),
    "no source but a question mark": (
        changed(put("source.text", "?")),
        {"no_source": ["source.text"]},
    ),
    "a source not known": (
        changed(put("source.text", "- not known -")),
        {"no_source": ["source.text"]},
    ),
    "printed next month": (
        changed(put("source.printed", "2026-07")),
        {"printed_in_future": ["source.printed"]},
    ),
    "printed tomorrow": (
        changed(put("source.printed", date(2026, 6, 2))),
        {"printed_in_future": ["source.printed"]},
    ),
}


def found(table: Table) -> dict[str, list[str]]:
    remarks: dict[str, list[str]] = {}
    for remark in lint(table):
        remarks.setdefault(remark.code, []).append(remark.key)
    return {code: sorted(keys) for code, keys in remarks.items()}


def test_a_chart_in_order_has_nothing_to_remark() -> None:
    assert lint(SOUND) == ()


@pytest.mark.parametrize("name", CASES)
def test_each_slip_is_told_with_its_code_and_place_and_nothing_else_is(name: str) -> None:
    table, wanted = CASES[name]
    assert found(table) == wanted


def test_at_least_thirty_malformed_charts_each_have_a_message_of_their_own() -> None:
    first = {name: {(r.code, r.text, r.mend) for r in lint(t)} for name, (t, _) in CASES.items()}
    assert len(first) >= 30
    for name, own in first.items():
        others = {
            told for other, told_there in first.items() if other != name for told in told_there
        }
        assert own - others, name


def test_every_code_is_met_and_has_one_level_but_for_the_pressure() -> None:
    levels: dict[str, set[ProblemLevel]] = {}
    for table, _ in CASES.values():
        for remark in lint(table):
            levels.setdefault(remark.code, set()).add(remark.level)
    assert len(levels) >= 18
    assert all(len(met) == 1 for met in levels.values())


@pytest.mark.parametrize("name", CASES)
def test_remarks_stand_worst_first_and_say_what_to_do(name: str) -> None:
    remarks = lint(CASES[name][0])
    order = list(ProblemLevel)
    assert [order.index(r.level) for r in remarks] == sorted(order.index(r.level) for r in remarks)
    for remark in remarks:
        assert remark.text.endswith(".")
        assert remark.mend.endswith((".", "?"))
        assert remark.key


def test_a_gap_says_how_many_cm_and_between_which_sizes() -> None:
    [remark] = lint(CASES["a gap"][0])
    assert "0.6 cm" in remark.text
    assert "between M and L" in remark.text
    assert "between 22.9 cm and 23.5 cm" in remark.text


@pytest.mark.parametrize("rule", ["nearest", "larger"])
def test_a_gap_with_a_rule_of_the_maker_is_no_slip(rule: str) -> None:
    table = changed(cell(2, "ankle", 23.5, 24.9), put("dimensions.0.gap", rule))
    assert lint(table) == ()


def test_an_inch_chart_is_judged_as_the_same_chart_in_cm() -> None:
    inches = changed(
        put("unit", "in"),
        put("step_mm", Decimal("3.175")),
        column(
            "ankle", ("7 1/2", "8 1/8"), ("8 1/4", "8 7/8"), ("9", "9 3/4"), ("9 7/8", "10 1/2")
        ),
        column(
            "calf",
            ("12 1/4", "13 5/8"),
            ("13 3/4", "15 1/4"),
            ("15 3/8", "16 7/8"),
            ("17", "18 3/8"),
        ),
    )
    assert lint(inches) == ()
    gap = changed(lambda table: table.update(inches), put("sizes.2.ankle", ["9 1/4", "9 3/4"]))
    [remark] = lint(gap)
    assert (remark.code, remark.key) == ("gap", "sizes.2.ankle")
    assert "0.375 in" in remark.text


def test_no_day_no_remark_on_dates() -> None:
    assert lint(CASES["run out"][0], on=None) == ()


def test_no_pressure_is_a_note_where_nothing_is_prescribed_and_else_a_warning() -> None:
    [prescribed] = lint(CASES["no pressure"][0])
    [free] = lint(changed(lambda table: table.pop("pressure")))
    assert (prescribed.level, free.level) == (ProblemLevel.WARNING, ProblemLevel.NOTE)


def test_what_a_foreign_file_says_cannot_steer_a_terminal() -> None:
    """A remark quotes what stands in a chart: a size, a source, a standard."""
    bad = "L\x1b[2J"
    table = changed(put("sizes.2.size", bad), cell(2, "ankle", 23.5, 24.9))
    assert not [remark for remark in lint(table) if "\x1b" in remark.text + remark.mend]
    remark = ChartRemark(bad, ProblemLevel.NOTE, "gap", bad, bad, bad)
    for words in (remark.key, remark.text, remark.mend, remark.mend_in_form):
        assert words == "L<U+001B>[2J"


def test_the_shipped_charts_have_no_error_and_one_warning_that_is_meant() -> None:
    worse = set()
    for path in sorted((PROFILES / "charts").glob("*.toml")):
        remarks = lint(tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal))
        assert "invented_chart" in {remark.code for remark in remarks}
        worse |= {(path.stem, r.code, r.key) for r in remarks if r.level is not ProblemLevel.NOTE}
    assert worse == {("mill-four-low-tide", "gap", "sizes.3.ankle")}


# --- sizes nobody can reach ----------------------------------------------------------------------


def reached(overlap: str, *made: Table) -> list[bool]:
    table = changed(put("step_mm", 0), put("overlap", overlap), rows(*made))
    chart = Chart.model_validate(table)
    boxes = chart_boxes(chart)
    return [is_ever_chosen(chart, boxes, n) for n in range(len(boxes))]


ONE_IN_TWO = (
    row("S", ankle=(20, 22), calf=(35, 37)),
    row("M", ankle=(19, 23), calf=(34, 38)),
)


@pytest.mark.parametrize(
    ("overlap", "wanted"),
    [
        ("larger", [False, True]),
        ("smaller", [True, True]),
        # At the ankle the outer one has always 1 cm more room.
        ("ankle", [False, True]),
    ],
)
def test_whether_an_inner_size_is_ever_taken_hangs_on_the_rule(
    overlap: str, wanted: list[bool]
) -> None:
    assert reached(overlap, *ONE_IN_TWO) == wanted


def test_a_size_covered_by_two_others_together_is_never_taken() -> None:
    made = (
        row("S", ankle=(21, 25), calf=(35, 38)),
        row("M", ankle=(20, 23), calf=(34, 39)),
        row("L", ankle=(23, 26), calf=(34, 39)),
    )
    assert reached("larger", *made) == [False, True, True]
    # A hair between them is enough.
    apart = (made[0], made[1], row("L", ankle=(23.1, 26), calf=(34, 39)))
    assert reached("larger", *apart) == [True, True, True]
    assert reached("ankle", *made) == [True, True, True]


def _wins(overlap: str, boxes: Sequence[Sequence[tuple[int, int]]], row: int, leg: Leg) -> bool:
    """Whether a leg gets a row, said anew: no code is shared with the program."""

    def inside(n: int) -> bool:
        return all(low <= at <= high for (low, high), at in zip(boxes[n], leg, strict=True))

    held = [n for n in range(len(boxes)) if inside(n)]
    if row not in held:
        return False
    if overlap == "ankle":
        room = {n: min(leg[0] - boxes[n][0][0], boxes[n][0][1] - leg[0]) for n in held}
        return row == max(n for n in held if room[n] == max(room.values()))
    return row == (max(held) if overlap == "larger" else min(held))


_ranges = st.tuples(st.integers(0, 5), st.integers(0, 3)).map(lambda pair: (pair[0], sum(pair)))


@given(
    st.sampled_from(["larger", "smaller", "ankle"]),
    st.integers(1, 2).flatmap(
        lambda wide: st.lists(
            st.lists(_ranges, min_size=wide, max_size=wide), min_size=2, max_size=4
        )
    ),
)
def test_who_can_be_reached_is_what_trying_every_quarter_says(
    overlap: str, boxes: list[list[tuple[int, int]]]
) -> None:
    """Edges are whole mm, so nothing changes but at quarters of one."""
    names = ("ankle", "calf")[: len(boxes[0])]
    table = changed(
        *(without(name) for name in ("ankle", "calf")[len(names) :]),
        put("unit", "mm"),
        put("step_mm", 0),
        put("overlap", overlap),
        rows(
            *(
                row(f"{n}", **{k: (200 + a, 200 + b) for k, (a, b) in zip(names, box, strict=True)})
                for n, box in enumerate(boxes)
            )
        ),
    )
    chart = Chart.model_validate(table)
    made = chart_boxes(chart)
    quarters = [Fraction(n, 4) for n in range(8 * 4 + 1)]
    for n in range(len(boxes)):
        tried = any(_wins(overlap, boxes, n, leg) for leg in product(quarters, repeat=len(names)))
        assert is_ever_chosen(chart, made, n) == tried
