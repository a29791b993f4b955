"""The pages of screening as screens: their headings, and what happens when one is left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.safety.screening_answers import ANSWER_PREFIX, YES
from fitcore.words import say
from tui.desk_screening import store_answers
from tui.screening_stages import Stage, make_form
from tui.screens.questions import QuestionsScreen

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Mapping

    from fitcore.record.entries import Value
    from fitcore.safety.screening_book import ScreeningBook
    from tui.desk import Desk


def questions_screen(
    desk: Desk, stage: Stage, then: Callable[[Desk, Stage], Awaitable[None]]
) -> QuestionsScreen:
    """Return one page of screening.

    Args:
        desk: the open session.
        stage: which page.
        then: where to go once it is stored.
    """

    def keep(answers: Mapping[str, Value]) -> None:
        store_answers(desk, answers)
        if desk.in_setup:
            desk.pause_setup({})
        else:
            desk.pause()

    return QuestionsScreen(
        desk,
        make_form(desk, stage),
        heading(desk, stage),
        save=lambda answers: store_answers(desk, answers),
        then=lambda: then(desk, stage),
        keep=keep,
        urgent=lambda answers: emergency_words(desk.profiles.screening, answers),
    )


def emergency_words(book: ScreeningBook, answers: Mapping[str, Value]) -> str:
    """Return what must be done now, the moment a yes asks for it; empty where none does.

    Before the page is whole: nobody answers thirteen more lines beside somebody with chest pain.
    """
    yes = {what.removeprefix(ANSWER_PREFIX) for what, value in answers.items() if value == YES}
    named = {q.id for q in book.questions.questions if yes & set(q.ids)}
    return next(
        (
            rule.text
            for rule in book.rules.rules
            if rule.urgency == "now" and rule.when == "yes" and named & set(rule.questions)
        ),
        "",
    )


def heading(desk: Desk, stage: Stage) -> str:
    """Return what a page is about."""
    if stage is Stage.CALVES and desk.clearance.calves.asks is not None:
        return desk.clearance.calves.asks.text
    if stage is Stage.PRESSURES and not all(
        leg.may_take_abpi for leg in desk.clearance.result.legs
    ):
        return say("A clot is suspected: take no ABPI of that leg.")
    return {
        Stage.FIRST: say("Ask or look, before measuring, anew each time."),
        Stage.MORE: say("What was answered yes or not known, in detail."),
        Stage.LEGS: say("The legs."),
        Stage.PRESCRIPTION: say("The prescription, exactly as written."),
        Stage.PRESSURES: say("Blood pressures, systolic."),
        Stage.CALVES: say("The calves."),
    }[stage]
