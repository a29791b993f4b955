"""How far a fresh value of each of a chart's dimensions may lie from the one used. Pure.

Errors, steps of the tape and what a shoe size is good for are data: `profiles/certainty/`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.certainty.certainty import Spread
from fitcore.charts.sizing import adopted_for
from fitcore.points import Kind, Point
from fitcore.record.readings import Adopted
from fitcore.shoes import FOOT_UNCERTAINTY_MM, shoe_size
from fitcore.units import INCH_MM, Unit

if TYPE_CHECKING:
    from fitcore.certainty.certainty_model import CertaintyRules, MeasureError
    from fitcore.charts.chart import Chart, Dimension
    from fitcore.charts.sizing import Measured
    from fitcore.shoes import ShoeSystem

RepeatErrorOf = Callable[[Point, Kind], float | None]
"""Looks up the measurer's own repeat error at a point, in mm; None with too few pairs."""
UnitOf = Callable[[Adopted], Unit | None]
"""Looks up the unit of the tape a value was read from."""

_MEDIAN_OF_THREE = math.sqrt(1 - math.sqrt(3) / math.pi)
"""Error of the median of three normal readings against that of one: 0.670 (computed)."""

_HALVINGS = 3


def size_errors(
    chart: Chart,
    measured: Measured,
    rules: CertaintyRules,
    *,
    repeat_error: RepeatErrorOf | None = None,
    unit_of: UnitOf | None = None,
) -> dict[str, Spread]:
    """Return how a fresh value of each dimension would scatter round the one used.

    The error of a girth or length is the measurer's own repeat error at that point, or the usual
    one where it is not known, made smaller by averaging, and never below the floor: readings of one
    sitting share one mark on the skin, which a fresh measuring may set elsewhere.

    Args:
        chart: the chart.
        measured: looks up the value used at a point of this leg.
        rules: usual errors and floors.
        repeat_error: the measurer's own, in mm for one reading.
        unit_of: unit of the tape; cm where it is not known.

    Returns:
        Dimension id to its spread in the column's own scale; dimensions not measured are left out.

    Raises:
        ValueError: a repeat error that is below 0 or no number.
    """
    found: dict[str, Spread] = {}
    for dimension in chart.dimensions:
        adopted = adopted_for(dimension, measured)
        if adopted is None:
            continue
        if adopted.kind is Kind.SHOE:
            found[dimension.id] = _of_a_shoe(dimension, adopted, rules)
            continue
        own = repeat_error(adopted.point, adopted.kind) if repeat_error is not None else None
        if own is not None and not (math.isfinite(own) and own >= 0):
            raise ValueError(f"repeat error {own} mm at {adopted.point.value}")
        unit = unit_of(adopted) if unit_of is not None else None
        found[dimension.id] = _of_a_tape(dimension, adopted, rules, own, unit)
    return found


def error_of_middle(readings: int) -> float:
    """Return the error of a mean of two or a median of more against that of one reading.

    Raises:
        ValueError: no readings.
    """
    if readings < 1:
        raise ValueError(f"{readings} readings")
    if readings <= 2:
        return 1 / math.sqrt(readings)
    # For more than three the limit for large samples, which is never too small.
    return _MEDIAN_OF_THREE if readings == 3 else math.sqrt(math.pi / (2 * readings))


def _of_a_tape(
    dimension: Dimension,
    adopted: Adopted,
    rules: CertaintyRules,
    own: float | None,
    unit: Unit | None,
) -> Spread:
    holds = rules.error_of(adopted.point, adopted.kind)
    error = _error(holds, own, adopted.readings)
    again = error
    if adopted.readings < rules.most_readings:
        again = _error(holds, own, adopted.readings + 1)
    if dimension.system is not None:
        # The size is worked out from the foot length, on a grid of its own far finer than a size.
        scale = _sizes_per_mm(dimension.system)
        return Spread(error * scale, again=again * scale if again < error else None)
    step = rules.tape.inch * INCH_MM if unit == "in" else rules.tape.cm * 10
    if adopted.readings % 2 == 0:
        step /= 2  # a mean of two lies on half marks, too
    return Spread(error, _on_grid(adopted.mm, step), again if again < error else None)


def _of_a_shoe(dimension: Dimension, adopted: Adopted, rules: CertaintyRules) -> Spread:
    shoe = rules.shoe
    if dimension.system is None:
        return Spread(shoe.inferred.mm, good_to_mm=FOOT_UNCERTAINTY_MM)
    scale = _sizes_per_mm(dimension.system)
    if adopted.system != dimension.system or adopted.value is None:
        return Spread(shoe.inferred.mm * scale, good_to_mm=FOOT_UNCERTAINTY_MM)
    step = shoe.mondo_step if dimension.system == "mondo" else shoe.step
    return Spread(shoe.asked.mm * scale, _on_grid(adopted.value, step))


def _error(holds: MeasureError, own: float | None, readings: int) -> float:
    one = holds.usual.mm if own is None else own
    return max(one * error_of_middle(readings), holds.floor.mm)


def _on_grid(value: Decimal, step: Decimal) -> Decimal:
    """Return the step, halved until the value lies on it: it was read from a finer tape.

    Else a value without any error would not come out as it was read. 0 where no halving helps.
    """
    for _ in range(_HALVINGS + 1):
        if step and value % step == 0:
            return step
        step /= 2
    return Decimal(0)


def _sizes_per_mm(system: ShoeSystem) -> float:
    return float(shoe_size(Decimal(100), system) - shoe_size(Decimal(0), system)) / 100
