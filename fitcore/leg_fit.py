"""One leg against every chart: size, whether it may be offered, how sure it is. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from fitcore.certainty.certainty import certainty, nearest_change
from fitcore.certainty.certainty_errors import size_errors
from fitcore.certainty.certainty_words import Summary, firmer_size, summarise
from fitcore.charts.outcome import Verdict
from fitcore.charts.sizing import SizeAnswer, adopted_for, chart_values, decide_size
from fitcore.moment.conditions import LegTimes, leg_times
from fitcore.moment.morning import ChartMorning, LegMorning, leg_morning, morning_words
from fitcore.points import place_words
from fitcore.safety.outcomes import Clearance
from fitcore.safety.shape import recorded_shapes, shape_words
from fitcore.suitability import (
    chart_errors,
    garment_cautions,
    what_rules_out,
    why_not_opened,
)
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence
    from decimal import Decimal

    from fitcore.certainty.certainty_errors import RepeatErrorOf
    from fitcore.charts.chart import Chart
    from fitcore.charts.sizing import Measured
    from fitcore.lint.chart_remark import ChartRemark
    from fitcore.points import Place, Side
    from fitcore.record.readings import Adopted, Readings
    from fitcore.safety.clearance import SessionClearance
    from fitcore.safety.decisions import ClearanceAnswer
    from fitcore.units import Unit


@dataclass(frozen=True, slots=True)
class ChartFit:
    """What one chart says about one leg."""

    chart: Chart
    answer: SizeAnswer
    morning: ChartMorning | None
    """The answers by the swelling model; None where it does not cover the leg."""
    offer: ClearanceAnswer
    shape: str
    """Why the leg's shape keeps every size back; empty where it does not."""
    untrusted: str
    """Why the readings it rests on keep the size back; empty where they do not."""
    certainty: float | None
    """Probability that a fresh measuring gives the same; None where there is nothing to judge."""
    summary: Summary
    firmer: str | None
    """A smaller size that holds too, for whoever likes a firmer hold; None where none may be."""
    errors: tuple[ChartRemark, ...] = ()
    """What is surely wrong in the chart: nothing it says is offered."""
    again: tuple[str, ...] = ()
    """Dimensions whose readings cannot be right or do not agree."""
    rests_on: Mapping[str, Place] = field(default_factory=dict)
    """The place each dimension was judged by: a shoe column may rest on a foot's length."""

    def places_named(self, side: Side) -> tuple[Place, ...]:
        """Return the measures its words name as doubtful or near an edge, the worst first."""
        near = self.summary.code in ("measure_again", "edge")
        names = (*self.again, self.summary.dimension if near else None)
        found = (d for name in names for d in self.chart.dimensions if d.id == name)
        places = (self.rests_on.get(d.id, (side, d.point, d.kind)) for d in found)
        return tuple(dict.fromkeys(places))

    @property
    def asks_again(self) -> bool:
        """Whether it says that a measure be read once more because it lies so near an edge."""
        return self.summary.code == "measure_again" and not self.again

    @property
    def kept_back(self) -> bool:
        """Whether none may be offered: by clearance, the chart, the leg's shape, its readings."""
        return not self.offer.offered or bool(self.errors or self.shape or self.untrusted)

    @property
    def offered(self) -> bool:
        """Whether its size may be offered: nothing keeps it back, and there is one."""
        return not self.kept_back and self.answer.size is not None

    @property
    def offered_why(self) -> str:
        """Why, or why not."""
        if self.errors:
            return self.answer.reasons[0]
        if self.offer.offered and (self.shape or self.untrusted):
            return self.shape or self.untrusted
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
            "unsuitable": answer.unsuitable or None,
            "chart_errors": [error.as_json() for error in self.errors],
            "size": answer.size,
            "variant": answer.variant,
            "alternatives": list(answer.alternatives),
            "complete": answer.complete,
            "margins": [margin.as_json() for margin in answer.margins],
            "offered": self.offered,
            "offered_why": self.offered_why,
            "reasons": list(answer.reasons),
            "cautions": list(answer.cautions),
            "certainty": None if self.certainty is None else round(self.certainty, 4),
            "summary": self.summary.code,
            "summary_text": self.summary.text,
            "firmer": self.firmer,
            "morning": self.morning.as_json() if self.morning else None,
        }


