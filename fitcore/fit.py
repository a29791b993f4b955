"""One session against all charts: legs, values used, verdicts, flags. Pure; prints nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from fitcore.charts.sizing import SizeAnswer, Verdict, decide_size
from fitcore.doubts.plausibility import judge_readings
from fitcore.doubts.repeats import (
    differing,
    doubted_places,
    explained_sides,
    is_settled,
    judge_repeats,
    near_edges,
    swollen_sides,
)
from fitcore.file_flags import file_flags
from fitcore.flags import Flag, Level
from fitcore.moment.conditions import Earlier, LegTimes, judge_conditions, leg_times
from fitcore.moment.morning import ChartMorning, LegMorning, leg_morning
from fitcore.points import LEGS, Kind, Place, Side, place_words
from fitcore.record.fields import choice_words
from fitcore.record.last_time import LastTime
from fitcore.record.readings import Adopted, Readings
from fitcore.safety.clearance import SessionClearance, judge_clearance
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from fitcore.charts.chart import Chart
    from fitcore.record.session import Session
    from fitcore.rules import Rules
    from fitcore.safety.decisions import ClearanceAnswer


@dataclass(frozen=True, slots=True)
class ChartFit:
    """What one chart says about one leg."""

    chart: Chart
    answer: SizeAnswer
    morning: ChartMorning | None
    """The answers by the swelling model; None where it does not cover the leg."""
    offer: ClearanceAnswer

    @property
    def offered(self) -> bool:
        """Whether its size may be offered: the leg may have this garment, and there is a size."""
        return self.offer.offered and self.answer.size is not None

    @property
    def offered_why(self) -> str:
        """Why, or why not."""
        if self.offer.offered and self.answer.size is None:
            return say("No size of this chart is chosen.")
        return self.offer.why

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints."""
        answer = self.answer
        return {
            "chart": self.chart.id,
            "invented": self.chart.invented,
            "verdict": answer.verdict.value,
            "size": answer.size,
            "variant": answer.variant,
            "alternatives": list(answer.alternatives),
            "complete": answer.complete,
            "margins": [margin.as_json() for margin in answer.margins],
            "offered": self.offered,
            "offered_why": self.offered_why,
            "reasons": list(answer.reasons),
            "cautions": list(answer.cautions),
            "certainty": None,
            "summary": None,
            "morning": self.morning.as_json() if self.morning else None,
        }


@dataclass(frozen=True, slots=True)
class LegFit:
    """One leg: what was used and what each chart says."""

    side: Side
    offer: ClearanceAnswer
    """Whether anything may be fitted, whatever the garment."""
    times: LegTimes | None
    adopted: tuple[Adopted, ...]
    not_taken: tuple[str, ...]
    """What was not taken at this leg and why, in words: *round the ankle (B) not taken (wound)*."""
    charts: tuple[ChartFit, ...]
    morning: LegMorning

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints."""
        return {
            "side": self.side.value,
            "clearance": self.offer.clearance.value,
            "adopted": [value.as_json() for value in self.adopted],
            "charts": [fit.as_json() for fit in self.charts],
            "swelling": self.morning.as_json(),
        }


@dataclass(frozen=True, slots=True)
class SessionFit:
    """One session against all charts."""

    session: Session
    client: str
    flags: tuple[Flag, ...]
    legs: tuple[LegFit, ...]
    clearance: SessionClearance
    doubtful: frozenset[Place]
    """Places whose reading is in doubt or so near a size edge that a repeat may change it."""

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints."""
        return {
            "session": self.session.id,
            "client": self.client,
            "screening": self.clearance.as_json(),
            "pair": None,
            "flags": [flag.as_json() for flag in self.flags],
            "legs": [leg.as_json() for leg in self.legs],
        }


def fit_session(
    session: Session,
    charts: Sequence[Chart],
    rules: Rules,
    earlier: Sequence[Session] = (),
    *,
    on: date,
) -> SessionFit:
    """Judge a session: every leg against every chart.

    Args:
        session: the session; nothing in it is changed.
        charts: in the order the answers shall have.
        rules: ranges, thresholds, protocols and the swelling model.
        earlier: the client's sessions before this one, newest first, to compare with.
        on: the day something would be fitted.

    Returns:
        Legs left first; a leg counts where it was to be measured or has a reading.
    """
    readings = Readings(session)
    sides = legs_of(session, readings)
    last = LastTime(earlier)
    cleared = judge_clearance(session, readings, rules, on=on, last=last)
    legs = tuple(_fit_one_leg(cleared, readings, side, charts) for side in sides)
    doubts = _reading_flags(session, readings, rules, last)
    repeat = rules.repeat_of(session)
    doubtful = doubted_places(doubts) | cleared.calves.repeats
    for leg in legs:
        doubtful |= near_edges(
            leg.side,
            [(fit.chart, fit.answer) for fit in leg.charts],
            repeat,
            partial(readings.adopted, leg.side),
        )
    flags = [
        *file_flags(session, readings),
        *cleared.calves.flags(),
        *judge_conditions(
            session,
            readings,
            sides,
            rules.time,
            earlier=partial(_earlier, last, rules),
            tape_rule=_tape_rule(session, rules),
        ),
        *doubts,
        *judge_repeats(session, readings, repeat, sides, doubtful),
    ]
    return SessionFit(session, session.text("client"), _worst_first(flags), legs, cleared, doubtful)


