"""The shipped pressure standards, and what tests of pressure share."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

from fitcore.charts.chart import Pressure
from fitcore.disk.profile_reading import read_profile
from fitcore.points import Point
from fitcore.pressures.pressure import NamedClass, find_class
from fitcore.pressures.pressure_model import IllustrationRules, PressureStandard

PROFILES = Path(__file__).resolve().parents[1] / "profiles"
RULES = read_profile(
    (PROFILES / "illustration" / "pressure-profile.toml").read_bytes(), IllustrationRules, ""
)
assert isinstance(RULES, IllustrationRules), RULES


def load(name: str) -> PressureStandard:
    """Read one shipped standard."""
    path = PROFILES / "pressure" / f"{name}.toml"
    loaded = read_profile(path.read_bytes(), PressureStandard, path.name)
    assert isinstance(loaded, PressureStandard), loaded
    return loaded


NAMES = sorted(path.stem for path in (PROFILES / "pressure").glob("*.toml"))
STANDARDS = {name: load(name) for name in NAMES}
ALL = tuple(STANDARDS.values())

CLASSES = [
    # standard, class, lowest and highest mmHg, the same in hPa as published or computed
    ("ral-gz-387-1", "I", "18", "21", "24.0", "28.0"),
    ("ral-gz-387-1", "II", "23", "32", "30.7", "42.7"),
    ("ral-gz-387-1", "III", "34", "46", "45.3", "61.3"),
    ("ral-gz-387-1", "IV", "49", None, "65.3", None),
    ("bs-6612", "1", "14", "17", "18.7", "22.7"),
    ("bs-6612", "2", "18", "24", "24.0", "32.0"),
    ("bs-6612", "3", "25", "35", "33.3", "46.7"),
    ("nf-g30-102", "I", "10", "15", "13", "20"),
    ("nf-g30-102", "II", "15.1", "20", "20.1", "27"),
    ("nf-g30-102", "III", "20.1", "36", "27", "48"),
    ("nf-g30-102", "IV", "36", None, "48", None),
    ("env-12718", "A", "10", "14", "13.3", "18.7"),
    ("env-12718", "I", "15", "21", "20.0", "28.0"),
    ("env-12718", "II", "23", "32", "30.7", "42.7"),
    ("env-12718", "III", "34", "46", "45.3", "61.3"),
    ("env-12718", "IV", "49", None, "65.3", None),
    ("trade-bands", "8-15", "8", "15", "10.7", "20.0"),
    ("trade-bands", "15-20", "15", "20", "20.0", "26.7"),
    ("trade-bands", "20-30", "20", "30", "26.7", "40.0"),
    ("trade-bands", "30-40", "30", "40", "40.0", "53.3"),
    ("trade-bands", "40-50", "40", "50", "53.3", "66.7"),
    ("etg-australia", "II", "20", "29", None, None),
    ("etg-australia", "III", "30", "40", None, None),
]


def named(standard: str, label: str) -> NamedClass:
    """Look up a class that must be there."""
    found = find_class(STANDARDS[standard], label)
    assert found is not None
    return found


def leg(**girths_cm: float | str) -> dict[Point, Decimal]:
    """Return girths in mm by point."""
    return {Point(name): Decimal(str(cm)) * 10 for name, cm in girths_cm.items()}


ORDINARY = leg(B="22.2", B1="26.5", C="38.2", D="35.0", E="36.0", F="51.0", G="61.9")


def printed(low: str, high: str, standard: str = "invented scale", grade: str = "x") -> Pressure:
    """Return what a chart prints."""
    return Pressure.model_validate(
        {"mmhg": [Decimal(low), Decimal(high)], "standard": standard, "class": grade}
    )
