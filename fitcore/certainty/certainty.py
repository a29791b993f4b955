"""How probably a fresh measuring comes to the same outcome as the one read. Pure.

Each value used is taken as the middle of a bell of its own standard error, rounded as the tape
rounds; the cells of the chart are summed exactly. It says nothing of whether the measuring was
right: a tape pulled too tight twice is wrong twice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import TYPE_CHECKING

from fitcore.certainty.certainty_cells import FARTHEST, Cells, cells_of
from fitcore.points import Kind
from fitcore.shoes import foot_length_mm

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from fitcore.charts.chart import Chart, Dimension
    from fitcore.charts.outcome import Outcome

    Sums = dict[Outcome, float]

TOLERANCE = 1e-7
"""Error allowed in all of a shared error's integral: a tenth of what is promised."""

_NODES = 10


@dataclass(frozen=True, slots=True)
class Spread:
    """How a fresh value of one dimension lies round the value used, in the column's own scale."""

    error: float
    """One standard error, mm or sizes; 0 for a value that would come out the same."""
    step: Decimal = Decimal(0)
    """Mark to mark on the tape, mm or sizes; 0 for a value that is not rounded."""
    again: float | None = None
    """The standard error if it were read once more; None where reading again would not help."""
    good_to_mm: Decimal | None = None
    """How far off a foot may be that was taken from a shoe size; None for what was measured."""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.error) and self.error >= 0 and self.step >= 0):
            raise ValueError(f"standard error {self.error}, step {self.step}")


@dataclass(frozen=True, slots=True)
class Change:
    """The nearest value at which a chart would come to something else."""

    dimension: str
    mm: Decimal
    """What would have to be added to the value used; negative for a smaller one."""
    errors: float
    """The same distance in standard errors; infinite for a value without one."""
    becomes: Outcome


def outcome_probabilities(
    chart: Chart,
    values: dict[str, Decimal],
    spreads: Mapping[str, Spread],
    *,
    prescribed: bool = False,
    shared_mm: float = 0.0,
) -> dict[Outcome, float]:
    """Return how probable each outcome of a fresh measuring is.

    Args:
        chart: the chart.
        values: the values used, by dimension id in the column's own scale (mm, or sizes); every
            dimension of the chart.
        spreads: how a fresh value of each dimension scatters.
        prescribed: sizes that overlap are an outcome of their own, as a set.
        shared_mm: one standard error common to all girths, such as a tape always pulled alike; it
            comes on top of each one's own.

    Returns:
        Outcome to probability; they sum to 1 within 1e-9 (1e-6 with a shared error).

    Raises:
        KeyError: a dimension has no value or no spread.
        ValueError: a shared error below 0.
    """
    if not (math.isfinite(shared_mm) and shared_mm >= 0):
        raise ValueError(f"shared standard error {shared_mm} mm")
    cells = cells_of(chart)
    girths = frozenset(d.id for d in chart.dimensions if d.kind is Kind.GIRTH)
    if shared_mm and girths:
        return _with_shared(cells, girths, values, spreads, shared_mm, prescribed=prescribed)
    shares = []
    for axis in cells.axes:
        spread, value = spreads[axis.name], values[axis.name]
        shares.append(
            axis.shares(float(value), spread.error, spread.step)
            if spread.error
            else axis.exact_share(value, spread.step)
        )
    return cells.summed(shares, prescribed=prescribed)


def certainty(
    chart: Chart,
    values: dict[str, Decimal],
    spreads: Mapping[str, Spread],
    *,
    prescribed: bool = False,
    shared_mm: float = 0.0,
) -> float:
    """Return the probability, 0 to 1, that a fresh measuring comes to the same.

    Same means the same size chosen, whether or not another holds beside it; where none is chosen
    the same verdict and the same sizes to choose from (`Outcome.as_ordered`). Arguments as for
    `outcome_probabilities`.
    """
    found = outcome_probabilities(
        chart, values, spreads, prescribed=prescribed, shared_mm=shared_mm
    )
    read = cells_of(chart).of(values, prescribed=prescribed).as_ordered
    same = math.fsum(share for each, share in found.items() if each.as_ordered == read)
    return min(1.0, max(0.0, same))


def nearest_change(
    chart: Chart,
    values: dict[str, Decimal],
    spreads: Mapping[str, Spread],
    *,
    prescribed: bool = False,
) -> Change | None:
    """Return which value would change what is ordered soonest, the others staying as they are.

    What counts as a change is what counts for `certainty`. Soonest is by standard errors: 2 mm are
    much for an ankle and little for a length.

    Returns:
        None where no single value can change it.
    """
    cells = cells_of(chart)
    pieces = [axis.piece_of(values[axis.name]) for axis in cells.axes]
    kinds = [axis.kinds[piece] for axis, piece in zip(cells.axes, pieces, strict=True)]
    read = cells.at(kinds, prescribed=prescribed).as_ordered
    found: list[Change] = []
    for index, (axis, dimension) in enumerate(zip(cells.axes, chart.dimensions, strict=True)):
        value, error = values[axis.name], spreads[axis.name].error
        ways = (range(pieces[index] + 1, len(axis.kinds)), range(pieces[index] - 1, -1, -1))
        for way in ways:
            for piece in way:
                there = [*kinds[:index], axis.kinds[piece], *kinds[index + 1 :]]
                becomes = cells.at(there, prescribed=prescribed)
                if becomes.as_ordered != read:
                    # The cut on the near side of that piece.
                    edge = axis.cuts[piece - 1 if piece > pieces[index] else piece][0]
                    far = abs(float(edge - value)) / error if error else math.inf
                    found.append(Change(axis.name, _mm(dimension, value, edge), far, becomes))
                    break
    return min(found, key=lambda change: (change.errors, abs(change.mm)), default=None)


