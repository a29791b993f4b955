"""A new assessment: what alone lifts a *hold*, with finding, date and who. Pure.

It replaces the answers the hold rests on by what was found. Not known lifts nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.record.entries import Draft
from fitcore.safety.decisions import require
from fitcore.safety.screening_answers import ANSWER_PREFIX, PRESSURE_PREFIX, UNKNOWN
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from datetime import date, datetime

    from fitcore.record.entries import Value
    from fitcore.record.session import Session


@dataclass(frozen=True, slots=True)
class Assessment:
    """A new look at what a hold rests on."""

    finding: str
    on: date
    by: str
    """Who looked: name or code."""
    answers: Mapping[str, Value]
    """What stands from now on: `screen.<id>` or `pressure.<id>` to the new value."""


def draft_assessment(
    session: Session, assessment: Assessment, at: datetime, *, never_asked: Collection[str] = ()
) -> tuple[Draft, ...]:
    """Record an assessment: each answer it replaces gets a new one that carries it.

    Args:
        session: the session.
        assessment: what was found, when and by whom.
        at: the instant, from the caller's clock.
        never_asked: questions a hold rests on though nobody answered them: not known counts.

    Raises:
        ReadingError: finding, date or who is missing, it replaces nothing, it is older than an
            answer it shall replace, or it found nothing out: *not known* lifts no hold.
    """
    finding, who = clean(assessment.finding).text, clean(assessment.by).text
    require(bool(finding), "finding", say("What was found?"))
    require(bool(who), "by", say("Who assessed it? A name or code."))
    require(bool(assessment.answers), "answers", say("Which answer does it replace?"))
    require(assessment.on <= at.date(), "date", say("The day of the assessment has not come yet."))
    drafts = []
    for what, value in assessment.answers.items():
        ours = what.startswith((ANSWER_PREFIX, PRESSURE_PREFIX))
        seen = session.answer(what).seen
        require(
            ours and (bool(seen) or what in never_asked),
            what,
            say("An assessment replaces an answer that is there."),
        )
        require(
            _is_found_out(what, value), what, say("Not known lifts no hold. What was found there?")
        )
        # An answer from the future was written by a clock that was wrong: it says nothing here.
        written = [head.at for head in session.answer(what).heads if head.at is not None]
        require(
            all(when.date() <= assessment.on for when in written if when <= at),
            "date",
            say("The assessment is older than the answer it shall replace."),
        )
        drafts.append(
            Draft(
                "answers",
                at,
                {
                    "what": what,
                    "is": value,
                    "finding": finding,
                    "assessed_by": who,
                    "assessed_on": assessment.on.isoformat(),
                    "instead_of": list(seen) or None,
                },
            )
        )
    return tuple(drafts)


def _is_found_out(what: str, value: Value) -> bool:
    if what.startswith(PRESSURE_PREFIX):
        return isinstance(value, int | Decimal) and not isinstance(value, bool)
    return str(value).casefold() != UNKNOWN
