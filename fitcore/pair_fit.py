"""Both legs in one chart: how sure the two sizes are together, and whether a pair can be had."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.certainty.certainty_words import pair_certainty, pair_words
from fitcore.points import LEGS, side_words
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
    chart, both = left.chart, (left, right)
    sizes = [fit.answer.name for fit in both]
    same = sizes[0] == sizes[1] if all(sizes) else None
    together = None
    if left.certainty is not None and right.certainty is not None:
        together = pair_certainty(left.certainty, right.certainty)
    whys = [_why_no_pair(fit) for fit in both]
    if any(whys):
        # Where neither leg has a size to fit there is no pair to speak of: each leg says its own.
        told = [
            say("No pair yet: {side}: {why}", side=side_words(side), why=why)
            for side, why in zip(LEGS, whys, strict=True)
            if why and not all(whys)
        ]
        return PairFit(chart, together, same, " ".join(told))
    told, two = [], ""
    if same is False and chart.sold == "pair":
        two = say(
            "Sold in pairs: LEFT {left} and RIGHT {right} are two pairs, or another make.",
            left=sizes[0],
            right=sizes[1],
        )
        told.append(two)
    if together is not None and not any(fit.summary.foot_guessed for fit in both):
        told.append(pair_words(left.certainty or 0, right.certainty or 0, rules))
    return PairFit(chart, together, same, " ".join(told), two)


def _why_no_pair(fit: ChartFit) -> str:
    """Return why a leg has no size yet that one of the other could be a pair with."""
    if fit.kept_back:
        return fit.offered_why
    if fit.answer.size is None and fit.answer.alternatives:
        return say("choose between {sizes} first.", sizes=" / ".join(fit.answer.alternatives))
    if fit.answer.size is None:
        return next(iter(fit.answer.reasons), fit.offered_why)
    return fit.summary.text if fit.summary.code == "measure_again" else ""
