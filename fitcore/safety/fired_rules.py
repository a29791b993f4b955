"""What rules of screening that fire have in common: their legs, and what they fired on. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.points import LEGS
from fitcore.safety.outcomes import Action, FiredRule, Urgency
from fitcore.safety.screening_answers import PRESSURE_PREFIX, value_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.points import Side
    from fitcore.safety.abpi import MmHg
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_model import BuiltIn


def built_in(
    name: str,
    rule: BuiltIn,
    sides: Iterable[Side],
    book: ScreeningBook,
    basis: Iterable[str] = (),
) -> FiredRule:
    """Return a rule of the file's own tables as fired for some legs, and on what for each."""
    roles = book.rules.lifted_by
    bears_on, rests_on = in_order(sides), sorted(set(basis))
    return FiredRule(
        name,
        Action(rule.action),
        Urgency(rule.urgency),
        rule.text,
        rule.source,
        rule.status,
        bears_on,
        () if roles is None else roles.ask if rule.action == "ask" else roles.stop,
        tuple((side, what) for side in bears_on for what in rests_on),
    )


def pressures_told(taken: Iterable[tuple[str, MmHg | None]]) -> tuple[str, ...]:
    """Write pressures as what a rule rests on, such as `pressure.left_dp=112`."""
    return tuple(
        f"{PRESSURE_PREFIX}{name}={value_words(value)}"
        for name, value in taken
        if value is not None
    )


def in_order(sides: Iterable[Side]) -> tuple[Side, ...]:
    """Return legs in their order, left first."""
    wanted = set(sides)
    return tuple(side for side in LEGS if side in wanted)
