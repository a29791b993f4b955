"""What was found in a client's other sessions, and how much of it counts for a session. Pure.

Other sessions are those under the same code, such as of another laptop, and under linked ones. No
answer is ever taken over: each session asks afresh. What was found shortly before or any time later
counts whole. Of an older one a stop or a hold counts, until it was put right: in that session
itself, or by a later one under the same code that asked everything afresh, the one looked at among
them. A session under another code puts nothing right: who held it may not have known. Nor does a
decision recorded elsewhere lift anything here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING

from fitcore.instants import long_date
from fitcore.points import LEGS
from fitcore.safety.decisions import DECISION_PREFIX
from fitcore.safety.linked_right import found_again, puts_right
from fitcore.safety.outcomes import (
    Action,
    FiredRule,
    Urgency,
    outcome_words,
    worst_action,
)
from fitcore.safety.screening_answers import ANSWER_PREFIX, PRESSURE_PREFIX
from fitcore.safety.screening_result import with_rules
from fitcore.safety.side_difference import READING
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fitcore.points import Side
    from fitcore.record.session import Session
    from fitcore.safety.linked_model import LinkedRules
    from fitcore.safety.linked_right import LinkedSession
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_result import LegScreening, ScreeningResult

_HOUR_MS = 3_600_000
_DAY_MS = 24 * _HOUR_MS
_UNIX_DAY = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Counted:
    """What of such a session counts."""

    session: Session
    code: str
    linked: bool
    """Whether it stands under another code of the person, not under the same."""
    whole: bool
    """Whether all of it counts; else only what stops fitting and was never put right."""
    result: ScreeningResult
    """Its rules say where they were found, and have an id of their own."""

    @property
    def words(self) -> str:
        """Where something was found and what it comes to, in one line; empty for nothing."""
        if worst_action(self.result.rules) is None:
            return ""
        return self.found_there(outcome_words(self.result.outcome))

    def found_there(self, text: str) -> str:
        """Say where something was found."""
        return _found_there(self.session, self.code if self.linked else "", text)

    def as_json(self) -> dict[str, object]:
        """Return it in the shape `fit --json` prints."""
        return {
            "code": self.code,
            "session": self.session.id,
            "whole": self.whole,
            "outcome": self.result.outcome,
        }


def count_linked(
    own: LinkedSession,
    others: Sequence[LinkedSession],
    book: ScreeningBook,
    rules: LinkedRules,
    *,
    on: date,
) -> tuple[Counted, ...]:
    """Return what counts of a person's other sessions, for `join_results`; by session id.

    A session under the same code is returned only where something was found in it.

    Args:
        own: the session looked at, judged by itself too.
        others: all other sessions of the person, each judged by itself.
        book: for whose decision lifts a refusal.
        rules: from when on a session counts whole.
        on: the day; a session begun after it was begun by a clock that was wrong.
    """
    counting = _Counting(own, tuple(others), book, rules, on)
    found = (counting.count(other) for other in sorted(others, key=lambda o: o.session.id))
    return tuple(counted for counted in found if counted is not None)


@dataclass(frozen=True)
class _Counting:
    own: LinkedSession
    others: tuple[LinkedSession, ...]
    book: ScreeningBook
    rules: LinkedRules
    on: date

    def count(self, other: LinkedSession) -> Counted | None:
        linked = not self._is_same_code(other)
        if other.is_clean and not linked:
            return None
        found = list(_found_in(other, self.book))
        if not linked:
            found = [rule for rule in found if _was_found(rule, other)]
        near = {rule.id for rule in found if self._counts_whole(self._found_ms(other, rule))}
        whole = bool(near) or self._counts_whole(self._begun(other))
        counted = Counted(other.session, _code_words(other), linked, whole, other.result)
        kept = [
            _told(rule, sides, other, counted)
            for rule in found
            if rule.action is not Action.NOTE and (rule.id in near or rule.action is not Action.ASK)
            for sides in [self._standing(rule, other, counted)]
            if sides
        ]
        legs = [_bare(leg, counted) for leg in other.result.legs]
        if not kept and (not whole or not (linked or any(leg.abpi.why_not for leg in legs))):
            return None
        bare = replace(other.result, rules=(), legs=(legs[0], legs[1]))
        return replace(counted, result=with_rules(bare, kept))

    def _standing(
        self, rule: FiredRule, other: LinkedSession, counted: Counted
    ) -> tuple[Side, ...]:
        """Return the legs a rule found there still stands for."""
        left = set(rule.sides)
        for later in self._under(other.codes):
            if left and self._is_later(later, other, rule):
                left -= {side for side in left if puts_right(later, rule, side)}
        asked_afresh = self.own.codes == other.codes and self._is_later(self.own, other, rule)
        if asked_afresh and rule.action is Action.STOP and not counted.linked:
            # Found here again, it is decided here; nor does it matter to a leg nothing is to be
            # fitted on.
            left -= {side for side in left if found_again(self.own, rule, side)}
            left -= {side for side in left if not self.own.result.leg(side).asked}
        return tuple(side for side in rule.sides if side in left)

    def _under(self, codes: tuple[str, ...]) -> list[LinkedSession]:
        """Return the sessions under just these codes, the one looked at among them."""
        if codes not in self._by_codes:
            everything = (self.own, *self.others)
            self._by_codes[codes] = [one for one in everything if one.codes == codes]
        return self._by_codes[codes]

    @cached_property
    def _by_codes(self) -> dict[tuple[str, ...], list[LinkedSession]]:
        return {}

    def _is_same_code(self, other: LinkedSession) -> bool:
        """Whether both may be under one code; so too where none is written yet."""
        own = self.own.codes
        return not own or not set(own).isdisjoint(other.codes)

    def _counts_whole(self, at_ms: int | None) -> bool:
        """Whether an instant is shortly before this session or later; so too where none tells."""
        own = self._begun(self.own)
        return own is None or at_ms is None or own - at_ms <= self._whole_ms

    def _is_later(self, one: LinkedSession, other: LinkedSession, rule: FiredRule) -> bool:
        """Whether one was surely begun later than another found a thing, and not at the same visit.

        Clocks of two laptops say so, and no laptop's own numbers say otherwise.
        """
        begun, before = self._begun(one), self._found_ms(other, rule)
        if one is other or begun is None or before is None or begun - before <= self._whole_ms:
            return False
        numbers, earlier = one.first_numbers, other.first_numbers
        return all(numbers[laptop] > earlier[laptop] for laptop in numbers.keys() & earlier.keys())

    @cached_property
    def _whole_ms(self) -> float:
        return float(self.rules.whole_hours) * _HOUR_MS

    def _begun(self, one: LinkedSession) -> int | None:
        """Return when a session was begun, in Unix ms; None where that clock was surely wrong."""
        first, last = self._possible_ms
        return one.begun_ms if one.begun_ms is not None and first <= one.begun_ms < last else None

    def _found_ms(self, other: LinkedSession, rule: FiredRule) -> int | None:
        """Return when a thing was found, in Unix ms; None where a clock was surely wrong."""
        begun, said = self._begun(other), other.said_ms(rule)
        return None if begun is None or said >= self._possible_ms[1] else max(begun, said)

    @cached_property
    def _possible_ms(self) -> tuple[int, int]:
        first = (self.rules.first_day - _UNIX_DAY).days * _DAY_MS
        # A day more: `on` is a local day.
        return first, ((self.on - _UNIX_DAY).days + 2) * _DAY_MS


def _found_in(other: LinkedSession, book: ScreeningBook) -> tuple[FiredRule, ...]:
    return (*other.result.rules, *_refusals(other, book))


def _was_found(rule: FiredRule, other: LinkedSession) -> bool:
    """Whether a session under the same code found a thing, and did not only leave it out.

    A calf not read there, or no ABPI, is this session's own to read. Where nobody was screened,
    such as in an imported sheet, a reading stops nothing: it is taken and compared afresh.
    """
    if rule.action is Action.ASK:
        return bool(rule.basis) and _was_screened(other.session)
    names = {what.partition("=")[0] for _, what in rule.basis}
    return names != {READING} or _was_screened(other.session)


def _was_screened(session: Session) -> bool:
    told = (ANSWER_PREFIX, PRESSURE_PREFIX)
    return any(entry.text("what").startswith(told) for entry in session.entries)


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
    rule: FiredRule, sides: tuple[Side, ...], other: LinkedSession, counted: Counted
) -> FiredRule:
    """Return a rule as found elsewhere: a decision here must name it, and the answers there."""
    id_ = other.session.id
    text = counted.found_there(rule.text)
    if rule.action is Action.HOLD:
        text = say("{text} Its new assessment is recorded in that session.", text=text)
    elif any(d.side in sides and not d.refuses and d.covers_rule(rule) for d in other.decisions):
        text = say("{text} A decision there lifts nothing here.", text=text)
    if rule.action is Action.STOP and not counted.whole and not counted.linked:
        text = say(
            "{text} It ends once this session looks at all of it afresh and finds no stop.",
            text=text,
        )
    # An emergency of another day is none now; what became of it is found out today (ours).
    old = rule.urgency is Urgency.NOW and not counted.whole
    return replace(
        rule,
        id=f"{rule.id}@{id_}",
        text=text,
        urgency=Urgency.TODAY if old else rule.urgency,
        sides=sides,
        basis=tuple((side, f"{id_}/{what}") for side, what in rule.basis if side in sides),
        found_in=id_,
    )


def _bare(leg: LegScreening, counted: Counted) -> LegScreening:
    """Return a leg without what its rules say; of an older session its ABPI says nothing."""
    why = leg.abpi.why_not
    told = counted.found_there(why) if why and counted.whole else ""
    return replace(leg, abpi=replace(leg.abpi, why_not=told), may_take_abpi=True)


def _found_there(session: Session, linked_code: str, text: str) -> str:
    """Say in which session something was found; without a code it is under the same."""
    at = session.measured_at
    day = long_date(at) if at is not None else say("a day not known")
    if linked_code:
        return say(
            "Under the linked code {code}, session of {date}: {text}",
            code=linked_code,
            date=day,
            text=text,
        )
    laptops = {entry.by.laptop for entry in session.entries}
    return say(
        "In another session of this client, {date}, laptop {laptop}: {text}",
        date=day,
        laptop=" / ".join(sorted(laptops)),
        text=text,
    )


def _code_words(other: LinkedSession) -> str:
    return " / ".join(other.codes)