def _mm(dimension: Dimension, value: Decimal, edge: Decimal) -> Decimal:
    if dimension.system is None:
        return edge - value
    system = dimension.system
    return foot_length_mm(edge, system) - foot_length_mm(value, system)


def _with_shared(
    cells: Cells,
    girths: frozenset[str],
    values: dict[str, Decimal],
    spreads: Mapping[str, Spread],
    shared_mm: float,
    *,
    prescribed: bool,
) -> dict[Outcome, float]:
    """Integrate over the shared error, in its own standard errors, by adaptive quadrature."""

    def at(shift: float) -> Sums:
        shares = []
        for axis in cells.axes:
            spread, value = spreads[axis.name], values[axis.name]
            moved = shift * shared_mm if axis.name in girths else 0.0
            if spread.error:
                shares.append(axis.shares(float(value) + moved, spread.error, spread.step))
            elif moved:
                # Within a stretch no girth crosses a cut, so any small error will do.
                shares.append(axis.shares(float(value) + moved, _TINY, spread.step))
            else:
                shares.append(axis.exact_share(value, spread.step))
        density = math.exp(-shift * shift / 2) / math.sqrt(2 * math.pi)
        found = cells.summed(shares, prescribed=prescribed)
        return {each: share * density for each, share in found.items()}

    bounds = _stretches(cells, girths, values, spreads, shared_mm)
    total: Sums = {}
    for low, high in pairwise(bounds):
        _add(total, _refined(at, (low, high), _gauss(at, low, high), TOLERANCE / len(bounds)))
    return total


_TINY = 1e-9
"""mm; stands for no error at all where a shared one moves the value."""


def _stretches(
    cells: Cells,
    girths: frozenset[str],
    values: dict[str, Decimal],
    spreads: Mapping[str, Spread],
    shared_mm: float,
) -> list[float]:
    """Return where to part the integral: wherever a shared error takes a girth past a cut.

    A girth with little error of its own passes it in a narrow stretch, which gets bounds of its
    own: an even grid would step over it.
    """
    bounds = {-FARTHEST, 0.0, FARTHEST}
    for axis in cells.axes:
        if axis.name not in girths:
            continue
        spread, value = spreads[axis.name], float(values[axis.name])
        narrow = spread.error / shared_mm
        for cut in axis.thresholds(spread.step):
            at = (cut - value) / shared_mm
            beside = (0.0, -FARTHEST * narrow, FARTHEST * narrow) if narrow < 0.2 else (0.0,)
            bounds |= {at + aside for aside in beside}
    return sorted(bound for bound in bounds if abs(bound) <= FARTHEST)


def _refined(
    at: Callable[[float], Sums], stretch: tuple[float, float], whole: Sums, most: float
) -> Sums:
    """Halve a stretch until both halves together say what the whole did, within `most`."""
    low, high = stretch
    middle = (low + high) / 2
    left, right = _gauss(at, low, middle), _gauss(at, middle, high)
    both = dict(left)
    _add(both, right)
    apart = max(abs(share - whole.get(each, 0.0)) for each, share in both.items())
    # No outcome holds more than the whole density over a stretch, so a short one needs no halving.
    if apart <= most or high - low < most:
        return both
    found = _refined(at, (low, middle), left, most / 2)
    _add(found, _refined(at, (middle, high), right, most / 2))
    return found


def _gauss(at: Callable[[float], Sums], low: float, high: float) -> Sums:
    """Integrate over one stretch by Gauss and Legendre's rule with ten nodes."""
    half, middle = (high - low) / 2, (high + low) / 2
    total: Sums = {}
    for node, weight in _RULE:
        for each, share in at(middle + half * node).items():
            total[each] = total.get(each, 0.0) + weight * half * share
    return total


def _add(total: Sums, more: Sums) -> None:
    for each, share in more.items():
        total[each] = total.get(each, 0.0) + share


def _legendre_rule(count: int) -> tuple[tuple[float, float], ...]:
    """Return nodes and weights on -1 to 1: the roots of Legendre's polynomial, by Newton."""
    rule = []
    for index in range(count):
        node = math.cos(math.pi * (index + 0.75) / (count + 0.5))
        slope = 1.0
        for _ in range(50):
            before, here = 1.0, node
            for degree in range(2, count + 1):
                following = ((2 * degree - 1) * node * here - (degree - 1) * before) / degree
                before, here = here, following
            slope = count * (node * here - before) / (node * node - 1)
            node -= here / slope
        rule.append((node, 2 / ((1 - node * node) * slope * slope)))
    return tuple(rule)


_RULE = _legendre_rule(_NODES)
