"""Answers of the first page that are older than the readings by more than a visit."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.fit import fit_session
from fitcore.points import Kind, Point, Side
from fitcore.record.edits import draft_reading
from fitcore.units import Length, Millimetre

PROFILES = load_profiles()
CALF = (Side.LEFT, Point.C, Kind.GIRTH)


def told(hours: float, **answers: str) -> list[str]:
    sitting = Sitting()
    if answers:
        sitting.answer_all(**answers)
    later = sitting.at + timedelta(hours=hours)
    sitting.add(draft_reading(CALF, 1, Length("36.2", "cm", Millimetre(Decimal(362))), later))
    fit = fit_session(sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY)
    return [flag.text for flag in fit.flags if flag.code == "asked_long_ago"]


@pytest.mark.parametrize("hours", [-30, 0, 8, 23.9])
def test_answers_of_the_same_visit_are_not_asked_again(hours: float) -> None:
    assert told(hours, **ordinary()) == []


def test_a_session_paused_for_days_asks_again_what_has_changed() -> None:
    (text,) = told(72, **ordinary())
    assert text.startswith("The first page was answered 72 hours before the last reading: ask")


def test_where_nobody_was_asked_there_is_nothing_to_ask_again() -> None:
    assert told(72) == []
