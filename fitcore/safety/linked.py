"""What was found under a client's other codes, and how much of it counts for a session. Pure.

A session begun shortly before or any time later counts whole. Of an older one a stop or a hold
counts, until it was put right: in that session itself, or by a later one under the same code that
asked everything afresh. A session under another code puts nothing right: who held it may not have
known. Nor does a decision recorded elsewhere lift anything here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING

from fitcore.identity import uuid7_milliseconds
from fitcore.instants import long_date
from fitcore.points import LEGS
from fitcore.safety.decisions import DECISION_PREFIX
from fitcore.safety.outcomes import Action, FiredRule, Urgency, outcome_words, worst_action
from fitcore.safety.screening_answers import PRESSURE_PREFIX
from fitcore.safety.screening_result import with_rules
from fitcore.safety.session_answers import is_assessment
from fitcore.safety.side_difference import READING
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from fitcore.points import Side
    from fitcore.record.session import Session
    from fitcore.safety.calves import Calves
    from fitcore.safety.decisions import Decision
    from fitcore.safety.linked_model import LinkedRules
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_result import LegScreening, ScreeningResult

_HOUR_MS = 3_600_000
_DAY_MS = 24 * _HOUR_MS
_UNIX_DAY = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class LinkedSession:
    """A session under another code of the same person, judged by itself."""

    session: Session
    result: ScreeningResult
    calves: Calves
    decisions: tuple[Decision, ...]

    @property
    def codes(self) -> tuple[str, ...]:
        """Its client's code; several where laptops differ."""
        return tuple(sorted({str(value) for value in self.session.answer("client").values}))


