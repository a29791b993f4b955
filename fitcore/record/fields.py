"""The fields of a session that are answered, and what may be answered: one register for all.

The screen, the command line and the checks read the same table, so a field cannot mean two things.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from fitcore.clean_text import clean
from fitcore.identity import judge_client_code
from fitcore.instants import parse_instant, parse_time_of_day, parse_zone
from fitcore.points import LEGS
from fitcore.problems import Problem, ReadingError
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.record.entries import Value

SHAPES = (
    "deep_folds",
    "sudden_step",
    "deformed_toes",
    "swollen_toes",
    "contracture",
    "no_ankle_narrowing",
)
"""What a leg's shape may be that a table of girths does not see."""

UNKNOWN = "unknown"
"""An answer to a question about time: asked, and nobody knows."""

_DATE = re.compile(r"[0-9]{4}-|[0-9]{8}T")
"""How a time with its date begins; anything else is a time of day."""

FieldKind = Literal["text", "code", "choice", "choices", "instant", "zone", "yes_no"]


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a session."""

    what: str
    kind: FieldKind
    choices: tuple[str, ...] = ()
    working_state: bool = False
    """How the work stands, not a finding; two laptops may differ about it without a question."""


FIELDS: dict[str, Field] = {
    field.what: field
    for field in (
        Field("client", "code"),
        Field("measurer", "text"),
        Field("zone", "zone"),
        Field("protocol", "text"),
        Field("purpose", "choice", ("work", "standing", "travel", "sport", "prescribed", "other")),
        Field(
            "forms",
            "choices",
            ("below_knee", "mid_calf", "half_thigh", "thigh", "tights", "footless_sleeve"),
        ),
        Field("sides", "choices", tuple(side.value for side in LEGS)),
        Field("rising_at", "instant"),
        Field("posture", "choice", ("standing", "sitting", "lying")),
        Field("bare_skin", "choice", ("yes", "no")),
        Field("compression", "choice", ("none", "off", "on")),
        Field("compression_off_at", "instant"),
        Field("swollen", "choice", ("none", "left", "right", "both")),
        Field("swelling_known", "choice", ("none", "oedema", "late_pregnancy", "heart_failure")),
        Field("dent", "choice", ("not_tried", "none", "left", "right", "both")),
        Field("lately", "choices", ("nothing", "exercise", "hot_bath", "warm_room")),
        Field("long_ride", "choice", ("none", "within_day", "within_three_days")),
        Field("posture_since", "instant"),
        Field("tape", "choice", ("cm", "in")),
        Field("repeats", "choice", ("where_doubtful", "each_point", "second_round")),
        Field("round_skipped", "text"),
        Field("shape_left", "choices", ("nothing", *SHAPES, UNKNOWN)),
        Field("shape_right", "choices", ("nothing", *SHAPES, UNKNOWN)),
        Field("clock", "choice", ("correct", "wrong")),
        # Each entry stands: a second person told takes nothing from the first.
        Field("told", "text", working_state=True),
        Field("finished", "yes_no"),
        Field("swelling_model", "text"),
        Field("paused", "text", working_state=True),
        # Written beside answers, never asked. Laptops may well hold different rule files; the
        # answers themselves are what must not differ.
        Field("screening_rules", "text", working_state=True),
    )
}


def parse_answer(what: str, text: str, now: datetime) -> Value:
    """Read what somebody answered.

    Args:
        what: the field.
        text: as typed; several choices are parted by commas.
        now: the present instant; a bare time of day is the last such time before it.

    Raises:
        ReadingError: no such field, or not one of its answers.
        UnitError: not a time or zone.
    """
    field = FIELDS.get(what)
    if field is None:
        raise ReadingError(
            Problem(
                code="unknown_field",
                text=say("'{what}' is not a field of a session.", what=clean(what).text[:40]),
                mend=say("Fields: {names}.", names=", ".join(FIELDS)),
                key="what",
            )
        )
    typed = clean(text).text
    if field.kind == "instant":
        return _parse_time(typed, now)
    if field.kind == "zone":
        return parse_zone(typed).key
    if field.kind == "yes_no":
        return _one_of(what, typed.casefold(), ("yes", "no", "true", "false")) in ("yes", "true")
    if field.kind == "choice":
        return _one_of(what, typed.casefold(), field.choices)
    if field.kind == "choices":
        parts = [part.strip().casefold() for part in typed.split(",") if part.strip()]
        return [_one_of(what, part, field.choices) for part in parts or [""]]
    problem = judge_client_code(typed) if field.kind == "code" else None
    if not typed and problem is None:
        problem = _refused(what, typed, say("some text"))
    if problem is not None:
        raise ReadingError(problem.at(key=what))
    return typed


def judge_choice(what: str, value: Value | None) -> None:
    """Judge an answer as it is written in a line, where its field has fixed choices.

    Args:
        what: the field; one that is not known is not judged.
        value: what the line says; None where it says nothing.

    Raises:
        ReadingError: not one of the field's choices.
    """
    field = FIELDS.get(what)
    if field is None or not field.choices:
        return
    parts: Sequence[object] = [value]
    if field.kind == "choices" and isinstance(value, Sequence) and not isinstance(value, str):
        parts = value
    for part in parts:
        _one_of(what, "" if part is None else str(part), field.choices)


def answer_words(value: Value | None) -> str:
    """Write an answer for people."""
    if value is None:
        return say("not answered")
    if isinstance(value, bool):
        return say("yes") if value else say("no")
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M}"
    if isinstance(value, str):
        return choice_words(value)
    if isinstance(value, Sequence):
        return ", ".join(choice_words(str(item)) for item in value)
    return str(value)


def is_working_state(what: str) -> bool:
    """Whether a field only says how the work stands."""
    field = FIELDS.get(what)
    return field is not None and field.working_state


def field_words(what: str) -> str:
    """Return a field's name for people; an unknown one as it is."""
    words = {
        "client": say("Client"),
        "measurer": say("Measured by"),
        "zone": say("Time zone"),
        "protocol": say("Readings"),
        "purpose": say("What for"),
        "forms": say("Garment"),
        "sides": say("Legs"),
        "rising_at": say("Up since"),
        "posture": say("Posture"),
        "bare_skin": say("Bare skin"),
        "compression": say("Bandage, stocking"),
        "compression_off_at": say("Taken off at"),
        "swollen": say("Swollen leg"),
        "swelling_known": say("Swelling known"),
        "dent": say("Pressed 10 s: dent?"),
        "lately": say("Last half hour"),
        "long_ride": say("Trip over 4 hours"),
        "posture_since": say("Posture since"),
        "tape": say("Tape shows"),
        "repeats": say("Second reading"),
        "round_skipped": say("Repeats left out"),
        "shape_left": say("Shape, LEFT leg"),
        "shape_right": say("Shape, RIGHT leg"),
        "clock": say("Date and time"),
        "told": say("Who was told"),
        "finished": say("Finished"),
        "swelling_model": say("Swelling model"),
        "screening_rules": say("Rules of screening"),
    }
    return words.get(what, what)


