"""Pressure classes: from a pressure to its class and back, always with standard and mmHg.

Pure; the classes themselves are data. A class number without its standard means nothing: class 2
is 23 to 32 mmHg in one and 15.1 to 20 in another. So no function here returns one alone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Literal, NewType, get_args

from fitcore.clean_text import clean
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fitcore.pressures.pressure_model import PressureClass, PressureStandard

MillimetreOfMercury = NewType("MillimetreOfMercury", Decimal)
"""A pressure in mmHg as an exact decimal."""

PressureUnit = Literal["mmHg", "hPa", "kPa"]
PRESSURE_UNITS: tuple[PressureUnit, ...] = get_args(PressureUnit)

PASCAL_IN_MMHG = Decimal("133.322387415")
"""One conventional millimetre of mercury: 13.5951 g/cm3 x 9.80665 m/s2 x 1 mm, exact (computed).

UCUM prints it as 133.322 Pa, 3 parts in a million less.
"""

_PASCAL_IN_ONE: dict[PressureUnit, Decimal] = {
    "mmHg": PASCAL_IN_MMHG,
    "hPa": Decimal(100),
    "kPa": Decimal(1000),
}

_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5"}
_CLASS_WORD = re.compile(r"^(?:class|classe|klasse|grade|band|ccl|kkl|cl)\b[\s.:]*|\s*mm\s?hg$")
_CLASS_STUCK = re.compile(r"^(?:class|ccl|kkl|cl)(?=[0-9])")


@dataclass(frozen=True, slots=True)
class NamedClass:
    """A class together with the standard it belongs to: the only form in which one is handed on."""

    standard: PressureStandard
    own: PressureClass

    def __str__(self) -> str:
        """Write it with standard and mmHg."""
        return self.words

    @property
    def words(self) -> str:
        """Standard, class and mmHg: `RAL-GZ 387/1 class II, 23 to 32 mmHg`."""
        own = self.own
        return class_words(
            self.standard.name,
            own.label,
            own.low_mmhg,
            own.high_mmhg,
            above=own.above,
            band=self.standard.noun == "band",
        )


@dataclass(frozen=True, slots=True)
class ClassAnswer:
    """What one standard says of a pressure: no class, one, or two that share an edge."""

    mmhg: Decimal
    """The pressure looked up, in mmHg, not rounded."""
    classes: tuple[NamedClass, ...]
    words: str


def to_mmhg(amount: Decimal, unit: PressureUnit) -> MillimetreOfMercury:
    """Convert a pressure to mmHg: exact for mmHg, else to 28 digits."""
    if unit == "mmHg":
        return MillimetreOfMercury(amount)
    return MillimetreOfMercury(amount * _PASCAL_IN_ONE[unit] / PASCAL_IN_MMHG)


def from_mmhg(mmhg: Decimal, unit: PressureUnit) -> Decimal:
    """Convert mmHg to another unit, exactly."""
    return mmhg if unit == "mmHg" else mmhg * PASCAL_IN_MMHG / _PASCAL_IN_ONE[unit]


def range_words(low: Decimal, high: Decimal | None, *, above: bool = False) -> str:
    """Write a range in mmHg: `23 to 32 mmHg`, `49 mmHg or more`, `above 36 mmHg`."""
    if high is not None and above:
        return say("above {low}, up to {high} mmHg", low=plain(low), high=plain(high))
    if high is not None:
        return say("{low} to {high} mmHg", low=plain(low), high=plain(high))
    if above:
        return say("above {low} mmHg", low=plain(low))
    return say("{low} mmHg or more", low=plain(low))


def class_words(
    standard: str,
    label: str,
    low: Decimal,
    high: Decimal | None,
    *,
    above: bool = False,
    band: bool = False,
) -> str:
    """Write a pressure class; the one place that does, so that it never stands alone.

    Args:
        standard: the standard's name; empty where nobody said which, and then that is said.
        label: the class as the standard writes it.
        low: lowest pressure at the ankle in mmHg.
        high: highest, in mmHg; None where the class is open upwards.
        above: whether the class begins above its lowest figure.
        band: whether it is called a band, as a convention without a standard has.
    """
    figures = range_words(low, high, above=above)
    if not standard:
        return say("{range} (class {label}, standard not named)", range=figures, label=label)
    if band:
        return say(
            "{standard} band {label}, {range}", standard=standard, label=label, range=figures
        )
    return say("{standard} class {label}, {range}", standard=standard, label=label, range=figures)


def look_up(
    standard: PressureStandard, amount: Decimal, unit: PressureUnit = "mmHg"
) -> ClassAnswer:
    """Find the class of a pressure at the ankle.

    Some standards leave gaps, some share edges; neither is settled here. In a unit the standard
    itself prints, its own printed edges decide, and a difference to the exact mmHg is told.

    Args:
        standard: the classes.
        amount: the pressure, above 0.
        unit: the unit it is given in.

    Raises:
        ValueError: the pressure is not above 0 or no number.
    """
    if not amount.is_finite() or amount <= 0:
        raise ValueError(f"a pressure of {amount} {unit}")
    mmhg = to_mmhg(amount, unit)
    exact = _holding(standard, mmhg)
    shown = f"{plain(amount)} {unit}"
    if unit == "mmHg":
        return ClassAnswer(mmhg, exact, _answer_words(standard, mmhg, exact, shown))
    in_mmhg = show_beside(mmhg, _edges(standard), places=1)
    shown = say("{amount} = {mmhg} mmHg", amount=shown, mmhg=in_mmhg)
    exact_words = _answer_words(standard, mmhg, exact, shown)
    printed = _holding_as_printed(standard, amount * _PASCAL_IN_ONE[unit])
    if printed is None or printed == exact:
        return ClassAnswer(mmhg, exact, exact_words)
    if not printed:
        own = say("By its own printed figures it belongs to no class.")
    else:
        own = say("By its own printed figures it is {classes}.", classes=_list(printed))
    return ClassAnswer(mmhg, printed, f"{exact_words} {own}")


def find_class(standard: PressureStandard, label: str) -> NamedClass | None:
    """Find a class by its label: `2` and `II`, `class 2` and `CCL2` are the same.

    Returns:
        The class with its range, or None where the standard has none of that label.
    """
    wanted = class_key(label)
    found = (own for own in standard.classes if wanted and class_key(own.label) == wanted)
    return next((NamedClass(standard, own) for own in found), None)


def find_standard(standards: Iterable[PressureStandard], name: str) -> PressureStandard | None:
    """Find a standard by id, name or another name it goes by; None where it is not known."""
    wanted = _letters(name)
    for standard in standards:
        names = (standard.id, standard.name, *standard.also_called)
        if wanted and wanted in {_letters(one) for one in names}:
            return standard
    return None


def which_standard(
    standards: Iterable[PressureStandard], class_name: str
) -> tuple[NamedClass, ...]:
    """Return everything a class given without its standard may mean, in the standards' order.

    Names that papers give to a band count too: `2` may be 20 to 30 or 30 to 40 mmHg.
    """
    wanted = class_key(class_name)
    return tuple(
        NamedClass(standard, own)
        for standard in standards
        for own in standard.classes
        if wanted and wanted in {class_key(name) for name in (own.label, *own.called)}
    )


def standard_question(standards: Iterable[PressureStandard], class_name: str) -> str:
    """Write the question a class without its standard raises."""
    name = clean(class_name, most=40).text
    meanings = which_standard(standards, class_name)
    if not meanings:
        return say(
            "No standard known here has a class '{name}'. Ask the prescriber for the standard and "
            "the mmHg.",
            name=name,
        )
    return say(
        "'{name}' alone is no pressure: ask the prescriber which standard and how many mmHg are "
        "meant. It may be: {meanings}.",
        name=name,
        meanings=_list(meanings),
    )


def class_key(label: str) -> str:
    """Return a class label as it is compared: `Class II`, `ii`, `CCL2` and `2` are one.

    Empty where nothing is left but the word for class.
    """
    text = " ".join(clean(label).text.casefold().split())
    text = text.replace("\u2013", "-").replace(" to ", "-")
    text = re.sub(r"\s*-\s*", "-", _CLASS_STUCK.sub("", _CLASS_WORD.sub("", text)))
    return _ROMAN.get(text, text)


def show_beside(value: Decimal, limits: Iterable[Decimal], *, places: int) -> str:
    """Round a figure for show, never onto or across a limit it is compared with.

    Args:
        value: the exact figure.
        limits: what it was compared with.
        places: decimals where no limit is near; more are added where one is.
    """
    edges = tuple(limits)
    for digits in range(places, places + 12):
        shown = value.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
        if all(shown.compare(edge) == value.compare(edge) for edge in edges):
            return plain(shown)
    return plain(value)


def _holding(standard: PressureStandard, mmhg: Decimal) -> tuple[NamedClass, ...]:
    return tuple(
        NamedClass(standard, own)
        for own in standard.classes
        if _inside(mmhg, own.low_mmhg, own.high_mmhg, above=own.above)
    )


def _holding_as_printed(
    standard: PressureStandard, pascal: Decimal
) -> tuple[NamedClass, ...] | None:
    """Return the classes by the edges the standard prints in kPa or hPa; None if it prints none."""
    if not any(own.printed for own in standard.classes):
        return None
    found = []
    for own in standard.classes:
        if own.printed is None:
            continue
        amount = pascal / _PASCAL_IN_ONE[own.printed.unit]
        if _inside(amount, own.printed.low, own.printed.high, above=own.above):
            found.append(NamedClass(standard, own))
    return tuple(found)


def _inside(amount: Decimal, low: Decimal, high: Decimal | None, *, above: bool) -> bool:
    begun = amount > low if above else amount >= low
    return begun and (high is None or amount <= high)


def _edges(standard: PressureStandard) -> list[Decimal]:
    edges = [(own.low_mmhg, own.high_mmhg) for own in standard.classes]
    return [edge for pair in edges for edge in pair if edge is not None]


def _answer_words(
    standard: PressureStandard, mmhg: Decimal, found: tuple[NamedClass, ...], shown: str
) -> str:
    if len(found) == 1:
        return f"{shown}: {found[0].words}."
    if found:
        return say(
            "{shown} is an edge that two share: {classes}. Ask which one is meant.",
            shown=shown,
            classes=_list(found),
        )
    lower = [own for own in standard.classes if own.low_mmhg < mmhg]
    higher = [own for own in standard.classes if own.low_mmhg >= mmhg]
    if not lower:
        words = say(
            "{shown} is below {lowest}.", shown=shown, lowest=NamedClass(standard, higher[0])
        )
    elif not higher:
        words = say(
            "{shown} is above {highest}.", shown=shown, highest=NamedClass(standard, lower[-1])
        )
    else:
        words = _between_words(standard, lower[-1], higher[0], shown)
    if not standard.partial:
        return words
    return f"{words} {say('There may be classes that are not known here.')}"


def _between_words(
    standard: PressureStandard, lower: PressureClass, higher: PressureClass, shown: str
) -> str:
    told = {
        "lower": lower.label,
        "higher": higher.label,
        "standard": standard.name,
        "one": range_words(lower.low_mmhg, lower.high_mmhg, above=lower.above),
        "other": range_words(higher.low_mmhg, higher.high_mmhg, above=higher.above),
    }
    if standard.noun == "band":
        between = say(
            "between band {lower} and {higher} of {standard}: band {lower} is {one}, band "
            "{higher} is {other}.",
            **told,
        )
    else:
        between = say(
            "between class {lower} and {higher} of {standard}: class {lower} is {one}, class "
            "{higher} is {other}.",
            **told,
        )
    words = say("{shown} is {between}", shown=shown, between=between)
    step = standard.step_mmhg
    if step is None or higher.low_mmhg - (lower.high_mmhg or lower.low_mmhg) > step:
        return words
    steps = say("The standard is printed in steps of {step} mmHg.", step=plain(step))
    return f"{words} {steps}"


def _list(classes: Sequence[NamedClass]) -> str:
    return "; ".join(one.words for one in classes)


def _letters(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", clean(name).text.casefold())
