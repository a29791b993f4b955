"""What is said of how sure a size is: words first, a percentage second, and never all of it. Pure.

One summary for each leg and chart: what a nurse should know or do before she leaves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import dimension_words
from fitcore.points import Kind
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from decimal import Decimal

    from fitcore.certainty.certainty import Change, Spread
    from fitcore.certainty.certainty_model import CertaintyRules
    from fitcore.charts.chart import Chart
    from fitcore.charts.sizing import SizeAnswer

SummaryCode = Literal["clear", "edge", "measure_again", "morning", "made_to_measure", "none"]

_WITHOUT_SIZE = (Verdict.OFF_CHART, Verdict.PROPORTIONS, Verdict.BETWEEN)


@dataclass(frozen=True, slots=True)
class Summary:
    """What one chart comes to for one leg, in a word and a sentence."""

    code: SummaryCode
    text: str
    dimension: str | None = None
    """The value nearest to changing the outcome; None where none is told."""
    mm: Decimal | None = None
    """What would have to be added to it, in mm; negative for a smaller one."""
    foot_guessed: bool = False
    """Whether it hangs on a foot taken from a shoe size, which asking again makes no surer."""
    only_now: bool = False
    """Whether it is clear as measured, and nothing can be said of the leg by morning."""


def summarise(
    chart: Chart,
    answer: SizeAnswer,
    rules: CertaintyRules,
    *,
    share: float | None,
    change: Change | None,
    spreads: Mapping[str, Spread],
    prescribed: bool,
    differing: Sequence[str] = (),
    impossible: Sequence[str] = (),
    morning: str = "",
    withheld: str = "",
) -> Summary:
    """Sum up one chart's answer for one leg: the first that holds of these.

    No size to judge; readings that cannot be right or differ; too uncertain where another reading
    would help; another size by morning; a foot that a shoe size tells less closely than the edge is
    near; on the edge; no size in this chart; clear of the edge.

    Args:
        chart: the chart.
        answer: what it says of the leg.
        rules: limits and words.
        share: the certainty, 0 to 1; None where nothing could be judged.
        change: the nearest value at which the outcome would be another.
        spreads: how each dimension scatters.
        prescribed: whether the garment is prescribed.
        differing: dimensions whose readings do not agree.
        impossible: dimensions with a reading that cannot be right.
        morning: the sentence on another size by morning; empty where the size holds or nothing is
            known.
        withheld: why nothing can be said of the morning; empty where something can.
    """
    if share is None or answer.verdict in (Verdict.NOT_SUITABLE, Verdict.NOT_MEASURED):
        return Summary("none", answer.reasons[0] if answer.reasons else say("Not judged."))
    near = _nearness(chart, answer, change)
    sure = percent_words(share, rules)
    again = _doubtful_words(differing, impossible)
    uncertain = share < rules.words.measure_again_below.share
    if not again and uncertain and _repeat_helps(change, spreads):
        again = say("Measure again: {near}; {sure}.", near=near, sure=sure)
    if again:
        return _about(change, "measure_again", f"{again} {morning}".rstrip())
    if morning:
        return Summary("morning", morning)
    guessed = _foot_guessed(answer, change, spreads)
    if guessed is not None:
        return guessed
    if share < rules.words.clear_from.share:
        return _about(change, "edge", say("On the edge: {near}; {sure}.", near=near, sure=sure))
    if answer.verdict in _WITHOUT_SIZE:
        return _without_size(chart, prescribed=prescribed)
    clear = say("Clear of the edge: {near}; {sure}.", near=near, sure=sure)
    told = _about(change, "clear", f"{clear} {withheld}".rstrip())
    return replace(told, only_now=bool(withheld))


def _doubtful_words(differing: Sequence[str], impossible: Sequence[str]) -> str:
    """Say which measures to take again, and why; empty where none."""
    told = []
    if impossible:
        names = ", ".join(map(dimension_words, impossible))
        told.append(say("Measure again: {names}. What was read cannot be right.", names=names))
    if differing:
        names = ", ".join(map(dimension_words, differing))
        told.append(say("Measure again: {names}. The readings differ.", names=names))
    return " ".join(told)


def certainty_words(share: float, rules: CertaintyRules) -> str:
    """Say in words how sure a size is, the percentage in brackets behind."""
    clear = share >= rules.words.clear_from.share
    return say(
        "{words} ({sure})",
        words=say("clear of the edge") if clear else say("on the edge"),
        sure=percent_words(share, rules),
    )


def percent_words(share: float, rules: CertaintyRules) -> str:
    """Write a certainty as a percentage: rounded down, and never as all or nothing."""
    # A hair is added, or 0.57 would be cut to 56 %.
    percent = math.floor(share * 100 + 1e-9)
    most = rules.words.most_percent
    if percent >= most:
        return say("over {percent} % the same if measured again", percent=most)
    if percent < 1:
        return say("under 1 % the same if measured again")
    return say("about {percent} % the same if measured again", percent=percent)


def pair_certainty(left: float, right: float) -> float:
    """Return the probability that both legs come out the same, if their errors are independent."""
    return left * right


def pair_words(left: float, right: float, rules: CertaintyRules) -> str:
    """Say how sure both legs' sizes are together, and that one slip made at both is not counted."""
    together = certainty_words(pair_certainty(left, right), rules)
    return say("Both legs: {together}, unless one slip was made at both.", together=together)


