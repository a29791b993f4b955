"""A leg recorded as swollen, beside a first page of nothing but no."""

from __future__ import annotations

import pytest
from screening_cases import TODAY, Sitting, ordinary

from fitcore.disk.profile_files import load_profiles
from fitcore.points import LEGS, Side
from fitcore.record.readings import Readings
from fitcore.safety.clearance import SessionClearance, judge_clearance
from fitcore.safety.outcomes import Clearance
from fitcore.safety.swelling_told import SWELLING_NOT_TOLD

RULES = load_profiles().rules


def judged(sitting: Sitting) -> SessionClearance:
    return judge_clearance(sitting.session, Readings(sitting.session), RULES, on=TODAY)


def stopped(sitting: Sitting) -> list[Side]:
    return [side for side in LEGS if judged(sitting).leg(side).clearance is Clearance.STOP]


def sitting(**answers: str) -> Sitting:
    told = Sitting()
    told.answer("sides", ["left", "right"])
    told.answer_all(**ordinary())
    for what, value in answers.items():
        told.answer(what, value)
    return told


@pytest.mark.parametrize("what", ["swollen", "dent"])
@pytest.mark.parametrize("known", ["", "none", "oedema", "heart_failure"])
def test_one_leg_swollen_is_what_the_question_asked(what: str, known: str) -> None:
    told = sitting(**{what: "left"}, **({"swelling_known": known} if known else {}))
    assert stopped(told) == [Side.LEFT]
    assert not judged(told).leg(Side.LEFT).offered
    assert judged(told).leg(Side.RIGHT).offered
    assert "LEFT recorded as swollen" in judged(told).leg(Side.LEFT).why


@pytest.mark.parametrize(
    ("known", "legs"),
    [("none", 2), ("", 2), ("oedema", 0), ("late_pregnancy", 0), ("heart_failure", 0)],
)
def test_both_legs_swollen_of_old_go_with_a_no(known: str, legs: int) -> None:
    told = sitting(swollen="both", **({"swelling_known": known} if known else {}))
    assert len(stopped(told)) == legs


@pytest.mark.parametrize("answer", ["yes", "unknown"])
def test_where_the_question_says_so_its_own_rules_hold(answer: str) -> None:
    told = sitting(swollen="left")
    told.answer("screen.leg_swelling", answer)
    assert SWELLING_NOT_TOLD not in {rule.id for rule in judged(told).result.rules}
    assert not judged(told).leg(Side.LEFT).offered


def test_no_leg_swollen_says_nothing() -> None:
    told = sitting(swollen="none", dent="none")
    assert stopped(told) == []
    assert judged(told).leg(Side.LEFT).offered


def test_a_page_nobody_answered_stays_not_screened() -> None:
    told = Sitting()
    told.answer("sides", ["left", "right"])
    told.answer("swollen", "left")
    assert judged(told).leg(Side.LEFT).clearance is Clearance.NOT_SCREENED
