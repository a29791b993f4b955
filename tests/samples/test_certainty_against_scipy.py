"""Certainty against a second implementation, scipy's normal distribution, and a simulation.

Everything on the other side is written anew here, in numpy on whole arrays: the edges, the decision
and the sums. On a rounded tape every mark the value may come to is visited; without rounding the
axis is cut at all edges; and a million fresh measurings are drawn from a fixed seed.

`ANKLEFIRST_CERTAINTY_CASES=200` runs all charts; the usual run takes fewer.
"""

from __future__ import annotations

import itertools
import os
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from fitcore.certainty.certainty import Spread, certainty, outcome_probabilities
from fitcore.charts.chart import Chart

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fitcore.charts.outcome import Outcome

    Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]
    Codes = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

CASES = int(os.environ.get("ANKLEFIRST_CERTAINTY_CASES", "30"))
DRAWS = 1_000_000
ALLOWED = 0.002
SEED = 20260304

COLUMNS = (("ankle", "B", "girth"), ("calf", "C", "girth"), ("thigh", "G", "girth"),
           ("length", "D", "length"))  # fmt: skip
OFF, BETWEEN, PROPORTIONS = -1, -2, -3
OVERLAP = 1_000
CHOICE = 1_000_000


@dataclass(frozen=True)
class Range:
    """One range of a column as it decides."""

    low: float
    high: float
    low_in: bool
    high_in: bool

    def holds(self, x: Floats) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        above = (x >= self.low) if self.low_in else (x > self.low)
        below = (x <= self.high) if self.high_in else (x < self.high)
        return above & below


@dataclass(frozen=True)
class Case:
    """One invented chart and leg, in mm."""

    printed: dict[str, list[tuple[int, int]]]
    gap: dict[str, str]
    table_step: int
    overlap: str
    rows: list[dict[str, int]]
    leg: dict[str, float]
    errors: dict[str, float]
    steps: dict[str, float]
    prescribed: bool
    shared: float

    def chart(self) -> Chart:
        """Return it as the program reads it."""
        places = {name: (point, kind) for name, point, kind in COLUMNS}
        return Chart.model_validate(
            {
                "format": 1, "id": "invented", "maker": "Invented Mill", "line": "Skerrow",
                "invented": True, "form": "thigh", "toe": "open", "purposes": ["work"],
                "unit": "mm", "step_mm": self.table_step, "posture": "standing",
                "overlap": self.overlap,
                "source": {"text": "Made up for a test", "status": "invented"},
                "dimensions": [
                    {"id": n, "point": places[n][0], "kind": places[n][1], "gap": self.gap[n]}
                    for n in self.printed
                ],
                "sizes": [
                    {"size": str(i)} | {n: list(self.printed[n][at]) for n, at in row.items()}
                    for i, row in enumerate(self.rows)
                ],
            }
        )  # fmt: skip

    def deciding(self, name: str) -> list[Range]:
        """Return a column's ranges as they decide: steps closed, gaps by the chart's rule."""
        ranges = [[float(a), float(b), True, True] for a, b in self.printed[name]]
        for one, other in itertools.pairwise(ranges):
            gap = other[0] - one[1]
            if gap <= 0 or (gap > self.table_step and self.gap[name] == "none"):
                continue
            if gap <= self.table_step or self.gap[name] == "nearest":
                one[1] = other[0] = (one[1] + other[0]) / 2
                one[3] = False
            else:
                other[0], other[2] = one[1], False
        return [Range(a, b, bool(c), bool(d)) for a, b, c, d in ranges]

    def decide(self, x: dict[str, Floats]) -> Codes:
        """Decide whole arrays of legs at once; what each came to as a number."""
        columns = {name: self.deciding(name) for name in x}
        hold = np.array(
            [
                np.logical_and.reduce([columns[n][at].holds(x[n]) for n, at in row.items()])
                for row in self.rows
            ]
        )
        count = hold.sum(axis=0)
        last = len(self.rows) - 1 - hold[::-1].argmax(axis=0)
        chosen = hold.argmax(axis=0) if self.overlap == "smaller" else last
        if self.overlap == "ankle":
            mine = [columns["ankle"][row["ankle"]] for row in self.rows]
            room = np.array([np.minimum(x["ankle"] - r.low, r.high - x["ankle"]) for r in mine])
            room[~hold] = -np.inf
            # Largest room; of equals the last. All numbers here are quarters of a mm: exact.
            chosen = len(self.rows) - 1 - room[::-1].argmax(axis=0)
        among = (hold * (1 << np.arange(len(self.rows)))[:, None]).sum(axis=0)
        several = CHOICE + among if self.prescribed else OVERLAP + chosen
        off = np.logical_or.reduce(
            [
                (v < min(r.low for r in columns[n])) | (v > max(r.high for r in columns[n]))
                for n, v in x.items()
            ]
        )
        gap = np.logical_or.reduce(
            [~np.logical_or.reduce([r.holds(v) for r in columns[n]]) for n, v in x.items()]
        )
        none = np.where(off, OFF, np.where(gap, BETWEEN, PROPORTIONS))
        codes: Codes = np.where(count == 0, none, np.where(count == 1, last, several))
        return codes


