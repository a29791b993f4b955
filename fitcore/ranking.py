"""Which charts to choose from, best first, and why the others fell away. Pure.

Suitability first, then how sure the size is, then how far it lies inside. No chart is better for
another maker's sake, and no size is ever carried from one chart to another: makers' sizes differ.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.charts.outcome import Verdict
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection

    from fitcore.charts.chart import Chart
    from fitcore.fit import SessionFit
    from fitcore.leg_fit import ChartFit
    from fitcore.pair_fit import PairFit

_STANDING = (
    Verdict.FITS,
    Verdict.OVERLAP,
    Verdict.BETWEEN,
    Verdict.PROPORTIONS,
    Verdict.OFF_CHART,
    Verdict.NOT_MEASURED,
    Verdict.NOT_SUITABLE,
)
"""From a size to choose down to a garment that is not for this leg."""


@dataclass(frozen=True, slots=True)
class RankedChart:
    """One chart with its answer for each leg, left first."""

    legs: tuple[ChartFit, ...]
    pair: PairFit | None
    favourite: bool
    fell_away: str
    """Why it is not among those to choose from; empty where it is."""
    title: str
    """Maker and line; two of one name are told apart, such as an own copy saved unchanged."""

    @property
    def chart(self) -> Chart:
        """The chart."""
        return self.legs[0].chart

    def as_json(self) -> dict[str, str | None]:
        """Return it in the shape `fit --json` prints."""
        return {"chart": self.chart.id, "fell_away": self.fell_away or None}


def rank_charts(fit: SessionFit) -> tuple[RankedChart, ...]:
    """Put the charts of a session in the order to look at them.

    In turn: a size for every leg; a garment that suits; one that may be offered; a favourite of the
    service; a foot covered for travel; one size that holds rather than several; clear of the edge;
    certainty in steps of a tenth; no caution about posture or foot; the least distance to an edge;
    the name.

    Args:
        fit: the session, judged.

    Returns:
        One for each chart; empty where no leg was measured.
    """
    favourites = fit.clearance.rules.favourites
    pairs = {pair.chart.id: pair for pair in fit.pairs}
    count = Counter(chart_fit.chart.title for leg in fit.legs[:1] for chart_fit in leg.charts)
    own = fit.clearance.rules.own_charts
    rows = [
        RankedChart(
            legs,
            pairs.get(legs[0].chart.id),
            legs[0].chart.id in favourites,
            _why(legs),
            _title(legs[0].chart, count, own),
        )
        for legs in zip(*(leg.charts for leg in fit.legs), strict=True)
    ]
    travel = "travel" in fit.session.answer("purpose").values
    return tuple(sorted(rows, key=lambda row: _key(row, travel=travel)))


def _key(row: RankedChart, *, travel: bool) -> tuple[object, ...]:
    legs = row.legs
    sure = min((leg.certainty or 0.0 for leg in legs), default=0.0)
    return (
        max(_STANDING.index(leg.answer.verdict) > 1 for leg in legs),
        sum(leg.answer.verdict is Verdict.NOT_SUITABLE for leg in legs),
        sum(not leg.offered for leg in legs),
        not row.favourite,
        travel and row.chart.form == "footless_sleeve",
        sum(_STANDING.index(leg.answer.verdict) for leg in legs),
        sum(leg.summary.code != "clear" for leg in legs),
        -round(sure, 1),
        any(leg.answer.cautions for leg in legs),
        -_least_margin(legs),
        row.chart.title,
        row.chart.id,
    )


def _title(chart: Chart, count: Counter[str], own: Collection[str]) -> str:
    """Return a chart's name, and more where another one has the same."""
    if count[chart.title] < 2:
        return chart.title
    if chart.id in own:
        return say("own copy: {chart} ({id})", chart=chart.title, id=chart.id)
    return say("shipped: {chart}", chart=chart.title)


def _least_margin(legs: Collection[ChartFit]) -> Decimal:
    margins = [margin.margin_mm for leg in legs for margin in leg.answer.margins]
    return min(margins, default=Decimal(0))


def _why(legs: tuple[ChartFit, ...]) -> str:
    """Return why there is no size here for a leg, or none may be offered; else empty."""
    for leg in legs:
        answer = leg.answer
        if answer.size is None and not answer.alternatives:
            return answer.reasons[0] if answer.reasons else say("No size of it holds.")
    return legs[0].offered_why if all(leg.kept_back for leg in legs) else ""
