"""What screening found: for each leg and altogether, and the more careful of several results."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.points import LEGS, Side
from fitcore.safety.outcomes import (
    ACTIONS,
    Action,
    Clearance,
    FiredRule,
    Urgency,
    nearest_urgency,
    worst_action,
    worst_first,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from fractions import Fraction

    from fitcore.safety.screening_book import RulesUsed

GO = "go"


@dataclass(frozen=True, slots=True)
class LegAbpi:
    """What the blood pressures say of one leg."""

    shown: str | None
    """As written for people: `0.93`; None where there is none."""
    ratio: Fraction | None
    """Exact; where values differ between laptops the one that stops most, then the lowest."""
    valid: bool
    """Whether it takes the limit of a leg without an ABPI away: it is known, whole and recent."""
    clears: bool
    """Whether it is valid and no rule on it fires."""
    why_not: str
    """Why a value that is there is not valid, or empty."""


@dataclass(frozen=True, slots=True)
class LegScreening:
    """One leg."""

    side: Side
    asked: bool
    """Whether it is there and to be fitted."""
    clearance: Clearance
    abpi: LegAbpi
    limit_mmhg: int | None
    """Highest upper printed limit without a valid ABPI; None where there is one, whatever it is."""
    may_take_abpi: bool
    """False where a clot is suspected."""
    limit_roles: tuple[str, ...] = ()
    """Whose decision takes the limit of a leg without an ABPI away."""


@dataclass(frozen=True)
class ScreeningResult:
    """What screening found."""

    complete: bool
    """Whether every line of the first page was answered."""
    rules: tuple[FiredRule, ...]
    """Worst first."""
    legs: tuple[LegScreening, LegScreening]
    """Left, right."""
    used: RulesUsed

    def leg(self, side: Side) -> LegScreening:
        """Return one leg."""
        return self.legs[LEGS.index(side)]

    def rules_of(self, side: Side) -> tuple[FiredRule, ...]:
        """Return the rules that bear on one leg, worst first."""
        return tuple(rule for rule in self.rules if side in rule.sides)

    @property
    def outcome(self) -> str:
        """`go`, `ask`, `stop` or `hold`; `not_screened` where not all was asked, or no leg is."""
        worst = worst_action(self.rules)
        if worst is not None:
            return worst.value
        whole = self.complete and any(leg.asked for leg in self.legs)
        return GO if whole else Clearance.NOT_SCREENED.value

    @property
    def urgency(self) -> Urgency:
        """By when somebody must act."""
        return nearest_urgency(self.rules)

    @property
    def max_mmhg(self) -> int | None:
        """Highest pressure without an ABPI; None where ABPIs clear, and where nothing may go on."""
        limits = [leg.limit_mmhg for leg in self.legs if leg.asked and leg.limit_mmhg is not None]
        return min(limits, default=None) if self.outcome == GO else None

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `screen --json` prints."""
        return {
            "outcome": self.outcome,
            "urgency": self.urgency.value,
            "rules": [rule.as_json() for rule in self.rules],
            "abpi": {leg.side.value: leg.abpi.shown for leg in self.legs},
            "max_mmhg": self.max_mmhg,
            "legs": {leg.side.value: leg.clearance.value for leg in self.legs},
        }


def join_results(own: ScreeningResult, *others: ScreeningResult) -> ScreeningResult:
    """Return the more careful of several results for one person, such as of several sessions.

    Args:
        own: the result of the session being looked at; only it can be complete.
        others: results of other sessions: what stops there stops here.
    """
    joined = own
    for other in others:
        stops = tuple(rule for rule in other.rules if rule.action is not Action.NOTE)
        joined = with_rules(joined, stops)
        pairs = zip(joined.legs, other.legs, strict=True)
        legs = [_more_careful_leg(leg, theirs) for leg, theirs in pairs]
        joined = replace(joined, legs=(legs[0], legs[1]))
    return joined


def _more_careful_leg(leg: LegScreening, theirs: LegScreening) -> LegScreening:
    """Take over a suspected clot, and an index that was there and does not clear the leg."""
    voided = bool(theirs.abpi.why_not) and theirs.limit_mmhg is not None
    return replace(
        leg,
        may_take_abpi=leg.may_take_abpi and theirs.may_take_abpi,
        abpi=theirs.abpi if voided else leg.abpi,
        limit_mmhg=theirs.limit_mmhg if voided else leg.limit_mmhg,
    )


def with_rules(result: ScreeningResult, more: Sequence[FiredRule]) -> ScreeningResult:
    """Add rules that hold as well; a rule that is there already covers the legs of both."""
    found: dict[str, FiredRule] = {rule.id: rule for rule in result.rules}
    for rule in more:
        known = found.get(rule.id)
        if known is None or ACTIONS.index(rule.action) > ACTIONS.index(known.action):
            worse, other = rule, known
        else:
            worse, other = known, rule
        both = {*worse.sides, *(other.sides if other else ())}
        found[rule.id] = replace(
            worse,
            sides=tuple(side for side in LEGS if side in both),
            basis=tuple(sorted({*worse.basis, *(other.basis if other else ())})),
        )
    rules = worst_first(found.values())
    clot = {side for rule in rules if rule.suspects_clot for side in rule.sides}
    legs = [
        replace(
            leg,
            clearance=leg_clearance(leg.side, rules, asked=leg.asked, complete=result.complete),
            may_take_abpi=leg.may_take_abpi and leg.side not in clot,
        )
        for leg in result.legs
    ]
    return replace(result, rules=rules, legs=(legs[0], legs[1]))


def leg_clearance(
    side: Side, rules: Iterable[FiredRule], *, asked: bool, complete: bool
) -> Clearance:
    """Say what the rules leave of one leg.

    Args:
        side: the leg.
        rules: all that fired.
        asked: whether the leg is there and to be fitted.
        complete: whether every line of the first page was answered.
    """
    if not asked:
        return Clearance.NOT_SCREENED
    worst = worst_action(rule for rule in rules if side in rule.sides)
    if worst is not None:
        return Clearance(worst.value)
    return Clearance.CLEARED if complete else Clearance.NOT_SCREENED