def cases() -> Iterator[Case]:
    """Draw charts and legs from a fixed seed: one to four columns, legs near their edges."""
    rng = np.random.default_rng(SEED)
    while True:
        names = [name for name, _, _ in COLUMNS[: rng.integers(1, 5)]]
        count, wide = int(rng.integers(1, 6)), bool(rng.integers(0, 2)) and len(names) > 1
        printed, gap = {}, {}
        for name in names:
            at, ranges = int(rng.integers(180, 400)), []
            for _ in range(count + (wide and name == "calf")):
                top = at + int(rng.integers(36, 60))
                ranges.append((at, top))
                at = top + int(rng.choice([-15, -8, -3, 0, 1, 1, 4, 10]))
            printed[name] = ranges
            gap[name] = str(rng.choice(["none", "nearest", "larger"]))
        rows = []
        for index in range(count):
            rows.append(dict.fromkeys(names, index))
            if wide:
                rows.append(dict.fromkeys(names, index) | {"calf": index + 1})
        steps = {name: float(rng.choice([0, 0.5, 1, 1])) for name in names}
        home = int(rng.integers(0, count))
        leg = {}
        for name in names:
            edges = [edge for pair in printed[name][home : home + 2] for edge in pair]
            raw = float(rng.choice(edges)) + float(rng.normal(0, 5))
            grid = steps[name] or 0.25
            leg[name] = round(raw / grid) * grid
        girths = len(names) - ("length" in names)
        yield Case(
            printed, gap, int(rng.integers(0, 2)), str(rng.choice(["larger", "smaller", "ankle"])),
            rows, leg, {name: float(rng.uniform(0.6, 5)) for name in names}, steps,
            bool(rng.integers(0, 2)),
            float(rng.uniform(0.5, 3)) if girths > 1 and rng.random() < 0.2 else 0.0,
        )  # fmt: skip


def ours(case: Case) -> dict[int, float]:
    """Return our own probabilities, by the numbers of `Case.decide`."""
    found = outcome_probabilities(
        case.chart(),
        {name: Decimal(str(mm)) for name, mm in case.leg.items()},
        {name: Spread(case.errors[name], Decimal(str(case.steps[name]))) for name in case.leg},
        prescribed=case.prescribed,
        shared_mm=case.shared,
    )
    total: dict[int, float] = {}
    for each, share in found.items():
        total[code(each)] = total.get(code(each), 0.0) + share
    return total


