"""May it be fitted? The one place that says whether a size may be offered.

Screen, command line, papers and exports all ask here: answers, blood pressures, the calves, the
prescription and recorded decisions come together in one answer for each leg and garment. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from fitcore.doubts.repeats import differing
from fitcore.points import LEGS
from fitcore.pressures.pressure import range_words
from fitcore.record.fields import choice_words
from fitcore.record.last_time import LastTime, before_each
from fitcore.record.readings import Readings
from fitcore.safety.calves import Calves, judge_calves
from fitcore.safety.decisions import (
    LIMIT_RULE,
    ClearanceAnswer,
    Decision,
    clearance,
    decisions_of,
    may_fit,
)
from fitcore.safety.linked import Counted, count_linked
from fitcore.safety.linked_right import LinkedSession
from fitcore.safety.outcomes import Action, Clearance
from fitcore.safety.prescription import Prescription, beside_prescription, prescription_of
from fitcore.safety.screening import SessionAnswers, answers_of, screen_session
from fitcore.safety.screening_answers import Garment
from fitcore.safety.screening_result import join_results, with_rules
from fitcore.safety.swelling_told import swelling_not_told
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from decimal import Decimal

    from fitcore.charts.chart import Chart
    from fitcore.points import Side
    from fitcore.record.session import Session
    from fitcore.rules import Rules
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_result import ScreeningResult

_MOST_HELD = 512
"""Other sessions kept as judged: more than one client has, and a day's clients (ours)."""


@dataclass(frozen=True)
class SessionClearance:
    """What a session says of whether compression may be fitted."""

    session: Session
    rules: Rules
    on: date
    told: SessionAnswers
    calves: Calves
    result: ScreeningResult
    """Of screening, the more careful of this session and what counts of the client's others."""
    decisions: tuple[Decision, ...]
    prescription: Prescription | None
    linked: tuple[Counted, ...] = ()
    """What counts of the person's other sessions, under this code and linked ones."""

    def leg(self, side: Side) -> ClearanceAnswer:
        """Say whether anything may be fitted on a leg, whatever the garment."""
        return self._beside_prescription(
            may_fit(self.result, side, self.decisions, on=self.on), side
        )

    def offer(self, side: Side, chart: Chart) -> ClearanceAnswer:
        """Say whether a garment may be offered for a leg."""
        upper = chart.pressure.mmhg[1] if chart.pressure is not None else None
        result = self._with(chart.form, upper)
        worn = self.told.present[0].worn_mmhg(upper)
        answer = clearance(result, side, self.decisions, worn, on=self.on, layered=worn != upper)
        return self._beside_prescription(answer, side)

    def garment_notes(self, side: Side, chart: Chart) -> tuple[str, ...]:
        """Return what is to be known of wearing this garment for the purpose asked for."""
        upper = chart.pressure.mmhg[1] if chart.pressure is not None else None
        general = {rule.id for rule in self.result.rules}
        return tuple(
            rule.text
            for rule in self._with(chart.form, upper).rules_of(side)
            if rule.action is Action.NOTE and rule.id not in general
        )

    def purpose_notes(self) -> tuple[str, ...]:
        """Return what is known of wearing compression for the purpose asked for.

        A pressure a source states never stands without the people it is stated for.
        """
        told = []
        for purpose in self.session.answer("purpose").values:
            advice = self.rules.screening.advice(str(purpose))
            if advice is None:
                continue
            whom = ""
            if advice.mmhg is not None and advice.for_whom:
                whom = f" {range_words(*advice.mmhg)}: {advice.for_whom}"
            told.append(
                say(
                    "For {purpose}: {text}{whom} {source}",
                    purpose=choice_words(str(purpose)),
                    text=advice.text,
                    whom=whom,
                    source=source_words(advice.status, advice.source),
                )
            )
        return tuple(told)

    def open_rules(self, side: Side) -> tuple[FiredRule, ...]:
        """Return the rules on a leg that a decision may be asked about, worst first.

        None for a leg that is not to be fitted: there is nothing to decide.
        """
        if not self.result.leg(side).asked:
            return ()
        return tuple(rule for rule in self.result.rules_of(side) if rule.lifted_by)

    @property
    def needs_person(self) -> bool:
        """Whether something found must still be asked, decided or acted on by a person.

        A leg nothing is prescribed for waits for nobody, and in a session nobody screened, such as
        an imported one, what would be asked first waits for screening.
        """
        answers, _ = self.told.present
        first = self.rules.screening.questions.first_page
        begun = any(answers.of(question.id) for question in first)
        waiting = {Clearance.STOP, Clearance.HOLD, *([Clearance.ASK] if begun else [])}
        legs = [may_fit(self.result, side, self.decisions, on=self.on) for side in LEGS]
        held = any(rule.action is Action.HOLD for rule in self.result.rules)
        return held or any(not leg.offered and leg.clearance in waiting for leg in legs)

    def as_json(self) -> dict[str, object]:
        """Return the screening part of `fit --json`."""
        return {**self.result.as_json(), "linked": [found.as_json() for found in self.linked]}

    def _with(self, form: str, upper: Decimal | None) -> ScreeningResult:
        """Return screening for one garment; charts that print the same share one."""
        key = (form, upper)
        if key not in self._garments:
            told = self.told.for_garment(Garment(form, upper))
            seen = _seen(self.session, self.calves)
            found = _screen(told, self.rules, self.on, seen, self.prescription)
            if not any(rule.id == LIMIT_RULE for rule in self.result.rules):
                # The limit itself is compared by `clearance`, which says both figures.
                others = tuple(rule for rule in found.rules if rule.id != LIMIT_RULE)
                found = with_rules(replace(found, rules=others), ())
            self._garments[key] = _joined(found, self.linked)
        return self._garments[key]

    @cached_property
    def _garments(self) -> dict[tuple[str, Decimal | None], ScreeningResult]:
        return {}

    def _beside_prescription(self, answer: ClearanceAnswer, side: Side) -> ClearanceAnswer:
        """Refuse what no prescription covers; a refusal for another reason stands."""
        prescribed = self.prescription
        if not answer.offered or prescribed is None:
            return answer
        if side in prescribed.sides:
            return answer
        why = say("Nothing is prescribed for this leg.")
        found = Clearance.ASK if answer.clearance is Clearance.CLEARED else answer.clearance
        return replace(answer, clearance=found, offered=False, why=why, highest_mmhg=None)


