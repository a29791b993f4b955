"""The moves of screening at the open session: answers, a prescriber's decision, an assessment.

What writes blocks until the entries are on disk, as the desk's own moves do.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, cast

from fitcore.points import LEGS, Side, side_words
from fitcore.problems import Problem, ReadingError
from fitcore.safety.assessments import Assessment, draft_assessment
from fitcore.safety.decisions import Decision, How, draft_decision, role_words
from fitcore.safety.outcomes import Action
from fitcore.safety.screening_answers import ANSWER_PREFIX, PRESSURE_PREFIX
from fitcore.safety.screening_edits import draft_screening, parse_screening
from fitcore.words import say
from tui.question_form import Ask, QuestionForm
from tui.screening_stages import parse_day, question_ask

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.record.entries import Value
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_book import ScreeningBook
    from tui.desk import Desk


def store_answers(desk: Desk, answers: Mapping[str, Value]) -> None:
    """Store answers of screening, with the rules they are judged by."""
    drafts = draft_screening(
        desk.session,
        desk.profiles.screening,
        answers,
        desk.now(),
        rest_on=desk.clearance.calves.answers_rest_on,
    )
    if drafts:
        desk.begin()
        desk.append(*drafts)


# ---- a prescriber's decision ------------------------------------------------------------------


def decidable_sides(desk: Desk) -> tuple[Side, ...]:
    """Return the legs with something a decision can lift, left first."""
    return tuple(side for side in LEGS if desk.clearance.open_rules(side))


def decision_form(desk: Desk) -> QuestionForm:
    """Return the questions a decision answers, for the legs it can be about."""
    sides = decidable_sides(desk)
    roles = dict.fromkeys(
        role
        for side in sides
        for rule in desk.clearance.open_rules(side)
        for role in rule.lifted_by
    )
    legs = [*sides, *([Side.BOTH] if len(sides) > 1 else [])]
    today = desk.now().date()

    def day(text: str) -> Value:
        return parse_day(text, today).isoformat()

    lines = (
        Ask(
            "side",
            say("For which leg?"),
            choices=tuple((side.value, side_words(side)) for side in legs),
            knows_unknown=False,
        ),
        _typed("by", say("Who decided? A name or code."), say("as the service writes it")),
        Ask(
            "role",
            say("In which role?"),
            choices=tuple((role, role_words(role)) for role in roles),
            knows_unknown=False,
        ),
        Ask(
            "how",
            say("How did it come?"),
            choices=(
                ("written", say("in writing")),
                ("read_back", say("by telephone, read back and confirmed")),
            ),
            knows_unknown=False,
        ),
        Ask(
            "highest_mmhg",
            say("Up to how many mmHg, the highest printed on the garment?"),
            parse=_mmhg,
            hint=say("a number, such as 24; 0: no compression"),
            knows_unknown=False,
        ),
        Ask(
            "decided_on",
            say("Decided on which day?"),
            parse=day,
            hint=say("today, or such as 2026-03-04"),
            knows_unknown=False,
        ),
        Ask(
            "review_date",
            say("Until which day does it hold?"),
            parse=day,
            hint=say("such as 2026-09-04; after that day it must be asked anew"),
            knows_unknown=False,
        ),
        _typed("why", say("What was decided, and why?"), say("in a few words")),
    )
    return QuestionForm(lambda _: lines, {})


def store_decision(desk: Desk, told: Mapping[str, Value]) -> None:
    """Record a decision on one leg or both.

    Raises:
        FitError: it is not whole; nothing was stored.
    """
    at = desk.now()
    sides = decidable_sides(desk) if told["side"] == Side.BOTH else (Side(str(told["side"])),)
    linked = [found.session for found in desk.clearance.linked]
    drafts = [
        draft_decision(desk.session, _decision(desk, side, told), at, linked=linked)
        for side in sides
    ]
    desk.append(*drafts)


def _decision(desk: Desk, side: Side, told: Mapping[str, Value]) -> Decision:
    """Return the decision on one leg: about the rules on this leg, as they stand."""
    rules = desk.clearance.open_rules(side)
    return Decision(
        side,
        str(told["by"]),
        str(told["role"]),
        cast("How", told["how"]),
        Decimal(str(told["highest_mmhg"])),
        date.fromisoformat(str(told["decided_on"])),
        date.fromisoformat(str(told["review_date"])),
        str(told["why"]),
        tuple(rule.id for rule in rules),
        tuple(dict.fromkeys(what for rule in rules for what in rule.rests_on(side))),
    )


# ---- a new assessment -------------------------------------------------------------------------


def replaceable(rule: FiredRule) -> tuple[str, ...]:
    """Return the answers a hold rests on: what an assessment may replace.

    A question nobody answered is among them where not known is what holds the leg.
    """
    if rule.action is not Action.HOLD:
        return ()
    names = dict.fromkeys(what.partition("=")[0] for _, what in rule.basis)
    return tuple(what for what in names if what.startswith((ANSWER_PREFIX, PRESSURE_PREFIX)))


def assessment_form(desk: Desk, rule: FiredRule) -> QuestionForm:
    """Return what is asked of somebody who looked again at what a hold rests on.

    *Not known* is no answer here: it would lift what only a finding lifts.
    """
    today = desk.now().date()
    lines = (
        _typed("finding", say("What was found?"), say("in a few words")),
        _typed("by", say("Who assessed it? A name or code."), say("as the service writes it")),
        Ask(
            "on",
            say("On which day?"),
            parse=lambda text: parse_day(text, today).isoformat(),
            hint=say("today, or such as 2026-03-04"),
            knows_unknown=False,
        ),
        *_new_answers(desk, replaceable(rule)),
    )
    return QuestionForm(lambda _: lines, {})


def store_assessment(desk: Desk, told: Mapping[str, Value]) -> None:
    """Record an assessment; each answer it replaces gets one that carries it.

    Raises:
        FitError: it is not whole; nothing was stored.
    """
    assessment = Assessment(
        str(told["finding"]),
        date.fromisoformat(str(told["on"])),
        str(told["by"]),
        {
            what: value
            for what, value in told.items()
            if what.startswith((ANSWER_PREFIX, PRESSURE_PREFIX))
        },
    )
    held_by = {
        what
        for rule in desk.clearance.result.rules
        if rule.action is Action.HOLD
        for what in replaceable(rule)
    }
    drafts = draft_assessment(desk.session, assessment, desk.now(), never_asked=held_by)
    desk.append(*drafts)


def _new_answers(desk: Desk, names: Sequence[str]) -> list[Ask]:
    book = desk.profiles.screening
    lines = []
    for what in names:
        name = what.removeprefix(ANSWER_PREFIX)
        question = book.questions.find(name)
        if question is not None:
            side = next(
                (side for side in LEGS if name == question.id_of(side) != question.id), None
            )
            lines.append(replace(question_ask(book, question, side), knows_unknown=False))
            continue
        pressure = next(p for p in book.questions.pressures if PRESSURE_PREFIX + p.id == what)
        lines.append(
            Ask(
                what,
                pressure.text,
                parse=partial(_figure, book, what),
                hint=say("in mmHg; empty where it was not taken again"),
                may_stay_open=True,
                knows_unknown=False,
            )
        )
    return lines


def _figure(book: ScreeningBook, what: str, text: str) -> Value:
    """Read a blood pressure that was taken again: a figure, and not that there is none."""
    value = parse_screening(book, what, text)
    if isinstance(value, int | Decimal):
        return value
    raise ReadingError(
        Problem(
            code="bad_pressure",
            text=say("'{typed}' lifts no hold.", typed=text[:20]),
            mend=say("Type the figure in mmHg, or leave the line empty."),
        )
    )


def _typed(what: str, text: str, hint: str) -> Ask:
    return Ask(what, text, parse=_words, hint=hint, knows_unknown=False)


def _words(text: str) -> Value:
    return text


def _mmhg(text: str) -> Value:
    try:
        number = Decimal(text.replace(",", "."))
        is_pressure = 0 <= number <= 100
    except ArithmeticError:  # no number, or one that compares with nothing
        number, is_pressure = Decimal(0), False
    if is_pressure:
        return number
    raise ReadingError(
        Problem(
            code="bad_pressure",
            text=say("'{typed}' is no pressure of a garment.", typed=text[:20]),
            mend=say("Type a number of mmHg, such as 24."),
        )
    )
