"""The illustrated pressure up one leg of a session, under one garment. Pure.

Never this leg's pressure, and nothing chooses a size from it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.points import Kind, Point
from fitcore.pressures.pressure import class_words, find_class, find_standard
from fitcore.pressures.pressure_profile import PressureProfile, nominal_mmhg, pressure_profile

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.charts.chart import Chart
    from fitcore.leg_fit import LegFit
    from fitcore.pressures.pressure_model import IllustrationRules, PressureStandard

_COVERED = {
    "mid_calf": (Point.B, Point.B1, Point.C),
    "below_knee": (Point.B, Point.B1, Point.C, Point.D),
    "half_thigh": (Point.B, Point.B1, Point.C, Point.D, Point.E, Point.F),
}
"""Levels a garment covers; one that is not named here goes up to the top of the thigh."""
_WHOLE_LEG = (*_COVERED["half_thigh"], Point.G)


def leg_profile(
    leg: LegFit,
    chart: Chart,
    rules: IllustrationRules,
    standards: Sequence[PressureStandard],
) -> PressureProfile | None:
    """Illustrate the pressure a garment may press with up a leg.

    Args:
        leg: the leg with its values used.
        chart: the garment.
        rules: what is ordinary up a leg and what is not.
        standards: for what the garment's class leaves of the pressure higher up.

    Returns:
        The profile; None where the garment prints no pressure.
    """
    printed = chart.pressure
    if printed is None:
        return None
    covered = _COVERED.get(chart.form, _WHOLE_LEG)
    girths = {
        value.point: value.mm
        for value in leg.adopted
        if value.kind is Kind.GIRTH and value.point in covered
    }
    standard = find_standard(standards, printed.standard)
    named = find_class(standard, printed.grade) if standard is not None else None
    return pressure_profile(nominal_mmhg(printed), girths, named, rules)


def garment_words(chart: Chart) -> str:
    """Return a garment with the pressure it prints, a class only with standard and mmHg."""
    printed = chart.pressure
    if printed is None:
        return chart.title
    low, high = printed.mmhg
    return f"{chart.title}, {class_words(printed.standard, printed.grade, low, high)}"
