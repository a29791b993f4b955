"""A leg recorded as swollen beside a page of questions that says no leg is. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.doubts.repeats import swollen_sides
from fitcore.points import side_words
from fitcore.safety.fired_rules import in_order
from fitcore.safety.outcomes import Action, FiredRule, Urgency
from fitcore.safety.screening_answers import ANSWER_PREFIX, NO
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.record.session import Session

SWELLING_NOT_TOLD = "swelling_not_told"
_QUESTION = f"{ANSWER_PREFIX}leg_swelling"
_KNOWN_OF_OLD = ("oedema", "late_pregnancy", "heart_failure")


def swelling_not_told(session: Session) -> tuple[FiredRule, ...]:
    """Return a stop where the conditions say swollen, or a dent stayed, and screening says no.

    The question is of new or more swelling, or of one leg swollen: both legs swollen of old go with
    a no. Else one of the two answers is wrong, and the worse one holds until it is put right.

    Source: new swelling and swelling of one leg need medical assessment the same day whatever the
    centimetres: NHS Devon; Nursing in Practice 2021 (read), as the question itself.
    """
    swollen = in_order(swollen_sides(session))
    if not swollen or session.answer(_QUESTION).values != (NO,):
        return ()
    if len(swollen) > 1 and session.text("swelling_known") in _KNOWN_OF_OLD:
        return ()
    text = say(
        "{legs} recorded as swollen, and the questions say none is. Put one of them right (F7). "
        "New swelling, or swelling of one leg, needs medical assessment today.",
        legs=", ".join(map(side_words, swollen)),
    )
    source = say("As the question on swelling: NHS Devon; Nursing in Practice 2021 (read).")
    return (
        FiredRule(
            SWELLING_NOT_TOLD, Action.STOP, Urgency.TODAY, text, source, "judgement", swollen
        ),
    )
