"""Whether a garment is one to choose from at all, before any girth is looked at. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.points import Kind, Point, Side, place_words
from fitcore.record.fields import choice_words
from fitcore.safety.shape import recorded_shapes, why_not_toe
from fitcore.words import say

if TYPE_CHECKING:
    from datetime import date

    from fitcore.charts.chart import Chart
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session
    from fitcore.safety.clearance import SessionClearance


def why_not_suitable(cleared: SessionClearance, side: Side, chart: Chart) -> str:
    """Return the first thing that rules a garment out for a leg; empty where nothing does.

    Args:
        cleared: the session with what was prescribed.
        side: the leg.
        chart: the garment's.
    """
    session = cleared.session
    forms, purpose = session.value("forms"), session.text("purpose")
    if isinstance(forms, list) and chart.form not in forms:
        return say(
            "It is a {form}; asked for: {asked}.",
            form=choice_words(chart.form),
            asked=", ".join(choice_words(str(form)) for form in forms),
        )
    if purpose and purpose != "other" and purpose not in chart.purposes:
        return say("Not made for {purpose}.", purpose=choice_words(purpose))
    at = session.measured_at
    expired = why_not_valid(chart, at.date()) if at is not None else ""
    if expired:
        return expired
    toe = why_not_toe(recorded_shapes(session, side), chart.toe)
    if toe:
        return toe
    prescribed = cleared.prescription
    return "" if prescribed is None else prescribed.why_not(chart, cleared.rules.standards)


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
