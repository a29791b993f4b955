"""What `quality` prints for people; the same lines serve a screen."""

from __future__ import annotations

import textwrap
from itertools import groupby
from typing import TYPE_CHECKING

from fitcore.points import place_words
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.quality.quality_report import BetweenError, EndDigits, QualityReport
    from fitcore.quality.repeat_error import RepeatError

WIDTH = 76
"""Columns of the longest line."""


def quality_rows(report: QualityReport) -> list[str]:
    """Write a report for people, at most 76 columns wide: a table for each measurer."""
    lines = _wrapped(
        say(
            "Repeat error: by how much one reading usually misses, seen where one measurer read "
            "the same place twice."
        )
    )
    lines += _repeat_tables(report)
    if report.between:
        lines += ["", say("Between measurers (same client, same day)"), _head()]
        lines += [_row(report, row) for row in report.between]
        names = sorted({name for row in report.between for name in row.measurers})
        text = say("Measured by {names}. Legs may have swollen in between.", names=", ".join(names))
        lines += _wrapped(text, "  ")
    for digits in report.too_round():
        lines += ["", *_wrapped(_round_words(digits))]
    return lines + _left_out(report)


def _repeat_tables(report: QualityReport) -> list[str]:
    if not report.repeat_error:
        return ["", say("No place was read twice by one measurer.")]
    lines: list[str] = []
    groups = [(who, list(rows)) for who, rows in groupby(report.repeat_error, _measurer)]
    for who, rows in groups:
        if who is None and len(groups) == 2:
            continue  # one measurer alone: all together would be the same table again
        lines += ["", *_wrapped(_who_words(who)), _head()]
        lines += [_row(report, row) for row in rows]
        pairs = say("It rests on {pairs} pairs of readings.", pairs=sum(row.pairs for row in rows))
        lines.append(f"  {pairs}")
    doubt = say("Where only doubtful readings were repeated, the error comes out too large.")
    return [*lines, "", *_wrapped(doubt)]


def _measurer(row: RepeatError) -> str | None:
    return row.measurer


def _who_words(measurer: str | None) -> str:
    if measurer is None:
        return say("All measurers")
    return say("Measured by {name}", name=measurer or say("somebody not recorded"))


def _head() -> str:
    return _columns(say("place"), say("pairs"), say("people"), say("error"), say("percent"))


def _row(report: QualityReport, row: RepeatError | BetweenError) -> str:
    what = place_words(row.point, row.kind)
    pairs, people = str(row.pairs), str(row.people)
    if not report.enough(row):
        start = _columns(what, pairs, people, "", "").rstrip()
        return f"{start} {say('too few pairs to say'):>22}"
    error = say("{mm:.1f} mm", mm=row.tem_mm)
    return _columns(what, pairs, people, error, say("{percent:.1f} %", percent=row.tem_percent))


def _columns(what: str, pairs: str, people: str, error: str, percent: str) -> str:
    return f"  {what:<36}{pairs:>6}{people:>9}{error:>12}{percent:>11}"


def _round_words(digits: EndDigits) -> str:
    return say(
        "{name}: {share:.0f} % of {count} readings in cm end in .0 or .5; by chance it would be "
        "20 %. Read the tape to the millimetre.",
        name=digits.measurer or say("Measurer not recorded"),
        share=digits.round_percent,
        count=digits.readings,
    )


def _left_out(report: QualityReport) -> list[str]:
    lines: list[str] = []
    if report.disputed:
        text = say(
            "Left out: places with different values side by side: {count}. Choose one first.",
            count=report.disputed,
        )
        lines += ["", *_wrapped(text)]
    if report.unusable:
        text = say(
            "Left out: readings that cannot be used: {count}. Run check on the folder.",
            count=report.unusable,
        )
        lines += ["", *_wrapped(text)]
    return lines


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)
