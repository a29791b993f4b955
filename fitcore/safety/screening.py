"""Screening: answers and blood pressures against the rules, one outcome for each leg. Pure.

The worse outcome and the nearer urgency win. What is not known counts as the careful answer, and
where answers differ each of them is judged. This module offers no size:
`fitcore.safety.decisions` does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

from fitcore.points import LEGS
from fitcore.safety.abpi import Abpi, judge_abpi, show_abpi
from fitcore.safety.outcomes import ACTIONS, Action, FiredRule, Urgency, worst_first
from fitcore.safety.screening_answers import UNKNOWN, YES, Answers, Pressures, answers_from_session
from fitcore.safety.screening_questions import Asked
from fitcore.safety.screening_result import (
    LegAbpi,
    LegScreening,
    ScreeningResult,
    leg_clearance,
    with_rules,
)
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from fitcore.points import Side
    from fitcore.record.session import Session
    from fitcore.safety.screening_answers import Answer, Garment
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_model import BuiltIn, Question, Rule


def screen(
    answers: Answers,
    pressures: Pressures,
    book: ScreeningBook,
    *,
    on: date,
    sides: Sequence[Side] = LEGS,
    tape: FiredRule | None = None,
) -> ScreeningResult:
    """Judge what was answered.

    Args:
        answers: what was answered; an absent line of the first page leaves it incomplete, an
            absent answer to an opened question counts as not known.
        pressures: systolic pressures in mmHg.
        book: questions, rules and purposes.
        on: the day, for the age of an ABPI.
        sides: the legs to be fitted; one that is absent or cannot be measured drops out.
        tape: what the difference between the calves asks for, where it asks for anything.
    """
    return _Screening(answers, pressures, book, on, sides).result(tape)


@dataclass(frozen=True)
class SessionAnswers:
    """What a session says of screening."""

    present: tuple[Answers, Pressures]
    ever: tuple[Answers, Pressures]
    """The same with answers changed or struck out since that no assessment replaced."""
    sides: tuple[Side, ...]
    """The legs to be fitted."""

    def for_garment(self, garment: Garment) -> SessionAnswers:
        """Return the same for one garment."""
        (answers, taken), (ever, ever_taken) = self.present, self.ever
        return SessionAnswers(
            (answers.for_garment(garment), taken),
            (ever.for_garment(garment), ever_taken),
            self.sides,
        )


def answers_of(session: Session, book: ScreeningBook) -> SessionAnswers:
    """Return what a session says of screening."""
    answered = session.value("sides")
    sides = tuple(s for s in LEGS if not isinstance(answered, list) or s.value in answered)
    return SessionAnswers(
        answers_from_session(session, book.questions),
        answers_from_session(session, book.questions, earlier_too=True),
        sides or LEGS,
    )


def screen_session(
    told: SessionAnswers,
    book: ScreeningBook,
    *,
    on: date,
    tape: FiredRule | None = None,
) -> ScreeningResult:
    """Judge what a session says.

    A hold that rested on an answer since changed or struck out stands until an assessment with
    finding, date and who replaces that answer.

    Args:
        told: what the session says.
        book: questions, rules and purposes.
        on: the day, for the age of an ABPI.
        tape: what the difference between the calves asks for.
    """
    present = screen(*told.present, book, on=on, sides=told.sides, tape=tape)
    if told.ever == told.present:
        return present
    earlier = screen(*told.ever, book, on=on, sides=told.sides, tape=tape)
    holds = tuple(rule for rule in earlier.rules if rule.action is Action.HOLD)
    return with_rules(present, holds)


class _Screening:
    """One run over all rules; made once and thrown away."""

    def __init__(
        self,
        answers: Answers,
        pressures: Pressures,
        book: ScreeningBook,
        on: date,
        sides: Sequence[Side],
    ) -> None:
        self._book, self._pressures, self._on = book, pressures, on
        self._asked = Asked(answers, book.questions, sides)
        self._answers = answers
        self._fired: dict[str, FiredRule] = {}

    def result(self, tape: FiredRule | None) -> ScreeningResult:
        purposes = [
            advice
            for purpose in self._answers.of("purpose")
            for advice in self._book.purposes.purposes
            if purpose in (advice.purpose, UNKNOWN)
        ]
        rules = [*self._book.rules.rules, *(rule for a in purposes for rule in a.rules)]
        self._judge_answers(rule for rule in rules if not rule.unless_abpi_clears)
        clot = self._clot_suspected()
        legs = {side: self._judge_pressures(side, clot=side in clot) for side in LEGS}
        cleared = {side for side, abpi in legs.items() if abpi.clears}
        self._judge_answers((rule for rule in rules if rule.unless_abpi_clears), cleared)
        self._judge_limit({side for side in self._asked.sides if not legs[side].valid})
        self._judge_unnamed()
        if tape is not None:
            self._add(tape)
        fired = worst_first(self._fired.values())
        complete = all(self._answers.of(q.id) for q in self._book.questions.first_page)
        left, right = (self._leg(side, legs[side], fired, clot, complete=complete) for side in LEGS)
        return ScreeningResult(complete, fired, (left, right), self._book.used)

    def _leg(
        self,
        side: Side,
        abpi: LegAbpi,
        fired: Sequence[FiredRule],
        clot: frozenset[Side],
        *,
        complete: bool,
    ) -> LegScreening:
        asked = side in self._asked.sides
        limits = self._book.rules.without_abpi
        return LegScreening(
            side,
            asked,
            leg_clearance(side, fired, asked=asked, complete=complete),
            abpi,
            None if abpi.valid or limits is None else limits.max_mmhg,
            side not in clot,
        )

    # ---- answers ------------------------------------------------------------------------------

    def _judge_answers(self, rules: Iterable[Rule], cleared: Iterable[Side] = ()) -> None:
        spared = frozenset(cleared)
        for rule in rules:
            sides: set[Side] = set()
            for name in rule.questions:
                question = self._book.questions.find(name)
                if question is not None:
                    sides |= self._sides_fired(rule, question)
            self._fire(rule, sides - spared)

    def _sides_fired(self, rule: Rule, question: Question) -> set[Side]:
        found: set[Side] = set()
        for side in question.sides:
            if any(_fires(rule, answer) for answer in self._asked.answers(question, side)):
                found |= {*LEGS} if side is None or rule.both_legs else {side}
        return found

    def _fire(self, rule: Rule, sides: set[Side]) -> None:
        roles = self._book.rules.lifted_by
        usual = {} if roles is None else {"ask": roles.ask, "stop": roles.stop}
        lifted_by = rule.lifted_by if rule.lifted_by is not None else usual.get(rule.action, ())
        self._add(
            FiredRule(
                rule.id,
                Action(rule.action),
                Urgency(rule.urgency),
                rule.text,
                rule.source,
                rule.status,
                _in_order(sides),
                lifted_by,
            )
        )

    def _fire_built_in(self, name: str, rule: BuiltIn | None, sides: Iterable[Side]) -> None:
        if rule is not None:
            self._add(built_in(name, rule, sides, self._book))

    def _add(self, fired: FiredRule) -> None:
        """Keep a rule that fired, together with the legs it has fired for already."""
        known = self._fired.get(fired.id)
        sides = {*fired.sides, *(known.sides if known is not None else ())}
        if sides:
            self._fired[fired.id] = replace(fired, sides=_in_order(sides))

    def _clot_suspected(self) -> frozenset[Side]:
        names = {rule.id for rule in self._book.rules.rules if rule.suspects_clot}
        return frozenset(
            side for name in names if name in self._fired for side in self._fired[name].sides
        )

    def _judge_unnamed(self) -> None:
        """Ask where a yes on the first page came to nothing below it."""
        for question in self._book.questions.first_page:
            if not {YES, UNKNOWN} & set(self._answers.of(question.id)):
                continue
            branch = self._book.branch(question)
            named = any(
                rule.id in self._fired and branch.intersection(rule.questions)
                for rule in self._book.rules.rules
            )
            if not named:
                self._fire_built_in("nothing_named", self._book.rules.nothing_named, LEGS)

    # ---- blood pressures ----------------------------------------------------------------------

    def _judge_pressures(self, side: Side, *, clot: bool) -> LegAbpi:
        arms = ("arm_left", "arm_right")
        ankles = (f"{side}_dp", f"{side}_pt")
        values = [self._pressures.of(name) for name in (*arms, *ankles)]
        # Values that differ between laptops: each possible index is judged, and the worst rules.
        found = [
            judge_abpi(taken[:2], taken[2:], self._pressures.one_arm_why)
            for taken in product(*values)
        ]
        stopping = {abpi: self._judge_abpi(side, abpi) for abpi in dict.fromkeys(found)}
        for pressure in self._pressures.of(f"{side}_toe"):
            if isinstance(pressure, Decimal):
                self._judge_measure("toe_mmhg", pressure, side)
        if any(abpi.tried and not abpi.known for abpi in found):
            rule = self._book.rules.abpi_not_obtained
            self._fire_built_in("abpi_not_obtained", rule, (side,))
        worst = max(
            (abpi for abpi in stopping if abpi.known),
            key=lambda abpi: (stopping[abpi], -(abpi.ratio or 0)),
            default=found[0],
        )
        limits = [rule.threshold for rule in self._book.abpi_limits if rule.threshold is not None]
        why_not = self._why_not(found, clot=clot)
        known = all(abpi.known for abpi in found)
        valid = known and not why_not
        clears = valid and not any(stopping.values())
        shown = show_abpi(worst, limits)
        return LegAbpi(shown, worst.ratio, valid, clears, why_not if known else "")

    def _judge_abpi(self, side: Side, abpi: Abpi) -> int:
        """Fire what an index fires; return how bad the worst of it is, 0 for nothing."""
        worst = 0
        if abpi.ankle_mmhg is not None:
            worst = self._judge_measure("ankle_mmhg", abpi.ankle_mmhg, side)
        for rule in self._book.abpi_limits:
            over = abpi.incompressible and rule.looks_above
            if over or (abpi.ratio is not None and rule.compares(abpi.ratio)):
                self._fire(rule, {side})
                worst = max(worst, ACTIONS.index(Action(rule.action)))
        return worst

    def _judge_measure(self, measure: str, value: Decimal, side: Side) -> int:
        worst = 0
        for rule in self._book.rules.rules:
            if rule.measure == measure and rule.compares(value):
                self._fire(rule, {side})
                worst = max(worst, ACTIONS.index(Action(rule.action)))
        return worst

    def _why_not(self, found: Sequence[Abpi], *, clot: bool) -> str:
        """Say why an index that is there is not valid, or return an empty text."""
        if clot:
            return say("A clot is suspected: no ABPI clears this leg.")
        if any(abpi.arms == "one_alone" for abpi in found):
            return say("One arm only, and no reason: the other may be the higher one.")
        settings, taken_on = self._book.rules.abpi, self._pressures.taken_on
        if settings is None or taken_on is None:
            return ""
        days = (self._on - taken_on).days
        if days < 0:
            return say("The ABPI is of a later day than today: check the date.")
        if days > settings.max_age_days:
            return say("The ABPI is older than {days} days.", days=settings.max_age_days)
        since = self._answers.of("new_symptoms_since_abpi") or (UNKNOWN,)
        if days and set(since) != {"no"}:
            return say("Symptoms may be new or worse since the ABPI was taken.")
        return ""

    def _judge_limit(self, without: set[Side]) -> None:
        """Ask where a garment is stronger than a leg without an ABPI may get."""
        rule = self._book.rules.without_abpi
        asked = [
            answer
            for name in ("garment_high_mmhg", "prescribed_high_mmhg")
            for answer in self._answers.of(name)
        ]
        if rule is not None and any(_above(answer, rule.max_mmhg) for answer in asked):
            self._fire_built_in("without_abpi", rule, without)


def built_in(name: str, rule: BuiltIn, sides: Iterable[Side], book: ScreeningBook) -> FiredRule:
    """Return a rule of the file's own tables as fired for some legs."""
    roles = book.rules.lifted_by
    return FiredRule(
        name,
        Action(rule.action),
        Urgency(rule.urgency),
        rule.text,
        rule.source,
        rule.status,
        _in_order(sides),
        () if roles is None else roles.ask if rule.action == "ask" else roles.stop,
    )


def _in_order(sides: Iterable[Side]) -> tuple[Side, ...]:
    wanted = set(sides)
    return tuple(side for side in LEGS if side in wanted)


def _fires(rule: Rule, answer: Answer) -> bool:
    if answer == UNKNOWN:
        return True
    if rule.when in (YES, "no"):
        return answer == rule.when
    if rule.when == "one_of":
        return answer in rule.one_of
    return isinstance(answer, Decimal) and rule.compares(answer)


def _above(answer: Answer, limit: int) -> bool:
    return answer > limit if isinstance(answer, Decimal) else answer == UNKNOWN
