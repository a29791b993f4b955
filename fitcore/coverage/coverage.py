"""Whom a chart fits: how many legs of a set get one size, several, or none, and why. Pure."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import decide_size

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from fitcore.charts.chart import Chart
    from fitcore.charts.sizing import Measured
    from fitcore.coverage.leg_set import LegValues


@dataclass(frozen=True, slots=True)
class Coverage:
    """What became of the legs of a set in one chart. Geometry only: clears nobody's leg."""

    legs: int
    one_size: int
    several: int
    between: int
    """Some measure falls in no size's range, though inside the chart's span."""
    off_chart: int
    """Some measure is below or above every size."""
    proportions: int
    """Each measure has its sizes, and no size has them all."""
    not_measured: int
    """A measure the chart uses is not in the set."""
    by_size: Mapping[str, int]
    """Every size in chart order to how many legs get it, by the chart's rule where several hold."""
    holds: Mapping[str, int]
    """Every size to how many legs lie inside it, whichever is taken."""

    @property
    def none(self) -> int:
        """How many get no size."""
        return self.between + self.off_chart + self.proportions

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `chart coverage --json` prints.

        Legs that could not be judged are named only where there are any.
        """
        return {
            "legs": self.legs,
            "one_size": self.one_size,
            "several": self.several,
            "none": {
                "between": self.between,
                "off_chart": self.off_chart,
                "proportions": self.proportions,
            },
            "by_size": dict(self.by_size),
            **({"not_measured": self.not_measured} if self.not_measured else {}),
        }


def cover(chart: Chart, legs: Iterable[LegValues]) -> Coverage:
    """Count what becomes of each leg in a chart.

    Args:
        chart: the chart; purposes, dates and feet are not asked about.
        legs: the values used of each.

    Returns:
        Counts that add up: one size, several, none and not measured make all legs; the legs by
        size make those with one or several, unless the chart leaves open which of several is taken.
    """
    verdicts: Counter[Verdict] = Counter()
    chosen: Counter[str] = Counter()
    holds: Counter[str] = Counter()
    for leg in legs:
        answer = decide_size(chart, looked_up(leg))
        verdicts[answer.verdict] += 1
        name = answer.name
        if name:
            chosen[name] += 1
        holds.update([name, *answer.alternatives] if name else answer.alternatives)
    names = [row.name for row in chart.sizes]
    return Coverage(
        legs=verdicts.total(),
        one_size=verdicts[Verdict.FITS],
        several=verdicts[Verdict.OVERLAP],
        between=verdicts[Verdict.BETWEEN],
        off_chart=verdicts[Verdict.OFF_CHART],
        proportions=verdicts[Verdict.PROPORTIONS],
        not_measured=verdicts[Verdict.NOT_MEASURED],
        by_size={name: chosen[name] for name in names},
        holds={name: holds[name] for name in names},
    )


def looked_up(leg: LegValues) -> Measured:
    """Return the look-up of one leg's values that `decide_size` asks for."""
    return lambda point, kind: leg.get((point, kind))
