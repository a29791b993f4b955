"""`classes`: from a pressure to its class in every standard, or from a class to its mmHg."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.disk.profile_files import load_profiles
from fitcore.pressures.pressure import (
    PRESSURE_UNITS,
    PressureUnit,
    from_mmhg,
    look_up,
    show_beside,
    standard_question,
    to_mmhg,
    which_standard,
)
from fitcore.safety.outcomes import first_words
from fitcore.units import plain
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Mapping
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.pressures.pressure_model import PressureStandard

LEAST, MOST, MOST_DIGITS = Decimal("0.01"), Decimal(10_000), 12
"""What may be looked up, in any unit: wider than any garment, and no longer than a line (ours)."""


def classes(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:  # noqa: ARG001
    """Look up a pressure in mmHg, hPa or kPa, or a class given without its standard."""
    profiles = load_profiles(own=data)
    notes = [str(problem) for problem in profiles.problems]
    if arguments.of_class is not None:
        return _of_class(clean(arguments.of_class).text, profiles.standards, notes)
    if arguments.amount is None:
        raise wrong_use(
            say("No pressure and no class is named."),
            say("Name a pressure such as 22, or a class with --class 2."),
            key="AMOUNT",
        )
    amount, unit = _amount(arguments.amount), _unit(arguments.unit)
    mmhg = to_mmhg(amount, unit)
    same = {other: show_beside(from_mmhg(mmhg, other), (), places=2) for other in PRESSURE_UNITS}
    found = [(standard, look_up(standard, amount, unit)) for standard in profiles.standards]
    return Outcome(
        ExitCode.FINE,
        {
            "amount": plain(amount),
            "unit": unit,
            "same_as": same,
            "standards": [
                {
                    "standard": standard.id,
                    "classes": [named.own.label for named in answer.classes],
                    "text": answer.words,
                }
                for standard, answer in found
            ],
        },
        [_same_words(same), *(answer.words for _, answer in found), first_words()],
        notes,
    )


def _same_words(same: Mapping[PressureUnit, str]) -> str:
    return " = ".join(f"{amount} {unit}" for unit, amount in same.items())


def _of_class(label: str, standards: tuple[PressureStandard, ...], notes: list[str]) -> Outcome:
    """Say everything a class may mean: without its standard it means nothing."""
    meanings = which_standard(standards, label)
    document = {
        "class": label,
        "meanings": [
            {"standard": named.standard.id, "class": named.own.label, "text": named.words}
            for named in meanings
        ],
    }
    return Outcome(ExitCode.FINE, document, [standard_question(standards, label)], notes)


def _amount(typed: str) -> Decimal:
    try:
        amount = Decimal(typed.replace(",", "."))
        is_pressure = LEAST <= amount <= MOST and len(amount.as_tuple().digits) <= MOST_DIGITS
    except ArithmeticError:
        amount, is_pressure = Decimal(0), False
    if not is_pressure:
        raise wrong_use(
            say("'{typed}' is no pressure.", typed=clean(typed).text[:20]),
            say(
                "Type a number from {low} to {high}, such as 22 or 29.3.",
                low=plain(LEAST),
                high=plain(MOST),
            ),
            key="AMOUNT",
        )
    return amount


def _unit(typed: str) -> PressureUnit:
    for unit in PRESSURE_UNITS:
        if typed.casefold() == unit.casefold():
            return unit
    raise wrong_use(
        say("'{typed}' is no unit of pressure here.", typed=clean(typed).text[:20]),
        say("Units: {units}.", units=", ".join(PRESSURE_UNITS)),
        key="--unit",
    )
