"""A second opinion on sizes, written from the design page and the charts' own files alone.

It shares no line with the program: other numbers (fractions), another way to close the steps of a
printed table, and its own reading of the files.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any


@dataclass(frozen=True)
class Garment:
    """What somebody is measured for."""

    purpose: str
    forms: frozenset[str]


def second_opinion(girths: dict[str, str], garment: Garment) -> dict[str, tuple[str, str]]:
    """Return verdict and sizes of every shipped chart for one leg, given in cm as typed."""
    return {chart["id"]: judge(chart, girths, garment) for chart in charts()}


def judge(chart: dict[str, Any], girths: dict[str, str], garment: Garment) -> tuple[str, str]:
    """Place one leg in a chart's boxes, in exact fractions of a millimetre."""
    if chart["form"] not in garment.forms:
        return "not_suitable", "other form"
    if garment.purpose not in ("other", *chart["purposes"]):
        return "not_suitable", "other purpose"
    if garment.purpose == "other" and chart["purposes"] == ["prescribed"]:
        return "not_suitable", "other purpose"
    columns = chart["dimensions"]
    if any(column["kind"] != "girth" or column["point"] not in girths for column in columns):
        return "not_measured", ""
    values = {column["id"]: Fraction(girths[column["point"]]) * 10 for column in columns}
    boxes = {
        f"{row['size']} {row.get('variant', '')}".strip(): {
            name: Range(chart, name, row[name]) for name in values
        }
        for row in chart["sizes"]
    }
    inside = [
        size
        for size, box in boxes.items()
        if all(box[name].holds(value) for name, value in values.items())
    ]
    if len(inside) == 1:
        return "fits", inside[0]
    if inside and garment.purpose == "prescribed":
        return "overlap", "/".join(inside)
    if inside:
        chosen = inside[-1]
        if chart["overlap"] == "ankle":  # most room at the ankle; of equals the larger
            room = {size: boxes[size]["ankle"].room(values["ankle"]) for size in inside}
            chosen = max(reversed(inside), key=room.__getitem__)
        return "overlap", "/".join([chosen, *(size for size in inside if size != chosen)])
    held = []
    for name, value in values.items():
        column = [box[name] for box in boxes.values()]
        if not min(r.low for r in column) <= value <= max(r.high for r in column):
            return "off_chart", ""
        held.append(any(r.holds(value) for r in column))
    return ("proportions" if all(held) else "between"), ""


class Range:
    """One size's range, meeting its neighbours in the middle of the printed table's step."""

    def __init__(self, chart: dict[str, Any], column: str, printed: list[Any]) -> None:
        step, unit = Fraction(chart["step_mm"]), chart["unit"]
        all_ranges = [in_mm(row[column], unit) for row in chart["sizes"]]
        low, high = in_mm(printed, unit)
        under = [h for _, h in all_ranges if 0 < low - h <= step]
        over = [w for w, _ in all_ranges if 0 < w - high <= step]
        self.low = (low + max(under)) / 2 if under else low
        self.high = (high + min(over)) / 2 if over else high
        self.high_inside = not over  # the middle itself goes to the larger size

    def holds(self, value: Fraction) -> bool:
        """Whether a value lies in it; edges are inside."""
        return self.low <= value < self.high or (self.high_inside and value == self.high)

    def room(self, value: Fraction) -> Fraction:
        """Distance to the nearer edge."""
        return min(value - self.low, self.high - value)


def in_mm(printed: list[Any], unit: str) -> tuple[Fraction, Fraction]:
    """Read a printed range, such as 21 or 12 1/4, as exact millimetres."""
    scale = Fraction(254, 10) if unit == "in" else Fraction(10)
    low, high = (sum(map(Fraction, str(edge).split()), Fraction(0)) * scale for edge in printed)
    return low, high


def words(verdict: str, sizes: str, purpose: str) -> str:
    """Return what the result screen should say; of what does not suit `sizes` is the reason."""
    if verdict == "overlap" and purpose == "prescribed":
        return f"{sizes.replace('/', ' / ')}: choose"
    first, _, others = sizes.partition("/")
    return {
        "fits": first,
        "overlap": f"{first} (or {others})",
        "between": "between two sizes",
        "off_chart": "outside all sizes",
        "proportions": "sizes disagree",
        "not_suitable": sizes,
        "not_measured": "not measured",
    }[verdict]


@cache
def charts() -> list[dict[str, Any]]:
    """Read the shipped charts without the program's reader."""
    names = sorted(file.name for file in (files("profiles") / "charts").iterdir())
    return [load_toml(f"charts/{name}") for name in names if name.endswith(".toml")]


@cache
def load_toml(path: str) -> dict[str, Any]:
    """Read a shipped profile."""
    text = (files("profiles") / path).read_text(encoding="utf-8")
    return tomllib.loads(text, parse_float=Decimal)
