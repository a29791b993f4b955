"""Whether a garment is one to choose from at all, before any girth is looked at. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from fitcore.charts.outcome import MOST_CHARTS
from fitcore.lint.chart_lint import lint_chart
from fitcore.points import Kind, Point, Side, place_words
from fitcore.problems import ProblemLevel
from fitcore.record.fields import choice_words
from fitcore.safety.shape import recorded_shapes, why_not_toe
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from fitcore.charts.chart import Chart
    from fitcore.lint.chart_remark import ChartRemark
    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.profile_models import Ranges
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session
    from fitcore.rules import Rules
    from fitcore.safety.clearance import SessionClearance


UnsuitableCode = Literal[
    "chart_error", "form", "purpose", "expired", "not_yet_valid", "toe", "prescription"
]


@dataclass(frozen=True, slots=True)
class Unsuitable:
    """What rules a garment out for a leg."""

    code: UnsuitableCode
    text: str


def chart_errors(rules: Rules, chart: Chart) -> tuple[ChartRemark, ...]:
    """Return what is surely wrong in a chart; judged once for each chart and set of rules.

    A size read off a table with a slip in it may look surer than any other: a range typed too
    narrow takes the overlap away. So nothing such a chart says is used before it is mended.

    Args:
        rules: hold what legs can be, and the standards of pressure.
        chart: the chart.

    Returns:
        Errors of the lint in their order; no warning, no note, no date.
    """
    return _errors_of(_Judged(chart, rules.ranges, rules.standards))


def wrong_charts(rules: Rules, charts: Iterable[Chart]) -> frozenset[str]:
    """Return the ids of the charts with something surely wrong in them."""
    return frozenset(chart.id for chart in charts if chart_errors(rules, chart))


def why_chart_wrong(rules: Rules, chart: Chart) -> str:
    """Say what is surely wrong in a chart and how it is mended; empty where nothing is."""
    found = chart_errors(rules, chart)
    if not found:
        return ""
    return say(
        "The chart {chart} has an error, so no size of it is offered: {text} {mend} F8 at the "
        "start opens it; chart lint shows the line.",
        chart=chart.title,
        text=found[0].text,
        mend=found[0].mend,
    )


@lru_cache(maxsize=MOST_CHARTS)
def _errors_of(what: _Judged) -> tuple[ChartRemark, ...]:
    remarks = lint_chart(what.chart, what.ranges, on=None, standards=what.standards)
    return tuple(remark for remark in remarks if remark.level is ProblemLevel.ERROR)


class _Judged:
    """A chart and what it is judged by as one key: the objects themselves hold dictionaries."""

    __slots__ = ("chart", "ranges", "standards")

    def __init__(
        self, chart: Chart, ranges: Ranges, standards: tuple[PressureStandard, ...]
    ) -> None:
        self.chart, self.ranges, self.standards = chart, ranges, standards

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, _Judged):
            return NotImplemented
        by_the_same = other.ranges is self.ranges and other.standards is self.standards
        return other.chart is self.chart and by_the_same

    def __hash__(self) -> int:
        return hash((id(self.chart), id(self.ranges), id(self.standards)))


def why_not_suitable(cleared: SessionClearance, side: Side, chart: Chart) -> str:
    """Return the first thing that rules a garment out for a leg; empty where nothing does."""
    found = what_rules_out(cleared, side, chart)
    return "" if found is None else found.text


def what_rules_out(cleared: SessionClearance, side: Side, chart: Chart) -> Unsuitable | None:
    """Return the first thing that rules a garment out for a leg; None where nothing does.

    An error in the chart comes first: what it says of form or pressure may be the slip.

    Args:
        cleared: the session with what was prescribed.
        side: the leg.
        chart: the garment's.
    """
    session = cleared.session
    forms, purpose = session.value("forms"), session.text("purpose")
    wrong = why_chart_wrong(cleared.rules, chart)
    if wrong:
        return Unsuitable("chart_error", wrong)
    if isinstance(forms, list) and chart.form not in forms:
        text = say(
            "It is a {form}; asked for: {asked}.",
            form=choice_words(chart.form),
            asked=", ".join(choice_words(str(form)) for form in forms),
        )
        return Unsuitable("form", text)
    if purpose and purpose != "other" and purpose not in chart.purposes:
        return Unsuitable("purpose", say("Not made for {purpose}.", purpose=choice_words(purpose)))
    at = session.measured_at
    expired = why_not_valid(chart, at.date()) if at is not None else ""
    if expired and at is not None:
        ended = chart.valid_until is not None and at.date() > chart.valid_until
        return Unsuitable("expired" if ended else "not_yet_valid", expired)
    toe = why_not_toe(recorded_shapes(session, side), chart.toe)
    if toe:
        return Unsuitable("toe", toe)
    prescribed = cleared.prescription
    told = "" if prescribed is None else prescribed.why_not(chart, cleared.rules.standards)
    return Unsuitable("prescription", told) if told else None


def unsuitable_words(code: str) -> str:
    """Return in a few words what rules a garment out."""
    words = {
        "chart_error": say("chart error"),
        "form": say("other form"),
        "purpose": say("other purpose"),
        "expired": say("expired"),
        "not_yet_valid": say("not yet valid"),
        "toe": say("other toe"),
        "prescription": say("not as prescribed"),
    }
    return words.get(code, say("not suitable"))


def why_not_valid(chart: Chart, day: date) -> str:
    """Return why a chart does not hold on a day; empty where it does."""
    if chart.valid_until is not None and day > chart.valid_until:
        return say(
            "The chart ran out on {date}. Ask the maker for the present one.",
            date=chart.valid_until.isoformat(),
        )
    if chart.valid_from is not None and day < chart.valid_from:
        return say("The chart is valid only from {date}.", date=chart.valid_from.isoformat())
    return ""


def garment_cautions(
    session: Session, readings: Readings, side: Side, chart: Chart
) -> tuple[str, ...]:
    """Return what is to be known before this garment is taken for a leg.

    Args:
        session: the session.
        readings: its readings.
        side: the leg.
        chart: the garment's.
    """
    cautions = [
        *_posture_cautions(session, readings, side, chart),
        *_foot_cautions(session, readings, side, chart),
    ]
    cautions += [
        say(
            "{what}: different values stand side by side; choose one first.",
            what=place_words(place[1], place[2]),
        )
        for place in readings.places()
        if place[0] in (side, Side.BOTH) and readings.disputed(place)
    ]
    return tuple(cautions)


def _foot_cautions(
    session: Session, readings: Readings, side: Side, chart: Chart
) -> tuple[str, ...]:
    """Tell what a toe or a missing foot asks for.

    Source: foot length where the toe is closed: archived NHS CKS page on fitting stockings, read.
    Footless sleeves: no guideline speaks for or against; all trials were of garments that cover
    the foot (Cochrane review as told by AAFP, read): not evidenced, not forbidden.
    """
    told = []
    foot = (
        readings.adopted(side, Point.FOOT, Kind.LENGTH),
        readings.adopted(side, Point.FOOT, Kind.SHOE),
        readings.adopted(Side.BOTH, Point.FOOT, Kind.SHOE),
    )
    if chart.toe == "closed" and not any(foot):
        told.append(
            say("The toe is closed and the foot was not measured: take the foot length, too.")
        )
    if chart.form == "footless_sleeve" and "travel" in session.answer("purpose").values:
        told.append(say("It leaves the foot out: for travel all that was studied covers the foot."))
    return tuple(told)


def _posture_cautions(
    session: Session, readings: Readings, side: Side, chart: Chart
) -> tuple[str, ...]:
    """Tell where a leg was measured in another posture than the chart was meant for.

    Source: calf sitting against standing +0.39 cm (193 inpatients, ESPEN abstract P521, read) and
    +0.46 cm (1,439 aged, doi 10.1111/ggi.13983, read).
    """
    told: dict[str, None] = {}
    for dimension in chart.dimensions:
        if dimension.kind is Kind.SHOE:
            continue
        meant = dimension.posture or chart.posture
        taken = readings.taken((side, dimension.point, dimension.kind))
        for posture in sorted({reading.posture or session.text("posture") for reading in taken}):
            if posture != meant:
                told[_posture_words(posture, meant)] = None
    return tuple(told)


def _posture_words(posture: str, meant: str) -> str:
    if not posture:
        return say(
            "Posture not recorded; this chart is meant for {meant} legs.",
            meant=choice_words(meant),
        )
    return say(
        "Measured {posture}; this chart is meant for {meant} legs, and a calf differs by about "
        "1 % between the two.",
        posture=choice_words(posture),
        meant=choice_words(meant),
    )
