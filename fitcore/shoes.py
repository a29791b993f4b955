"""Shoe sizes as people say them, and their common conversions through foot length.

The formulas are conventions, not a standard: labels speak of the last, not of the foot, so a
converted size is good to about 7 mm and every use of one says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, get_args

from fitcore.clean_text import clean
from fitcore.problems import Problem, UnitError
from fitcore.units import INCH_MM, Millimetre, plain
from fitcore.words import say

ShoeSystem = Literal["eu", "uk", "us_men", "us_women", "mondo"]
SHOE_SYSTEMS: tuple[ShoeSystem, ...] = get_args(ShoeSystem)

FOOT_UNCERTAINTY_MM = Decimal(7)
"""A foot length inferred from a shoe size: about one Paris point (judgement)."""

# size = multiplier * foot + offset, foot in cm (EU) or inches (UK, US). Source: EU and UK steps of
# 2/3 cm and 1/3 in (read); the foot formulas, US offsets included, are convention (from memory).
# US women's sizes have two rival conventions, +1 and +1.5 over men's; ours is +1.
_FORMULAS: dict[ShoeSystem, tuple[Decimal, Decimal, Decimal]] = {
    "eu": (Decimal("1.5"), Decimal(10), Decimal(2)),
    "uk": (Decimal(3), INCH_MM, Decimal(-23)),
    "us_men": (Decimal(3), INCH_MM, Decimal(-22)),
    "us_women": (Decimal(3), INCH_MM, Decimal(-21)),
    "mondo": (Decimal(1), Decimal(1), Decimal(0)),
}
_LIMITS: dict[ShoeSystem, tuple[int, int]] = {
    # Feet of 15 to 36 cm (the hard range for foot length, judgement), in each system's steps.
    "eu": (24, 56),
    "uk": (-6, 20),
    "us_men": (-5, 21),
    "us_women": (-4, 22),
    "mondo": (150, 360),
}
_STEPS: dict[ShoeSystem, tuple[Decimal, ...]] = {
    # Whole and half sizes are what is printed in shoes (public size lists after ISO 19407, second
    # hand); Mondopoint goes from zero in steps of 5 or of 7.5 mm (ISO 9407, read).
    "eu": (Decimal("0.5"),),
    "uk": (Decimal("0.5"),),
    "us_men": (Decimal("0.5"),),
    "us_women": (Decimal("0.5"),),
    "mondo": (Decimal(5), Decimal("7.5")),
}
_WORDS: dict[str, ShoeSystem] = {
    "eu": "eu",
    "uk": "uk",
    "us m": "us_men",
    "us men": "us_men",
    "us_men": "us_men",
    "us w": "us_women",
    "us women": "us_women",
    "us_women": "us_women",
    "mondo": "mondo",
}
_NUMBER = r"-?[0-9]{1,3}(?:[.,][0-9]{1,2})?"
_SYSTEM = r"eu|uk|us[ _]?(?:men|women|m|w)|us|mondo"
_SIZE = re.compile(rf"(?:({_SYSTEM})\s*)?({_NUMBER})(?:\s*({_SYSTEM}))?")


@dataclass(frozen=True, slots=True)
class ShoeSize:
    """One shoe size as typed."""

    typed: str
    system: ShoeSystem
    value: Decimal


def parse_shoe_size(text: str, default_system: ShoeSystem, *, bounded: bool = True) -> ShoeSize:
    """Read a shoe size: `39`, `EU 39`, `uk 6.5`, `39,5 eu`, `us w 8`.

    Args:
        text: what was typed.
        default_system: used where none is typed.
        bounded: whether a size no adult's shoe has is refused (typing) or taken (a sheet, where
            it is flagged).

    Raises:
        UnitError: not a shoe size, a US size that does not say men's or women's, or a number no
            adult's shoe has in that system.
    """
    typed = clean(text).text
    match = _SIZE.fullmatch(" ".join(typed.casefold().split()))
    if match is None or (match[1] and match[3]):
        raise UnitError(
            Problem(
                code="not_a_shoe_size",
                text=say("'{typed}' is not a shoe size.", typed=typed[:48]),
                mend=say("Type it like 39, EU 39, UK 6.5, US W 8 or US M 9."),
            )
        )
    word = (match[1] or match[3] or "").replace("_", " ").strip()
    if word == "us":
        raise UnitError(
            Problem(
                code="us_size_which",
                text=say("'{typed}': US sizes differ for men and women.", typed=typed),
                mend=say("Type US M for men's or US W for women's sizes."),
            )
        )
    if word.startswith("us") and word not in _WORDS:
        word = f"us {word[2:].strip()}"
    system = _WORDS[word] if word else default_system
    value = Decimal(match[2].replace(",", "."))
    if bounded and (problem := judge_shoe_size(value, system)):
        raise UnitError(problem)
    return ShoeSize(typed, system, value)


def judge_shoe_size(value: Decimal, system: ShoeSystem) -> Problem | None:
    """Return why no adult's shoe has this size, or None."""
    low, high = _LIMITS[system]
    if low <= value <= high:
        return None
    return Problem(
        code="shoe_size_out_of_range",
        text=say(
            "{system} {value}: sizes run from {low} to {high}.",
            system=system_words(system),
            value=plain(value),
            low=low,
            high=high,
        ),
        mend=say("Check the number and the system (EU, UK, US M, US W)."),
    )


def judge_shoe_step(value: Decimal, system: ShoeSystem) -> Problem | None:
    """Return why no shoe has this size printed in it, or None.

    A doubt only: a maker may print thirds, and whoever looked may keep the number.
    """
    if any(value % step == 0 for step in _STEPS[system]):
        return None
    steps = (
        say("sizes go in steps of 5 or 7.5 mm")
        if system == "mondo"
        else say("sizes are whole or half")
    )
    return Problem(
        code="shoe_step",
        text=say(
            "{system} {value}: such {steps}.",
            system=system_words(system),
            value=plain(value),
            steps=steps,
        ),
        mend=say("Is it a shoe size at all? Look in the shoe, or measure the foot in cm."),
    )


def foot_length_mm(value: Decimal, system: ShoeSystem) -> Millimetre:
    """Return the foot length a shoe size stands for, in mm, unrounded.

    Source: conventions of `_FORMULAS` (from memory); uncertain by `FOOT_UNCERTAINTY_MM`.
    """
    multiplier, unit_mm, offset = _FORMULAS[system]
    return Millimetre((value - offset) / multiplier * unit_mm)


def shoe_size(foot_mm: Decimal, system: ShoeSystem) -> Decimal:
    """Return the size of a foot, in mm, in another system; not rounded to half sizes.

    The division by thirds leaves a tail in the last digits that would push a whole size off a
    printed edge: it is rounded away far below anything a shoe knows.
    """
    multiplier, unit_mm, offset = _FORMULAS[system]
    return round(multiplier * foot_mm / unit_mm + offset, 22)


def system_words(system: str) -> str:
    """Return the system as people say it."""
    names = {"us_men": say("US men's"), "us_women": say("US women's"), "mondo": say("Mondopoint")}
    return names.get(system, system.upper())
