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
from fitcore.safety.abpi_validity import dated, day_entered, why_not_valid
from fitcore.safety.fired_rules import built_in, in_order, pressures_told
from fitcore.safety.outcomes import ACTIONS, Action, FiredRule, Urgency, worst_first
from fitcore.safety.screening_answers import (
    PRESSURE_PREFIX,
    UNKNOWN,
    YES,
    Answers,
    Pressures,
    told_as,
)
from fitcore.safety.screening_questions import Asked
from fitcore.safety.screening_result import (
    LegAbpi,
    LegScreening,
    ScreeningResult,
    leg_clearance,
    with_rules,
)
from fitcore.safety.session_answers import answers_from_session

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from fitcore.points import Side
    from fitcore.record.session import Session
    from fitcore.safety.screening_answers import Answer, Garment
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_model import BuiltIn, Question, Rule

NOT_KNOWN = f"={UNKNOWN}"
"""How what a rule rests on ends where nobody knows."""


def screen(
    answers: Answers,
    pressures: Pressures,
    book: ScreeningBook,
    *,
    on: date,
    sides: Sequence[Side] = LEGS,
    tape: Iterable[FiredRule] = (),
) -> ScreeningResult:
    """Judge what was answered.

    Args:
        answers: what was answered; an absent line of the first page leaves it incomplete, an
            absent answer to an opened question counts as not known.
        pressures: systolic pressures in mmHg.
        book: questions, rules and purposes.
        on: the day, for the age of an ABPI.
        sides: the legs to be fitted; one that is absent or cannot be measured drops out.
        tape: what the calves ask for, where they ask for anything.
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
    entered = day_entered(session, book.questions)
    present, ever = (
        answers_from_session(session, book.questions, earlier_too=too) for too in (False, True)
    )
    return SessionAnswers(dated(*present, entered), dated(*ever, entered), sides or LEGS)


def screen_session(
    told: SessionAnswers,
    book: ScreeningBook,
    *,
    on: date,
    tape: Iterable[FiredRule] = (),
) -> ScreeningResult:
    """Judge what a session says.

    A hold that rested on an answer since changed or struck out stands until an assessment with
    finding, date and who replaces that answer.

    Args:
        told: what the session says.
        book: questions, rules and purposes.
        on: the day, for the age of an ABPI.
        tape: what the calves ask for.
    """
    tape = tuple(tape)
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

    def result(self, tape: Iterable[FiredRule]) -> ScreeningResult:
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
        for rule in tape:
            self._add(rule)
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
        asked = side in self._asked.to_fit
        limits = self._book.rules.without_abpi
        return LegScreening(
            side,
            asked,
            leg_clearance(side, fired, asked=asked, complete=complete),
            abpi,
            None if abpi.valid or limits is None else limits.max_mmhg,
            side not in clot,
            () if limits is None else self._usual_roles(limits.action),
        )

    # ---- answers ------------------------------------------------------------------------------

    def _judge_answers(self, rules: Iterable[Rule], cleared: Iterable[Side] = ()) -> None:
        spared = frozenset(cleared)
        for rule in rules:
            basis: set[tuple[Side, str]] = set()
            for name in rule.questions:
                question = self._book.questions.find(name)
                if question is not None:
                    basis |= self._fired_on(rule, question)
            self._fire(rule, {(side, what) for side, what in basis if side not in spared})

    def _fired_on(self, rule: Rule, question: Question) -> set[tuple[Side, str]]:
        """Return the answers a rule fires on, each with the legs it bears on."""
        found: set[tuple[Side, str]] = set()
        for side in question.sides:
            bears_on = LEGS if side is None or rule.both_legs else (side,)
            for answer in self._asked.answers(question, side):
                if _fires(rule, answer):
                    what = told_as(question.id_of(side), answer)
                    found |= {(leg, what) for leg in bears_on}
        return found

    def _usual_roles(self, action: str) -> tuple[str, ...]:
        """Return whose decision lifts an action where a rule names nobody."""
        roles = self._book.rules.lifted_by
        usual = {} if roles is None else {"ask": roles.ask, "stop": roles.stop}
        return usual.get(action, ())

    def _fire(self, rule: Rule, basis: set[tuple[Side, str]]) -> None:
        usual = self._usual_roles(rule.action)
        lifted_by = rule.lifted_by if rule.lifted_by is not None else usual
        self._add(
            FiredRule(
                rule.id,
                Action(rule.action),
                Urgency(rule.urgency),
                rule.text,
                rule.source,
                rule.status,
                in_order(side for side, _ in basis),
                lifted_by,
                tuple(sorted(basis)),
                rule.suspects_clot,
            )
        )

    def _fire_built_in(
        self,
        name: str,
        rule: BuiltIn | None,
        sides: Iterable[Side],
        basis: Iterable[str] = (),
    ) -> None:
        if rule is not None:
            self._add(built_in(name, rule, sides, self._book, basis))

    def _add(self, fired: FiredRule) -> None:
        """Keep a rule that fired, together with the legs it has fired for already, and on what."""
        known = self._fired.get(fired.id)
        sides = {*fired.sides, *(known.sides if known is not None else ())}
        basis = {*fired.basis, *(known.basis if known is not None else ())}
        if sides:
            both = replace(fired, sides=in_order(sides), basis=tuple(sorted(basis)))
            self._fired[fired.id] = both

    def _clot_suspected(self) -> frozenset[Side]:
        names = {rule.id for rule in self._book.rules.rules if rule.suspects_clot}
        return frozenset(
            side for name in names if name in self._fired for side in self._fired[name].sides
        )

    def _judge_unnamed(self) -> None:
        """Ask where a yes on the first page came to nothing below it."""
        for question in self._book.questions.first_page:
            found = {YES, UNKNOWN} & set(self._answers.of(question.id))
            if not found:
                continue
            branch = self._book.branch(question)
            named = any(
                branch.intersection(rule.questions) and self._names(rule)
                for rule in self._book.rules.rules
            )
            if not named:
                rule = self._book.rules.nothing_named
                basis = (told_as(question.id, answer) for answer in found)
                self._fire_built_in("nothing_named", rule, LEGS, basis)

    def _names(self, rule: Rule) -> bool:
        """Whether a rule fired and says what a line came to; a note only of what somebody knows."""
        fired = self._fired.get(rule.id)
        if fired is None or rule.action != "note":
            return fired is not None
        return rule.says_enough and any(not what.endswith(NOT_KNOWN) for _, what in fired.basis)

    # ---- blood pressures ----------------------------------------------------------------------

    def _judge_pressures(self, side: Side, *, clot: bool) -> LegAbpi:
        names = ("arm_left", "arm_right", f"{side}_dp", f"{side}_pt")
        not_obtained = self._book.rules.abpi_not_obtained
        found: list[Abpi] = []
        stopping: dict[Abpi, int] = {}
        # Values that differ between laptops: each possible index is judged, and the worst rules.
        for taken in product(*(self._pressures.of(name) for name in names)):
            abpi = judge_abpi(taken[:2], taken[2:], self._pressures.one_arm_why)
            basis = pressures_told(zip(names, taken, strict=True))
            found.append(abpi)
            stopping[abpi] = self._judge_abpi(side, abpi, basis)
            if abpi.tried and not abpi.known:
                self._fire_built_in("abpi_not_obtained", not_obtained, (side,), basis)
        for pressure in self._pressures.of(f"{side}_toe"):
            basis = pressures_told([(f"{side}_toe", pressure)])
            if isinstance(pressure, Decimal):
                self._judge_measure("toe_mmhg", pressure, side, basis)
            elif pressure is not None:  # tried in vain: it is low, or nobody knows
                self._fire_built_in("abpi_not_obtained", not_obtained, (side,), basis)
        worst = max(
            (abpi for abpi in stopping if abpi.known),
            key=lambda abpi: (stopping[abpi], -(abpi.ratio or 0)),
            default=found[0],
        )
        limits = [rule.threshold for rule in self._book.abpi_limits if rule.threshold is not None]
        why_not = why_not_valid(
            (abpi.arms for abpi in found),
            self._answers,
            self._pressures,
            self._book.rules.abpi,
            on=self._on,
            clot=clot,
        )
        known = all(abpi.known for abpi in found)
        valid = known and not why_not
        clears = valid and not any(stopping.values())
        shown = show_abpi(worst, limits)
        return LegAbpi(shown, worst.ratio, valid, clears, why_not if known else "")

    def _judge_abpi(self, side: Side, abpi: Abpi, basis: Sequence[str]) -> int:
        """Fire what an index fires; return how bad the worst of it is, 0 for nothing."""
        worst = 0
        if abpi.ankle_mmhg is not None:
            ankles = [what for what in basis if what.startswith(f"{PRESSURE_PREFIX}{side}_")]
            worst = self._judge_measure("ankle_mmhg", abpi.ankle_mmhg, side, ankles)
        for rule in self._book.abpi_limits:
            over = abpi.incompressible and rule.looks_above
            if over or (abpi.ratio is not None and rule.compares(abpi.ratio)):
                self._fire(rule, {(side, what) for what in basis})
                worst = max(worst, ACTIONS.index(Action(rule.action)))
        return worst

    def _judge_measure(self, measure: str, value: Decimal, side: Side, basis: Iterable[str]) -> int:
        worst = 0
        for rule in self._book.rules.rules:
            if rule.measure == measure and rule.compares(value):
                self._fire(rule, {(side, what) for what in basis})
                worst = max(worst, ACTIONS.index(Action(rule.action)))
        return worst

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
