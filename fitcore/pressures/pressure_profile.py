"""What the pressure may look like up one leg: an illustration. Pure.

Never this leg's pressure, and nothing chooses a size from it. The rule behind it: the fabric pulls
as hard at every level as at the ankle (Laplace's law, `fitcore.pressures.laplace`). Then the
pressure falls as the girth grows, more so the wider the calf. Measured legs do not keep to that:
with narrow ankles under wide calves the fall was lost, and a specially made stocking restored it
(ambulatory venous pressure study, abstract read). The rule cannot show it; `caveat_words` says so
wherever a profile is shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from fitcore.points import Point
from fitcore.pressures.laplace import tension_for, tension_mmhg
from fitcore.pressures.pressure import show_beside
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.charts.chart import Pressure
    from fitcore.pressures.pressure import NamedClass
    from fitcore.pressures.pressure_model import IllustrationRules, Levels, Residual

PROFILE_POINTS = (Point.B, Point.B1, Point.C, Point.D, Point.E, Point.F, Point.G)
"""From the ankle up to the top of the thigh; classes say nothing of the foot or above the leg."""

BandPlace = Literal["start", "within", "below", "above", "no_band"]


@dataclass(frozen=True, slots=True)
class Band:
    """What a class leaves of the ankle's pressure at one level, in percent and in mmHg."""

    of: Point
    """The point the percentages are counted from."""
    low_percent: Decimal | None
    high_percent: Decimal
    low_mmhg: Decimal | None
    high_mmhg: Decimal


@dataclass(frozen=True, slots=True)
class ProfileRow:
    """One level of the leg."""

    point: Point
    girth_mm: Decimal
    mmhg: Decimal
    """Pressure by the same pull as at the ankle; not rounded."""
    percent: Decimal
    """Of the pressure at the ankle; not rounded."""
    band: Band | None
    """None where none is known for the class, or the point it counts from was not measured."""
    place: BandPlace
    percent_of_band: Decimal
    """Of the pressure at the point the band counts from; of the ankle without a band."""


@dataclass(frozen=True, slots=True)
class PressureProfile:
    """An illustration of the pressure up one leg. Never a choice of size, never a measurement."""

    named: NamedClass | None
    """The class whose percentages are drawn beside it."""
    nominal_mmhg: Decimal
    rows: tuple[ProfileRow, ...]
    """Ankle first, upwards; empty where the ankle was not measured."""
    remarks: tuple[str, ...]
    made_to_measure: bool
    """Whether the leg's shape is a reason to ask about made to measure."""


def nominal_mmhg(printed: Pressure) -> Decimal:
    """Return the pressure a profile starts from: the middle of the printed range (ours)."""
    low, high = printed.mmhg
    return (low + high) / 2


def pressure_profile(
    nominal: Decimal,
    girths_mm: Mapping[Point, Decimal],
    named: NamedClass | None,
    rules: IllustrationRules,
) -> PressureProfile:
    """Illustrate the pressure up a leg by the same pull of the fabric at every level.

    Args:
        nominal: pressure at the ankle in mmHg, above 0.
        girths_mm: girths in mm, each above 0; points outside B to G are left alone.
            Give only levels the garment covers.
        named: the class whose percentages up the leg are compared; None where it is not known.
        rules: what is ordinary and what is not.

    Returns:
        Rows from the ankle upwards with remarks: where the leg is thinner higher up, so that the
        pressure would rise, where the class's percentages are left, and a calf too wide.

    Raises:
        ValueError: a pressure or a girth that is not above 0.
    """
    girths = {point: girths_mm[point] for point in PROFILE_POINTS if point in girths_mm}
    if not nominal > 0 or any(not girth > 0 for girth in girths.values()):
        raise ValueError(f"{nominal} mmHg, girths {girths}: all must be above 0")
    if Point.B not in girths:
        missing = say("The ankle was not measured, so no profile can be drawn.")
        return PressureProfile(named, nominal, (), (missing,), made_to_measure=False)
    rows = tuple(_row(nominal, girths, point, named) for point in girths)
    shape = [*_turned(rows), *_rises(rows, rules.thinner_is_ordinary), *_wide_calf(rows, rules)]
    ordinary = _ordinary_rises(rows, rules.thinner_is_ordinary)
    for row in rows:
        if row.place not in ("below", "above") or row.band is None or named is None:
            continue
        told = _left_words(row, row.band, named)
        if row.place == "above" and row.point in rules.more_is_ordinary.points:
            less = say("A garment must pull less hard there: by itself that is ordinary.")
            ordinary.append(f"{told} {less}")
        else:
            shape.append(told)
    if shape:
        shape.append(say("Ask whether it should be made to measure."))
    return PressureProfile(named, nominal, rows, (*shape, *ordinary), made_to_measure=bool(shape))


