"""The prescription as answered in a session, and what of a garment it rules out. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.points import LEGS, Side
from fitcore.pressures.prescribed_pressure import (
    Completed,
    complete_prescription,
    matches_prescription,
)
from fitcore.safety.screening_answers import ANSWER_PREFIX, UNKNOWN
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.charts.chart import Chart
    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.record.session import Session

MMHG_ONLY = "mmhg-only"
"""Answer to the question for the standard where the prescription names mmHg and no class."""


@dataclass(frozen=True, slots=True)
class Prescription:
    """What the prescriber asked for; what is not known is empty."""

    pressure: Completed
    length: str
    sides: tuple[Side, ...]

    def why_not(self, chart: Chart, standards: Sequence[PressureStandard]) -> str:
        """Say why a garment is not what was prescribed; empty where nothing speaks against it."""
        if self.length and chart.form != self.length:
            return say("Another length is prescribed.")
        if self.pressure.prescribed is None:
            return ""  # screening asks the prescriber; no garment is ruled out by a guess
        match = matches_prescription(chart.pressure, self.pressure.prescribed, standards)
        return "" if match.matches else match.why


def prescription_of(session: Session, standards: Sequence[PressureStandard]) -> Prescription | None:
    """Return what was prescribed; None where the session is not about a prescribed garment.

    Where laptops differ about a part of it, that part counts as not known: the prescriber is asked.
    """
    if "prescribed" not in session.answer("purpose").values:
        return None
    standard = _text(session, "prescribed_standard")
    pressure = complete_prescription(
        standards,
        standard="" if standard == MMHG_ONLY else standard,
        label=_text(session, "prescribed_class"),
        low_mmhg=_number(session, "prescribed_low_mmhg"),
        high_mmhg=_number(session, "prescribed_high_mmhg"),
    )
    legs = _text(session, "prescribed_legs")
    sides = LEGS if legs == Side.BOTH.value else tuple(side for side in LEGS if side.value == legs)
    return Prescription(pressure, _text(session, "prescribed_length"), sides)


def _text(session: Session, name: str) -> str:
    told = session.text(ANSWER_PREFIX + name)
    return "" if told == UNKNOWN else told


def _number(session: Session, name: str) -> Decimal | None:
    value = session.value(ANSWER_PREFIX + name)
    return Decimal(value) if isinstance(value, int | Decimal) else None
