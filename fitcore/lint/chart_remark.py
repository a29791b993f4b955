"""One remark on a size chart, and how its figures are written in such remarks."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from fitcore.clean_text import visible
from fitcore.problems import ProblemLevel
from fitcore.shoes import system_words
from fitcore.units import from_mm, plain

if TYPE_CHECKING:
    from decimal import Decimal

    from fitcore.charts.chart import Chart, Dimension
    from fitcore.lint.lint_codes import LintName

_WORST_FIRST = tuple(ProblemLevel)


class RemarkPlace(NamedTuple):
    """Where a remark is about: `sizes.2.ankle` taken apart."""

    group: str
    """The table or key of the file: `sizes`, `dimensions`, `pressure` ..."""
    number: int | None = None
    """Which row of it, from 0; None where it has none."""
    column: str = ""
    """The dimension's id, or a key of the row; empty where it is about the whole row."""


@dataclass(frozen=True, slots=True)
class ChartRemark:
    """What is wrong, doubtful or worth knowing in a chart, and how to mend it."""

    key: str
    """Where, as in the file: `sizes.2.ankle`."""
    level: ProblemLevel
    code: LintName
    """Short fixed name, for programs and tests; `lint_codes` has them all."""
    text: str
    mend: str
    """What to write in the file."""
    form_mend: str = ""
    """The same for somebody at the chart editor, who sees no file; empty where `mend` serves."""

    def __post_init__(self) -> None:
        """Make visible whatever in the words could steer a terminal: they quote a foreign file."""
        for name in ("key", "text", "mend", "form_mend"):
            object.__setattr__(self, name, visible(getattr(self, name)))

    @property
    def place(self) -> RemarkPlace:
        """Its key, taken apart."""
        group, *rest = self.key.split(".")
        if not (rest and rest[0].isdigit()):
            return RemarkPlace(group)
        return RemarkPlace(group, int(rest[0]), ".".join(rest[1:]))

    @property
    def mend_in_form(self) -> str:
        """What to do about it in the chart editor."""
        return self.form_mend or self.mend

    def as_json(self) -> dict[str, str]:
        """Return it in the shape `chart lint --json` prints, but for the path."""
        return {
            "key": self.key,
            "level": self.level.value,
            "code": self.code,
            "text": self.text,
            "mend": self.mend,
        }


def remark_order(remark: ChartRemark) -> tuple[object, ...]:
    """Sort key of remarks: the worst first, then by place in the file, then by code."""
    place = [(part.isdigit(), int(part) if part.isdigit() else 0, part) for part in _parts(remark)]
    return (_WORST_FIRST.index(remark.level), place, remark.code, remark.text)


def shown(chart: Chart, dimension: Dimension, value: Decimal) -> str:
    """Write an edge as the printed table does: in its own unit, or as a shoe size."""
    if dimension.system is not None:
        return f"{system_words(dimension.system)} {plain(value)}"
    amount = from_mm(value, chart.unit)
    return f"{plain(round(amount, 3))} {chart.unit}"


def shown_range(chart: Chart, dimension: Dimension, pair: tuple[Decimal, Decimal]) -> str:
    """Write a range as the printed table does."""
    if dimension.system is not None:
        return f"{system_words(dimension.system)} {plain(pair[0])}-{plain(pair[1])}"
    low, high = (plain(round(from_mm(edge, chart.unit), 3)) for edge in pair)
    return f"{low}-{high} {chart.unit}"


def _parts(remark: ChartRemark) -> list[str]:
    return re.split(r"\.", remark.key)
