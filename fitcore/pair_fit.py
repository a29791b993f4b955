"""Both legs in one chart: how sure the two sizes are together, and whether a pair can be had."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.certainty.certainty_words import pair_certainty, pair_words
from fitcore.points import LEGS
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.certainty.certainty_model import CertaintyRules
    from fitcore.charts.chart import Chart
    from fitcore.leg_fit import ChartFit, LegFit


@dataclass(frozen=True, slots=True)
class PairFit:
    """What one chart says of both legs together."""

    chart: Chart
    certainty: float | None
    """Probability that both come out the same, if their errors are independent."""
    same_size: bool | None
    """Whether both legs have the same size; None where one of them has none."""
    text: str
    """In words; empty where there is nothing to say of the two together."""
    sizes: str = ""
    """What of the words is about two different sizes: it bears on the order, so it stands first."""

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints."""
        return {
            "chart": self.chart.id,
            "certainty": None if self.certainty is None else round(self.certainty, 4),
            "same_size": self.same_size,
            "text": self.text,
        }


def fit_pairs(legs: Sequence[LegFit], rules: CertaintyRules) -> tuple[PairFit, ...]:
    """Judge both legs together in each chart; nothing where only one leg was measured."""
    if tuple(leg.side for leg in legs) != LEGS:
        return ()
    return tuple(
        _fit_pair(left, right, rules)
        for left, right in zip(legs[0].charts, legs[1].charts, strict=True)
    )


def _fit_pair(left: ChartFit, right: ChartFit, rules: CertaintyRules) -> PairFit:
    chart, told = left.chart, []
    together = None
    if left.certainty is not None and right.certainty is not None:
        together = pair_certainty(left.certainty, right.certainty)
        if not (left.summary.foot_guessed or right.summary.foot_guessed):
            told.append(pair_words(left.certainty, right.certainty, rules))
    sizes = [(fit.answer.size, fit.answer.variant) for fit in (left, right)]
    same = sizes[0] == sizes[1] if all(size for size, _ in sizes) else None
    two = ""
    if same is False and chart.sold == "pair":
        two = say(
            "Sold in pairs: LEFT {left} and RIGHT {right} are two pairs, or another make.",
            left=_name(*sizes[0]),
            right=_name(*sizes[1]),
        )
        told.insert(0, two)
    return PairFit(chart, together, same, " ".join(told), two)


def _name(size: str | None, variant: str | None) -> str:
    return f"{size} {variant or ''}".strip()
