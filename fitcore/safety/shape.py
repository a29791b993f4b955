"""The shape of a leg that no table of girths sees, and what it asks of the toe of a garment. Pure.

A chart's numbers are not the whole fit: on a leg with deep folds, a sudden step, toes or joints
out of shape, or no ankle narrower than what is above it, every size is for a specialist to judge.
Source: common practice; which shapes count is our judgement.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.points import Side
from fitcore.record.fields import SHAPES, UNKNOWN, choice_words
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection

    from fitcore.record.session import Session

NOTHING = "nothing"
"""Answer that somebody looked and found no such shape."""


def shape_field(side: Side) -> str:
    """Return the field that holds a leg's shape."""
    return "shape_left" if side is Side.LEFT else "shape_right"


def recorded_shapes(session: Session, side: Side) -> tuple[str, ...]:
    """Return what was recorded of a leg's shape, in the register's order.

    Where two people answered differently, whatever either of them saw counts; and so does what
    nobody could tell.
    """
    seen: set[str] = set()
    for value in session.answer(shape_field(side)).values:
        seen |= set(map(str, value)) if isinstance(value, (list, tuple)) else {str(value)}
    return tuple(shape for shape in (*SHAPES, UNKNOWN) if shape in seen)


def is_asked(session: Session, side: Side) -> bool:
    """Whether somebody said what a leg's shape is, be it nothing unusual."""
    return bool(session.answer(shape_field(side)).heads)


def shape_words(shapes: Collection[str]) -> str:
    """Return why no size is offered for such a leg; empty where nothing is in the way."""
    if not shapes:
        return ""
    return say(
        "Numbers may fit, shape may not: a specialist first ({shapes}).",
        shapes=", ".join(choice_words(shape) for shape in shapes),
    )


def why_not_toe(shapes: Collection[str], toe: str) -> str:
    """Return why a garment's toe does not suit the toes; empty where it does.

    Args:
        shapes: what was recorded of the leg.
        toe: the chart's: open, closed, soft_cap or none.

    Source: deformed toes want an open toe, swollen toes caps or a closed one: common practice.
    """
    if "deformed_toes" in shapes and toe in {"closed", "soft_cap"}:
        return say("The toes are out of shape: an open toe, so that nothing presses on them.")
    if "swollen_toes" in shapes and toe in {"open", "none"}:
        return say("The toes are swollen: toe caps or a closed toe, so that they are held, too.")
    return ""