def _fit_one_leg(
    cleared: SessionClearance, readings: Readings, side: Side, charts: Sequence[Chart]
) -> LegFit:
    session, rules = cleared.session, cleared.rules
    times = leg_times(session, readings, side)
    hours = times.hours_up if times is not None else None
    morning = leg_morning(session, readings, side, rules.swelling, hours)

    def fit_chart(chart: Chart) -> ChartFit:
        answer = fit_leg(cleared, readings, side, chart)
        prescribed = session.text("purpose") == "prescribed"
        suitable = answer.verdict not in (Verdict.NOT_SUITABLE, Verdict.NOT_MEASURED)
        by_morning = (
            morning.of_chart(chart, readings, side, prescribed=prescribed) if suitable else None
        )
        offer = cleared.offer(side, chart) if suitable else cleared.leg(side)
        return ChartFit(chart, answer, by_morning, offer)

    return LegFit(
        side,
        cleared.leg(side),
        times,
        readings.adopted_of_leg(side),
        _not_taken(readings, side),
        tuple(fit_chart(chart) for chart in charts),
        morning,
    )


def fit_leg(cleared: SessionClearance, readings: Readings, side: Side, chart: Chart) -> SizeAnswer:
    """Judge one leg against one chart, suitability first."""
    session = cleared.session
    unsuitable = _why_not_suitable(cleared, chart)
    if unsuitable:
        return SizeAnswer(Verdict.NOT_SUITABLE, reasons=(unsuitable,))
    answer = decide_size(
        chart,
        lambda point, kind: readings.adopted(side, point, kind),
        prescribed=session.text("purpose") == "prescribed",
    )
    cautions = [*answer.cautions, *cleared.garment_notes(side, chart)]
    cautions += _posture_cautions(session, readings, side, chart)
    cautions += [
        say(
            "{what}: different values stand side by side; choose one first.",
            what=place_words(place[1], place[2]),
        )
        for place in readings.places()
        if place[0] in (side, Side.BOTH) and readings.disputed(place)
    ]
    return replace(answer, cautions=tuple(cautions))


def legs_of(session: Session, readings: Readings) -> tuple[Side, ...]:
    """Return the legs a session is about: those answered for and those with a reading."""
    answered = session.value("sides")
    asked = {str(side) for side in answered} if isinstance(answered, list) else set()
    read = {place[0] for place in readings.places()}
    # A shoe size is one for both feet: it makes no leg one that was to be measured.
    everybody = not asked and Side.BOTH in read
    return tuple(side for side in LEGS if side.value in asked or side in read or everybody)


def _reading_flags(
    session: Session, readings: Readings, rules: Rules, last: LastTime
) -> tuple[Flag, ...]:
    """Judge every recorded reading, whether it was typed here, imported or merged."""
    repeat = rules.repeat_of(session)
    flags = judge_readings(
        rules.ranges,
        readings,
        last.value_mm,
        swollen_sides(session),
        explained_sides(session),
        differing=differing(readings, repeat),
    )
    return tuple(_settled(f) if is_settled(readings, repeat, f) else f for f in flags)


def _settled(flag: Flag) -> Flag:
    """Lower a doubt that a second reading has met; what cannot be right stays as it is."""
    if flag.level is not Level.WARN:
        return flag
    text = say("{doubt} A second reading says the same.", doubt=flag.text)
    return replace(flag, level=Level.NOTE, text=text)


def _earlier(last: LastTime, rules: Rules, side: Side) -> Earlier | None:
    found = last.of_leg(side)
    return None if found is None else Earlier(*found, _tape_rule(found[0], rules))


def _tape_rule(session: Session, rules: Rules) -> str:
    protocol = rules.protocol_of(session)
    return protocol.tape_rule if protocol is not None else ""


def _worst_first(flags: Sequence[Flag]) -> tuple[Flag, ...]:
    worst_first = (Level.BLOCK, Level.WARN, Level.NOTE)
    return tuple(sorted(dict.fromkeys(flags), key=lambda flag: worst_first.index(flag.level)))


def _not_taken(readings: Readings, side: Side) -> tuple[str, ...]:
    return tuple(
        say("{what} not taken ({why})", what=place_words(place[1], place[2]), why=why)
        for place in readings.places()
        if place[0] is side and (why := readings.not_taken(place))
    )


def _why_not_suitable(cleared: SessionClearance, chart: Chart) -> str:
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
    if at is not None and chart.valid_until is not None and at.date() > chart.valid_until:
        return say("The chart ran out on {date}.", date=chart.valid_until.isoformat())
    if at is not None and chart.valid_from is not None and at.date() < chart.valid_from:
        return say("The chart is valid only from {date}.", date=chart.valid_from.isoformat())
    prescribed = cleared.prescription
    return "" if prescribed is None else prescribed.why_not(chart, cleared.rules.standards)


def _posture_cautions(
    session: Session, readings: Readings, side: Side, chart: Chart
) -> tuple[str, ...]:
    """Tell where legs were measured in another posture than the chart was meant for.

    Source: calf sitting against standing +0.39 cm (193 inpatients, ESPEN abstract P521, read) and
    +0.46 cm (1,439 aged, doi 10.1111/ggi.13983, read).
    """
    used = {
        reading.posture or session.text("posture")
        for dimension in chart.dimensions
        if dimension.kind is not Kind.SHOE
        for reading in readings.taken((side, dimension.point, dimension.kind))
    }
    if "" in used:
        return (
            say(
                "Posture not recorded; this chart is meant for {meant} legs.",
                meant=choice_words(chart.posture),
            ),
        )
    return tuple(
        say(
            "Measured {posture}; this chart is meant for {meant} legs, and a calf differs by about "
            "1 % between the two.",
            posture=choice_words(posture),
            meant=choice_words(chart.posture),
        )
        for posture in sorted(used - {chart.posture})
    )
