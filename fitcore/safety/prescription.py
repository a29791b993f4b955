"""The prescription as answered, and what of a garment it rules out. Pure."""

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
from fitcore.safety.outcomes import Action, FiredRule, Urgency
from fitcore.safety.screening_answers import UNKNOWN, told_as
from fitcore.safety.screening_result import with_rules
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.charts.chart import Chart
    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.safety.screening_answers import Answer, Answers
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_result import ScreeningResult

PRESCRIBED = "prescribed"
"""The purpose of a garment somebody prescribed."""
UNCLEAR = "prescription_unclear"
"""Id of the rule on a prescription that contradicts itself."""
MMHG_ONLY = "mmhg-only"
"""Answer to the question for the standard where the prescription names mmHg and no class."""
_PARTS = tuple(
    f"prescribed_{part}"
    for part in ("standard", "class", "low_mmhg", "high_mmhg", "length", "toe", "legs")
)
"""Questions a garment is compared with."""


@dataclass(frozen=True, slots=True)
class Prescription:
    """What the prescriber asked for; what is not known is empty."""

    pressure: Completed
    length: str
    toe: str
    """`open` or `closed`."""
    sides: tuple[Side, ...]
    question: str
    """What the prescriber must be asked first; empty where nothing is open."""
    basis: tuple[str, ...]
    """The answers it was read from, as a decision about it rests on them."""

    def why_not(self, chart: Chart, standards: Sequence[PressureStandard]) -> str:
        """Say why a garment is not what was prescribed; empty where nothing speaks against it."""
        if self.length and chart.form != self.length:
            return say("Another length is prescribed.")
        if self.toe and chart.toe != self.toe:
            # A soft cap is neither: whether it will do for a closed toe, the prescriber says.
            return (
                say("An open toe is prescribed.")
                if self.toe == "open"
                else say("A closed toe is prescribed.")
            )
        if self.pressure.prescribed is None:
            return ""  # screening asks the prescriber; no garment is ruled out by a guess
        match = matches_prescription(chart.pressure, self.pressure.prescribed, standards)
        return "" if match.matches else match.why


def beside_prescription(
    result: ScreeningResult, prescription: Prescription | None, book: ScreeningBook
) -> ScreeningResult:
    """Add what a prescription leaves open to a result, as a rule that fired.

    Where a rule on the purpose asks about the prescription already, it is not asked twice.

    Args:
        result: of screening.
        prescription: None where nothing is prescribed.
        book: for the source of what a prescription must say, and whose decision lifts it.
    """
    advice, roles = book.advice(PRESCRIBED), book.rules.lifted_by
    if prescription is None or not prescription.question:
        return result
    asking = {rule.id for rule in advice.rules} if advice is not None else set()
    if asking & {rule.id for rule in result.rules}:
        return result
    fired = FiredRule(
        UNCLEAR,
        Action.ASK,
        Urgency.ROUTINE,
        prescription.question,
        advice.source if advice is not None else say("Ours."),
        advice.status if advice is not None else "judgement",
        LEGS,
        roles.ask if roles is not None else (),
        tuple((side, what) for side in LEGS for what in prescription.basis),
    )
    return with_rules(result, (fired,))


def prescription_of(answers: Answers, standards: Sequence[PressureStandard]) -> Prescription | None:
    """Return what was prescribed; None where it is not about a prescribed garment.

    Where laptops differ about a part of it, that part counts as not known: the prescriber is asked.

    Args:
        answers: of screening, with those on the prescription.
        standards: the standards of pressure classes known here.
    """
    if PRESCRIBED not in answers.of("purpose"):
        return None
    standard = _text(answers, "prescribed_standard")
    pressure = complete_prescription(
        standards,
        standard="" if standard == MMHG_ONLY else standard,
        label=_text(answers, "prescribed_class"),
        low_mmhg=_number(answers, "prescribed_low_mmhg"),
        high_mmhg=_number(answers, "prescribed_high_mmhg"),
    )
    legs = _text(answers, "prescribed_legs")
    sides = LEGS if legs == Side.BOTH.value else tuple(side for side in LEGS if side.value == legs)
    disputed = any(len(answers.of(name)) > 1 for name in _PARTS)
    question = (
        say("Different answers about the prescription stand side by side: settle them first.")
        if disputed
        else pressure.question
    )
    return Prescription(
        pressure,
        _text(answers, "prescribed_length"),
        _text(answers, "prescribed_toe"),
        sides,
        question,
        tuple(told_as(name, answer) for name in _PARTS for answer in answers.of(name)),
    )


def _known(answers: Answers, name: str) -> Answer | None:
    """Return an answer nobody differs about; None where it is not known."""
    told = answers.of(name)
    return told[0] if len(told) == 1 and told[0] != UNKNOWN else None


def _text(answers: Answers, name: str) -> str:
    told = _known(answers, name)
    return told if isinstance(told, str) else ""


def _number(answers: Answers, name: str) -> Decimal | None:
    told = _known(answers, name)
    return told if isinstance(told, Decimal) else None