def choice_words(choice: str) -> str:
    """Return a fixed answer in words; any other text stays as it is."""
    words = {
        "work": say("work"),
        "standing": say("standing"),
        "travel": say("travel"),
        "sport": say("sport"),
        "prescribed": say("prescribed"),
        "other": say("other"),
        "below_knee": say("below knee"),
        "mid_calf": say("mid-calf sock"),
        "half_thigh": say("half thigh"),
        "thigh": say("thigh length"),
        "tights": say("tights"),
        "footless_sleeve": say("footless sleeve"),
        "left": say("left"),
        "right": say("right"),
        "sitting": say("sitting"),
        "lying": say("lying"),
        "none": say("none"),
        "off": say("taken off"),
        "on": say("still on"),
        "yes": say("yes"),
        "no": say("no"),
        "in": say("inches"),
        "both": say("both"),
        "oedema": say("oedema"),
        "late_pregnancy": say("late pregnancy"),
        "heart_failure": say("heart failure"),
        "where_doubtful": say("where doubtful"),
        "each_point": say("at each point"),
        "second_round": say("whole second round"),
        "correct": say("correct"),
        "wrong": say("wrong"),
        "not_tried": say("not tried"),
        "nothing": say("nothing"),
        "exercise": say("exercise"),
        "hot_bath": say("hot bath"),
        "warm_room": say("hot room"),
        "unknown": say("not known"),
        "deep_folds": say("deep folds"),
        "sudden_step": say("a sudden step in girth"),
        "deformed_toes": say("toes out of shape"),
        "swollen_toes": say("swollen toes"),
        "contracture": say("a joint that does not straighten"),
        "no_ankle_narrowing": say("no narrowing at the ankle"),
        "within_day": say("in the last day"),
        "within_three_days": say("in the last 3 days"),
    }
    return words.get(choice, choice)


def _parse_time(typed: str, now: datetime) -> Value:
    if typed.casefold() == UNKNOWN:
        return UNKNOWN
    if _DATE.match(typed):
        return parse_instant(typed, now.tzinfo)
    return parse_time_of_day(typed, now)


def _one_of(what: str, typed: str, choices: Sequence[str]) -> str:
    if typed in choices:
        return typed
    raise ReadingError(_refused(what, typed, ", ".join(choices)).at(key=what))


def _refused(what: str, typed: str, allowed: str) -> Problem:
    return Problem(
        code="bad_answer",
        text=say("{what}: '{typed}' is not an answer.", what=what, typed=typed[:40]),
        mend=say("Answer with: {allowed}.", allowed=allowed),
    )