def heading_words() -> str:
    """Return what stands over every profile, whatever it is drawn on."""
    return say("Illustration: not this leg's pressure; never choose a size from it.")


def caveat_words() -> str:
    """Return what stands under every profile: the rule, and what was measured against it."""
    return say(
        "The rule: the fabric pulls as hard at every level as at the ankle, so a thicker level is "
        "pressed less. Real garments and legs do not keep to it: the fall in pressure is often "
        "lost, as with narrow ankles under wide calves, where this rule shows the steepest fall."
    )


def level_words(point: Point) -> str:
    """Return a level as a sentence names it: *the calf (C)*."""
    words = {
        Point.B: say("the ankle (B)"),
        Point.B1: say("B1 above the ankle"),
        Point.C: say("the calf (C)"),
        Point.D: say("D below the knee"),
        Point.E: say("the knee (E)"),
        Point.F: say("mid-thigh (F)"),
        Point.G: say("the top of the thigh (G)"),
    }
    return words[point]


def band_words(row: ProfileRow) -> str:
    """Write a level's place beside what the class leaves there: `within: 50 to 80 %`."""
    if row.band is None:
        return say("starts here") if row.place == "start" else say("no band known")
    limits = _limit_words(row.band)
    if row.place == "above":
        return say("above: {limits}", limits=limits)
    if row.place == "below":
        return say("below: {limits}", limits=limits)
    return say("within: {limits}", limits=limits)


def percent_words(row: ProfileRow) -> str:
    """Write a level's percentage of the ankle's pressure, never across an edge of its band."""
    return _percent_shown(row, row.percent)


def _percent_shown(row: ProfileRow, percent: Decimal) -> str:
    edges = (row.band.low_percent, row.band.high_percent) if row.band else ()
    return show_beside(percent, [e for e in edges if e is not None], places=0)


def _limit_words(band: Band) -> str:
    high = plain(band.high_percent)
    limits = (
        say("at most {high} %", high=high)
        if band.low_percent is None
        else say("{low} to {high} %", low=plain(band.low_percent), high=high)
    )
    if band.of is Point.B:
        return limits
    return say("{limits} of {point}", limits=limits, point=band.of.value)


def _row(
    nominal: Decimal, girths: Mapping[Point, Decimal], point: Point, named: NamedClass | None
) -> ProfileRow:
    # Fractions, so that a leg exactly on an edge is on it: 100 x 22 / 44 is 50, not almost.
    ankle = Fraction(girths[Point.B])
    pull = tension_for(Fraction(nominal), ankle / 10)
    share = ankle / Fraction(girths[point])
    rule = named.own.residual_at(point) if named is not None else None
    if rule is not None and rule.of not in girths:
        rule = None
    counted_from = girths[rule.of] if rule is not None else girths[Point.B]
    of_band = Fraction(counted_from) / Fraction(girths[point])
    place: BandPlace = "start" if point is Point.B else "no_band"
    band = None
    if rule is not None:
        place = _place(100 * of_band, rule)
        band = _band(rule, Fraction(nominal) * Fraction(girths[Point.B]) / Fraction(counted_from))
    return ProfileRow(
        point,
        girths[point],
        _decimal(tension_mmhg(pull, Fraction(girths[point]) / 10)),
        _decimal(100 * share),
        band,
        place,
        _decimal(100 * of_band),
    )


