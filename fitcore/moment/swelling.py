"""How much larger a leg may be now than just after rising. Pure; the parameters are data.

Nothing here changes a reading. The figures only feed a question: would the size be another one in
the morning? They are judgement on small samples and say so wherever they are shown.

Source: the model's own file. A late reading errs one way: too large, so the garment too loose.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Literal

from fitcore.moment.conditions import leg_times
from fitcore.points import Kind, Point, Side
from fitcore.record.readings import Readings
from fitcore.units import plain
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.moment.swelling_model import Scenarios, SiteName, SwellingModel
    from fitcore.record.readings import Adopted
    from fitcore.record.session import Session

Scenario = Literal["low", "central", "high"]
"""How much a leg swells: a little, as most do, as much as any."""
Morning = Literal["as_read", "central", "high"]
"""What a leg is in the morning: as measured, likely, at most smaller."""

Values = dict[tuple[Point, Kind], Decimal]
"""What was measured where, in mm."""


@dataclass(frozen=True, slots=True)
class MorningRange:
    """Where a girth may lie in the morning. The reading itself stays what it is."""

    site: SiteName
    as_read_mm: Decimal
    """Upper end: the reading, because an active leg does not swell at all."""
    central_mm: Decimal
    """Likely by morning; not rounded, shown to 1 mm."""
    most_mm: Decimal
    """Lower end: most by morning; not rounded, shown to 1 mm."""


def growth(model: SwellingModel, scenario: Scenario, site: SiteName, hours: float) -> float:
    """Return girth now against girth just after rising, in the same posture.

    Args:
        model: the parameters.
        scenario: how much the leg swells.
        site: part of the leg.
        hours: since rising, 0 or more.

    Returns:
        g = sqrt(1 + k A (1 - exp(-t / tau))), 1 or more.

    Raises:
        ValueError: hours below 0 or no number.
    """
    if not hours >= 0:
        raise ValueError(f"{hours} hours since rising")
    most = _value(model.site(site).k, scenario) * _value(model.gain, scenario)
    tau = _value(model.tau_hours, scenario)
    # expm1 keeps the digits that 1 - exp() loses in the first minutes.
    return math.sqrt(1 - float(most) * math.expm1(-hours / float(tau)))


def site_of(model: SwellingModel, point: Point, kind: Kind) -> SiteName | None:
    """Return the part of the leg a measure belongs to; None where the model does not cover it."""
    if kind is not Kind.GIRTH:
        return None
    return next((site.site for site in model.sites if point in site.points), None)


def morning_range(
    model: SwellingModel, point: Point, kind: Kind, mm: Decimal, hours: float
) -> MorningRange | None:
    """Return where a girth may lie in the morning.

    Args:
        model: the parameters.
        point: where the tape went.
        kind: only girths are covered.
        mm: the value used.
        hours: since rising, 0 or more.

    Returns:
        The range, its upper end the value itself; None where the model does not cover the measure.

    Raises:
        ValueError: hours below 0 or no number.
    """
    site = site_of(model, point, kind)
    if site is None:
        return None
    central = mm / Decimal(growth(model, "central", site, hours))
    most = mm / Decimal(growth(model, "high", site, hours))
    return MorningRange(site, mm, central, most)


def morning_scenarios(
    model: SwellingModel, adopted: Sequence[Adopted], hours: float
) -> dict[Morning, Values]:
    """Return a leg's values as measured, likely by morning and most by morning.

    All sites move together: a leg that has swelled much at the ankle has swelled much at the calf.
    What the model does not cover (lengths, foot, shoe) stays as it was measured.

    Args:
        model: the parameters.
        adopted: the values used for one leg.
        hours: since rising, 0 or more.

    Raises:
        ValueError: hours below 0 or no number.
    """
    scenarios: dict[Morning, Values] = {"as_read": {}, "central": {}, "high": {}}
    for value in adopted:
        place = (value.point, value.kind)
        found = morning_range(model, value.point, value.kind, value.mm, hours)
        scenarios["as_read"][place] = value.mm
        scenarios["central"][place] = value.mm if found is None else found.central_mm
        scenarios["high"][place] = value.mm if found is None else found.most_mm
    return scenarios


def why_withheld(
    session: Session, side: Side, model: SwellingModel, readings: Readings | None = None
) -> str:
    """Say why the model has nothing to say about a leg; empty where it covers it.

    An answer two people gave differently counts as the more careful of the two.

    Args:
        session: for what was answered of the leg.
        side: the leg.
        model: the sentences, and how long after rising it holds.
        readings: the session's readings, where they are already sorted out.
    """
    told = model.not_covered
    if _answered(session, "swollen", side.value, Side.BOTH.value):
        return told.swollen
    if _answered(session, "dent", side.value, Side.BOTH.value):
        return told.dent
    known = {
        "oedema": told.oedema,
        "late_pregnancy": told.late_pregnancy,
        "heart_failure": told.heart_failure,
    }
    for answer, sentence in known.items():
        if _answered(session, "swelling_known", answer):
            return sentence
    if _answered(session, "long_ride", "within_day"):
        return told.long_ride
    if _answered(session, "compression", "on"):
        return told.compression_on
    # Whatever the hour it came off: how a leg fills again after compression is not known.
    if _answered(session, "compression", "off"):
        return told.compression_off
    return _why_no_hours(session, side, model, readings or Readings(session))


def model_words(model: SwellingModel) -> str:
    """Write the model for the session's file: name, version, parameters, and what stands behind it.

    Parameters stand as low/central/high.
    """
    return say(
        "{name}, version {version} ({validation}): A {gain} %, tau {tau} h, "
        "k ankle {ankle}, calf {calf}, thigh {thigh}",
        name=model.name,
        version=model.version,
        validation=model.validation,
        gain=_three(model.gain, 100),
        tau=_three(model.tau_hours),
        ankle=_three(model.site("ankle").k),
        calf=_three(model.site("calf").k),
        thigh=_three(model.site("thigh").k),
    )


def model_name(model: SwellingModel) -> str:
    """Name the model for a nurse's note: which one, and what stands behind it."""
    return say(
        "{name}, version {version} ({validation})",
        name=model.name,
        version=model.version,
        validation=model.validation,
    )


