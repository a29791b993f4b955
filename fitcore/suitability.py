"""Whether a garment is one to choose from at all, before any girth is looked at. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from fitcore.charts.outcome import MOST_CHARTS
from fitcore.lint.chart_lint import lint_chart
from fitcore.points import Kind, Point, Side, place_words
from fitcore.problems import ProblemLevel
from fitcore.record.fields import choice_words
from fitcore.safety.shape import recorded_shapes, why_not_toe
from fitcore.shoes import FOOT_UNCERTAINTY_MM, system_words
from fitcore.units import plain, show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from fitcore.charts.chart import Chart
    from fitcore.lint.chart_remark import ChartRemark
    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.profile_models import Ranges
    from fitcore.record.readings import Adopted, Readings
    from fitcore.record.session import Session
    from fitcore.rules import Rules
    from fitcore.safety.clearance import SessionClearance


UnsuitableCode = Literal[
    "chart_error", "form", "purpose", "expired", "not_yet_valid", "undated", "toe", "prescription"
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


def what_rules_out(cleared: SessionClearance, side: Side, chart: Chart) -> Unsuitable | None:
    """Return the first thing that rules a garment out for a leg; None where nothing does.

    An error in the chart comes first: what it says of form or pressure may be the slip. Of answers
    that stand side by side each must suit.

    Args:
        cleared: the session with what was prescribed.
        side: the leg.
        chart: the garment's.
    """
    session = cleared.session
    wrong = why_chart_wrong(cleared.rules, chart)
    if wrong:
        return Unsuitable("chart_error", wrong)
    found = (
        _wrong_form(session, chart) or _wrong_purpose(session, chart) or _wrong_day(cleared, chart)
    )
    if found is not None:
        return found
    toe = why_not_toe(recorded_shapes(session, side), chart.toe)
    if toe:
        return Unsuitable("toe", toe)
    prescribed = cleared.prescription
    told = "" if prescribed is None else prescribed.why_not(chart, cleared.rules.standards)
    return Unsuitable("prescription", told) if told else None


def why_not_opened(session: Session, chart: Chart) -> str:
    """Say why a garment is not offered although nothing rules it out; empty where it may be.

    What is made for prescribed use alone waits until somebody says what it is for; till then its
    sizes are told for information, as of legs nobody has screened.
    """
    if session.answer("purpose").values or not _only_prescribed(chart):
        return ""
    return say("Made for prescribed use alone, and what it is for was not answered.")


def _only_prescribed(chart: Chart) -> bool:
    return set(chart.purposes) == {"prescribed"}


def _wrong_form(session: Session, chart: Chart) -> Unsuitable | None:
    for forms in session.answer("forms").values:
        if isinstance(forms, list) and chart.form not in forms:
            text = say(
                "It is a {form}; asked for: {asked}.",
                form=choice_words(chart.form),
                asked=", ".join(choice_words(str(form)) for form in forms),
            )
            return Unsuitable("form", text)
    return None


def _wrong_purpose(session: Session, chart: Chart) -> Unsuitable | None:
    for purpose in map(str, session.answer("purpose").values):
        if purpose == "other" and _only_prescribed(chart):
            return Unsuitable("purpose", say("Made for prescribed use alone."))
        if purpose not in ("", "other", *chart.purposes):
            text = say("Not made for {purpose}.", purpose=choice_words(purpose))
            return Unsuitable("purpose", text)
    return None


def _wrong_day(cleared: SessionClearance, chart: Chart) -> Unsuitable | None:
    """Return why a chart does not hold on the day of measuring or on that of fitting."""
    if chart.valid_from is None and chart.valid_until is None:
        return None
    at = cleared.session.measured_at
    if at is None:
        text = say("The chart holds for a time only, and when the leg was measured is not known.")
        return Unsuitable("undated", text)
    for day in (at.date(), cleared.on):
        why = why_not_valid(chart, day)
        if why:
            ended = chart.valid_until is not None and day > chart.valid_until
            return Unsuitable("expired" if ended else "not_yet_valid", why)
    return None


def unsuitable_words(code: str) -> str:
    """Return in a few words what rules a garment out."""
    words = {
        "chart_error": say("chart error"),
        "form": say("other form"),
        "purpose": say("other purpose"),
        "expired": say("expired"),
        "not_yet_valid": say("not yet valid"),
        "undated": say("day not known"),
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
    told: list[str] = []
    length = readings.adopted(side, Point.FOOT, Kind.LENGTH)
    shoe = readings.adopted(side, Point.FOOT, Kind.SHOE)
    by_foot = any(d.point is Point.FOOT and d.kind is not Kind.GIRTH for d in chart.dimensions)
    if by_foot and length is not None and shoe is not None:
        told += _unlike_words(shoe, length)
    if chart.toe == "closed" and length is None and shoe is None:
        told.append(
            say("The toe is closed and the foot was not measured: take the foot length, too.")
        )
    if chart.form == "footless_sleeve" and "travel" in session.answer("purpose").values:
        told.append(say("It leaves the foot out: for travel all that was studied covers the foot."))
    return tuple(told)


def _unlike_words(shoe: Adopted, length: Adopted) -> tuple[str, ...]:
    """Say that shoe and foot are unlike by more than a shoe size tells a foot; nothing where not.

    Whichever of them the chart asks for, the other may be the one that is right.
    """
    if abs(shoe.mm - length.mm) <= FOOT_UNCERTAINTY_MM:
        return ()
    words = say(
        "{system} {size} is a foot of about {cm} cm, and the foot was measured as {read} cm: find "
        "out which is right.",
        system=system_words(shoe.system or ""),
        size=plain(shoe.value or Decimal(0)),
        cm=show_cm(round(shoe.mm, 0)),
        read=show_cm(length.mm),
    )
    return (words,)


def _posture_cautions(
    session: Session, readings: Readings, side: Side, chart: Chart
) -> tuple[str, ...]:
    """Tell where a leg was measured in another posture than the chart was meant for.

    Source: calf sitting against standing +0.39 cm (193 inpatients, ESPEN abstract P521, read) and
    +0.46 cm (1,439 aged, doi 10.1111/ggi.13983, read).
    """
    differs: dict[tuple[str, str], bool] = {}
    for dimension in chart.dimensions:
        if dimension.kind is Kind.SHOE:
            continue
        meant = dimension.posture or chart.posture
        taken = readings.taken((side, dimension.point, dimension.kind))
        for posture in sorted({reading.posture or session.text("posture") for reading in taken}):
            if posture != meant:
                calf = (dimension.point, dimension.kind) == (Point.C, Kind.GIRTH)
                known = calf and {posture, meant} == {"sitting", "standing"}
                differs[posture, meant] = differs.get((posture, meant), False) or known
    return tuple(_posture_words(*pair, calf=calf) for pair, calf in differs.items())


def _posture_words(posture: str, meant: str, *, calf: bool) -> str:
    """Say in which posture it was measured; what is known of it is known of the calf alone."""
    if not posture:
        return say(
            "Posture not recorded; this chart is meant for {meant} legs.",
            meant=choice_words(meant),
        )
    if not calf:
        return say(
            "Measured {posture}; this chart is meant for {meant} legs.",
            posture=choice_words(posture),
            meant=choice_words(meant),
        )
    return say(
        "Measured {posture}; this chart is meant for {meant} legs, and a calf differs by about "
        "1 % between the two.",
        posture=choice_words(posture),
        meant=choice_words(meant),
    )
