"""Measuring points, sides and kinds: the letters of the trade and the words for them.

The letters are those commonly used for hosiery (from memory; the standards' own clauses were not
read). A letter never stands alone on screen: the words say where the tape goes.
"""

from __future__ import annotations

from enum import StrEnum

from fitcore.words import say


class Side(StrEnum):
    """Which leg, as the client would say it; BOTH only for a shoe size, which is one per person."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"


LEGS = (Side.LEFT, Side.RIGHT)


class Kind(StrEnum):
    """What is read at a point."""

    GIRTH = "girth"
    LENGTH = "length"
    SHOE = "shoe"


class Point(StrEnum):
    """Measuring points from the foot upwards."""

    FOOT = "foot"
    A = "A"
    Y = "Y"
    B = "B"
    B1 = "B1"
    C = "C"
    D = "D"
    E = "E"
    F = "F"
    G = "G"
    K = "K"
    H = "H"
    T = "T"


POINT_ORDER: dict[Point, int] = {point: rank for rank, point in enumerate(Point)}

Place = tuple[Side, Point, Kind]
"""One thing that can be measured on one person."""


def other_side(side: Side) -> Side:
    """Return the other leg; BOTH stays BOTH."""
    return {Side.LEFT: Side.RIGHT, Side.RIGHT: Side.LEFT}.get(side, side)


def side_words(side: Side) -> str:
    """Return the leg in capitals, as every screen shows it."""
    return {
        Side.LEFT: say("LEFT"),
        Side.RIGHT: say("RIGHT"),
        Side.BOTH: say("BOTH"),
    }[side]


def place_words(point: Point, kind: Kind) -> str:
    """Return what is measured, in words: *round the ankle (B)*, *floor to below the knee (D)*."""
    if kind is Kind.SHOE:
        return say("shoe size")
    girths = {
        Point.FOOT: say("round the foot"),
        Point.A: say("round the ball of the foot (A)"),
        Point.Y: say("round heel and instep (Y)"),
        Point.B: say("round the ankle (B)"),
        Point.B1: say("round the leg at B1"),
        Point.C: say("round the calf (C)"),
        Point.D: say("round below the knee (D)"),
        Point.E: say("round the knee (E)"),
        Point.F: say("round mid-thigh (F)"),
        Point.G: say("round the top of the thigh (G)"),
        Point.K: say("round at the crotch (K)"),
        Point.H: say("round the hips (H)"),
        Point.T: say("round the waist (T)"),
    }
    lengths = {
        Point.FOOT: say("foot length"),
        Point.A: say("heel to base of the toes (A)"),
        Point.Y: say("floor to the instep (Y)"),
        Point.B: say("floor to the ankle mark (B)"),
        Point.B1: say("floor to the B1 mark"),
        Point.C: say("floor to the calf mark (C)"),
        Point.D: say("floor to below the knee (D)"),
        Point.E: say("floor to the knee (E)"),
        Point.F: say("floor to mid-thigh (F)"),
        Point.G: say("floor to top of the thigh (G)"),
        Point.K: say("floor to the crotch (K)"),
        Point.H: say("floor to the hips (H)"),
        Point.T: say("floor to the waist (T)"),
    }
    return (girths if kind is Kind.GIRTH else lengths)[point]