@dataclass(frozen=True, slots=True)
class Counted:
    """What of such a session counts."""

    session: Session
    code: str
    whole: bool
    """Whether all of it counts; else only what stops fitting and was never put right."""
    result: ScreeningResult
    """Its rules say where they were found, and have an id of their own."""

    @property
    def words(self) -> str:
        """Where something was found and what it comes to, in one line; empty for nothing."""
        if worst_action(self.result.rules) is None:
            return ""
        return _found_there(self.session, self.code, outcome_words(self.result.outcome))

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints."""
        return {
            "code": self.code,
            "session": self.session.id,
            "whole": self.whole,
            "outcome": self.result.outcome,
        }


def count_linked(
    session: Session,
    others: Sequence[LinkedSession],
    book: ScreeningBook,
    rules: LinkedRules,
    *,
    on: date,
) -> tuple[Counted, ...]:
    """Return what counts of sessions under other codes, for `join_results`; by session id.

    Args:
        session: the session looked at.
        others: all sessions under the person's other codes, each judged by itself.
        book: for whose decision lifts a refusal.
        rules: from when on a session counts whole.
        on: the day; a session begun after it was begun by a clock that was wrong.
    """
    counting = _Counting(session, tuple(others), book, rules, on)
    found = (counting.count(other) for other in sorted(others, key=lambda o: o.session.id))
    return tuple(counted for counted in found if counted is not None)


@dataclass(frozen=True)
class _Counting:
    session: Session
    others: tuple[LinkedSession, ...]
    book: ScreeningBook
    rules: LinkedRules
    on: date

    def count(self, other: LinkedSession) -> Counted | None:
        whole = self._counts_whole(other)
        later = [o for o in self.others if o.codes == other.codes and self._is_later(o, other)]
        kept = []
        for rule in (*other.result.rules, *_refusals(other, self.book)):
            if rule.action is Action.NOTE or (rule.action is Action.ASK and not whole):
                continue
            right = {side for o in later for side in rule.sides if _puts_right(o, rule, side)}
            sides = tuple(side for side in rule.sides if side not in right)
            if sides:
                kept.append(_told(rule, sides, other, whole=whole))
        if not whole and not kept:
            return None
        left, right_leg = (_bare(other, leg, whole=whole) for leg in other.result.legs)
        bare = replace(other.result, rules=(), legs=(left, right_leg))
        code = _code_words(other)
        return Counted(other.session, code, whole, with_rules(bare, kept))

    def _counts_whole(self, other: LinkedSession) -> bool:
        """Whether it was begun shortly before or later; so too where no clock can tell."""
        own, begun = self._begun(self.session), self._begun(other.session)
        return own is None or begun is None or own - begun <= self._whole_ms

    def _is_later(self, one: LinkedSession, other: LinkedSession) -> bool:
        """Whether one was surely begun later than another, and not at the same visit.

        Clocks of two laptops say so, and no laptop's own numbers say otherwise.
        """
        begun, before = self._begun(one.session), self._begun(other.session)
        if begun is None or before is None or begun - before <= self._whole_ms:
            return False
        numbers, earlier = _first_numbers(one.session), _first_numbers(other.session)
        return all(numbers[laptop] > earlier[laptop] for laptop in numbers.keys() & earlier.keys())

    @cached_property
    def _whole_ms(self) -> float:
        return float(self.rules.whole_hours) * _HOUR_MS

    def _begun(self, session: Session) -> int | None:
        """Return when a session was begun, in Unix ms; None where that clock was surely wrong."""
        begun = uuid7_milliseconds(session.id)
        first = (self.rules.first_day - _UNIX_DAY).days * _DAY_MS
        # A day more: `on` is a local day.
        last = ((self.on - _UNIX_DAY).days + 2) * _DAY_MS
        told_wrong = "wrong" in session.answer("clock").values
        return begun if first <= begun < last and not told_wrong else None


def _puts_right(later: LinkedSession, rule: FiredRule, side: Side) -> bool:
    """Whether a later session under the same code found a leg free of what a rule is about.

    Everything was asked afresh there and nothing as bad was found, a decision left aside; what had
    been measured was measured again; and a hold was assessed anew there.
    """
    result = later.result
    worst = worst_action(result.rules_of(side))
    if not (result.complete and result.leg(side).asked):
        return False
    if worst in (Action.STOP, Action.HOLD) or (worst is not None and rule.action is Action.ASK):
        return False
    if any(decision.side is side and decision.refuses for decision in later.decisions):
        return False
    names = {what.partition("=")[0] for what in rule.rests_on(side)}
    if rule.action is Action.HOLD:
        live = later.session.heads.live
        return bool(names) and names <= {e.text("what") for e in live if is_assessment(e)}
    if READING in names and (not later.calves.findings or later.calves.rules):
        return False
    return all(_was_taken(later, n, side) for n in names if n.startswith(PRESSURE_PREFIX))


def _was_taken(later: LinkedSession, name: str, side: Side) -> bool:
    if name.endswith("_toe"):
        return bool(later.session.answer(name).heads)
    return later.result.leg(side).abpi.ratio is not None


def _refusals(other: LinkedSession, book: ScreeningBook) -> Iterator[FiredRule]:
    """Return a stop for each decision that nothing is to be fitted: it is the more careful one."""
    roles = book.rules.lifted_by
    for side in LEGS:
        for decision in other.decisions:
            if decision.side is side and decision.refuses:
                yield FiredRule(
                    f"refused_{side}",
                    Action.STOP,
                    Urgency.ROUTINE,
                    say("Prescriber's decision: {words}.", words=decision.words),
                    say("The decision recorded in that session."),
                    "judgement",
                    (side,),
                    () if roles is None else roles.stop,
                    ((side, f"{DECISION_PREFIX}{side}={decision.words}"),),
                )


def _told(
    rule: FiredRule, sides: tuple[Side, ...], other: LinkedSession, *, whole: bool
) -> FiredRule:
    """Return a rule as found elsewhere: a decision here must name it, and the answers there."""
    id_ = other.session.id
    text = _found_there(other.session, _code_words(other), rule.text)
    if rule.action is Action.HOLD:
        text = say("{text} Its new assessment is recorded in that session.", text=text)
    elif any(d.side in sides and not d.refuses and d.covers_rule(rule) for d in other.decisions):
        text = say("{text} A decision there lifts nothing here.", text=text)
    # An emergency of another day is none now; what became of it is found out today (ours).
    urgency = Urgency.TODAY if rule.urgency is Urgency.NOW and not whole else rule.urgency
    return replace(
        rule,
        id=f"{rule.id}@{id_}",
        text=text,
        urgency=urgency,
        sides=sides,
        basis=tuple((side, f"{id_}/{what}") for side, what in rule.basis if side in sides),
        found_in=id_,
    )


def _bare(other: LinkedSession, leg: LegScreening, *, whole: bool) -> LegScreening:
    """Return a leg without what its rules say; of an older session its ABPI says nothing."""
    why = leg.abpi.why_not
    told = _found_there(other.session, _code_words(other), why) if why and whole else ""
    return replace(leg, abpi=replace(leg.abpi, why_not=told), may_take_abpi=True)


def _found_there(session: Session, code: str, text: str) -> str:
    at = session.measured_at
    return say(
        "Under the linked code {code}, session of {date}: {text}",
        code=code,
        date=long_date(at) if at is not None else say("a day not known"),
        text=text,
    )


def _code_words(other: LinkedSession) -> str:
    return " / ".join(other.codes)


def _first_numbers(session: Session) -> dict[str, int]:
    """Return each laptop's first entry number in a session."""
    return _least((entry.by.laptop, entry.by.number) for entry in session.entries)


def _least(numbers: Iterable[tuple[str, int]]) -> dict[str, int]:
    found: dict[str, int] = {}
    for laptop, number in numbers:
        found[laptop] = min(number, found.get(laptop, number))
    return found
