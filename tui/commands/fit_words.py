"""What `fit` prints for people. No size stands here without saying whether it may be offered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.charts.outcome import Verdict
from fitcore.flags import told_once
from fitcore.instants import long_date
from fitcore.points import Kind, place_words, side_words
from fitcore.safety.clearance import cautions
from fitcore.shoes import system_words
from fitcore.suitability import unsuitable_words
from fitcore.units import plain, show_cm
from fitcore.words import say
from tui.commands import flag_line
from tui.result_words import morning_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.charts.sizing import SizeAnswer
    from fitcore.fit import SessionFit
    from fitcore.leg_fit import ChartFit, LegFit
    from fitcore.record.readings import Adopted


def fit_lines(fits: Sequence[SessionFit]) -> list[str]:
    """Write all sessions, and the base text of cautions once."""
    if not fits:
        return [say("There are no sessions here.")]
    lines = [line for found in fits for line in [*_session_lines(found), ""]]
    return [*lines, cautions()]


def verdict_words(answer: SizeAnswer) -> str:
    """Return a verdict in words, with its size where there is one."""
    size = answer.name
    others = " / ".join(answer.alternatives)
    if answer.verdict is Verdict.FITS:
        return say("fits, size {size}", size=size)
    if answer.verdict is Verdict.OVERLAP and size:
        return say("several sizes hold: {size}, or {others}", size=size, others=others)
    return {
        Verdict.OVERLAP: say("several sizes hold, choose: {others}", others=others),
        Verdict.BETWEEN: say("between two sizes"),
        Verdict.OFF_CHART: say("outside all sizes"),
        Verdict.PROPORTIONS: say("the measures point to different sizes"),
        Verdict.NOT_SUITABLE: unsuitable_words(answer.unsuitable),
        Verdict.NOT_MEASURED: say("not measured"),
    }[answer.verdict]


def _session_lines(found: SessionFit) -> list[str]:
    at = found.session.measured_at
    lines = [
        say(
            "Client {client}, session {session}, {date}",
            client=found.client or say("not named"),
            session=found.session.id,
            date=long_date(at) if at else say("no date"),
        ),
        *(f"! {counted.words}." for counted in found.clearance.linked if counted.words),
        *map(flag_line, told_once(found.flags)),
    ]
    if not found.legs:
        lines.append(say("Nothing was measured."))
    for leg in found.legs:
        lines += _leg_lines(leg)
    pairs = [f"  {pair.chart.title}: {pair.text}" for pair in found.pairs if pair.text]
    lines += ["", say("BOTH LEGS"), *pairs] if pairs else []
    return [*lines, *found.clearance.purpose_notes()]


def _leg_lines(leg: LegFit) -> list[str]:
    lines = ["", side_words(leg.side)]
    if not leg.may_be_fitted:
        lines.append(f"  {say('Size for information. Not cleared to fit.')}")
    lines.append(f"  {leg.why}")
    lines += [f"  ! {missing}" for missing in leg.not_taken]
    lines += [f"  {_adopted_words(value)}" for value in leg.adopted]
    for fit in leg.charts:
        lines += _chart_lines(leg, fit)
    lines.append(f"  {say('By the morning:')}")
    return [*lines, *(f"    {told}" for told in leg.morning.words())]


def _chart_lines(leg: LegFit, fit: ChartFit) -> list[str]:
    chart, answer = fit.chart, fit.answer
    words = verdict_words(answer)
    if fit.kept_back and answer.verdict is not Verdict.NOT_SUITABLE:
        words = say("for information: {words}", words=words)
    lines = [f"  {chart.title} ({chart.id}): {words}"]
    if leg.may_be_fitted and fit.kept_back and not fit.errors:
        lines.append(f"    ! {fit.offered_why}")
    if chart.invented:
        lines.append(f"    {say('Invented chart: never order from it.')}")
    sign = "! " if fit.errors else ""
    lines += [f"    {sign}{reason}" for reason in answer.reasons]
    lines += [f"    ! {caution}" for caution in answer.cautions]
    if fit.certainty is not None:
        sign = "" if fit.summary.code == "clear" else "! "
        lines.append(f"    {sign}{fit.summary.text}")
    by_morning = morning_line(fit)
    lines += [f"    {by_morning}"] if by_morning else []
    if fit.firmer is not None:
        firmer = say("{size} holds, too, where a firmer hold is liked.", size=fit.firmer)
        lines.append(f"    {firmer}")
    return lines


def _adopted_words(value: Adopted) -> str:
    what = place_words(value.point, value.kind)
    if value.kind is Kind.SHOE and value.value is not None:
        size = f"{system_words(value.system or '')} {plain(value.value)}"
        return say("Used: {what} {value}", what=what, value=size)
    if value.spread_mm is None:
        return say("Used: {what} {cm} cm, read once", what=what, cm=show_cm(value.mm))
    return say(
        "Used: {what} {cm} cm, read {count} times, {spread} mm apart",
        what=what,
        cm=show_cm(value.mm),
        count=value.readings,
        spread=plain(value.spread_mm),
    )
