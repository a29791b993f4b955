"""Answers of screening that were given long before the leg was read. Pure.

A session may be paused for days: what nobody had then, somebody may have now.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.flags import Flag, Level
from fitcore.instants import hours_between
from fitcore.safety.screening_answers import ANSWER_PREFIX
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session
    from fitcore.safety.screening_book import ScreeningBook

MOST_HOURS = 24
"""Answers of the first page hold for a visit and its night; ours, a judgement."""


def asked_long_ago(session: Session, readings: Readings, book: ScreeningBook) -> tuple[Flag, ...]:
    """Return a flag where a leg was read long after the first page was answered; else nothing.

    Both times are of laptops' clocks; nothing but the sentence rests on them.

    Args:
        session: with its answers.
        readings: its readings.
        book: names the questions of the first page.
    """
    asked = [
        head.at
        for question in book.questions.first_page
        for head in session.answer(ANSWER_PREFIX + question.id).heads
        if head.at is not None
    ]
    read = [r.at for place in readings.places() for r in readings.taken(place) if r.at is not None]
    if not asked or not read:
        return ()
    hours = max(hours_between(first, last) for first in asked for last in read)
    if hours <= MOST_HOURS:
        return ()
    text = say(
        "The first page was answered {hours:.0f} hours before the last reading: ask again. Put "
        "right what has changed, or begin a new session.",
        hours=hours,
    )
    return (Flag("asked_long_ago", Level.WARN, "screening", text),)
