"""A leg by the morning: the swelling model's interval for each reading, and the sizes it gives.

No reading is changed: the model only says between which values a girth may have been after
rising, and whether the size would be another. Where it does not cover a leg it says why.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.charts.sizing import SizeAnswer, decide_size
from fitcore.moment.swelling import (
    Morning,
    MorningRange,
    model_json,
    model_name,
    morning_range,
    morning_scenarios,
    why_withheld,
)
from fitcore.units import plain, show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal

    from fitcore.charts.chart import Chart
    from fitcore.moment.swelling_model import SwellingModel
    from fitcore.points import Kind, Point, Side
    from fitcore.record.readings import Adopted, Readings
    from fitcore.record.session import Session

    Values = Mapping[tuple[Point, Kind], Decimal]


@dataclass(frozen=True, slots=True)
class ChartMorning:
    """One chart's answers for the leg as measured, likely by morning and most by morning."""

    as_read: SizeAnswer
    central: SizeAnswer
    high: SizeAnswer
    early: float | None = None
    """Hours since rising where the leg was read as early as can be asked; None where later."""

    @property
    def holds(self) -> bool:
        """Whether all three come to the same size; where none is chosen, to the same to choose."""
        return len({_same(a) for a in (self.as_read, self.central, self.high)}) == 1

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints; sizes to choose from where one chooses."""
        answers = {"as_read": self.as_read, "central": self.central, "high": self.high}
        told: dict[str, object] = {"holds": self.holds}
        told |= {name: _outcome(answer) for name, answer in answers.items()}
        if any(answer.alternatives and not answer.size for answer in answers.values()):
            told["alternatives"] = {name: list(a.alternatives) for name, a in answers.items()}
        return told


@dataclass(frozen=True, slots=True)
class LegMorning:
    """What the model says about one leg, or why it says nothing."""

    model: SwellingModel
    withheld: str
    hours: float
    """Hours since rising; 0 where withheld."""
    ranges: tuple[tuple[Adopted, MorningRange], ...]
    scenarios: Mapping[Morning, Values]
    early: bool = False
    """Whether the leg was read so early that no earlier reading need be asked for."""

    def of_chart(
        self, chart: Chart, readings: Readings, side: Side, *, prescribed: bool
    ) -> ChartMorning | None:
        """Judge a chart at the three scenarios; None where the model is withheld."""
        if self.withheld:
            return None

        def answer(scenario: Morning) -> SizeAnswer:
            values = self.scenarios[scenario]

            def measured(point: Point, kind: Kind) -> Adopted | None:
                found = readings.adopted(side, point, kind)
                mm = values.get((point, kind))
                return found if found is None or mm is None else _moved(found, mm)

            return decide_size(chart, measured, prescribed=prescribed)

        early = self.hours if self.early else None
        return ChartMorning(answer("as_read"), answer("central"), answer("high"), early)

    def as_json(self) -> dict[str, object]:
        """Return the model with its parameters, and the interval of each reading in mm."""
        return {
            "model": model_json(self.model),
            "withheld": self.withheld or None,
            "ranges": [
                {
                    "point": value.point.value,
                    "kind": value.kind.value,
                    "as_read_mm": plain(found.as_read_mm),
                    "central_mm": plain(round(found.central_mm, 1)),
                    "most_mm": plain(round(found.most_mm, 1)),
                }
                for value, found in self.ranges
            ],
        }

    def words(self) -> list[str]:
        """Return it for people: each reading's interval, or why there is none; the model last.

        Of the model its name and version: its parameters stand in the file and in `fit --json`.
        """
        if self.withheld:
            return [self.withheld]
        told = [
            say(
                "{point}: {read} cm as measured, likely {central} by morning, at least {most}",
                point=value.point.value,
                read=show_cm(found.as_read_mm),
                central=show_cm(round(found.central_mm, 0)),
                most=show_cm(round(found.most_mm, 0)),
            )
            for value, found in self.ranges
        ]
        return [*told, model_name(self.model)]


def leg_morning(
    session: Session,
    readings: Readings,
    side: Side,
    model: SwellingModel,
    hours: float | None,
    *,
    early_until: float = 0.0,
) -> LegMorning:
    """Ask the swelling model about one leg.

    Args:
        session: for what is known of the leg.
        readings: the session's readings.
        side: the leg.
        model: the parameters.
        hours: from rising to the leg's last reading; None where that is not known.
        early_until: hours since rising up to which nobody need come earlier; 0 for none.

    Source: the model's own file; a judgement, not validated.
    """
    adopted = readings.adopted_of_leg(side)
    withheld = why_withheld(session, side, model, readings)
    if withheld or hours is None or not adopted:
        reason = withheld or say("Nothing was measured, or not when.")
        return LegMorning(model, reason, 0, (), {})
    found = [
        (value, morning)
        for value in adopted
        if (morning := morning_range(model, value.point, value.kind, value.mm, hours)) is not None
    ]
    scenarios = morning_scenarios(model, adopted, hours)
    early = round(hours, 1) <= early_until  # as the hours are shown
    return LegMorning(model, "", hours, tuple(found), scenarios, early)


def morning_words(morning: ChartMorning | None) -> str:
    """Say in one sentence whether the size would be another by morning; empty where it holds."""
    if morning is None or morning.holds:
        return ""
    sizes = dict.fromkeys(_outcome_words(a) for a in (morning.central, morning.high))
    if morning.early is not None:
        return say(
            "Right after rising it may have been {sizes}. Read {hours:.1f} h after rising, which "
            "is early: there is nothing to read again.",
            sizes=say(" or ").join(sizes),
            hours=morning.early,
        )
    return say(
        "By morning it may be {sizes}: this leg may be smaller then, and a garment too large "
        "presses too little. Measure again soon after rising.",
        sizes=say(" or ").join(sizes),
    )


def _moved(adopted: Adopted, mm: Decimal) -> Adopted:
    return adopted if adopted.mm == mm else replace(adopted, mm=type(adopted.mm)(mm))


def _outcome(answer: SizeAnswer) -> str:
    return answer.name or answer.verdict.value


def _same(answer: SizeAnswer) -> tuple[object, ...]:
    """Return what must be alike: as `Outcome.as_ordered` has it of a fresh measuring."""
    if answer.size is not None:
        return (answer.size, answer.variant)
    return (answer.verdict, answer.alternatives)


def _outcome_words(answer: SizeAnswer) -> str:
    if answer.size:
        return say("size {size}", size=answer.name)
    if answer.alternatives:
        return say("one of {sizes}", sizes=", ".join(answer.alternatives))
    return say("in no size")
