"""Reasons a person is asked for: the question, and usual answers to mark. No screen here.

A reason for keeping a reading is asked in the words of the doubt it is for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.moment.spacing import SET_TOOK_LONG
from fitcore.points import place_words
from fitcore.words import say
from tui.desk_words import reading_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.flags import Flag
    from fitcore.protocol import Step
    from fitcore.record.reading import Reading


@dataclass(frozen=True, slots=True)
class Ask:
    """One reason to ask for."""

    question: str
    choices: tuple[str, ...]
    codes: tuple[str, ...] = ()
    """Codes of the doubts it is for; empty where it is for none."""


def why_number(text: str, flags: Sequence[Flag]) -> Ask:
    """Ask why a number is right that cannot be.

    Args:
        text: as typed.
        flags: what is said against it.
    """
    return Ask(
        say("Keep {text}? Why is it right?", text=text),
        (say("measured twice, it is so"), say("very swollen leg"), say("other")),
        tuple(dict.fromkeys(flag.code for flag in flags)),
    )


def why_at_such_a_time(text: str, flags: Sequence[Flag]) -> Ask:
    """Ask why a reading is kept though hour or clock cannot be right.

    Args:
        text: as typed.
        flags: the blocks; the first one gives the usual answers.
    """
    told = " ".join(dict.fromkeys(flag.text for flag in flags))
    return Ask(
        say("{doubt} Keep {text} all the same? Why?", doubt=told, text=text),
        _usual_for(flags[0].code),
        tuple(dict.fromkeys(flag.code for flag in flags)),
    )


def why_set_is_kept(flag: Flag) -> Ask:
    """Ask why a leg's readings are kept though they took too long."""
    question = say("{doubt} Keep them all the same? Why?", doubt=flag.text)
    return Ask(question, _usual_for(flag.code), (flag.code,))


def why_not_taken(step: Step) -> Ask:
    """Ask why a reading is not taken."""
    return Ask(
        say("Not taken: {place}. Why?", place=place_words(step.point, step.kind)),
        (
            say("wound or dressing"),
            say("pain"),
            say("amputation"),
            say("cannot stand"),
            say("client refuses"),
            say("not needed"),
        ),
    )


def why_struck_out(reading: Reading) -> Ask:
    """Ask why a reading is struck out."""
    return Ask(
        say("Strike out {value}. Why?", value=reading_words(reading)),
        (say("tape had slipped"), say("wrong point"), say("misread"), say("other")),
    )


def why_no_repeats() -> Ask:
    """Ask why the open repeats are left out."""
    return Ask(
        say("Leave the repeats out? Why?"),
        (say("client is tired"), say("cannot stand longer"), say("no time")),
    )


def _usual_for(code: str) -> tuple[str, ...]:
    if code == SET_TOOK_LONG:
        return (say("no time for a new session"), say("the leg was kept up in between"))
    if code in ("rising_time", "off_after_reading"):
        return (say("asked again, it is so"), say("nobody knows exactly"))
    return (
        say("compared with a watch: the clock is right"),
        say("the clock is wrong and cannot be set here"),
    )