def _place(percent: Fraction, rule: Residual) -> BandPlace:
    if rule.low_percent is not None and percent < Fraction(rule.low_percent):
        return "below"
    return "above" if percent > Fraction(rule.high_percent) else "within"


def _band(rule: Residual, mmhg: Fraction) -> Band:
    low = rule.low_percent
    return Band(
        rule.of,
        low,
        rule.high_percent,
        None if low is None else _decimal(mmhg * Fraction(low) / 100),
        _decimal(mmhg * Fraction(rule.high_percent) / 100),
    )


def _decimal(exact: Fraction) -> Decimal:
    return Decimal(exact.numerator) / Decimal(exact.denominator)


def _turned(rows: Sequence[ProfileRow]) -> list[str]:
    """Tell every level that would be pressed harder than the ankle."""
    return [
        say(
            "At {place} this leg is thinner than at the ankle: by this rule the garment presses "
            "harder there than at the ankle, the wrong way round.",
            place=level_words(row.point),
        )
        for row in rows
        if row.girth_mm < rows[0].girth_mm
    ]


def _rising(rows: Sequence[ProfileRow]) -> list[tuple[ProfileRow, ProfileRow]]:
    """Return neighbours between which the leg becomes thinner; levels turned are told already."""
    return [
        (lower, higher)
        for lower, higher in pairwise(rows)
        if higher.girth_mm < lower.girth_mm and higher.girth_mm >= rows[0].girth_mm
    ]


def _rises(rows: Sequence[ProfileRow], ordinary: Levels) -> list[str]:
    return [
        say(
            "From {lower} to {higher} this leg becomes thinner: by this rule the pressure rises "
            "going up.",
            lower=level_words(lower.point),
            higher=level_words(higher.point),
        )
        for lower, higher in _rising(rows)
        if not {lower.point, higher.point} <= set(ordinary.points)
    ]


def _ordinary_rises(rows: Sequence[ProfileRow], ordinary: Levels) -> list[str]:
    return [
        say(
            "From {lower} to {higher} this leg becomes thinner, as many do: by this rule the "
            "pressure rises there. By itself that is ordinary.",
            lower=level_words(lower.point),
            higher=level_words(higher.point),
        )
        for lower, higher in _rising(rows)
        if {lower.point, higher.point} <= set(ordinary.points)
    ]


def _left_words(row: ProfileRow, band: Band, named: NamedClass) -> str:
    source = named.standard.residual_source
    told = {
        "place": level_words(row.point),
        "percent": _percent_shown(row, row.percent_of_band),
        "of": level_words(band.of),
        "limits": _limit_words(band),
        "named": named,
        "status": source.status if source is not None else "",
    }
    if row.place == "below":
        return say(
            "At {place} this rule leaves {percent} % of the pressure at {of}: less than the class "
            "leaves there, {limits} ({named}; {status}).",
            **told,
        )
    return say(
        "At {place} this rule leaves {percent} % of the pressure at {of}: more than the class "
        "leaves there, {limits} ({named}; {status}).",
        **told,
    )


def _wide_calf(rows: Sequence[ProfileRow], rules: IllustrationRules) -> list[str]:
    """Tell a calf too wide for its ankle: where the rule and measured legs point apart."""
    least = rules.least_calf_percent
    wide = [row for row in rows if row.point in least.points and row.percent < least.value]
    if not wide:
        return []
    return [
        say(
            "At {place} this leg is {times} times as thick as at the ankle. The rule shows a steep "
            "fall in pressure, but on legs with narrow ankles under wide calves the fall was found "
            "to be lost, and a specially made stocking restored it.",
            place=level_words(wide[0].point),
            times=show_beside(wide[0].girth_mm / rows[0].girth_mm, [100 / least.value], places=1),
        )
    ]
