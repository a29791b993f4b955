"""What an open session's hour, conditions and clock ask of the nurse. No screen here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.flags import Level
from fitcore.moment.answered_conditions import dent_flags
from fitcore.moment.conditions import flags_now
from fitcore.moment.postures import postures_words, read_otherwise
from fitcore.moment.spacing import SET_TOOK_LONG, judge_set_now, sets_without_reason
from fitcore.points import Kind, Side
from fitcore.record.edits import draft_kept, draft_postures
from fitcore.record.fields import choice_words
from fitcore.record.reasons import reason_for, reason_for_set
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.flags import Flag
    from tui.desk import Desk


def time_flags(desk: Desk) -> tuple[Flag, ...]:
    """Return what hour and clock say about a reading taken now, or corrected: taken then."""
    here, rules, step = desk.reading_here, desk.profiles.rules.time, desk.step
    read_at = desk.readings.read_at(here) if here is not None and not here.not_taken else None
    if read_at is not None:
        return flags_now(desk.session, read_at, rules)
    now = desk.now()
    took: list[Flag] = []
    if step.kind is not Kind.SHOE:
        took = judge_set_now(
            desk.session, desk.readings, step.side, step.round, now=now, rules=rules
        )
    return (*took, *flags_now(desk.session, now, rules), *desk.clock_flags())


def standing_flags(desk: Desk) -> list[Flag]:
    """Return what the legs' state says however late it is: told, and judged with the session."""
    rules = desk.profiles.rules.time
    return [flag for side in desk.sides for flag in dent_flags(desk.session, side, rules)]


def unanswered(desk: Desk, flags: Sequence[Flag]) -> list[Flag]:
    """Return the blocks nobody gave a reason for yet: asked once in a session, not at each field.

    A set that took too long is one of its leg and time round.
    """
    return [f for f in flags if f.level is Level.BLOCK and not _reason(desk, f)]


def _reason(desk: Desk, flag: Flag) -> str:
    if flag.code == SET_TOOK_LONG and flag.side is not None:
        return reason_for_set(desk.session, flag.code, flag.side.value, desk.step.round)
    return reason_for(desk.session, flag.code)


# --- a set that took too long --------------------------------------------------------------------


def keep_set(desk: Desk, side: Side, why: str) -> None:
    """Give the reason why a leg's readings are kept though they took too long (blocking).

    Raises:
        FileFault: it could not be written.
    """
    rules, at = desk.profiles.rules.time, desk.now()
    last = sets_without_reason(desk.session, desk.readings, side, rules)
    desk.append(*(draft_kept(reading, why, (SET_TOOK_LONG,), at) for reading in last))


# --- posture -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PostureQuestion:
    """Whether readings taken before another posture was answered were taken in that one, too."""

    text: str
    stay: str
    change: str


def posture_question(desk: Desk) -> PostureQuestion | None:
    """Ask what the answer just changed says of readings taken before; None where there are none."""
    found = read_otherwise(desk.session, desk.readings)
    if not found:
        return None
    now = choice_words(desk.session.text("posture"))
    then = postures_words({reading.posture for reading in found})
    return PostureQuestion(
        say(
            "Posture is {now} from now on. {count} readings stand as read {then}. Which is right "
            "for them?",
            now=now,
            count=len(found),
            then=then,
        ),
        say("{then}: they stay so", then=then),
        say("{now}: the first answer was wrong", now=now),
    )


def put_postures_right(desk: Desk) -> str:
    """Say of the readings taken before that they were taken as answered now (blocking).

    Returns:
        What was saved, in words.

    Raises:
        FileFault: nothing was stored.
    """
    posture = desk.session.text("posture")
    drafts = draft_postures(read_otherwise(desk.session, desk.readings), posture, desk.now())
    desk.append(*drafts)
    return say("{count} readings: {posture}.", count=len(drafts), posture=choice_words(posture))


def correction_words(desk: Desk) -> str:
    """Return what typing here does where a reading is recorded; empty where none is."""
    here, now = desk.reading_here, desk.session.text("posture")
    if here is None:
        return ""
    if now and here.posture not in ("", now):
        return say(
            "Read {then}. A new value corrects it and stays {then}; to read it again {now}, "
            "strike it out first: F3.",
            then=choice_words(here.posture),
            now=choice_words(now),
        )
    return say("Type a new value to correct it; the old one is kept, struck through.")
