"""Laplace's law against every figure computed for it; its properties are among the laws.

No printed example with both inputs and result could be read: the figures check the formula, not a
published measurement.
"""

from __future__ import annotations

import pytest

from fitcore.pressures.laplace import (
    THOMAS_EXACT,
    THOMAS_PRINTED,
    cylinder_pa,
    tension_for,
    tension_hpa,
    tension_mmhg,
    thomas_mmhg,
)


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
    bandage: tuple[int, float, float, float], rounded: float, exact: float
) -> None:
    by_printed = thomas_mmhg(*bandage, constant=THOMAS_PRINTED)
    assert by_printed == pytest.approx(rounded, rel=1e-4)
    assert thomas_mmhg(*bandage) == pytest.approx(exact, rel=1e-4)


@pytest.mark.parametrize(
    ("tension", "girth_cm", "mmhg", "hpa"),
    [
        (1.0, 22, 21.422, 28.56),
        (1.0, 25, 18.851, 25.13),
        (1.0, 36, 13.091, 17.45),
        (0.84, 21, 18.851, 25.13),
        (1.0737, 22, 23.000, 30.66),
    ],
)
def test_a_pull_for_each_centimetre_presses_as_the_formula_says(
    tension: float, girth_cm: float, mmhg: float, hpa: float
) -> None:
    assert tension_mmhg(tension, girth_cm) == pytest.approx(mmhg, rel=1e-4)
    # Printed to 0.01 hPa: half a unit of the last digit, which is coarser than 1e-4.
    assert tension_hpa(tension, girth_cm) == pytest.approx(hpa, abs=0.005)
    assert tension_for(mmhg, girth_cm) == pytest.approx(tension, rel=1e-4)


def test_the_constants_are_those_worked_out_apart_from_this_code() -> None:
    assert pytest.approx(4621.65, rel=1e-5) == THOMAS_EXACT
    assert tension_mmhg(1, 1) == pytest.approx(471.28, rel=1e-5)
    assert tension_hpa(1, 1) == pytest.approx(628.32, rel=1e-5)
    assert cylinder_pa(100, 0.05) == 2000


@pytest.mark.parametrize(("tension", "radius"), [(-1, 1), (1, 0), (1, -1), (float("nan"), 1)])
def test_a_limb_without_a_radius_is_refused(tension: float, radius: float) -> None:
    with pytest.raises(ValueError, match="radius"):
        cylinder_pa(tension, radius)
    with pytest.raises(ValueError, match="girth"):
        thomas_mmhg(1, 1, 0, 10)