@dataclass(frozen=True, slots=True)
class LegFit:
    """One leg: what was used and what each chart says."""

    side: Side
    offer: ClearanceAnswer
    """Whether anything may be fitted, whatever the garment."""
    shapes: tuple[str, ...]
    """What was recorded of its shape."""
    times: LegTimes | None
    adopted: tuple[Adopted, ...]
    not_taken: tuple[str, ...]
    """What was not taken at this leg and why, in words: *round the ankle (B) not taken (wound)*."""
    charts: tuple[ChartFit, ...]
    morning: LegMorning

    @property
    def may_be_fitted(self) -> bool:
        """Whether anything may be offered for it: it is cleared, and no shape is in the way."""
        return self.offer.offered and not self.shapes

    @property
    def why(self) -> str:
        """Why it may be fitted, or why not."""
        return shape_words(self.shapes) if self.offer.offered and self.shapes else self.offer.why

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints."""
        return {
            "side": self.side.value,
            "clearance": self.offer.clearance.value,
            "shape": list(self.shapes),
            "adopted": [value.as_json() for value in self.adopted],
            "charts": [fit.as_json() for fit in self.charts],
            "swelling": self.morning.as_json(),
        }


def fit_one_leg(
    cleared: SessionClearance,
    readings: Readings,
    side: Side,
    charts: Sequence[Chart],
    *,
    own_error: RepeatErrorOf | None = None,
    impossible: Collection[Place] = (),
    differing: Collection[Place] = (),
) -> LegFit:
    """Judge a leg against every chart.

    Args:
        cleared: the session, its rules, and whether its legs may be fitted.
        readings: the session's readings.
        side: the leg.
        charts: in the order the answers shall have.
        own_error: the measurer's own repeat error in mm, where enough is known of it.
        impossible: places with a reading that cannot be right: no size rests on them.
        differing: places whose readings do not agree: nor on them.
    """
    session, rules = cleared.session, cleared.rules
    times = leg_times(session, readings, side)
    hours = times.hours_up if times is not None else None
    leg = _Leg(
        cleared,
        readings,
        side,
        recorded_shapes(session, side),
        leg_morning(
            session,
            readings,
            side,
            rules.swelling,
            hours,
            early_until=float(rules.time.late_in_day.note_after_hours),
        ),
        own_error,
        impossible,
        differing,
    )
    return LegFit(
        side,
        cleared.leg(side),
        leg.shapes,
        times,
        readings.adopted_of_leg(side),
        _not_taken(readings, side),
        tuple(map(leg.fit, charts)),
        leg.morning,
    )


def fit_leg(cleared: SessionClearance, readings: Readings, side: Side, chart: Chart) -> SizeAnswer:
    """Judge one leg against one chart, suitability first; in words, without certainty."""
    session = cleared.session
    unsuitable = what_rules_out(cleared, side, chart)
    if unsuitable is not None:
        reasons, code = (unsuitable.text,), unsuitable.code
        return SizeAnswer(Verdict.NOT_SUITABLE, reasons=reasons, unsuitable=code)
    answer = decide_size(
        chart,
        partial(readings.adopted, side),
        prescribed=_is_prescribed(cleared),
        disputed=partial(readings.disputed_of_leg, side),
    )
    cautions = (
        *answer.cautions,
        *cleared.garment_notes(side, chart),
        *garment_cautions(session, readings, side, chart),
    )
    return replace(answer, cautions=cautions)


@dataclass(frozen=True, slots=True)
class _Leg:
    """What all charts are judged with."""

    cleared: SessionClearance
    readings: Readings
    side: Side
    shapes: tuple[str, ...]
    morning: LegMorning
    own_error: RepeatErrorOf | None
    impossible: Collection[Place]
    differing: Collection[Place]

    def fit(self, chart: Chart) -> ChartFit:
        cleared, side, rules = self.cleared, self.side, self.cleared.rules.certainty
        answer = fit_leg(cleared, self.readings, side, chart)
        shape, prescribed = shape_words(self.shapes), _is_prescribed(cleared)
        measured = partial(self.readings.adopted, side)
        values, missing = chart_values(
            chart, measured, disputed=partial(self.readings.disputed_of_leg, side)
        )
        if missing or answer.verdict is Verdict.NOT_SUITABLE:
            nothing = summarise(
                chart, answer, rules, share=None, change=None, spreads={}, prescribed=prescribed
            )
            errors = chart_errors(cleared.rules, chart)
            offer = cleared.leg(side)
            return ChartFit(chart, answer, None, offer, shape, "", None, nothing, None, errors)
        spreads = size_errors(
            chart, measured, rules, repeat_error=self.own_error, unit_of=self._unit_of
        )
        shared = rules.shared.mm if rules.shared is not None else 0.0
        share = certainty(chart, values, spreads, prescribed=prescribed, shared_mm=shared)
        places = self._places(chart, measured)
        impossible, differing = (
            tuple(name for name, place in places.items() if place in doubted)
            for doubted in (self.impossible, self.differing)
        )
        again = tuple(dict.fromkeys((*impossible, *differing)))
        by_morning = self.morning.of_chart(chart, self.readings, side, prescribed=prescribed)
        summary = summarise(
            chart,
            answer,
            rules,
            share=share,
            change=nearest_change(chart, values, spreads, prescribed=prescribed),
            spreads=spreads,
            prescribed=prescribed,
            differing=differing,
            impossible=impossible,
            # What was read as early as can be asked is not asked to be read earlier.
            morning="" if self.morning.early else morning_words(by_morning),
            withheld=self.morning.withheld,
        )
        if shape:
            summary = Summary("made_to_measure", shape)
        offer = self._offer(chart)
        return ChartFit(
            chart,
            answer,
            by_morning,
            offer,
            shape,
            _untrusted_words([places[name] for name in again]),
            share,
            summary,
            self._firmer(chart, answer, values, offer),
            again=again,
            rests_on=places,
        )

    def _offer(self, chart: Chart) -> ClearanceAnswer:
        offer, why = (
            self.cleared.offer(self.side, chart),
            why_not_opened(self.cleared.session, chart),
        )
        if not offer.offered or not why:
            return offer
        return replace(offer, offered=False, why=why, highest_mmhg=None)

    def _firmer(
        self,
        chart: Chart,
        answer: SizeAnswer,
        values: dict[str, Decimal],
        offer: ClearanceAnswer,
    ) -> str | None:
        purposes = self.cleared.session.answer("purpose").values
        if len(purposes) != 1 or self.shapes:
            return None
        return firmer_size(
            chart,
            answer,
            values,
            self.cleared.rules.certainty,
            purpose=str(purposes[0]),
            cleared=offer.offered and offer.clearance is Clearance.CLEARED,
            abpi_known=self.cleared.result.leg(self.side).abpi.valid,
        )

    def _places(self, chart: Chart, measured: Measured) -> dict[str, Place]:
        """Return the place each dimension is judged by, which may be another than its own."""
        used = ((d.id, adopted_for(d, measured)) for d in chart.dimensions)
        return {
            name: (value.side or self.side, value.point, value.kind)
            for name, value in used
            if value is not None
        }

    def _unit_of(self, adopted: Adopted) -> Unit | None:
        reading = self.readings.by_name(adopted.names[-1])
        return reading.unit if reading is not None else None


def _untrusted_words(places: Sequence[Place]) -> str:
    if not places:
        return ""
    return say(
        "No size rests on readings that cannot be right or do not agree. Measure again: {names}.",
        names=", ".join(place_words(point, kind) for _, point, kind in places),
    )


def _is_prescribed(cleared: SessionClearance) -> bool:
    # Of two answers side by side the more careful counts: the nurse chooses between sizes.
    return "prescribed" in cleared.session.answer("purpose").values


def _not_taken(readings: Readings, side: Side) -> tuple[str, ...]:
    return tuple(
        say("{what} not taken ({why})", what=place_words(place[1], place[2]), why=why)
        for place in readings.places()
        if place[0] is side and (why := readings.not_taken(place))
    )
