"""The page on the legs' shape, which no tape sees.

Asked before the result of a prescribed garment or a swollen leg, and whenever its key is pressed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.doubts.repeats import swollen_sides
from fitcore.record.edits import draft_answer
from fitcore.record.fields import SHAPES, UNKNOWN
from fitcore.safety.screening_answers import NO, YES
from fitcore.safety.shape import NOTHING, is_asked, recorded_shapes, shape_field
from fitcore.words import say
from tui.question_form import Ask, QuestionForm

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.record.entries import Value
    from tui.desk import Desk


def shape_is_due(desk: Desk) -> bool:
    """Whether the legs' shape should be asked before the result is shown."""
    told = desk.session
    wanted = "prescribed" in told.answer("purpose").values or bool(swollen_sides(told))
    return wanted and not all(is_asked(told, side) for side in desk.sides)


def shape_form(desk: Desk) -> QuestionForm:
    """Return the page: each shape for each leg, with what was answered before."""
    lines = tuple(
        Ask(f"{shape}:{side}", _shape_question(shape), side, knows_unknown=False)
        for shape in SHAPES
        for side in desk.sides
    )
    given: dict[str, Value] = {}
    for side in desk.sides:
        seen = recorded_shapes(desk.session, side)
        for shape in SHAPES if is_asked(desk.session, side) else ():
            if shape in seen or UNKNOWN not in seen:
                given[f"{shape}:{side}"] = YES if shape in seen else NO
    return QuestionForm(lambda _: lines, given, all_none=True)


def store_shapes(desk: Desk, answers: Mapping[str, Value]) -> None:
    """Store what was seen of each leg; a leg that was looked at and is plain says so.

    Raises:
        FitError: nothing was stored.
    """
    drafts = []
    for side in desk.sides:
        told = {shape: answers.get(f"{shape}:{side}") for shape in SHAPES}
        seen = [shape for shape, answer in told.items() if answer == YES]
        seen += [UNKNOWN] if UNKNOWN in told.values() else []
        draft = draft_answer(desk.session, shape_field(side), seen or [NOTHING], desk.now())
        drafts += [draft] if draft is not None else []
    if drafts:
        desk.append(*drafts)


def _shape_question(shape: str) -> str:
    return {
        "deep_folds": say("Deep skin folds?"),
        "sudden_step": say("A sudden step in girth, as a band had cut in?"),
        "deformed_toes": say("Toes clawed, crossed or out of shape?"),
        "swollen_toes": say("Swollen toes?"),
        "contracture": say("Does ankle or knee not straighten?"),
        "no_ankle_narrowing": say("No narrowing at the ankle: as wide as above it?"),
    }[shape]