def model_json(model: SwellingModel) -> dict[str, object]:
    """Return the model in the shape documents print it; parameters are decimal strings."""
    return {
        "id": model.id,
        "name": model.name,
        "version": model.version,
        "validation": model.validation,
        "gain": _by_scenario(model.gain),
        "tau_hours": _by_scenario(model.tau_hours),
        "k": {site.site: _by_scenario(site.k) for site in model.sites},
    }


def _answered(session: Session, what: str, *answers: str) -> bool:
    return any(value in answers for value in session.answer(what).values)


def _why_no_hours(session: Session, side: Side, model: SwellingModel, readings: Readings) -> str:
    told = model.not_covered
    times = leg_times(session, readings, side)
    if times is None:
        return told.reading_time_unknown
    if times.hours_up is None:
        return told.rising_unknown
    if times.hours_up < 0:
        return told.rising_later
    return told.too_long_up if times.hours_up > float(model.longest_hours) else ""


def _value(values: Scenarios, scenario: Scenario) -> Decimal:
    return {"low": values.low, "central": values.central, "high": values.high}[scenario].value


def _by_scenario(values: Scenarios) -> dict[str, str]:
    return {
        "low": plain(values.low.value),
        "central": plain(values.central.value),
        "high": plain(values.high.value),
    }


def _three(values: Scenarios, times: int = 1) -> str:
    amounts = [plain(one.value * times) for one in (values.low, values.central, values.high)]
    return amounts[0] if len(set(amounts)) == 1 else "/".join(amounts)
