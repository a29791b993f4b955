"""A session's answers in the words of the result screen: no screen is known here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import Margin, SizeAnswer, dimension_words
from fitcore.flags import Level, told_once
from fitcore.points import side_words
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.charts.chart import Chart
    from fitcore.fit import SessionFit
    from fitcore.leg_fit import ChartFit, LegFit


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
    return {
        "clear": say(", clear"),
        "edge": say(", on the edge"),
        "measure_again": say(", measure again"),
        "morning": say(", morning?"),
        "made_to_measure": "",
        "none": "",
    }[fit.summary.code]


def note_lines(fit: SessionFit) -> list[str]:
    """Return the notes on a session: what was not taken and why first, remarks, then flags."""
    signs = {Level.BLOCK: "!!", Level.WARN: "!", Level.NOTE: "-"}
    lines = [
        f"! {side_words(leg.side)}: {missing}" for leg in fit.legs for missing in leg.not_taken
    ]
    remarks = fit.session.heads.heads_of("remarks")
    lines += [say("! remark: {text}", text=entry.text("text")) for entry in remarks]
    lines += [
        f"{signs[flag.level]} {side_words(flag.side)}: {flag.text}"
        if flag.side and not flag.text.startswith(side_words(flag.side))
        else f"{signs[flag.level]} {flag.text}"
        for flag in told_once(fit.flags)
    ]
    late = {flag.side for flag in fit.flags if flag.code == "late_in_day"}
    for leg in fit.legs:
        if leg.times is None or leg.side in late:  # the doubt says how long already
            continue
        side, hours = side_words(leg.side), leg.times.hours_up
        lines.append(
            say("- {side}: time of rising not known; a leg swells during the day", side=side)
            if hours is None
            else say("- {side}: {hours:.1f} h after rising", side=side, hours=hours)
        )
    return lines


def verdict_words(answer: SizeAnswer) -> str:
    """Return a verdict in a few words."""
    size = f"{answer.size or ''} {answer.variant or ''}".strip()
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
        Verdict.NOT_SUITABLE: say("not suitable"),
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
    how = (
        say("{cm} cm inside", cm=distance)
        if margin.margin_mm >= 0
        else say("{cm} cm outside", cm=distance)
    )
    return f"{told}, {how}"
