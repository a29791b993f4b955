"""Figures of a leaflet beside its table: dates as exact as they are printed, pressures."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from fitcore.problems import UnitError
from fitcore.tables.leaflet import read_day, read_pressure, read_printed


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("2026-03-04", date(2026, 3, 4)),
        ("2026/3/4", date(2026, 3, 4)),
        ("31/12/2020", date(2020, 12, 31)),
        ("12/31/2020", date(2020, 12, 31)),
        ("04.03.2025", date(2025, 3, 4)),
        ("05/05/2025", date(2025, 5, 5)),
        ("2019-05", "2019-05"),
        ("03/2025", "2025-03"),
        ("3.2025", "2025-03"),
        (" 2025 ", "2025"),
    ],
)
def test_a_date_is_kept_as_exact_as_it_is_printed(typed: str, read: date | str) -> None:
    assert read_printed(typed) == read


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("03/04/2025", "day_or_month"),
        ("13/2025", "not_a_day"),
        ("2025-02-30", "not_a_day"),
        ("31/02/2025", "not_a_day"),
        ("4 March", "not_a_day"),
        ("04/03/25", "not_a_day"),
        ("", "not_a_day"),
        ("0/2025", "not_a_day"),
    ],
)
def test_what_is_no_date_or_two_is_refused(typed: str, code: str) -> None:
    with pytest.raises(UnitError) as refused:
        read_printed(typed)
    assert refused.value.problem.code == code


def test_a_last_day_needs_its_day() -> None:
    assert read_day("31/12/2026") == date(2026, 12, 31)
    with pytest.raises(UnitError, match="names no day"):
        read_day("12/2026")


@pytest.mark.parametrize(
    "typed",
    ["23-32", "23-32 mmHg", "23 – 32mmHg", "23 mmHg - 32 mmHg", "23 to 32 MMHG", "23,0-32.0 mm Hg"],
)
def test_a_pressure_is_read_with_its_unit_or_without(typed: str) -> None:
    assert read_pressure(typed) == (Decimal(23), Decimal(32))


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("18", "not_a_pressure"),
        ("2.4-2.8 kPa", "not_a_pressure"),
        ("32-23", "pressure_reversed"),
        ("0-8", "pressure_reversed"),
        ("mmHg", "not_a_pressure"),
    ],
)
def test_what_is_no_pressure_is_refused(typed: str, code: str) -> None:
    with pytest.raises(UnitError) as refused:
        read_pressure(typed)
    assert refused.value.problem.code == code
