"""Laplace's law against every figure computed for it; its properties are among the laws.

No printed example with both inputs and result could be read: the figures check the formula, not a
published measurement.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from fitcore.pressures.laplace import cylinder_pa, tension_for, tension_mmhg
from fitcore.pressures.pressure import PASCAL_IN_MMHG

STANDARD_GRAVITY = Fraction("9.80665")
"""Newton in one kilogram-force, by definition."""
THOMAS_PRINTED, THOMAS_EXACT = 4620, 4621.65
"""The constant as published (from memory), and unrounded (worked out apart from this code)."""


def bandage_mmhg(layers: int, kgf: float, girth_cm: int, width_cm: int) -> float:
    pull = layers * Fraction(kgf) * STANDARD_GRAVITY / width_cm
    return float(tension_mmhg(pull, Fraction(girth_cm)))


@pytest.mark.parametrize(
    ("bandage", "rounded", "exact"),
    [
        ((1, 0.5, 25, 10), 9.240, 9.243),
        ((2, 0.3, 22, 10), 12.600, 12.605),
        ((2, 0.5, 22, 10), 21.000, 21.008),
        ((4, 0.5, 25, 10), 36.960, 36.973),
        ((1, 1.0, 20, 10), 23.100, 23.108),
    ],
)
def test_bandages_press_as_the_formula_says(
    bandage: tuple[int, float, int, int], rounded: float, exact: float
) -> None:
    pressure = bandage_mmhg(*bandage)
    assert pressure == pytest.approx(exact, rel=1e-4)
    assert pressure * THOMAS_PRINTED / THOMAS_EXACT == pytest.approx(rounded, rel=1e-4)


@pytest.mark.parametrize(
    ("tension", "girth_cm", "mmhg", "hpa"),
    [
        ("1.0", 22, 21.422, 28.56),
        ("1.0", 25, 18.851, 25.13),
        ("1.0", 36, 13.091, 17.45),
        ("0.84", 21, 18.851, 25.13),
        ("1.0737", 22, 23.000, 30.66),
    ],
)
def test_a_pull_for_each_centimetre_presses_as_the_formula_says(
    tension: str, girth_cm: int, mmhg: float, hpa: float
) -> None:
    pull, girth = Fraction(tension), Fraction(girth_cm)
    found = tension_mmhg(pull, girth)
    assert float(found) == pytest.approx(mmhg, rel=1e-4)
    # Printed to 0.01 hPa: half a unit of the last digit, which is coarser than 1e-4.
    assert float(found * Fraction(PASCAL_IN_MMHG) / 100) == pytest.approx(hpa, abs=0.005)
    assert tension_for(found, girth) == pull, "back again exactly"


def test_the_constants_are_those_worked_out_apart_from_this_code() -> None:
    assert bandage_mmhg(1, 1, 1, 1) == pytest.approx(THOMAS_EXACT, rel=1e-5)
    one = tension_mmhg(Fraction(1), Fraction(1))
    assert float(one) == pytest.approx(471.28, rel=1e-5)
    assert float(one * Fraction(PASCAL_IN_MMHG) / 100) == pytest.approx(628.32, rel=1e-5)
    assert cylinder_pa(Fraction(100), Fraction("0.05")) == 2000


@pytest.mark.parametrize(("tension", "radius"), [(-1, 1), (1, 0), (1, -1)])
def test_a_limb_without_a_radius_is_refused(tension: int, radius: int) -> None:
    with pytest.raises(ValueError, match="radius"):
        cylinder_pa(Fraction(tension), Fraction(radius))
