"""Repeats: how many readings a place wants, whether they agree, and what is still single.

Two readings at each place, a third where the two differ; the mean of two and the median of three
are used. The limit and the way of repeating are protocol data.
"""

from __future__ import annotations

import itertools
from decimal import Decimal
from statistics import median
from typing import TYPE_CHECKING, Literal, get_args

from fitcore.charts.outcome import Verdict, boxes_of
from fitcore.charts.sizing import Measured, SizeAnswer, chart_values
from fitcore.flags import Flag, Level
from fitcore.points import LEGS, Kind, Place, Side, place_words
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from fitcore.charts.chart import Chart
    from fitcore.profile_models import RepeatRule
    from fitcore.record.readings import Readings
    from fitcore.record.session import Session

Way = Literal["where_doubtful", "each_point", "second_round"]
WAYS: tuple[Way, ...] = get_args(Way)
MOST_ROUNDS = 3
TAKEN_UP_AGAIN = "none"
"""Answer to `round_skipped` that takes an earlier skipping back."""

READING_DOUBTS = frozenset(
    {
        "soft_range",
        "hard_range",
        "unit_slip",
        "decimal_slip",
        "tape_slip",
        "digits_swapped",
        "neighbours_swapped",
        "ankle_not_smaller",
        "lengths_not_rising",
        "ratio",
        "other_leg",
        "last_time",
        "same_both_legs",
        "tape_too_short",
    }
)
"""Doubts about a reading itself, which a second reading can settle."""

_NEVER_SETTLED = frozenset(
    {"other_leg", "last_time", "hard_range", "unit_slip", "decimal_slip", "tape_too_short"}
)
"""A difference that a second reading confirms is a finding, and the more worrying for it; and the
same tape read in the wrong unit says the same twice."""

_ABOUT_BOTH_LEGS = frozenset({"other_leg", "same_both_legs"})

_NEAR = (
    Verdict.FITS,
    Verdict.OVERLAP,
    Verdict.BETWEEN,
    Verdict.PROPORTIONS,
    Verdict.OFF_CHART,
)


def swollen_sides(session: Session) -> frozenset[Side]:
    """Return the legs recorded as swollen: said so, or a dent stayed when pressed."""
    found: set[Side] = set()
    for what in ("swollen", "dent"):
        # Two people's different answers count as the more careful of the two.
        told = session.answer(what).values
        found |= {side for side in LEGS if side.value in told or Side.BOTH.value in told}
    return frozenset(found)


def explained_sides(session: Session) -> frozenset[Side]:
    """Return the swollen legs whose swelling is known of old.

    A swollen leg is not enough: the swelling may be new, and one leg newly larger than the other
    is for a doctor today. Late pregnancy and heart failure explain no difference between legs.
    """
    known = session.answer("swelling_known").values == ("oedema",)
    return swollen_sides(session) if known else frozenset()


def doubted_places(flags: Iterable[Flag]) -> frozenset[Place]:
    """Return the places that doubts about readings ask to be read again.

    Where two legs differ, or were given the same number, it is either that may be wrong.
    """
    found: set[Place] = set()
    for flag in flags:
        if flag.level is Level.NOTE or not (flag.side and flag.point):
            continue
        sides = LEGS if flag.code in _ABOUT_BOTH_LEGS else (flag.side,)
        found |= {(side, flag.point, flag.kind or Kind.GIRTH) for side in sides}
    return frozenset(found)


def is_settled(readings: Readings, rule: RepeatRule, flag: Flag) -> bool:
    """Whether a doubt about a reading was met by a second reading that says the same.

    Each reading of the place must have one beside it that agrees: two that agree say nothing of a
    third that is the one in doubt.
    """
    if flag.code not in READING_DOUBTS - _NEVER_SETTLED or not (flag.side and flag.point):
        return False
    taken = readings.taken((flag.side, flag.point, flag.kind or Kind.GIRTH))
    values = [reading.mm for reading in taken if reading.mm is not None]
    return len(values) > 1 and all(
        _has_company(rule, values, index) for index in range(len(values))
    )


def _has_company(rule: RepeatRule, values: Sequence[Decimal], index: int) -> bool:
    own = values[index]
    others = [*values[:index], *values[index + 1 :]]
    return any(abs(own - other) <= limit_mm(rule, (own, other)) for other in others)


def repeat_way(session: Session, rule: RepeatRule, side: Side) -> Way:
    """Return how a leg's readings are repeated: as answered, else as the protocol says.

    A swollen leg is never repeated only where doubtful: its readings scatter more.
    """
    told = session.text("repeats")
    way = next((way for way in WAYS if way == told), rule.way)
    swollen = side in swollen_sides(session)
    return "each_point" if way == "where_doubtful" and swollen else way


def skip_reason(session: Session) -> str:
    """Return why the rest of the repeats was left out; empty where it was not."""
    told = session.text("round_skipped")
    return "" if told == TAKEN_UP_AGAIN else told


def limit_mm(rule: RepeatRule, values: Collection[Decimal]) -> Decimal:
    """Return by how many mm readings of one place may differ.

    Args:
        rule: the protocol's, in cm and percent.
        values: the readings in mm; the percentage is of their mean.

    Source: the protocol's own file.
    """
    mean = sum(values, Decimal(0)) / len(values)
    return max(rule.differ_cm * 10, mean * rule.differ_percent / 100)