def judge_clearance(
    session: Session,
    readings: Readings,
    rules: Rules,
    *,
    on: date,
    last: LastTime | None = None,
    linked: Sequence[Session] = (),
) -> SessionClearance:
    """Judge whether a session's legs may be fitted.

    Args:
        session: the session; a leg nobody screened is `not_screened`, imports and old files too.
        readings: its readings, for the difference between the calves.
        rules: the rules of screening and the standards of pressure classes.
        on: the day something would be fitted: an ABPI ages, and a decision has a review date.
        last: the client's sessions before.
        linked: all other sessions of the person, under this code and linked ones; what stops
            there stops here.
    """
    told = answers_of(session, rules.screening)
    calves = judge_calves(
        session,
        told,
        readings,
        rules.screening,
        last,
        differ=differing(readings, rules.repeat_of(session)),
    )
    prescription = prescription_of(told.present[0], rules.standards)
    own = _screen(told, rules, on, _seen(session, calves), prescription)
    decisions = decisions_of(session)
    alone = LinkedSession(session, own, calves, decisions)
    elsewhere = _count_linked(alone, linked, rules, on)
    joined = _joined(own, elsewhere)
    return SessionClearance(
        session, rules, on, told, calves, joined, decisions, prescription, elsewhere
    )


def _count_linked(
    own: LinkedSession, linked: Sequence[Session], rules: Rules, on: date
) -> tuple[Counted, ...]:
    """Judge each other session of the person by itself, and say what of it counts."""
    if not linked:
        return ()
    before = before_each([own.session, *linked])
    judged = [_judge_alone(_Alone(other, before[other.id], rules, on)) for other in linked]
    return count_linked(own, judged, rules.screening, rules.linked, on=on)


@lru_cache(maxsize=_MOST_HELD)
def _judge_alone(what: _Alone) -> LinkedSession:
    other, last = what.session, LastTime(what.before)
    found = judge_clearance(other, Readings(other), what.rules, on=what.on, last=last)
    return LinkedSession(other, found.result, found.calves, found.decisions)


class _Alone:
    """A session and what it is judged by as one key: the very objects, for they are large.

    Each session of a client looks at all the others: judged anew for each, they would take the
    square of their number.
    """

    __slots__ = ("before", "on", "rules", "session")

    def __init__(
        self, session: Session, before: tuple[Session, ...], rules: Rules, on: date
    ) -> None:
        self.session, self.before, self.rules, self.on = session, before, rules, on

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, _Alone):
            return NotImplemented
        one, two = self.rules, other.rules
        return (
            other.session is self.session
            and other.on == self.on
            and one.screening is two.screening
            and one.standards is two.standards
            and one.protocols is two.protocols
            and other.before == self.before
        )

    def __hash__(self) -> int:
        return hash((id(self.session), id(self.rules.screening), self.on))


def _joined(own: ScreeningResult, linked: Sequence[Counted]) -> ScreeningResult:
    return join_results(own, *(found.result for found in linked))


def _screen(
    told: SessionAnswers,
    rules: Rules,
    on: date,
    seen: Sequence[FiredRule],
    prescription: Prescription | None,
) -> ScreeningResult:
    result = screen_session(told, rules.screening, on=on, tape=seen)
    return beside_prescription(result, prescription, rules.screening)


def _seen(session: Session, calves: Calves) -> tuple[FiredRule, ...]:
    """Return what was seen at the legs themselves, whatever was answered on a page."""
    return (*calves.rules, *swelling_not_told(session))


def source_words(status: str, source: str) -> str:
    """Say where a rule or an advice comes from; what is ours alone is called that."""
    if source.strip().rstrip(".") == "Ours":
        return say("Our own judgement; no published source.")
    return say("Source ({status}): {source}", status=status, source=source)


def cautions() -> str:
    """Return the base text of cautions for the screen and the README."""
    return say(
        "This program helps trained staff measure adults' legs and compare sizes. It does not "
        "diagnose, prescribe, or decide that compression is safe. Your training, local policy and "
        "the prescriber come first. A size is a starting point: check fit, skin and toes before "
        "leaving. Sizes differ between makers. Do not fit a leg that is newly swollen, hot, "
        "painful, cold, numb or changing colour, or has poor circulation, until a clinician has "
        "agreed. Chest pain, sudden breathlessness or coughing blood: call the emergency number "
        "now. New swelling or pain in one leg: medical help today."
    )


def wearer_cautions() -> str:
    """Return what a wearer must be told."""
    return say(
        "Wearers: if your toes become cold, numb, painful, pale or blue, take it off and phone us; "
        "if they do not recover quickly, get emergency help. Never cut, roll or fold it."
    )
