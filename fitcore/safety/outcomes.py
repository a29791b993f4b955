"""Words of screening that everything shares: actions, urgencies, clearance, and a rule that fired.

No rule stands here: rules are data in `profiles/screening/`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.points import Side


class Action(StrEnum):
    """What a rule asks for, mildest first."""

    NOTE = "note"
    """Something to know; stops nothing."""
    ASK = "ask"
    """The prescriber is asked first."""
    STOP = "stop"
    """Not fitted, unless a specialist decides otherwise."""
    HOLD = "hold"
    """Not fitted, and no decision lifts it: only a new assessment does."""


class Urgency(StrEnum):
    """By when somebody must act, nearest first."""

    NOW = "now"
    TODAY = "today"
    NEXT_WORKING_DAY = "next_working_day"
    ROUTINE = "routine"
    NONE = "none"


class Clearance(StrEnum):
    """What screening found for one leg."""

    CLEARED = "cleared"
    ASK = "ask"
    STOP = "stop"
    HOLD = "hold"
    NOT_SCREENED = "not_screened"


ACTIONS = tuple(Action)
URGENCIES = tuple(Urgency)


@dataclass(frozen=True, slots=True)
class FiredRule:
    """One rule that holds for somebody, and for which legs."""

    id: str
    action: Action
    urgency: Urgency
    text: str
    source: str
    status: str
    sides: tuple[Side, ...]
    """Legs it bears on, left first."""
    lifted_by: tuple[str, ...] = ()
    """Roles whose decision lifts it; none for a note or a hold."""
    basis: tuple[tuple[Side, str], ...] = ()
    """For each leg what it fired on: answers, pressures, readings, as `screen.bypass_left=yes`."""
    suspects_clot: bool = False
    """No ABPI is taken of its legs."""
    found_in: str = ""
    """Id of the client's other session it was found in; empty for the session's own."""

    def rests_on(self, side: Side) -> tuple[str, ...]:
        """Return what it fired on for one leg; empty where it rests on nothing that was told."""
        return tuple(what for leg, what in self.basis if leg is side)

    def as_json(self) -> dict[str, str]:
        """Return it in the shape `screen --json` prints."""
        return {
            "id": self.id,
            "action": self.action.value,
            "urgency": self.urgency.value,
            "text": self.text,
            "source": self.source,
            "status": self.status,
        }


def worst_first(rules: Iterable[FiredRule]) -> tuple[FiredRule, ...]:
    """Sort rules: the worse action first, then the nearer urgency; the rest as it stands."""
    return tuple(
        sorted(
            rules,
            key=lambda rule: (-ACTIONS.index(rule.action), URGENCIES.index(rule.urgency)),
        )
    )


def worst_action(rules: Iterable[FiredRule]) -> Action | None:
    """Return the worst action that stops anything; None where none does."""
    actions = [rule.action for rule in rules if rule.action is not Action.NOTE]
    return max(actions, key=ACTIONS.index, default=None)


def nearest_urgency(rules: Iterable[FiredRule]) -> Urgency:
    """Return the nearest urgency of all rules."""
    return min((rule.urgency for rule in rules), key=URGENCIES.index, default=Urgency.NONE)


def outcome_words(outcome: str) -> str:
    """Return an outcome or a leg's clearance in words; a word is never left to a colour alone."""
    return {
        "go": say("no stop found"),
        "cleared": say("no stop found"),
        "ask": say("ask the prescriber first"),
        "stop": say("stop: do not fit, a specialist decides"),
        "hold": say("stop: do not fit, no decision lifts this"),
        "not_screened": say("not screened"),
    }[outcome]


def urgency_words(urgency: Urgency) -> str:
    """Return by when somebody must act, in words."""
    return {
        Urgency.NOW: say("NOW"),
        Urgency.TODAY: say("today"),
        Urgency.NEXT_WORKING_DAY: say("by the next working day"),
        Urgency.ROUTINE: say("before fitting"),
        Urgency.NONE: say("no hurry"),
    }[urgency]


def first_words() -> str:
    """Return what stands above everything screening says."""
    return say("The prescriber, local protocol and your training come first.")


def after_stop_words() -> str:
    """Return what to do about measuring once there is a stop."""
    return say("Take only the readings the referral needs. Do not keep the client standing.")
