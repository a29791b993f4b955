"""What a maker says of a value between two ranges wider apart than a step: the one table of rules.

A new rule is added here alone: `GapRule` names it, and the type checker then asks for each place
that must know it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, assert_never

from fitcore.words import say

if TYPE_CHECKING:
    from decimal import Decimal

GapRule = Literal["none", "nearest", "larger"]
"""No size; the nearer one (half way goes to the larger); the larger."""


def sizes_meet(rule: GapRule, below: Decimal, above: Decimal) -> Decimal | None:
    """Return where the two sizes beside a gap meet; None where the gap stays open.

    Args:
        rule: what the maker says.
        below: upper edge printed of the smaller size.
        above: lower edge printed of the larger one, in the same scale.

    Returns:
        `below` itself stays inside the smaller size; any other place is the larger size's.
    """
    match rule:
        case "none":
            return None
        case "nearest":
            return (below + above) / 2
        case "larger":
            return below
        case _:
            assert_never(rule)


def rule_words(rule: GapRule, name: str, value: str) -> str:
    """Say of a value in a gap which size takes it.

    Args:
        rule: what the maker says.
        name: the measure, in words.
        value: as it is shown.
    """
    match rule:
        case "none":
            return say("{name} {value} falls in a gap between sizes.", name=name, value=value)
        case "nearest":
            return say(
                "{name} {value} lies in a gap: the chart's rule takes the nearer size.",
                name=name,
                value=value,
            )
        case "larger":
            return say(
                "{name} {value} lies in a gap: the chart's rule takes the larger size.",
                name=name,
                value=value,
            )
        case _:
            assert_never(rule)
