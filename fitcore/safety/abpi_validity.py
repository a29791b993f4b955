"""Why an ankle-brachial index that is there is not valid: it then takes no limit away. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.safety.screening_answers import PRESSURE_PREFIX, UNKNOWN, YES
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from fitcore.record.session import Session
    from fitcore.safety.abpi import Arms
    from fitcore.safety.screening_answers import Answers, Pressures
    from fitcore.safety.screening_model import AbpiSettings, Questions

TAKEN = "abpi_taken"
NEW_SYMPTOMS = "new_symptoms_since_abpi"


def why_not_valid(
    arms: Iterable[Arms],
    answers: Answers,
    pressures: Pressures,
    settings: AbpiSettings | None,
    *,
    on: date,
    clot: bool,
) -> str:
    """Say why an index is not valid; empty where nothing speaks against it.

    Args:
        arms: how the arms were taken, for each index the pressures may come to.
        answers: whether pressures were taken, and new symptoms since.
        pressures: with the day they were taken; None where at this visit.
        settings: how old an index may be.
        on: the day something would be fitted.
        clot: whether a clot is suspected in this leg.

    Source: that an index from before new symptoms, or one that somebody says was never taken,
        clears nothing is our judgement.
    """
    if clot:
        return say("A clot is suspected: no ABPI clears this leg.")
    taken = set(answers.of(TAKEN))
    if taken - {YES}:
        return say("There are pressures, and an answer that none were taken: ask which is right.")
    how = set(arms)
    if "incompressible" in how:
        return say("An arm would not compress: the index may be lower than it looks.")
    if "one_alone" in how:
        return say("One arm only, and no reason: the other may be the higher one.")
    return _why_not_recent(answers, pressures.taken_on, settings, on)


def day_entered(session: Session, questions: Questions) -> date | None:
    """Return the earliest day one of a session's pressures was entered; None without any."""
    heads = (
        head
        for pressure in questions.pressures
        for head in session.answer(PRESSURE_PREFIX + pressure.id).heads
    )
    return min((head.at.date() for head in heads if head.at is not None), default=None)


def dated(answers: Answers, taken: Pressures, entered: date | None) -> tuple[Answers, Pressures]:
    """Take pressures for as old as their entries where nobody said on which day they were taken."""
    if taken.taken_on is not None:
        return answers, taken
    return answers, replace(taken, taken_on=entered)


def _why_not_recent(
    answers: Answers, taken_on: date | None, settings: AbpiSettings | None, on: date
) -> str:
    days = 0 if taken_on is None else (on - taken_on).days
    if days < 0:
        return say("The ABPI is of a later day than today: check the date.")
    if settings is not None and days > settings.max_age_days:
        return say("The ABPI is older than {days} days.", days=settings.max_age_days)
    # On the day itself nobody is asked; who tells of new symptoms all the same is heard.
    since = set(answers.of(NEW_SYMPTOMS)) or ({UNKNOWN} if days else set())
    if since - {"no"}:
        return say("Symptoms may be new or worse since the ABPI was taken.")
    return ""