def firmer_size(
    chart: Chart,
    answer: SizeAnswer,
    values: Mapping[str, Decimal],
    rules: CertaintyRules,
    *,
    purpose: str,
    cleared: bool,
    abpi_known: bool,
) -> str | None:
    """Return the smaller size somebody who likes a firmer hold may have; None where there is none.

    Only a size that holds too and ends lower somewhere round the leg and higher nowhere, only for
    purposes that are no treatment, only where the leg is cleared and its pressure index known, and
    only where every girth lies well inside.

    Args:
        chart: sizes listed small to large.
        answer: what the chart says; its alternatives hold too.
        values: the values used, by dimension id, in the column's own scale.
        rules: purposes and least distance.
        purpose: what the garment is for.
        cleared: whether the leg is cleared without a question open.
        abpi_known: whether its pressure index was taken.
    """
    limits = rules.preference
    if not (cleared and abpi_known) or purpose not in limits.purposes or answer.size is None:
        return None
    names = [row.name for row in chart.sizes]
    chosen = chart.sizes[names.index(answer.name)]
    girths = [d.id for d in chart.dimensions if d.kind is Kind.GIRTH]
    for row in reversed(chart.sizes[: names.index(answer.name)]):
        tops = [(row.ranges[name][1], chosen.ranges[name][1]) for name in girths]
        # Smaller round the leg, not merely shorter: else it would hold no firmer.
        firmer = any(top < than for top, than in tops) and all(top <= than for top, than in tops)
        inside = (row.ranges[name][1] - values[name] for name in girths)
        well_inside = all(room >= limits.least_inside_cm * 10 for room in inside)
        if row.name in answer.alternatives and firmer and well_inside:
            return row.name
    return None


def _repeat_helps(change: Change | None, spreads: Mapping[str, Spread]) -> bool:
    """Whether another reading of the value nearest to an edge would make its error smaller."""
    spread = spreads.get(change.dimension) if change is not None else None
    return spread is not None and spread.again is not None


def _about(change: Change | None, code: SummaryCode, text: str) -> Summary:
    if change is None:
        return Summary(code, text)
    return Summary(code, text, change.dimension, change.mm)


def _foot_guessed(
    answer: SizeAnswer, change: Change | None, spreads: Mapping[str, Spread]
) -> Summary | None:
    """Tell a foot taken from a shoe size that may be off by more than it is from an edge."""
    near = [(change.dimension, change.mm)] if change is not None else []
    if answer.size is not None or answer.alternatives:
        near += [(margin.dimension, margin.margin_mm) for margin in answer.margins]
    for name, mm in near:
        good_to = spreads[name].good_to_mm
        if good_to is None or abs(mm) >= good_to:
            continue
        text = say(
            "On the edge: {name}, as foot length, {distance} from it, and a foot taken from a shoe "
            "size is good to about {good} cm. Measure the foot length.",
            name=dimension_words(name),
            distance=_distance_words(round(mm, 0)),
            good=show_cm(good_to),
        )
        return Summary("edge", text, name, mm, foot_guessed=True)
    return None


def _distance_words(mm: Decimal) -> str:
    """Write a distance in cm to the mm; what would read 0.0 is told as what it is."""
    if abs(mm) < 1:
        return say("less than 1 mm")
    return say("{cm} cm", cm=show_cm(round(abs(mm), 1)))


def _without_size(chart: Chart, *, prescribed: bool) -> Summary:
    if chart.made == "to_measure":
        return Summary("none", say("Outside what this garment can be made for."))
    if prescribed:
        return Summary(
            "made_to_measure",
            say("No size of this chart holds: made to measure, if the prescriber agrees."),
        )
    return Summary("none", say("No size of this chart holds."))


def _nearness(chart: Chart, answer: SizeAnswer, change: Change | None) -> str:
    """Say which value lies how far from another outcome: *ankle 2 mm from the next size (L)*."""
    if change is None:
        return say("no single value changes it")
    return say(
        "{name} {distance} from {what}",
        name=dimension_words(change.dimension),
        distance=_distance_words(change.mm),
        what=_what_comes(chart, answer, change),
    )


def _what_comes(chart: Chart, answer: SizeAnswer, change: Change) -> str:
    becomes = change.becomes
    if becomes.among:
        names = " / ".join(chart.sizes[row].name for row in becomes.among)
        return say("a choice of sizes ({sizes})", sizes=names)
    if becomes.size is None:
        return say("where no size fits")
    name = chart.sizes[becomes.size].name
    if name not in answer.alternatives:
        return say("the next size ({size})", size=name)
    if becomes.verdict is Verdict.OVERLAP:
        return say("where {size} is the one taken", size=name)
    return say("where only {size} holds", size=name)
