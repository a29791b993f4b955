"""Laplace's law: the pressure of a pulled fabric on a round limb. Pure.

Good for an illustration only. In 47 women the measured pressure was below the law's everywhere, by
up to 42.1 % above the ankle bones; the authors call it no use for prediction (J Wound Care 2021,
abstract read).

Figures are fractions, so that what cancels out does: the pressure back on the girth it was pulled
for is the very pressure again.
"""

from __future__ import annotations

import math
from fractions import Fraction

from fitcore.pressures.pressure import PASCAL_IN_MMHG

TWO_PI = Fraction(2 * math.pi)
"""Girth over radius, as exact as the machine has it."""


def cylinder_pa(tension_n_per_m: Fraction, radius_m: Fraction) -> Fraction:
    """Return the pressure in Pa under a fabric on a round limb: P = T / r.

    Args:
        tension_n_per_m: pull of the fabric for each metre of its width, in N/m, 0 or more.
        radius_m: radius of the limb in m, above 0.

    Raises:
        ValueError: a pull below 0, or a radius that is not above 0.

    Source: engineering text on Laplace's law (read).
    """
    if not tension_n_per_m >= 0 or not radius_m > 0:
        raise ValueError(f"a pull of {tension_n_per_m} N/m round a radius of {radius_m} m")
    return tension_n_per_m / radius_m


def tension_mmhg(tension_n_per_cm: Fraction, girth_cm: Fraction) -> Fraction:
    """Return the pressure in mmHg from the pull for each cm of width: 471.28 x t / C (computed).

    For a bandage of N layers, T kgf over a width of W cm, the pull is N x T x 9.80665 / W: then it
    is Thomas's formula, 4621.65 x N x T / (C x W), published with 4620 (World Wide Wounds 2002;
    key points read, formula from memory).
    """
    pressure = cylinder_pa(100 * tension_n_per_cm, girth_cm / (100 * TWO_PI))
    return pressure / Fraction(PASCAL_IN_MMHG)


def tension_for(mmhg: Fraction, girth_cm: Fraction) -> Fraction:
    """Return the pull in N for each cm of width that gives a pressure in mmHg on a girth in cm."""
    return mmhg / tension_mmhg(Fraction(1), girth_cm)
