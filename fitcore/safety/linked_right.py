"""What puts right what an older session of a person found: a later one that looked again. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from fitcore.identity import uuid7_milliseconds
from fitcore.safety.outcomes import ACTIONS, Action, worst_action
from fitcore.safety.screening_answers import PRESSURE_PREFIX
from fitcore.safety.session_answers import is_assessment
from fitcore.safety.side_difference import READING

if TYPE_CHECKING:
    from fitcore.points import Side
    from fitcore.record.session import Session
    from fitcore.safety.calves import Calves
    from fitcore.safety.decisions import Decision
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_result import ScreeningResult


@dataclass(frozen=True)
class LinkedSession:
    """A session of a person, judged by itself."""

    session: Session
    result: ScreeningResult
    calves: Calves
    decisions: tuple[Decision, ...]

    @cached_property
    def codes(self) -> tuple[str, ...]:
        """Its client's code; several where laptops differ."""
        return tuple(sorted({str(value) for value in self.session.answer("client").values}))

    @cached_property
    def is_clean(self) -> bool:
        """Whether nothing in it asks for anything, and no index of it is in doubt."""
        return (
            worst_action(self.result.rules) is None
            and not any(decision.refuses for decision in self.decisions)
            and not any(leg.abpi.why_not for leg in self.result.legs)
        )

    @cached_property
    def begun_ms(self) -> int | None:
        """When it was begun, in Unix ms; None where somebody said that the clock was wrong."""
        told_wrong = "wrong" in self.session.answer("clock").values
        return None if told_wrong else uuid7_milliseconds(self.session.id)

    def said_ms(self, rule: FiredRule) -> int:
        """Return when what a rule rests on was last said, in Unix ms; 0 where nothing tells.

        A session is left and gone on with days later: what it found may be newer than itself.
        """
        if rule.id not in self._said_ms:
            told = [what.partition("=") for _, what in rule.basis]
            names = {name if name != READING else value for name, _, value in told}
            entries = self.session.entries
            resting = [e for e in entries if e.text("what") in names or str(e.by) in names]
            # A question opened and never answered counts as not known: any line may have opened it.
            instants = [e.at for e in resting or entries]
            known = [int(at.timestamp() * 1000) for at in instants if at is not None]
            self._said_ms[rule.id] = max(known, default=0)
        return self._said_ms[rule.id]

    @cached_property
    def _said_ms(self) -> dict[str, int]:
        return {}

    @cached_property
    def first_numbers(self) -> dict[str, int]:
        """Each laptop's first entry number in it."""
        found: dict[str, int] = {}
        for entry in self.session.entries:
            by = entry.by
            found[by.laptop] = min(by.number, found.get(by.laptop, by.number))
        return found


def puts_right(later: LinkedSession, rule: FiredRule, side: Side) -> bool:
    """Whether a later session under the same code found a leg free of what a rule is about.

    Everything was asked afresh there and nothing as bad was found, a decision left aside; what had
    been measured was measured again; and a hold was assessed anew there.
    """
    worst = worst_action(later.result.rules_of(side))
    if worst in (Action.STOP, Action.HOLD) or (worst is not None and rule.action is Action.ASK):
        return False
    if any(decision.side is side and decision.refuses for decision in later.decisions):
        return False
    names = _rests_on(rule, side)
    if rule.action is Action.HOLD:
        live = later.session.heads.live
        if not names or not names <= {e.text("what") for e in live if is_assessment(e)}:
            return False
    elif READING in names and later.calves.rules:
        return False
    return _looked_again(later, rule, side)


def found_again(later: LinkedSession, rule: FiredRule, side: Side) -> bool:
    """Whether a later session looked at a leg afresh and found the same, or worse, itself."""
    return _looked_again(later, rule, side) and any(
        found.id == rule.id and ACTIONS.index(found.action) >= ACTIONS.index(rule.action)
        for found in later.result.rules_of(side)
    )


def _looked_again(later: LinkedSession, rule: FiredRule, side: Side) -> bool:
    """Whether everything was asked of a leg, and what had been measured was measured again."""
    if not (later.result.complete and later.result.leg(side).asked):
        return False
    names = _rests_on(rule, side)
    if rule.action is Action.HOLD:
        return True  # its assessment says what was measured
    if READING in names and not later.calves.findings:
        return False
    return all(_was_taken(later, n, side) for n in names if n.startswith(PRESSURE_PREFIX))


def _rests_on(rule: FiredRule, side: Side) -> set[str]:
    return {what.partition("=")[0] for what in rule.rests_on(side)}


def _was_taken(later: LinkedSession, name: str, side: Side) -> bool:
    if name.endswith("_toe"):
        return bool(later.session.answer(name).heads)
    return later.result.leg(side).abpi.ratio is not None
