"""The ankle-brachial pressure index of one leg: exact ratios, and every way a value can be missing.

Highest ankle over highest arm. Ratios are exact fractions and are compared unrounded; only what is
shown is rounded. What a ratio means is a rule in `profiles/screening/`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from fitcore.clean_text import clean
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


class Missing(StrEnum):
    """Why a pressure that was tried has no figure."""

    NOT_OBTAINED = "could_not_obtain"
    NOT_COMPRESSIBLE = "would_not_compress"


MmHg = Decimal | Missing
"""A systolic pressure in mmHg, or why there is none."""

Arms = Literal["both", "one_explained", "one_alone", "incompressible", "none"]
"""`incompressible`: one arm would not compress, so no figure tells how high its pressure is."""

_HALF_A_HUNDREDTH = Fraction(1, 200)


@dataclass(frozen=True, slots=True)
class Abpi:
    """What the pressures of one leg come to."""

    ratio: Fraction | None
    """Highest ankle over highest arm, exact; None where it cannot be formed. Beside an artery that
    would not compress it is the other artery's, which may be low all the same."""
    incompressible: bool
    """An artery at the ankle would not compress: counts as above every upper limit."""
    arms: Arms
    tried: bool
    """Somebody tried to take it; without a result that is not the same as never asked."""
    ankle_mmhg: Decimal | None
    """The highest ankle pressure with a figure, beside an artery that would not compress too."""

    @property
    def known(self) -> bool:
        """Whether there is anything to compare with a limit."""
        return self.ratio is not None or self.incompressible


def judge_abpi(
    arms: Sequence[MmHg | None], ankles: Sequence[MmHg | None], one_arm_why: str = ""
) -> Abpi:
    """Form the index of one leg.

    Args:
        arms: left and right arm in mmHg; None where nobody tried.
        ankles: dorsalis pedis and posterior tibial of this leg; one of them is enough, since the
            other can only raise the highest.
        one_arm_why: why only one arm was taken; without a reason the other may be the higher one,
            and the index lower than it looks. No reason helps an arm that would not compress.

    Source: highest ankle (either artery) over the highest arm, the same arm for both legs: getABI,
        n = 6,880, recommended as the uniform method (read); NICE CG147, AHA 2012 (from memory).
        That an artery which would not compress counts as above every upper limit: leg-ulcer review
        2013, table 5, on calcified arteries (read).
    """
    arm_values = [arm for arm in arms if isinstance(arm, Decimal)]
    ankle_values = [ankle for ankle in ankles if isinstance(ankle, Decimal)]
    ankle = max(ankle_values, default=None)
    arm = max(arm_values, default=None)
    incompressible = Missing.NOT_COMPRESSIBLE in ankles
    return Abpi(
        Fraction(ankle) / Fraction(arm) if ankle and arm else None,
        incompressible,
        _arms(arms, len(arm_values), one_arm_why),
        tried=any(ankle is not None for ankle in ankles),
        ankle_mmhg=ankle,
    )


def is_reason(why: object) -> bool:
    """Whether somebody said why only one arm was taken: blanks and *unknown* are no reason."""
    said = clean(why).text.casefold() if isinstance(why, str) else ""
    return said not in ("", "unknown")


def show_abpi(abpi: Abpi, limits: Iterable[Decimal]) -> str | None:
    """Write an index for people: two decimals, three within 0.005 of a limit.

    Where three would still put it on the other side of a limit, more are written.

    Args:
        abpi: the index of one leg.
        limits: all limits it is compared with.

    Returns:
        `0.93`, `0.797`, `>1.3` for arteries that would not compress, with the other artery's where
        that is below another limit, None where there is none.
    """
    known = tuple(limits)
    if abpi.incompressible:
        high = f">{plain(max(known))}" if known else say("would not compress")
        lower = [limit for limit in known if limit < max(known)]
        if abpi.ratio is None or not any(abpi.ratio < Fraction(limit) for limit in lower):
            return high
        other = show_abpi(replace(abpi, incompressible=False), lower)
        return say("{high} and {other}", high=high, other=other)
    if abpi.ratio is None:
        return None
    exact = [Fraction(limit) for limit in known]
    near = any(abs(abpi.ratio - limit) <= _HALF_A_HUNDREDTH for limit in exact)
    places = 3 if near else 2
    while places < 12 and any(_crosses(abpi.ratio, limit, places) for limit in exact):
        places += 1
    return _decimals(abpi.ratio, places)


def _arms(arms: Sequence[MmHg | None], values: int, why: str) -> Arms:
    if not values:
        return "none"
    if values == len(arms):
        return "both"
    if Missing.NOT_COMPRESSIBLE in arms:
        return "incompressible"
    return "one_explained" if is_reason(why) else "one_alone"


def _crosses(ratio: Fraction, limit: Fraction, places: int) -> bool:
    """Whether rounding would put a ratio onto or across a limit it is not on."""
    rounded = Fraction(_decimals(ratio, places))
    return (ratio < limit) != (rounded < limit) or (ratio > limit) != (rounded > limit)


def _decimals(ratio: Fraction, places: int) -> str:
    """Write an exact ratio with so many decimals, half rounded up."""
    scale = 10**places
    scaled = (ratio.numerator * scale * 2 + ratio.denominator) // (ratio.denominator * 2)
    return f"{scaled // scale}.{scaled % scale:0{places}d}"
