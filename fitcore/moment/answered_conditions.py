"""What the answers given before measuring say about the readings. Levels are data.

An answer two people gave differently counts as the more careful of the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fitcore.flags import Flag
from fitcore.points import Side
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.moment.time_rules import TimeRules
    from fitcore.record.session import Session

_HEAT = frozenset({"hot_bath", "warm_room"})


def answered_flags(session: Session, rules: TimeRules) -> list[Flag]:
    """Judge bare skin, compression still on, clock, heat and travel: one sentence each."""
    flags: list[Flag] = []
    if "no" in session.answer("bare_skin").values:
        text = say("Not measured on bare skin: readings may be too large. Bare the leg.")
        flags.append(Flag("not_bare_skin", rules.not_bare_skin.level, "conditions", text))
    if "on" in session.answer("compression").values:
        text = say(
            "A bandage or stocking is still on: measure at the next bandage change, once swelling "
            "has settled."
        )
        flags.append(Flag("compression_on", rules.compression_on.level, "conditions", text))
    if "wrong" in session.answer("clock").values:
        text = say("Whoever measured said that date and time were wrong: hours may be wrong, too.")
        flags.append(Flag("clock_not_confirmed", rules.clock_not_confirmed.level, "clock", text))
    return [*flags, *_lately_flags(session, rules), *_travel_flags(session, rules)]


def dent_flags(session: Session, side: Side, rules: TimeRules) -> list[Flag]:
    """Judge pressing one leg's skin: a dent that stays, or a swollen leg nobody pressed."""
    dent, swollen = session.answer("dent").values, session.answer("swollen").values
    here = {side.value, Side.BOTH.value}
    if here & set(map(str, dent)):
        level, text = (
            rules.dent.stays,
            say(
                "A dent stays when pressed: reduce swelling first, then measure, unless the "
                "prescriber says otherwise."
            ),
        )
    elif "not_tried" in dent and here & set(map(str, swollen)):
        level, text = (
            rules.dent.not_tried,
            say("Swollen, and not tried for a dent: press for 10 seconds and look."),
        )
    else:
        return []
    return [Flag("dent", level, "conditions", text, side)]


def _lately_flags(session: Session, rules: TimeRules) -> list[Flag]:
    told = {
        str(item)
        for value in session.answer("lately").values
        for item in (value if isinstance(value, Sequence) and not isinstance(value, str) else ())
    }
    heat, exercise = bool(told & _HEAT), "exercise" in told
    if heat and exercise:
        level = rules.heat_or_exercise.heat_and_exercise
        text = say("Exercise and heat in the last half hour: let them rest in a cooler room first.")
    elif heat or exercise:
        level = rules.heat_or_exercise.one
        text = (
            say("Heat in the last half hour: the leg may be larger. Half an hour's rest is better.")
            if heat
            else say("Exercise in the last half hour: the leg may be larger. Rest first is better.")
        )
    else:
        return []
    return [Flag("heat_or_exercise", level, "conditions", text)]


def _travel_flags(session: Session, rules: TimeRules) -> list[Flag]:
    told, limits = session.answer("long_ride").values, rules.long_travel
    if "within_day" in told:
        text = say("A long flight or ride in the last day: measure on another day if it can wait.")
        return [Flag("long_travel", limits.within_day, "conditions", text)]
    if "within_three_days" in told:
        text = say("A long flight or ride in the last three days: the leg may still be larger.")
        return [Flag("long_travel", limits.within_three_days, "conditions", text)]
    return []
