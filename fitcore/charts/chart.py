"""What a maker's size chart in `profiles/charts/` must look like. Loads pydantic."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from fitcore.charts.gap_rules import GapRule
from fitcore.clean_text import clean
from fitcore.points import Kind, Point
from fitcore.problems import UnitError
from fitcore.profile_faults import quoted
from fitcore.profile_models import (
    Exact,
    Form,
    Identifier,
    KindField,
    PointField,
    Posture,
    ProfileModel,
    Purpose,
    Sentence,
    Source,
    is_sensible,
)
from fitcore.shoes import ShoeSystem
from fitcore.units import UNITS, Unit, parse_length, to_mm
from fitcore.words import say

_COLUMN = re.compile(r"[a-z][a-z0-9_]{0,23}")
_ROW_KEYS = ("size", "variant", "ranges")
"""What a row says beside its ranges, so no column can be called so."""

MOST_MMHG = Decimal(200)
"""No garment prints more; ours, far above what any standard's strongest class needs."""


def _short(most: int, least: int = 1) -> AfterValidator:
    """Take a word as it is printed in a table, without signs that nobody can see."""

    def taken(text: str) -> str:
        word = clean(text).text
        if len(word) < least:
            raise ValueError(say("nothing that can be seen stands here"))
        if len(word) > most:
            raise ValueError(say("longer than {most} characters", most=most))
        return word

    return AfterValidator(taken)


def _column_name(name: str) -> str:
    if name in _ROW_KEYS:
        raise ValueError(
            say(
                "a dimension cannot be called '{name}': a row of sizes has a key of that name",
                name=name,
            )
        )
    if not _COLUMN.fullmatch(name):
        raise ValueError(
            say(
                "'{name}' is no name of a dimension: small letters, digits and _, a letter first, "
                "24 at most",
                name=name[:60],
            )
        )
    return name


class Dimension(ProfileModel):
    """One column of a chart: which measure it means."""

    id: Annotated[str, AfterValidator(_column_name)]
    point: PointField
    kind: KindField
    system: ShoeSystem | None = None
    """Shoe-size system of the column; only for `kind = "shoe"`."""
    step: Exact | None = Field(default=None, ge=0)
    """Step of the printed shoe sizes, in sizes; for lengths the chart's `step_mm` holds."""
    posture: Posture | None = None
    """Posture this column was meant for, where it is another than the chart's."""
    gap: GapRule = "none"
    """What the maker says of a value between two ranges wider apart than a step: no size, the
    nearer one (half way goes to the larger), or the larger. Left out, nothing is known of it."""

    @model_validator(mode="after")
    def _shoe_of_the_foot_with_system(self) -> Self:
        if (self.kind is Kind.SHOE) != (self.system is not None):
            raise ValueError(say("'system' belongs to a shoe column, and a shoe column needs it"))
        if self.kind is Kind.SHOE and self.point is not Point.FOOT:
            raise ValueError(say("a shoe size is of the foot"))
        return self


def _rising(mmhg: tuple[Decimal, Decimal]) -> tuple[Decimal, Decimal]:
    low, high = mmhg
    if not 0 < low <= high:
        raise ValueError(say("mmHg are above 0, and the lower figure stands first"))
    if high > MOST_MMHG:
        raise ValueError(say("no garment prints more than {most} mmHg", most=MOST_MMHG))
    return mmhg


class Pressure(ProfileModel):
    """The pressure printed on the garment: standard, class and mmHg always together."""

    mmhg: Annotated[tuple[Exact, Exact], AfterValidator(_rising)] = Field(strict=False)
    standard: Sentence
    grade: Annotated[str, _short(400), Field(alias="class")]


class ChartSize(ProfileModel):
    """One row of a chart: a size, perhaps of a wide or long line, and its ranges."""

    size: Annotated[str, _short(12)]
    variant: Annotated[str, _short(24, least=0)] = ""
    """What the maker calls it beside the size: wide, short, wide long."""
    ranges: dict[str, tuple[Decimal, Decimal]]
    """Dimension id to (lowest, highest), in mm, or in sizes for a shoe column."""

    @property
    def name(self) -> str:
        """Size and variant as they are printed."""
        return f"{self.size} {self.variant}".strip()


