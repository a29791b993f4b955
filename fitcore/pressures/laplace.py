"""Laplace's law: the pressure of a pulled fabric on a round limb. Pure.

Good for an illustration only. In 47 women the measured pressure was below the law's everywhere, by
up to 42.1 % above the ankle bones; the authors call it no use for prediction (J Wound Care 2021,
abstract read).
"""

from __future__ import annotations

import math

from fitcore.pressures.pressure import PASCAL_IN_MMHG

STANDARD_GRAVITY = 9.80665
"""Newton in one kilogram-force, by definition."""

THOMAS_PRINTED = 4620.0
"""The rounded constant as published (Thomas 2002/2003; formula from memory)."""

THOMAS_EXACT = 2 * math.pi * STANDARD_GRAVITY * 1e4 / float(PASCAL_IN_MMHG)
"""The same constant unrounded, 4621.65 (computed)."""


def cylinder_pa(tension_n_per_m: float, radius_m: float) -> float:
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


def thomas_mmhg(
    layers: int,
    tension_kgf: float,
    girth_cm: float,
    width_cm: float,
    *,
    constant: float = THOMAS_EXACT,
) -> float:
    """Return the pressure in mmHg under a bandage: P = constant x N x T / (C x W).

    Args:
        layers: how many layers lie over each other.
        tension_kgf: pull of the bandage over its whole width, in kgf.
        girth_cm: girth of the limb in cm, above 0.
        width_cm: width of the bandage in cm, above 0.
        constant: `THOMAS_PRINTED` to reproduce published figures.

    Raises:
        ValueError: a girth or width that is not above 0.

    Source: Thomas, World Wide Wounds 2002, EWMA Journal 2003 (key points read, formula from
    memory).
    """
    if not girth_cm > 0 or not width_cm > 0:
        raise ValueError(f"a girth of {girth_cm} cm under a width of {width_cm} cm")
    return constant * layers * tension_kgf / (girth_cm * width_cm)


def tension_hpa(tension_n_per_cm: float, girth_cm: float) -> float:
    """Return the pressure in hPa from the pull for each cm of width: 628.32 x t / C (computed)."""
    return cylinder_pa(tension_n_per_cm * 100, girth_cm / (200 * math.pi)) / 100


def tension_mmhg(tension_n_per_cm: float, girth_cm: float) -> float:
    """Return the pressure in mmHg from the pull for each cm of width: 471.28 x t / C (computed)."""
    return tension_hpa(tension_n_per_cm, girth_cm) * 100 / float(PASCAL_IN_MMHG)


def tension_for(mmhg: float, girth_cm: float) -> float:
    """Return the pull in N for each cm of width that gives a pressure on a girth in cm."""
    return mmhg / tension_mmhg(1.0, girth_cm)
