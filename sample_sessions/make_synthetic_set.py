"""Makes the synthetic set of legs: people nobody ever met, drawn from published summaries.

Nobody in it is real. The summaries, each with its source, stand in
`profiles/sets/synthetic-adults.toml`; this script reads them and writes the table beside them.
Chance is fixed, so making it again gives the same bytes:

    python sample_sessions/make_synthetic_set.py [FILE]

How: body height is drawn first and not written. Girths follow a normal law given height with the
published correlations; a length follows height alone. Each is then turned into cm by straight lines
between the published percentiles, beyond the 1st and the 99th by the last line drawn on. Every
measure's own chance is spread evenly over its quantiles and shuffled, so that a small set has
nearly the published percentiles.
"""

from __future__ import annotations

import math
import random
import sys
import tomllib
from decimal import Decimal
from pathlib import Path
from statistics import NormalDist
from typing import TYPE_CHECKING

from fitcore.coverage.leg_set import SetMeasure, SetNotes
from fitcore.points import Kind

if TYPE_CHECKING:
    from collections.abc import Sequence

NOTES = Path(__file__).resolve().parents[1] / "profiles" / "sets" / "synthetic-adults.toml"
NORMAL = NormalDist()
LEVELS = [NORMAL.inv_cdf(share) for share in (0.01, 0.05, 0.5, 0.95, 0.99)]
"""Where the five published percentiles lie on the normal scale."""


def main(words: Sequence[str]) -> None:
    """Write the set, beside its notes or where the first word says."""
    notes = SetNotes.model_validate(
        tomllib.loads(NOTES.read_text(encoding="utf-8"), parse_float=Decimal)
    )
    target = Path(words[0]) if words else NOTES.with_suffix(".csv")
    target.write_text(make_table(notes), encoding="utf-8", newline="\n")


def make_table(notes: SetNotes) -> str:
    """Return the set as CSV: one person and one leg a row, in cm to the tape's 0.1."""
    chance = random.Random(notes.seed)  # noqa: S311 - a fixed sequence is what is wanted
    head = ["person", "sex", *(f"{m.point.value} {m.kind.value} cm" for m in notes.measures)]
    lines = [
        "# Synthetic: nobody in this table is real. Made by sample_sessions/make_synthetic_set.py",
        f"# from published summaries; sources and limits in {notes.id}.toml.",
        ",".join(head),
    ]
    for sex, count in ((0, notes.women), (1, notes.men)):
        rows = _people(notes, sex, count, chance)
        letter, word = (("W", "woman"), ("M", "man"))[sex]
        lines += [
            ",".join([f"{letter}{number:03d}", word, *(f"{cm:.1f}" for cm in row)])
            for number, row in enumerate(rows, 1)
        ]
    return "\n".join(lines) + "\n"


def _people(notes: SetNotes, sex: int, count: int, chance: random.Random) -> list[list[float]]:
    """Draw people of one sex: per person the measures in the notes' order, in cm."""
    lower = _cholesky(_correlations(notes, sex))
    shares = [_shuffled(count, chance) for _ in range(len(notes.measures) + 1)]
    people = []
    for drawn in zip(*shares, strict=True):
        levels = [sum(a * z for a, z in zip(row, drawn, strict=False)) for row in lower]
        people.append(
            [_cm(m, sex, level) for m, level in zip(notes.measures, levels[1:], strict=True)]
        )
    return people


def _shuffled(count: int, chance: random.Random) -> list[float]:
    levels = [NORMAL.inv_cdf((number + 0.5) / count) for number in range(count)]
    chance.shuffle(levels)
    return levels


def _correlations(notes: SetNotes, sex: int) -> list[list[float]]:
    """Return the matrix of height and all measures; what is not published goes through height."""
    known = {
        frozenset(pair.points): float((pair.women, pair.men)[sex]) for pair in notes.correlations
    }
    with_height = [float(measure.with_height[sex]) for measure in notes.measures]

    def between(one: int, other: int) -> float:
        first, second = notes.measures[one], notes.measures[other]
        pair = frozenset((first.point, second.point))
        if first.kind is second.kind is Kind.GIRTH and pair in known:
            return known[pair]
        return with_height[one] * with_height[other]

    size = len(notes.measures)
    rows = [[1.0, *with_height]]
    for one in range(size):
        own = [1.0 if one == other else between(one, other) for other in range(size)]
        rows.append([with_height[one], *own])
    return rows


def _cholesky(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """Return the lower triangle whose product with itself is the matrix.

    Raises:
        ValueError: the correlations contradict each other.
    """
    lower: list[list[float]] = []
    for row, wanted in enumerate(matrix):
        line: list[float] = []
        for column in range(row + 1):
            done = sum(a * b for a, b in zip(line, (*lower, line)[column], strict=False))
            if column < row:
                line.append((wanted[column] - done) / lower[column][column])
            else:
                line.append(math.sqrt(wanted[row] - done))
        lower.append(line)
    return lower


def _cm(measure: SetMeasure, sex: int, level: float) -> float:
    """Turn a place on the normal scale into cm along the published percentiles."""
    points = [float(cm) for cm in (measure.women_cm, measure.men_cm)[sex]]
    above = next((n for n in range(1, 4) if level < LEVELS[n]), 4)
    slope = (points[above] - points[above - 1]) / (LEVELS[above] - LEVELS[above - 1])
    return points[above - 1] + slope * (level - LEVELS[above - 1]) - float(measure.less_cm)


if __name__ == "__main__":
    main(sys.argv[1:])