def code(each: Outcome) -> int:
    if each.among:
        return CHOICE + sum(1 << row for row in each.among)
    if each.size is not None:
        return each.size + (OVERLAP if each.verdict == "overlap" else 0)
    return {"off_chart": OFF, "between": BETWEEN, "proportions": PROPORTIONS}[each.verdict.value]


def simulated(case: Case, rng: np.random.Generator) -> dict[int, float]:
    """Measure a million times."""
    common = case.shared * rng.standard_normal(DRAWS) if case.shared else 0.0
    x = {}
    for name, mm in case.leg.items():
        fresh = mm + case.errors[name] * rng.standard_normal(DRAWS)
        if name != "length":
            fresh = fresh + common
        step = case.steps[name]
        x[name] = np.floor(fresh / step + 0.5) * step if step else fresh
    codes, counts = np.unique(case.decide(x), return_counts=True)
    return dict(zip(codes.tolist(), (counts / DRAWS).tolist(), strict=True))


def summed_by_scipy(case: Case) -> dict[int, float]:
    """Visit every mark of a rounded tape, and every stretch between edges of an unrounded one."""
    points, weights = [], []
    for name, mm in case.leg.items():
        error, step = case.errors[name], case.steps[name]
        if step:
            marks = np.arange(np.floor((mm - 6 * error) / step), (mm + 6 * error) / step + 1) * step
            share = norm.cdf(marks + step / 2, mm, error) - norm.cdf(marks - step / 2, mm, error)
        else:
            ranges = case.deciding(name)
            cuts = {edge for r in ranges for edge in (r.low, r.high)}
            cuts |= {(one.low + other.high) / 2 for one in ranges for other in ranges}
            bounds = np.array([-1e4, *sorted(cuts), 1e4])
            marks = (bounds[1:] + bounds[:-1]) / 2
            share = np.diff(norm.cdf(bounds, mm, error))
            marks, share = marks[share > 1e-12], share[share > 1e-12]
        points.append(marks)
        weights.append(share)
    grids = np.meshgrid(*points, indexing="ij")
    share = weights[0]
    for more in weights[1:]:
        share = np.multiply.outer(share, more)
    codes = case.decide(dict(zip(case.leg, (grid.ravel() for grid in grids), strict=True)))
    found, where = np.unique(codes, return_inverse=True)
    return dict(zip(found.tolist(), np.bincount(where, share.ravel()).tolist(), strict=True))


def as_sure(case: Case, codes: dict[int, float]) -> float:
    """Return how probable it is that the same is ordered: the size chosen, by itself or not."""
    (read,) = case.decide({name: np.array([mm]) for name, mm in case.leg.items()}).tolist()

    def ordered(number: int) -> int:
        return number % OVERLAP if OVERLAP <= number < CHOICE else number

    return sum(share for number, share in codes.items() if ordered(number) == ordered(read))


def our_certainty(case: Case) -> float:
    return certainty(
        case.chart(),
        {name: Decimal(str(mm)) for name, mm in case.leg.items()},
        {name: Spread(case.errors[name], Decimal(str(case.steps[name]))) for name in case.leg},
        prescribed=case.prescribed,
        shared_mm=case.shared,
    )


def test_as_sure_as_scipy_is_that_the_same_size_is_ordered(tell: Callable[[str], None]) -> None:
    apart, told = [], 0
    for case in itertools.islice(cases(), 20 * CASES):
        if case.shared or len(case.leg) > 2:
            continue  # a leg where sizes overlap is rare: many charts of few columns
        codes = summed_by_scipy(case)
        apart.append(abs(our_certainty(case) - as_sure(case, codes)))
        (read,) = case.decide({name: np.array([mm]) for name, mm in case.leg.items()}).tolist()
        told += as_sure(case, codes) > codes.get(read, 0.0) + 1e-6
    tell(f"certainty of the size against scipy: {len(apart)} charts, worst {max(apart):.1e}")
    assert max(apart) < 1e-7
    assert told  # some are surer of the size than of the verdict


