"""What was prescribed in mmHg, and whether a garment's printed pressure lies within it.

Pure. What the prescription leaves open becomes a question for the prescriber, never a guess.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from fitcore.pressures.pressure import (
    class_key,
    class_words,
    find_class,
    find_standard,
    range_words,
    standard_question,
)
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from decimal import Decimal

    from fitcore.charts.chart import Pressure
    from fitcore.pressures.pressure import NamedClass
    from fitcore.pressures.pressure_model import PressureStandard


@dataclass(frozen=True, slots=True)
class PrescribedPressure:
    """The pressure prescribed at the ankle, complete enough to compare garments with."""

    low_mmhg: Decimal
    high_mmhg: Decimal | None
    """None where the prescribed class is open upwards."""
    standard: str = ""
    """Name of the standard; empty where only mmHg were prescribed."""
    label: str = ""
    """Class of that standard; empty where only mmHg were prescribed."""
    above: bool = False
    """Whether the lowest figure itself is too little."""
    band: bool = False
    """Whether it is called a band, not a class."""

    @property
    def words(self) -> str:
        """Write it; a class only with its standard and mmHg."""
        if not self.label:
            return range_words(self.low_mmhg, self.high_mmhg, above=self.above)
        return class_words(
            self.standard,
            self.label,
            self.low_mmhg,
            self.high_mmhg,
            above=self.above,
            band=self.band,
        )


class Completed(NamedTuple):
    """A prescription filled in from the standard, or what must be asked first."""

    prescribed: PrescribedPressure | None
    question: str
    """What to ask the prescriber; empty where nothing is open."""


class Match(NamedTuple):
    """Whether a garment's pressure is what was prescribed, and why."""

    matches: bool
    why: str


def complete_prescription(
    standards: Sequence[PressureStandard],
    *,
    standard: str = "",
    label: str = "",
    low_mmhg: Decimal | None = None,
    high_mmhg: Decimal | None = None,
) -> Completed:
    """Fill in a prescription from the standard it names, or say what must be asked.

    Args:
        standards: the standards known here.
        standard: what the prescription calls the standard; may be empty.
        label: the class; may be empty.
        low_mmhg: lowest prescribed mmHg; None where no figure was given.
        high_mmhg: highest prescribed mmHg; None where no figure was given.

    Returns:
        The prescription, or None with a question: a class without standard, an unknown standard
        or class, one figure instead of a range, or figures that contradict the class.
    """
    known = find_standard(standards, standard)
    named = find_class(known, label) if known is not None and label else None
    if low_mmhg is not None or high_mmhg is not None:
        figures = (low_mmhg, high_mmhg)
        if named is not None and figures == (named.own.low_mmhg, named.own.high_mmhg):
            return Completed(_of_class(named), "")
        return _with_figures(known, standard, label, low_mmhg, high_mmhg)
    if not label:
        return _ask(
            say("No pressure or class is prescribed. Ask the prescriber for mmHg and standard.")
        )
    if not standard:
        return _ask(standard_question(standards, label))
    if known is None:
        return _ask(
            say(
                "The standard '{name}' is not known here. Ask the prescriber for the mmHg.",
                name=standard,
            )
        )
    if named is None:
        return _ask(_no_such_class(known, label))
    return Completed(_of_class(named), "")


def matches_prescription(
    printed: Pressure | None,
    prescribed: PrescribedPressure,
    standards: Sequence[PressureStandard] = (),
) -> Match:
    """Say whether the pressure printed on a garment lies within what was prescribed.

    Both ends of the printed range must lie inside: a garment that may press harder or less hard
    than prescribed is another garment. The mmHg decide; a class can only rule out.

    Args:
        printed: what the chart says is printed on the garment; None where it says nothing.
        prescribed: the prescription, completed.
        standards: the standards known here, for the several names one goes by.
    """
    if printed is None:
        return Match(
            matches=False,
            why=say(
                "This chart names no pressure, so it cannot be compared with {prescribed}.",
                prescribed=prescribed.words,
            ),
        )
    low, high = printed.mmhg
    known = find_standard(standards, printed.standard)
    standard = known.name if known is not None else printed.standard
    band = known is not None and known.noun == "band"
    words = {
        "garment": class_words(standard, printed.grade, low, high, band=band),
        "prescribed": prescribed.words,
    }
    same_standard = standard.casefold() == prescribed.standard.casefold()
    same_class = class_key(printed.grade) == class_key(prescribed.label)
    if same_standard and prescribed.label and not same_class:
        return Match(
            matches=False,
            why=say("{garment} is not the class prescribed: {prescribed}.", **words),
        )
    weaker = low <= prescribed.low_mmhg if prescribed.above else low < prescribed.low_mmhg
    stronger = prescribed.high_mmhg is not None and high > prescribed.high_mmhg
    if weaker and stronger:
        why = say("{garment} reaches below and above what is prescribed: {prescribed}.", **words)
    elif weaker:
        why = say("{garment} may press less than prescribed: {prescribed}.", **words)
    elif stronger:
        why = say("{garment} may press harder than prescribed: {prescribed}.", **words)
    else:
        why = say("{garment} lies within what is prescribed: {prescribed}.", **words)
    if not weaker and not stronger and prescribed.standard and not same_standard:
        other = say("The standards differ: ask the prescriber whether that is accepted.")
        why = f"{why} {other}"
    return Match(matches=not weaker and not stronger, why=why)


def _with_figures(
    known: PressureStandard | None,
    standard: str,
    label: str,
    low_mmhg: Decimal | None,
    high_mmhg: Decimal | None,
) -> Completed:
    """Return a prescription given in mmHg that are not the very figures of its class."""
    if low_mmhg is None or high_mmhg is None or low_mmhg == high_mmhg:
        return _ask(
            say("Only one figure is prescribed. Ask the prescriber for the lowest and the highest.")
        )
    if not 0 < low_mmhg < high_mmhg:
        return _ask(say("The lowest mmHg prescribed is not below the highest. Ask again."))
    if known is None or not label:
        name = standard if known is None else known.name
        band = known is not None and known.noun == "band"
        return Completed(PrescribedPressure(low_mmhg, high_mmhg, name, label, band=band), "")
    named = find_class(known, label)
    if named is None:
        return _ask(_no_such_class(known, label))
    return _ask(
        say(
            "{figures} are prescribed, but the class named beside them is {named}. Ask the "
            "prescriber which is meant.",
            figures=range_words(low_mmhg, high_mmhg),
            named=named,
        )
    )


def _of_class(named: NamedClass) -> PrescribedPressure:
    own = named.own
    return PrescribedPressure(
        own.low_mmhg,
        own.high_mmhg,
        named.standard.name,
        own.label,
        above=own.above,
        band=named.standard.noun == "band",
    )


def _no_such_class(standard: PressureStandard, label: str) -> str:
    return say(
        "{standard} has no class '{label}' known here. Ask the prescriber for the mmHg.",
        standard=standard.name,
        label=label,
    )


def _ask(question: str) -> Completed:
    return Completed(None, question)
