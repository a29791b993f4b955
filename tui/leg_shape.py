"""The shape of a leg in numbers, for the drawing alone: nothing here judges a reading."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from fitcore.points import Point

if TYPE_CHECKING:
    from collections.abc import Sequence

TYPICAL_GIRTHS_CM: dict[Point, float] = {
    Point.A: 24.0,
    Point.Y: 32.7,
    Point.B: 22.2,
    Point.B1: 26.5,
    Point.C: 38.2,
    Point.D: 35.0,
    Point.E: 36.0,
    Point.F: 51.0,
    Point.G: 61.9,
}
"""Girths in cm that shape the leg until the client's own come in; never shown as numbers.

Source: A, Y, B, C and G are the middle between the women's and the men's median of ANSUR II 2012
(NATICK/TR-15/007), computed from its public files; the pairing with the letters is ours. E is the
same from Heinz 2003 (computed), F the women's median of Anthro_F (computed; no men's). No norms
were found for B1 and D: ours, by eye.
"""

LOWER_THIGH_CM = (53.0, 40.3)
"""Height and girth in cm above the kneecap, where the thigh begins to widen.

Source: the girth as above (ANSUR II, lower thigh, computed); the height is ours, by eye.
"""

TYPICAL_HEIGHTS_CM: dict[Point, float] = {
    Point.B: 10.0,
    Point.B1: 16.0,
    Point.C: 29.5,
    Point.D: 41.0,
    Point.E: 46.8,
    Point.F: 64.0,
    Point.G: 76.3,
}
"""Heights in cm above the floor that choose the row of a level; never shown as numbers.

Source: E is the middle between the women's and the men's median mid-patella height of ANSUR II
(computed). G is 5 cm below its crotch height and F midway between crotch and E, by the meaning of
the letters (from memory). No norms were found for B, B1, C and D: ours, by eye.
"""

ABOVE_TOP_CM: dict[Point, float] = {Point.D: 8.5, Point.E: 5.0, Point.F: 5.0, Point.G: 5.0}
"""How much leg is drawn above the top level (ours): without a knee it reads as a bottle."""

TYPICAL_FILL: dict[Point, float] = {Point.D: 0.76, Point.E: 0.76, Point.F: 0.8, Point.G: 0.85}
"""Part of the frame the widest typical level takes (ours); the rest is room for larger legs."""

WILD_RATIO = 2.25
"""Times the typical girth from which a value is clipped and marked instead of drawn to scale.

Ours: about where the widest suggested entry limits lie (C 90 cm, G 140 cm), so that a very swollen
leg is still drawn whole. The mark says only that the drawing ends here; it judges no reading.
"""

FRONT_WIDTH: dict[Point, float] = {
    Point.A: 1.45,
    Point.Y: 0.75,
    Point.B: 0.88,
    Point.B1: 0.96,
    Point.C: 1.03,
    Point.D: 0.95,
    Point.E: 0.93,
}
"""Width seen from the front against that of a round limb of the same girth (ours, by eye).

The ball of the foot is flat, the ankle deeper than wide; at Y the tape slants round the heel.
"""

OUTWARD: dict[Point, float] = {Point.A: 0.15, Point.Y: 0.05, Point.C: 0.08, Point.D: 0.02}
"""Part of the half-width by which the middle of the leg lies to the outer side (ours, by eye)."""

TOES, BALL, INSTEP = 0, 1, 2
"""Rows above the floor line, fixed: to scale, the foot of a thigh-length leg would vanish."""


def smooth_between(knots: Sequence[tuple[float, float]], at: float) -> float:
    """Return the smoothstep curve through knots sorted by place: it never leaves their range."""
    for (start, low), (end, high) in pairwise(knots):
        if start <= at < end:
            part = (at - start) / (end - start)
            return low + (high - low) * part * part * (3 - 2 * part)
    return knots[0][1] if at < knots[0][0] else knots[-1][1]


def girth_words(girth_cm: float) -> str:
    """Write a girth with one decimal, or two; a finer one is marked as about."""
    text = f"{girth_cm:.2f}".removesuffix("0")
    return text if abs(float(text) - girth_cm) < 1e-6 else f"~{girth_cm:.1f}"
