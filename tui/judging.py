"""What pressing Enter on a typed text comes to: saved, refused, looked at again, or a reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitcore.edits import Typed, parse_typed
from fitcore.flags import Flag, Level, codes_to_store
from fitcore.problems import UnitError
from fitcore.shoes import ShoeSize
from fitcore.typed_doubts import doubt_typed
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.units import Length
    from tui.desk import Desk

Outcome = Literal["ready", "nothing_typed", "refused", "look_again", "needs_reason"]
_MOST_CHARACTERS = 130
"""Of doubts beside the field, so that what Enter does stands below them whole; ours, for 80x24."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What pressing Enter on a typed text comes to."""

    outcome: Outcome
    message: str = ""
    typed: Typed | None = None
    doubts: tuple[str, ...] = ()
    """Codes to store beside the reading."""


def judge_typed(desk: Desk, text: str, *, seen: bool) -> Judged:
    """Judge what was typed in the present field.

    Args:
        desk: the open session.
        text: as typed.
        seen: whether the doubt about this very text has been shown already.
    """
    step = desk.step
    if not text.strip():
        if desk.reading_here is not None:
            return Judged("nothing_typed")
        return Judged("refused", say("Type what the tape shows, or F2 if it cannot be taken."))
    try:
        typed = parse_typed(step.kind, text, desk.unit, or_shoe=step.or_shoe)
    except UnitError as error:
        return Judged("refused", f"{error.problem.text} {error.problem.mend}")
    told = [] if isinstance(typed, ShoeSize) else list(_doubts(desk, typed))
    timed = desk.time_flags()
    # A doubt may be about another point than the one just typed: it is not stored beside this one.
    place = desk.step.place
    about_this = [f for f in told if (f.side, f.point, f.kind) == place]
    codes = codes_to_store((*about_this, *timed))
    told += [f for f in timed if f.level is Level.BLOCK and f.code not in _answered(desk)]
    told = sorted((f for f in told if f.level is not Level.NOTE), key=_rank)
    if not told:
        return Judged("ready", typed=typed, doubts=codes)
    blocked = told[0].level is Level.BLOCK
    message = _shortly(told)
    if seen:
        return Judged("needs_reason" if blocked else "ready", message, typed, codes)
    ask = say("Enter again keeps it, with a reason.") if blocked else say("Enter again keeps it.")
    if step.or_shoe and "hard_range" in codes:
        shoe = say("A shoe size? Type its system too: EU, UK, US W or US M.")
        message = f"{shoe} {message}"
    return Judged("look_again", f"{message} {ask}", typed, codes)


def _shortly(flags: Sequence[Flag]) -> str:
    """Return the worst doubt, and others as far as there is room; F9 leads to the rest later."""
    # Several codes may carry one sentence, such as a range and the slip that explains it.
    texts = list(dict.fromkeys(flag.text for flag in flags))
    told = texts[0]
    for text in texts[1:]:
        if len(told) + len(text) < _MOST_CHARACTERS:
            told += f" {text}"
    return told


def _doubts(desk: Desk, typed: Length) -> tuple[Flag, ...]:
    return doubt_typed(
        desk.session,
        desk.step.place,
        typed,
        desk.profiles.rules.ranges,
        laptop=desk.folder.laptop.id,
        tape_unit=desk.unit,
        earlier=desk.earlier[0] if desk.earlier else None,
    )


def _answered(desk: Desk) -> frozenset[str]:
    """Return blocks a reason was given for already: asked once in a session, not at each field."""
    return frozenset(
        code
        for place in desk.readings.places()
        for reading in desk.readings.taken(place)
        if reading.why
        for code in reading.doubts
    )


def _rank(flag: Flag) -> int:
    return (Level.BLOCK, Level.WARN, Level.NOTE).index(flag.level)
