"""What is wrong, doubtful or worth knowing in a size chart, each with its place and mend. Pure.

What the chart's own model refuses never comes here: the reader of charts tells it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.lint.chart_remark import ChartRemark, remark_order
from fitcore.lint.lint_facts import lint_facts
from fitcore.lint.lint_limits import lint_limits
from fitcore.lint.lint_pressure import lint_pressure
from fitcore.lint.lint_rows import lint_rows
from fitcore.problems import ProblemLevel

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from fitcore.charts.chart import Chart
    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.profile_models import Ranges


def lint_chart(
    chart: Chart,
    ranges: Ranges,
    *,
    on: date | None,
    standards: Sequence[PressureStandard] = (),
) -> tuple[ChartRemark, ...]:
    """Judge a chart as it was typed in.

    Args:
        chart: the chart.
        ranges: what legs can be; a measure they do not know is not judged.
        on: the day the chart would be used; None judges no date.
        standards: the pressure standards known here; none judges no class.

    Returns:
        Remarks, errors first, then by their place in the file. An error is surely a slip; a
        warning wants a look at the leaflet; a note is worth knowing.

    Source: the limits are those of `ranges`, each with its source there; which remark is an error
    is our judgement.
    """
    limits = lint_limits(chart, ranges)
    # A range that is surely wrong is also too wide, or out of order: told once is enough.
    wrong = {remark.key for remark in limits if remark.level is ProblemLevel.ERROR}
    rows = [remark for remark in lint_rows(chart) if remark.key not in wrong]
    facts = (*lint_facts(chart, on), *lint_pressure(chart, standards))
    return tuple(sorted({*facts, *limits, *rows}, key=remark_order))