def worst(one: dict[int, float], other: dict[int, float]) -> float:
    return max(abs(one.get(each, 0.0) - other.get(each, 0.0)) for each in one.keys() | other.keys())


def test_a_million_fresh_measurings_come_out_as_often_as_we_say(
    tell: Callable[[str], None],
) -> None:
    rng = np.random.default_rng(SEED + 1)
    apart, met = [], set()
    for case in itertools.islice(cases(), CASES):
        mine = ours(case)
        met |= {min(each // OVERLAP, 2) if each >= 0 else each for each in mine}
        apart.append(worst(mine, simulated(case, rng)))
    tell(f"certainty against {DRAWS} draws: {len(apart)} charts, worst {max(apart):.5f}")
    assert max(apart) < ALLOWED
    assert met == {OFF, BETWEEN, PROPORTIONS, 0, 1, 2}  # every kind of outcome was there


def test_scipys_normal_distribution_summed_anew_says_the_same(
    tell: Callable[[str], None],
) -> None:
    apart = []
    for case in itertools.islice(cases(), CASES):
        marks = sum(12 * case.errors[name] / (case.steps[name] or 99) for name in case.leg)
        if case.shared or (len(case.leg) == 4 and marks > 110):
            continue  # too many marks in four dimensions: the simulation has these
        apart.append(worst(ours(case), summed_by_scipy(case)))
    tell(f"certainty against scipy: {len(apart)} charts, worst {max(apart):.1e}")
    assert len(apart) > CASES / 2
    assert max(apart) < 1e-7


@pytest.mark.parametrize("own", [0.0, 0.0005, 0.02, 0.5, 2.0, 4.0])
def test_a_shared_error_is_that_of_scipys_integral_and_many_dimensions(own: float) -> None:
    """One size with three girths: the probability of its box, the girths pulled together."""
    rng = np.random.default_rng(SEED + 2)
    names = ["ankle", "calf", "thigh"]
    for _ in range(6):
        shared = float(rng.uniform(0.5, 4))
        centre = [float(round(c)) for c in rng.uniform(207, 243, 3)]
        case = Case(
            {name: [(210, 240)] for name in names}, dict.fromkeys(names, "none"), 0, "larger",
            [dict.fromkeys(names, 0)], dict(zip(names, centre, strict=True)),
            dict.fromkeys(names, own), dict.fromkeys(names, 0.0), prescribed=False, shared=shared,
        )  # fmt: skip
        mine = ours(case).get(0, 0.0)
        assert mine == pytest.approx(integrated(centre, own, shared), abs=1e-6)
        if own >= 0.5:  # with less, that function itself is off by up to 1e-4
            covariance = np.full((3, 3), shared**2) + np.diag([own**2] * 3)
            box = multivariate_normal(centre, covariance, seed=1).cdf(
                [240] * 3, lower_limit=[210] * 3
            )
            assert mine == pytest.approx(float(box), abs=2e-5)


def integrated(centre: list[float], own: float, shared: float) -> float:
    """Integrate the box from 210 to 240 over the shared error, in pieces, by scipy."""
    if not own:  # all girths move as one
        low, high = max(210 - c for c in centre), min(240 - c for c in centre)
        return float(max(0.0, norm.cdf(high / shared) - norm.cdf(low / shared)))

    def at(w: float) -> float:
        inside = [
            norm.cdf(240, c + shared * w, own) - norm.cdf(210, c + shared * w, own) for c in centre
        ]
        return float(norm.pdf(w) * np.prod(inside))

    steep = {
        (edge - c + far * own) / shared
        for edge, c, far in itertools.product((210, 240), centre, (-6, -2, 0, 2, 6))
    }
    bounds = [-8.0, *sorted(w for w in steep if abs(w) < 8), 8.0]
    return float(sum(quad(at, a, b, epsabs=1e-12)[0] for a, b in itertools.pairwise(bounds)))