class Chart(ProfileModel):
    """One maker's size chart for one line of garments."""

    format: Literal[1]
    id: Identifier
    maker: Sentence
    line: Sentence
    invented: bool = False
    form: Form
    toe: Literal["open", "closed", "soft_cap", "none"]
    purposes: tuple[Purpose, ...] = Field(min_length=1, strict=False)
    unit: Unit
    """Unit of the printed table."""
    step_mm: Exact = Field(ge=0)
    """Step of the printed table in mm: 1 for 21-22.9 / 23-24.9; 0 where edges touch."""
    posture: Posture
    """Posture the table was meant for."""
    overlap: Literal["larger", "smaller", "ankle", "ask"] = "larger"
    """Size where two hold: what the leaflet says, `ask` where it says nothing and a person chooses;
    left out, the larger is taken as common practice, and never called the maker's rule."""
    made: Literal["off_the_shelf", "to_measure"] = "off_the_shelf"
    """One made to measure has a single row: the limits within which it can be made."""
    sold: Literal["pair", "single"] = "pair"
    """Whether one size must do for both legs, or each leg may have its own."""
    pressure: Pressure | None = None
    valid_from: date | None = None
    valid_until: date | None = None
    source: Source
    dimensions: tuple[Dimension, ...] = Field(min_length=1, strict=False)
    sizes: tuple[ChartSize, ...] = Field(min_length=1, strict=False)
    """Small to large; a wide or long variant stands after the regular one."""

    @model_validator(mode="before")
    @classmethod
    def _ranges_to_mm(cls, values: object) -> object:
        """Turn each row's printed ranges into mm, so that an inch chart decides like a cm one."""
        if not isinstance(values, dict) or not isinstance(values.get("sizes"), list):
            return values
        unit = values.get("unit")
        kinds = _kinds(values.get("dimensions"))
        rows = []
        for index, row in enumerate(values["sizes"]):
            if not isinstance(row, dict):
                rows.append(row)
                continue
            own = {key: row[key] for key in ("size", "variant") if key in row}
            ranges = {key: value for key, value in row.items() if key not in own}
            if unit not in UNITS or kinds is None:
                # Told at the unit or the dimension itself; no row is at fault for it.
                rows.append(own | {"ranges": {}})
                continue
            unknown = sorted(set(ranges) - set(kinds))
            if unknown:
                raise ValueError(
                    say(
                        "{key}: size {size}: no dimension is called '{name}'",
                        key=f"sizes.{index}.{unknown[0]}",
                        size=quoted(row.get("size")),
                        name=unknown[0],
                    )
                )
            own["ranges"] = {
                key: _printed_range(
                    value, None if kinds[key] == "shoe" else unit, f"sizes.{index}.{key}"
                )
                for key, value in ranges.items()
            }
            rows.append(own)
        return {**values, "sizes": rows}

    @model_validator(mode="after")
    def _rows_fit_columns(self) -> Self:
        columns = {dimension.id for dimension in self.dimensions}
        if len(columns) != len(self.dimensions):
            raise ValueError(say("two dimensions have the same id"))
        if self.made == "to_measure" and len(self.sizes) != 1:
            raise ValueError(say("a garment made to measure has one row: its limits"))
        if self.valid_from and self.valid_until and self.valid_from > self.valid_until:
            raise ValueError(say("'valid_from' is later than 'valid_until'"))
        names = [row.name for row in self.sizes]
        if len(set(names)) != len(names):
            raise ValueError(say("two sizes have the same name and variant"))
        for index, row in enumerate(self.sizes):
            missing = sorted(columns - set(row.ranges))
            if missing:
                raise ValueError(
                    say(
                        "{key}: size {size} has no range for '{name}'",
                        key=f"sizes.{index}",
                        size=row.name,
                        name=missing[0],
                    )
                )
        return self

    @property
    def title(self) -> str:
        """Maker and line together."""
        return f"{self.maker} {self.line}"


def _kinds(columns: object) -> dict[str, object] | None:
    """Return the kind of each dimension by its name; None where one has no name a row can use."""
    if not isinstance(columns, list):
        return None
    found: dict[str, object] = {}
    for column in columns:
        table = column if isinstance(column, dict) else {}
        name = table.get("id")
        if not isinstance(name, str) or name in _ROW_KEYS or not _COLUMN.fullmatch(name):
            return None
        found[name] = table.get("kind")
    return found or None


def _printed_range(value: object, unit: Unit | None, key: str) -> tuple[Decimal, Decimal]:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise ValueError(say("{key}: a range is [lowest, highest]", key=key))
    low, high = (_printed_edge(edge, unit, key) for edge in value)
    if low > high:
        raise ValueError(say("{key}: the lowest is above the highest", key=key))
    if unit is not None and low <= 0:
        raise ValueError(say("{key}: no girth or length is 0 or less", key=key))
    return low, high


def _printed_edge(edge: object, unit: Unit | None, key: str) -> Decimal:
    if isinstance(edge, str) and unit is not None:
        try:
            return parse_length(edge, unit).mm
        except UnitError as error:
            raise ValueError(f"{key}: {error.problem.text}") from error
    if isinstance(edge, bool) or not isinstance(edge, int | Decimal):
        raise ValueError(say("{key}: {edge} is not a number", key=key, edge=quoted(edge)))
    amount = Decimal(edge)
    if not is_sensible(amount):
        raise ValueError(say("{key}: {edge} is not a number", key=key, edge=quoted(edge)))
    return amount if unit is None else to_mm(amount, unit)
