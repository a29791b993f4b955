"""Which questions of screening come next in a session, and the lines they are asked as."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from enum import StrEnum
from functools import partial
from typing import TYPE_CHECKING

from fitcore.points import LEGS, Side
from fitcore.pressures.prescribed_pressure import complete_prescription
from fitcore.problems import Problem, ReadingError
from fitcore.safety.calves import is_about
from fitcore.safety.screening_answers import (
    ANSWER_PREFIX,
    NO,
    ONE_ARM_WHY,
    PRESSURE_PREFIX,
    TAKEN_ON,
    UNKNOWN,
    YES,
    Answers,
    allowed_words,
)
from fitcore.safety.screening_edits import parse_screening
from fitcore.safety.screening_questions import Asked
from fitcore.safety.screening_result import GO
from fitcore.units import plain
from fitcore.words import say
from tui.question_form import Ask, QuestionForm

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fitcore.record.entries import Value
    from fitcore.record.session import Session
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_model import Question
    from tui.desk import Desk


class Stage(StrEnum):
    """One page of questions, in the order they are asked."""

    FIRST = "first"
    """The one page everybody is asked."""
    MORE = "more"
    """What a yes on it opens."""
    LEGS = "legs"
    """A leg that is not to be fitted: is it there?"""
    PRESCRIPTION = "prescription"
    PRESSURES = "pressures"
    """Blood pressures at arms and ankles."""
    CALVES = "calves"
    """What a difference between the calves asks."""


_DAYS_AGO = re.compile(r"(\d{1,4}) days? ago", re.ASCII)
BEFORE_SETUP = (Stage.FIRST, Stage.MORE)
_PAGES = {
    Stage.MORE: ("detail", "leg"),
    Stage.LEGS: ("legs",),
    Stage.PRESCRIPTION: ("prescription",),
}


def next_stage(desk: Desk) -> Stage | None:
    """Return the first page with an open line; None where all that applies was answered."""
    stages = BEFORE_SETUP if desk.in_setup else tuple(Stage)
    return next(
        (stage for stage in stages if _applies(desk, stage) and _is_open(desk, stage)), None
    )


def has_lines(desk: Desk, stage: Stage) -> bool:
    """Whether a page has anything to ask or to put right."""
    return bool(make_form(desk, stage).lines)


def make_form(desk: Desk, stage: Stage) -> QuestionForm:
    """Return the page of a stage with what was answered before."""
    asks = _asks(desk, stage)
    given = {what: desk.session.value(what) for what in _answered(desk)}
    known = {what: value for what, value in given.items() if value is not None}
    return QuestionForm(asks, known, all_none=stage is Stage.FIRST)


def following(desk: Desk, stage: Stage) -> Stage | None:
    """Return the page after one that was just left, or None.

    What a yes opened is shown again after the first page, so that it can be put right with it.
    """
    if stage is Stage.FIRST and has_lines(desk, Stage.MORE):
        return Stage.MORE
    return next_stage(desk)


def is_news(desk: Desk, stage: Stage) -> bool:
    """Whether what was found is shown before anything else is asked.

    In the middle of the questions only where the first page alone says that somebody must be
    called now; else once no question of its kind is open.
    """
    after = following(desk, stage)
    if stage is Stage.FIRST and after is not None:
        return at_once(desk.session, desk.profiles.screening)
    return after is None and desk.clearance.result.outcome != GO


def at_once(session: Session, book: ScreeningBook) -> bool:
    """Whether the first page alone says that somebody must be called now."""
    first = {question.id for question in book.questions.first_page}
    urgent = [rule for rule in book.rules.rules if rule.urgency == "now"]
    names = {name for rule in urgent for name in rule.questions} & first
    return any(
        {YES, UNKNOWN} & {str(value) for value in session.answer(ANSWER_PREFIX + name).values}
        for name in names
    )


def _applies(desk: Desk, stage: Stage) -> bool:
    session = desk.session
    if stage is Stage.LEGS:
        arteries = {str(value) for value in session.answer("screen.arteries").values}
        return len(desk.sides) < len(LEGS) or bool(arteries - {NO})
    if stage in (Stage.PRESCRIPTION, Stage.PRESSURES):
        return "prescribed" in session.answer("purpose").values
    if stage is Stage.CALVES:
        return desk.clearance.calves.asks is not None
    return True


def _is_open(desk: Desk, stage: Stage) -> bool:
    asks = _asks(desk, stage)
    given = _answered(desk)
    values = {what: desk.session.value(what) for what in given}
    known = {what: value for what, value in values.items() if value is not None}
    return any(not line.may_stay_open and line.what not in given for line in asks(known))


def _answered(desk: Desk) -> frozenset[str]:
    """Return what was answered; an answer about calves read otherwise by now is none."""
    session, about = desk.session, desk.clearance.calves.answers_rest_on
    return frozenset(
        what
        for what in session.heads.fields
        if what not in about or is_about(session, what, about[what])
    )


def _asks(desk: Desk, stage: Stage) -> Callable[[Mapping[str, Value]], Sequence[Ask]]:
    book, sides = desk.profiles.screening, desk.sides
    if stage is Stage.FIRST:
        first = [question_ask(book, question, None) for question in book.questions.first_page]
        return lambda _: first
    if stage is Stage.PRESSURES:
        return lambda known: _pressure_asks(desk, known)
    if stage is Stage.CALVES:
        return lambda known: _calf_asks(desk, known)
    pages = _PAGES[stage]
    standing = {
        what
        for what in desk.session.heads.fields
        if what.startswith(ANSWER_PREFIX)
        and {str(value) for value in desk.session.answer(what).values} - _silent(book, what)
    }

    def asks(known: Mapping[str, Value]) -> Sequence[Ask]:
        answers = _answers(known, tuple(map(str, desk.session.answer("purpose").values)))
        wanted = sides if stage is not Stage.LEGS else LEGS
        opened = Asked(answers, book.questions, wanted)
        lines = [
            question_ask(book, question, side)
            for question in book.questions.questions
            if question.page in pages
            for side in question.sides
            # An answer that stands to a question no longer opened counts: it must be seen.
            if opened.is_open(question, side)
            or (question.opens and ANSWER_PREFIX + question.id_of(side) in standing)
        ]
        if stage is Stage.LEGS:
            lines = [line for line in lines if line.side not in sides or _lost_leg_possible(known)]
        if stage is Stage.PRESCRIPTION:
            return _with_class_figures(desk, lines, known)
        return lines

    return asks


def _silent(book: ScreeningBook, what: str) -> set[str]:
    """Return the answers that say nothing once their question is no longer opened."""
    question = book.questions.find(what.removeprefix(ANSWER_PREFIX))
    return set() if question is not None and question.no_tells else {NO}


def _lost_leg_possible(known: Mapping[str, Value]) -> bool:
    return known.get("screen.arteries", NO) != NO


def _with_class_figures(
    desk: Desk, lines: Sequence[Ask], known: Mapping[str, Value]
) -> Sequence[Ask]:
    """Propose the mmHg of a class whose standard is named; the nurse accepts or changes them."""
    standard, label = (
        str(known.get(ANSWER_PREFIX + name, ""))
        for name in ("prescribed_standard", "prescribed_class")
    )
    named = complete_prescription(desk.profiles.standards, standard=standard, label=label)
    found = named.prescribed
    if not label or found is None:
        return lines
    figures = {
        ANSWER_PREFIX + "prescribed_low_mmhg": found.low_mmhg,
        ANSWER_PREFIX + "prescribed_high_mmhg": found.high_mmhg,
    }
    return [
        replace(line, proposed=plain(figure), hint=found.words)
        if (figure := figures.get(line.what)) is not None
        else line
        for line in lines
    ]


def _answers(known: Mapping[str, Value], purposes: tuple[str, ...]) -> Answers:
    given = {
        what.removeprefix(ANSWER_PREFIX): (value,)
        for what, value in known.items()
        if what.startswith(ANSWER_PREFIX) and isinstance(value, str)
    }
    return Answers({**given, **({"purpose": purposes} if purposes else {})})


def question_ask(book: ScreeningBook, question: Question, side: Side | None) -> Ask:
    """Return one question of screening as a line of a page."""
    what = ANSWER_PREFIX + question.id_of(side)
    typed = question.kind in ("number", "text")
    return Ask(
        what,
        question.text,
        side,
        choices=tuple((choice, question.choice_words(choice)) for choice in question.choices),
        parse=partial(parse_screening, book, what) if typed else None,
        hint=allowed_words(question) if typed else "",
        may_stay_open=question.may_stay_open,
    )


def _pressure_asks(desk: Desk, known: Mapping[str, Value]) -> Sequence[Ask]:
    book = desk.profiles.screening
    questions = book.questions
    result = desk.clearance.result
    barred = {leg.side for leg in result.legs if not leg.may_take_abpi}
    taken = questions.find("abpi_taken")
    if taken is None or barred == set(LEGS):
        return []
    lines = [question_ask(book, taken, None)]
    if known.get(ANSWER_PREFIX + "abpi_taken") != YES:
        return lines
    for pressure in questions.pressures:
        if any(pressure.id.startswith(f"{side}_") for side in barred):
            continue
        what = PRESSURE_PREFIX + pressure.id
        lines.append(
            Ask(
                what,
                pressure.text,
                None,
                parse=_pressure_parser(book, what),
                hint=say("mmHg; n: could not obtain, w: would not compress; empty: not tried"),
                shown=(
                    ("could_not_obtain", say("could not obtain")),
                    ("would_not_compress", say("would not compress")),
                ),
                may_stay_open=True,
            )
        )
    arms = [known.get(PRESSURE_PREFIX + name) for name in ("arm_left", "arm_right")]
    if sum(arm is not None for arm in arms) == 1:
        lines.append(
            Ask(
                PRESSURE_PREFIX + ONE_ARM_WHY,
                say("One arm only: why?"),
                parse=lambda text: parse_screening(book, PRESSURE_PREFIX + ONE_ARM_WHY, text),
                hint=say("in a few words, such as: lymphoedema of the arm"),
                knows_unknown=False,
            )
        )
    on_day = PRESSURE_PREFIX + TAKEN_ON
    lines.append(
        Ask(
            on_day,
            say("Taken on which day?"),
            parse=lambda text: parse_day(text, desk.now().date()).isoformat(),
            hint=say("empty for today, else such as 2026-03-04 or 4.3.2026"),
            may_stay_open=True,
            knows_unknown=False,
        )
    )
    since = questions.find("new_symptoms_since_abpi")
    if since is not None and known.get(on_day) not in (None, desk.now().date().isoformat()):
        lines.append(replace(question_ask(book, since, None), may_stay_open=False))
    return lines


def _pressure_parser(book: ScreeningBook, what: str) -> Callable[[str], Value]:
    short = {"n": "could_not_obtain", "w": "would_not_compress"}
    return lambda text: parse_screening(book, what, short.get(text.casefold(), text))


def _calf_asks(desk: Desk, known: Mapping[str, Value]) -> Sequence[Ask]:
    """Return the questions about a difference; the second only where the larger leg is not new."""
    found = desk.clearance.calves.asks
    if found is None:
        return []
    book = desk.profiles.screening
    lines = []
    for name in found.questions:
        question = book.questions.find(name)
        if question is not None:
            what = ANSWER_PREFIX + name
            lines.append(replace(question_ask(book, question, None), what=what, side=found.larger))
        if known.get(ANSWER_PREFIX + name) != NO:
            break
    return lines


def parse_day(text: str, today: date) -> date:
    """Read a day as people type it: `2026-03-04`, `4.3.2026`, `4/3/2026`, `yesterday`.

    Also `today` and `3 days ago`.

    The day stands first where the year does not.

    Raises:
        ReadingError: it is no day.
    """
    typed = text.strip().casefold()
    near = {say("today"): 0, say("yesterday"): 1}
    if typed in near:
        return today - timedelta(days=near[typed])
    if ago := _DAYS_AGO.fullmatch(typed):
        return today - timedelta(days=int(ago[1]))
    parts = typed.replace("/", ".").split(".")
    try:
        if len(parts) == 3:
            day, month, year = (int(part) for part in parts)
            return date(year if year > 99 else 2000 + year, month, day)
        return date.fromisoformat(typed)
    except ValueError as error:
        raise ReadingError(
            Problem(
                code="bad_day",
                text=say("'{typed}' is no day.", typed=text.strip()[:20]),
                mend=say("Type it as 2026-03-04 or 4.3.2026, or today, yesterday, 3 days ago."),
            )
        ) from error
