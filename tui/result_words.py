"""A session's answers in the words of the result screen: no screen is known here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import Margin, SizeAnswer, dimension_words
from fitcore.flags import Flag, Level, bears_on, told_once, urgency
from fitcore.moment.morning import morning_words
from fitcore.points import side_words
from fitcore.suitability import unsuitable_words
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.charts.chart import Chart
    from fitcore.fit import SessionFit
    from fitcore.leg_fit import ChartFit, LegFit
    from fitcore.points import Side
    from tui.measured_when import MeasuredWhen


def cell_words(fit: ChartFit) -> str:
    """Return a chart's answer in a few words, and how sure it is or that it may not be fitted."""
    words = verdict_words(fit.answer)
    if fit.answer.size is None and not fit.answer.alternatives:
        return words
    if fit.shape:
        return say("{size}, shape?", size=words)
    if fit.untrusted:
        return say("{size}, measure again", size=words)
    return (
        f"{words}{sureness_words(fit)}"
        if fit.offer.offered
        else say("{size}, not to fit", size=words)
    )


def sureness_words(fit: ChartFit) -> str:
    """Return how sure a size is in a word behind it."""
    if fit.summary.only_now:
        return say(", clear now")
    return {
        "clear": say(", clear"),
        "edge": say(", on the edge"),
        "measure_again": say(", measure again"),
        "morning": say(", morning?"),
        "made_to_measure": "",
        "none": "",
    }[fit.summary.code]


_BLOCK, _TODAY, _NOT_TAKEN, _REMARK, _DOUBT, _NOTE = range(6)
"""The order of notes, the worst first."""


def note_lines(
    fit: SessionFit, side: Side | None = None, when: MeasuredWhen | None = None
) -> list[str]:
    """Return the notes on a session, the worst first; remarks and what was not taken among them.

    Args:
        fit: the session, judged.
        side: the leg shown: of two notes alike in rank its own stands first.
        when: when it was measured, where notes on clocks are known.
    """
    found: list[tuple[int, bool, str]] = []
    if when is not None and when.note:
        found.append((_DOUBT if when.in_doubt else _NOTE, False, when.note))
    for leg in fit.legs:
        other = side not in (None, leg.side)
        found += [
            (_NOT_TAKEN, other, f"! {side_words(leg.side)}: {missing}") for missing in leg.not_taken
        ]
    remarks = fit.session.heads.heads_of("remarks")
    found += [
        (_REMARK, False, say("! remark: {text}", text=entry.text("text"))) for entry in remarks
    ]
    found += [
        (_rank(flag), side is not None and not bears_on(flag, side), _flag_words(flag))
        for flag in told_once(fit.flags)
    ]
    found += [(_NOTE, side not in (None, leg_side), words) for leg_side, words in _hour_notes(fit)]
    return [words for _, _, words in sorted(found, key=lambda note: note[:2])]


def _rank(flag: Flag) -> int:
    if flag.level is Level.BLOCK:
        return _BLOCK
    if flag.level is Level.NOTE:
        return _NOTE
    return _TODAY if urgency(flag) == 0 else _DOUBT


def _flag_words(flag: Flag) -> str:
    sign = {Level.BLOCK: "!!", Level.WARN: "!", Level.NOTE: "-"}[flag.level]
    if flag.side and not flag.text.startswith(side_words(flag.side)):
        return f"{sign} {side_words(flag.side)}: {flag.text}"
    return f"{sign} {flag.text}"


def _hour_notes(fit: SessionFit) -> list[tuple[Side, str]]:
    """Say how long after rising each leg was read where no doubt says it."""
    lines = []
    late = {flag.side for flag in fit.flags if flag.code == "late_in_day"}
    for leg in fit.legs:
        if leg.times is None or leg.side in late:  # the doubt says how long already
            continue
        side, hours = side_words(leg.side), leg.times.hours_up
        words = (
            say("- {side}: time of rising not known; a leg swells during the day", side=side)
            if hours is None
            else say("- {side}: {hours:.1f} h after rising", side=side, hours=hours)
        )
        lines.append((leg.side, words))
    return lines


def morning_line(fit: ChartFit) -> str:
    """Return what may be otherwise by the morning, behind its sign; empty where nothing is."""
    words = morning_words(fit.morning)
    if not words or words in fit.summary.text or fit.morning is None:
        return ""
    return f"! {words}" if fit.morning.early is None else f"- {words}"


def verdict_words(answer: SizeAnswer) -> str:
    """Return a verdict in a few words."""
    size = answer.name
    words = {
        Verdict.FITS: say("{size}", size=size),
        Verdict.OVERLAP: say(
            "{size} (or {others})", size=size, others="/".join(answer.alternatives)
        )
        if size
        else say("{others}: choose", others=" / ".join(answer.alternatives)),
        Verdict.BETWEEN: say("between two sizes"),
        Verdict.OFF_CHART: say("outside all sizes"),
        Verdict.PROPORTIONS: say("sizes disagree"),
        Verdict.NOT_SUITABLE: unsuitable_words(answer.unsuitable),
        Verdict.NOT_MEASURED: say("not measured"),
    }
    return words[answer.verdict]


def offer_words(leg: LegFit, fit: ChartFit) -> str:
    """Say whether a size may be offered, and why or why not where the heading does not say it."""
    if fit.offered and fit.offered_why == leg.why:
        return say("May be offered.")
    if fit.offered:
        return say("May be offered. {why}", why=fit.offered_why)
    if fit.offered_why in (leg.why, fit.summary.text):
        return say("! For information only.")
    return say("! For information only. {why}", why=fit.offered_why)


def margin_words(chart: Chart, margin: Margin) -> str:
    """Say how far one value is from the edges of a size."""
    shoe = any(d.id == margin.dimension and d.system is not None for d in chart.dimensions)
    # Lengths are shown exactly as read; what a shoe size stands for is rounded to a millimetre.
    value = round(margin.value_mm, 0) if shoe else margin.value_mm
    name = dimension_words(margin.dimension)
    distance = show_cm(abs(round(margin.margin_mm, 1)))
    told = say(
        "{name}: {value} cm, size {low} to {high} cm",
        name=say("{name}, as foot length", name=name) if shoe else name,
        value=show_cm(value),
        low=show_cm(round(margin.low_mm, 1)),
        high=show_cm(round(margin.high_mm, 1)),
    )
    return f"{told}, {_how_far(margin, distance)}"


def _how_far(margin: Margin, distance: str) -> str:
    if margin.edge_of is not None:
        # Not inside, however near: a midpoint goes to the neighbour.
        return {
            "larger": say("on an edge that is the larger size's"),
            "smaller": say("on an edge that is the smaller size's"),
        }[margin.edge_of]
    if margin.margin_mm >= 0:
        return say("{cm} cm inside", cm=distance)
    return say("{cm} cm outside", cm=distance)
