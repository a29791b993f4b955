"""The ankle-brachial pressure index: exact at every edge, and every way a value can be missing."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from fitcore.safety.abpi import Abpi, Missing, MmHg, judge_abpi, show_abpi

LIMITS = (Decimal("0.5"), Decimal("0.8"), Decimal("1.3"))
NO_SIGNAL, STIFF = Missing.NOT_OBTAINED, Missing.NOT_COMPRESSIBLE


def index(ankle: str, arm: str) -> Abpi:
    return judge_abpi((Decimal(arm), Decimal(arm)), (Decimal(ankle), None))


@pytest.mark.parametrize(
    ("ankle", "arm", "ratio", "shown"),
    [
        # Printed: a consumer how-to page, weak source, arithmetic correct (arms 130 and 128).
        ("125", "130", Fraction(125, 130), "0.96"),
        ("120", "130", Fraction(120, 130), "0.92"),
        # Computed.
        ("112", "140", Fraction(4, 5), "0.800"),
        ("103", "130", Fraction(103, 130), "0.79"),
        ("182", "140", Fraction(13, 10), "1.300"),
        ("70", "140", Fraction(1, 2), "0.500"),
        ("64", "130", Fraction(64, 130), "0.49"),
        ("110", "138", Fraction(110, 138), "0.797"),
        ("128", "138", Fraction(128, 138), "0.93"),
        ("190", "140", Fraction(190, 140), "1.36"),
        # On the seam of two and three decimals: 0.005 from a limit is near, 0.0051 is not.
        ("161", "200", Fraction(161, 200), "0.805"),
        ("80.51", "100", Fraction(8051, 10000), "0.81"),
        ("159", "200", Fraction(159, 200), "0.795"),
        # Rounded to three decimals it would stand on the limit it is not on.
        ("79.99", "100", Fraction(7999, 10000), "0.7999"),
        ("80.01", "100", Fraction(8001, 10000), "0.8001"),
        ("130.0001", "100", Fraction(1300001, 1000000), "1.300001"),
    ],
)
def test_ratio_is_exact_and_shown_on_its_own_side_of_a_limit(
    ankle: str, arm: str, ratio: Fraction, shown: str
) -> None:
    abpi = index(ankle, arm)
    assert abpi.ratio == ratio
    assert show_abpi(abpi, LIMITS) == shown


def test_the_highest_ankle_is_divided_by_the_highest_arm() -> None:
    abpi = judge_abpi((Decimal(130), Decimal(138)), (Decimal(90), Decimal(110)))
    assert (abpi.ratio, abpi.ankle_mmhg, abpi.arms) == (Fraction(110, 138), Decimal(110), "both")


@pytest.mark.parametrize(
    ("arms", "why", "expected"),
    [
        ((Decimal(140), Decimal(130)), "", "both"),
        ((Decimal(140), None), "", "one_alone"),
        ((None, Decimal(140)), "", "one_alone"),
        ((Decimal(140), NO_SIGNAL), "", "one_alone"),
        ((Decimal(140), STIFF), "", "incompressible"),
        ((STIFF, Decimal(140)), "left arm would not compress", "incompressible"),
        ((Decimal(140), None), " ", "one_alone"),
        ((Decimal(140), None), "\u200b", "one_alone"),
        ((Decimal(140), None), "Unknown", "one_alone"),
        ((Decimal(140), None), "arm in plaster", "one_explained"),
        ((NO_SIGNAL, Decimal(140)), "lymphoedema of the arm", "one_explained"),
        ((None, None), "", "none"),
        ((NO_SIGNAL, NO_SIGNAL), "both arms bandaged", "none"),
    ],
)
def test_arms_that_are_missing(
    arms: tuple[MmHg | None, MmHg | None], why: str, expected: str
) -> None:
    abpi = judge_abpi(arms, (Decimal(112), None), why)
    assert abpi.arms == expected
    assert (abpi.ratio is None) == (expected == "none")
    assert abpi.tried


@pytest.mark.parametrize(
    ("ankles", "ratio", "shown", "tried"),
    [
        ((None, None), None, None, False),
        ((NO_SIGNAL, None), None, None, True),
        ((NO_SIGNAL, NO_SIGNAL), None, None, True),
        ((Decimal(126), NO_SIGNAL), Fraction(9, 10), "0.90", True),
        ((None, Decimal(126)), Fraction(9, 10), "0.90", True),
        ((STIFF, None), None, ">1.3", True),
        ((STIFF, STIFF), None, ">1.3", True),
        ((STIFF, NO_SIGNAL), None, ">1.3", True),
        ((Decimal(126), STIFF), Fraction(9, 10), ">1.3", True),
        ((STIFF, Decimal(112)), Fraction(4, 5), ">1.3", True),
        ((STIFF, Decimal(111)), Fraction(111, 140), ">1.3 and 0.79", True),
        ((Decimal(62), STIFF), Fraction(62, 140), ">1.3 and 0.44", True),
    ],
)
def test_ankles_that_are_missing(
    ankles: tuple[MmHg | None, MmHg | None],
    ratio: Fraction | None,
    shown: str | None,
    tried: bool,  # noqa: FBT001
) -> None:
    abpi = judge_abpi((Decimal(140), Decimal(140)), ankles)
    assert (abpi.ratio, abpi.tried) == (ratio, tried)
    assert abpi.incompressible == (STIFF in ankles)
    assert abpi.known == (shown is not None)
    assert show_abpi(abpi, LIMITS) == shown


def test_stiff_arteries_count_as_high_even_without_an_arm_and_keep_the_other_ankle() -> None:
    abpi = judge_abpi((None, None), (STIFF, Decimal(50)))
    assert (abpi.known, abpi.incompressible, abpi.ankle_mmhg) == (True, True, Decimal(50))


def test_the_highest_limit_is_named_in_full() -> None:
    abpi = judge_abpi((Decimal(140), Decimal(140)), (STIFF, None))
    assert show_abpi(abpi, (Decimal("0.5"), Decimal("1.39"))) == ">1.39"
    assert show_abpi(abpi, ()) == "would not compress"
