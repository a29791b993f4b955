"""Reading a place again from the result: a further time round beside what is kept. No screen here.

A second reading made because the result asked for it must not take the first one's place: both are
kept, and the mean or median is used. A correction stays possible at the first reading's own field.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.charts.outcome import Verdict
from fitcore.doubts.repeats import MOST_ROUNDS
from fitcore.points import Kind, Point, Side
from fitcore.protocol import is_done
from fitcore.words import say
from tui.desk_conditions import correction_words
from tui.review import review_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.leg_fit import ChartFit
    from fitcore.points import Place
    from fitcore.protocol import Step
    from tui.desk import Desk


_SIDES, _POINTS, _KINDS = ({str(name) for name in names} for names in (Side, Point, Kind))


def go_to_measure(desk: Desk, side: Side, fit: ChartFit | None) -> None:
    """Go to the field a chart's answer for a leg asks about, from the result.

    The measure it names as doubtful or near an edge, the worst first, is laid out once more; one it
    lacks is gone to. Else the first field in doubt, else the first field.

    Args:
        desk: the open session.
        side: the leg shown.
        fit: what the marked chart says of it; None where no chart is marked.
    """
    for place in _named(desk, side, fit):
        steps = _steps_at(desk, place)
        if steps:
            _go_again(desk, steps)
            return
    doubtful = [line.step for line in review_lines(desk) if line.step is not None]
    desk.go_to(doubtful[0] if doubtful else desk.steps[0])


def arrival_words(desk: Desk) -> str:
    """Return what typing in the field the screen opens at does, where that is not plain."""
    if desk.step.round > 1 and desk.step.place in desk.again and desk.reading_here is None:
        return say(
            "Measure it once more, as if for the first time: both readings are kept. To correct "
            "the first one instead, go to its field with the arrows."
        )
    return correction_words(desk)


def rounds_paused_at(paused: object) -> dict[Place, int]:
    """Return the further times round that fields named in `paused` belong to.

    Args:
        paused: names of fields and what was typed there, by turns: `left B girth 2`.
    """
    names = paused[::2] if isinstance(paused, list) else []
    found: dict[Place, int] = {}
    for name in names:
        side, point, kind, number = (*str(name).split(), "", "", "", "")[:4]
        known = side in _SIDES and point in _POINTS and kind in _KINDS
        if known and number in {"2", "3"}:
            place = (Side(side), Point(point), Kind(kind))
            found[place] = max(int(number), found.get(place, 0))
    return found


def _named(desk: Desk, side: Side, fit: ChartFit | None) -> Sequence[Place]:
    if fit is None:
        return ()
    if fit.answer.verdict is Verdict.NOT_MEASURED:
        places = [(side, d.point, d.kind) for d in fit.chart.dimensions]
        return [p for p in places if any(not is_done(s, desk.readings) for s in _steps_at(desk, p))]
    return fit.places_named(side)


def _steps_at(desk: Desk, place: Place) -> list[Step]:
    """Return the fields of a place; foot length and shoe size may stand for each other."""
    side, point, kind = place
    here = [step for step in desk.steps if step.point is point and step.side in (side, Side.BOTH)]
    exact = [step for step in here if step.place == place]
    return exact or [step for step in here if step.kind is kind or point is Point.FOOT]


def _go_again(desk: Desk, steps: Sequence[Step]) -> None:
    """Go to a place's open field; where all are read, lay out one more of a tape's."""
    place = steps[0].place
    rounds = len(steps)
    read = all(is_done(step, desk.readings) for step in steps)
    if read and rounds < MOST_ROUNDS and desk.readings.taken(place) and place[2] is not Kind.SHOE:
        desk.read_again(place, rounds + 1)
        steps = [step for step in desk.steps if step.place == place]
    still_open = [step for step in steps if not is_done(step, desk.readings)]
    desk.go_to(next(iter(still_open), steps[-1]))