def agree(rule: RepeatRule, values: Collection[Decimal]) -> bool:
    """Whether two readings of one place agree; of more, whether two do round the value used."""
    ordered = sorted(values)
    if len(ordered) < 2:
        return True
    used = median(ordered)
    return any(
        low <= used <= high and high - low <= limit_mm(rule, (low, high))
        for low, high in itertools.pairwise(ordered)
    )


def differing(readings: Readings, rule: RepeatRule) -> frozenset[Place]:
    """Return the places whose readings do not agree: nothing is compared with their mean."""
    return frozenset(
        place
        for place in readings.places()
        if not agree(rule, [r.mm for r in readings.taken(place) if r.mm is not None])
    )


def near_edges(
    side: Side,
    answers: Iterable[tuple[Chart, SizeAnswer]],
    rule: RepeatRule,
    measured: Measured,
) -> frozenset[Place]:
    """Return the places whose reading lies so near a size edge that a repeat could cross it.

    An edge counts where the leg's other measures lie in that size: only there does crossing it
    change what the chart says.

    Args:
        side: the leg.
        answers: charts with what they say of it.
        rule: says how far two readings may differ.
        measured: looks up the value used at a point of this leg.
    """
    found: set[Place] = set()
    for chart, answer in answers:
        if answer.verdict not in _NEAR:
            continue
        values, missing = chart_values(chart, measured)
        if missing:
            continue
        boxes = boxes_of(chart)
        for dimension in chart.dimensions:
            if dimension.kind is Kind.SHOE:
                continue
            others = {name: value for name, value in values.items() if name != dimension.id}
            own = values[dimension.id]
            edges = [box.edges[dimension.id] for box in boxes if box.holds(others)]
            limit = limit_mm(rule, (own,))
            if any(min(abs(own - edge.low), abs(own - edge.high)) <= limit for edge in edges):
                found.add((side, dimension.point, dimension.kind))
    return frozenset(found)


def rounds_wanted(
    session: Session,
    readings: Readings,
    rule: RepeatRule,
    place: Place,
    doubtful: Collection[Place] = (),
) -> int:
    """Return how many times round a place is to be read, 1 to 3.

    Args:
        session: for the way of repeating and for a recorded skipping.
        readings: the session's readings.
        rule: the protocol's.
        place: leg, point and kind.
        doubtful: places in doubt as the session stands now, or near a size edge. What was doubted
            when it was typed is history: a neighbour read since may have settled it.
    """
    side, _, kind = place
    current = readings.current(place)
    read = max((reading.round for reading in current), default=1)
    if kind is Kind.LENGTH and readings.current((side, place[1], Kind.SHOE)):
        return 1  # a shoe size stands for the length, and is asked once
    if kind is Kind.SHOE or skip_reason(session):
        return min(read, MOST_ROUNDS)
    if any(reading.not_taken for reading in current) or readings.disputed(place):
        return min(read, MOST_ROUNDS)
    values = [reading.mm for reading in readings.taken(place) if reading.mm is not None]
    wanted = 1
    if repeat_way(session, rule, side) != "where_doubtful" or (values and place in doubtful):
        wanted = 2
    if len(values) == 2 and not agree(rule, values):
        wanted = 3
    return min(max(read, wanted), MOST_ROUNDS)


def judge_repeats(
    session: Session,
    readings: Readings,
    rule: RepeatRule,
    sides: Collection[Side],
    doubtful: Collection[Place] = (),
) -> tuple[Flag, ...]:
    """Say which readings differ from their repeats, and which wanted one and have none."""
    flags: list[Flag] = []
    for place in readings.places():
        taken = readings.taken(place)
        if place[0] not in sides or not taken or place[2] is Kind.SHOE:
            continue
        if readings.disputed(place):
            continue  # two corrections side by side are no two readings; the conflict is told
        values = [reading.mm for reading in taken if reading.mm is not None]
        if not agree(rule, values):
            flags.append(_differs(place, values))
        elif len(values) == 1:
            flags += _single(session, readings, rule, place, doubtful)
    return tuple(flags)


def _differs(place: Place, values: Collection[Decimal]) -> Flag:
    shown = ", ".join(show_cm(value) for value in values)
    what = place_words(place[1], place[2])
    text = (
        say("{what}: {shown} cm do not agree. Read it a third time.", what=what, shown=shown)
        if len(values) == 2
        else say(
            "{what}: {shown} cm, no two agree. Mark the level on the skin and measure again.",
            what=what,
            shown=shown,
        )
    )
    return Flag("repeat_differs", Level.WARN, "reading", text, *place)


def _single(
    session: Session,
    readings: Readings,
    rule: RepeatRule,
    place: Place,
    doubtful: Collection[Place],
) -> list[Flag]:
    """Tell of a place that wants a repeat and has one reading: a note where somebody said why."""
    what = place_words(place[1], place[2])
    refused = [reading.not_taken for reading in readings.current(place) if reading.not_taken]
    why = skip_reason(session) or " ".join(refused)
    if why:
        text = say("{what}: read once only ({why}).", what=what, why=why)
        return [Flag("single_reading", Level.NOTE, "reading", text, *place)]
    if rounds_wanted(session, readings, rule, place, doubtful) < 2:
        return []
    text = say("{what}: read once only. Take the tape off and measure it again.", what=what)
    return [Flag("single_reading", Level.WARN, "reading", text, *place)]
