"""Remarks on the pressure printed on a garment: missing, in kPa, or not what its class says."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.lint.chart_remark import ChartRemark
from fitcore.pressures.pressure import NamedClass, find_class, find_standard, range_words
from fitcore.problems import ProblemLevel
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fitcore.charts.chart import Chart
    from fitcore.pressures.pressure_model import PressureStandard

_LEAST_MMHG = Decimal(8)
"""A garment whose upper limit is below prints kPa: the lightest band of the trade is 8 to 15 mmHg
(from memory), and printed kPa run from 2.4 to 6.5 (RAL quality association, read)."""
_ROUNDED = Decimal(1)
"""Less than a whole mmHg beyond a class is its figure rounded: 15 for 15.1. Ours."""


def lint_pressure(chart: Chart, standards: Sequence[PressureStandard]) -> Iterator[ChartRemark]:
    """Judge the pressure a chart gives.

    Args:
        chart: the chart.
        standards: the standards known here; none judges no class.

    Source: each standard's own, with its status there.
    """
    pressure = chart.pressure
    if pressure is None:
        yield _missing(chart)
        return
    low, high = pressure.mmhg
    if high < _LEAST_MMHG:
        yield ChartRemark(
            "pressure.mmhg",
            ProblemLevel.ERROR,
            "pressure_not_mmhg",
            say("{low} to {high} mmHg is no garment's; it looks like kPa.", low=low, high=high),
            say("Write mmHg: 1 kPa is 7.5 mmHg."),
            say("F2, line 'Pressure on the garment': in mmHg; 1 kPa is 7.5 mmHg."),
        )
        return
    if not standards:
        return
    known = find_standard(standards, pressure.standard)
    if known is None and chart.invented:
        return  # a scale made up with its chart stands in no list
    if known is None:
        yield ChartRemark(
            "pressure.standard",
            ProblemLevel.WARNING,
            "standard_unknown",
            say("The standard '{name}' is not known here.", name=pressure.standard[:60]),
            say(
                "Look at the garment. Known are: {names}.",
                names=", ".join(standard.name for standard in standards),
            ),
        )
        return
    named = find_class(known, pressure.grade)
    if named is None:
        yield ChartRemark(
            "pressure.class",
            ProblemLevel.WARNING,
            "class_unknown",
            say(
                "{name} has no class '{own}' known here.", name=known.name, own=pressure.grade[:40]
            ),
            say("Look at the garment. Known are: {names}.", names=classes_words(known)),
        )
    elif not _holds(named, low, high):
        yield _contradicts(known, named, low, high)


def classes_words(standard: PressureStandard) -> str:
    """List a standard's classes, each with its mmHg: `I (18 to 21 mmHg), II (23 to 32 mmHg)`."""
    return ", ".join(
        f"{own.label} ({range_words(own.low_mmhg, own.high_mmhg, above=own.above)})"
        for own in standard.classes
    )


# -------------------------------------------------------------------------------------------------


def _missing(chart: Chart) -> ChartRemark:
    prescribed = "prescribed" in chart.purposes
    return ChartRemark(
        "pressure",
        ProblemLevel.WARNING if prescribed else ProblemLevel.NOTE,
        "no_pressure",
        say("No pressure is given, so nobody can compare it with a prescription.")
        if prescribed
        else say("No pressure is given."),
        say("Write mmHg, standard and class as printed on the garment, if they are."),
        say("F2: standard, class and mmHg as printed on the garment, if they are."),
    )


def _contradicts(
    known: PressureStandard, named: NamedClass, low: Decimal, high: Decimal
) -> ChartRemark:
    others = [NamedClass(known, own) for own in known.classes if own is not named.own]
    meant = " / ".join(other.words for other in others if _holds(other, low, high))
    figures = {"figures": range_words(low, high), "named": named.words}
    return ChartRemark(
        "pressure.mmhg",
        ProblemLevel.ERROR,
        "pressure_not_of_class",
        say("{figures} is not what the class says: {named}.", **figures)
        + (say(" It would be {other}.", other=meant) if meant else ""),
        say("Look at the garment: correct mmhg, class or standard."),
        say("Look at the garment; then F2: standard, class or mmHg."),
    )


def _holds(named: NamedClass, low: Decimal, high: Decimal) -> bool:
    own = named.own
    fits_below = low > own.low_mmhg - _ROUNDED
    return fits_below and (own.high_mmhg is None or high < own.high_mmhg + _ROUNDED)
