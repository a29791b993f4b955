"""Measuring in protocol order: which steps a sitting has, and which is next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.points import Kind, Place, Point, Side

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fitcore.profile_models import Protocol, ProtocolStep
    from fitcore.record.reading import Reading
    from fitcore.record.readings import Readings


@dataclass(frozen=True, slots=True)
class Step:
    """One field of the measuring screen: one place, one time round."""

    side: Side
    point: Point
    kind: Kind
    round: int
    where: str
    or_shoe: bool = False

    @property
    def place(self) -> Place:
        """What is measured here."""
        return (self.side, self.point, self.kind)

    @property
    def name(self) -> str:
        """A fixed name for files: `left B girth 1`."""
        return f"{self.side} {self.point} {self.kind} {self.round}"


def plan(
    protocol: Protocol,
    sides: Sequence[Side],
    *,
    wanted: Callable[[Place], int] = lambda _: 1,
    at_once: Callable[[Side], bool] = lambda _: False,
    calves_first: bool = False,
    calves_again: bool = False,
) -> tuple[Step, ...]:
    """Lay out a protocol for the legs to be measured.

    Args:
        protocol: what is measured, in which order.
        sides: the legs, left first.
        wanted: how many times a place is to be read.
        at_once: whether a leg's repeats follow each reading; else they make further rounds.
        calves_first: whether both calves are read before all else: a difference between them is
            worth knowing before twenty minutes' work.
        calves_again: whether their repeats follow at once, for the same reason.

    Returns:
        Steps in measuring order: per round, leg by leg or point by point as the protocol says; a
        step asked once for both legs stands at the end of the first round.
    """
    own = [step for step in protocol.steps if not step.once]
    pairs = (
        [(side, step) for side in sides for step in own]
        if protocol.order == "leg_by_leg"
        else [(side, step) for step in own for side in sides]
    )
    once = [_step(Side.BOTH, step, 1) for step in protocol.steps if step.once]
    first: list[Step] = []
    later: list[Step] = []
    for side, step in pairs:
        place = (side, step.point, step.kind)
        rounds = [_step(side, step, number) for number in range(1, wanted(place) + 1)]
        first += rounds if at_once(side) else rounds[:1]
        later += [] if at_once(side) else rounds[1:]
    before = protocol.order == "point_by_point" and protocol.steps[0].once
    first = once + first if before else first + once
    later.sort(key=lambda step: step.round)
    if not calves_first:
        return (*first, *later)
    at_front = [*filter(_is_calf, first), *(filter(_is_calf, later) if calves_again else ())]
    return (*at_front, *(step for step in (*first, *later) if step not in at_front))


def is_done(step: Step, readings: Readings) -> bool:
    """Whether a step has a reading or a recorded reason for none."""
    return done_reading(step, readings) is not None


def done_reading(step: Step, readings: Readings) -> Reading | None:
    """Return the reading that fills a step, or None."""
    found = [r for r in readings.current(step.place) if r.round == step.round]
    if not found and step.or_shoe:
        shoe = (step.side, step.point, Kind.SHOE)
        found = [r for r in readings.current(shoe) if r.round == step.round]
    return found[-1] if found else None


def next_open(steps: Sequence[Step], readings: Readings, after: int = -1) -> int | None:
    """Return the index of the next step without an answer, looking on from `after`, then round.

    None where every step is answered.
    """
    order = [*range(after + 1, len(steps)), *range(after + 1)]
    return next((index for index in order if not is_done(steps[index], readings)), None)


def _is_calf(step: Step) -> bool:
    return (step.point, step.kind) == (Point.C, Kind.GIRTH)


def _step(side: Side, step: ProtocolStep, number: int) -> Step:
    return Step(side, step.point, step.kind, number, step.where, step.or_shoe)
