"""May it be fitted? What a prescriber's decision lifts, what it never lifts, and until when."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from screening_cases import TODAY, Sitting, answers, ordinary, pressures, screened

from fitcore.points import Side
from fitcore.problems import ReadingError
from fitcore.record.edits import draft_withdrawal
from fitcore.record.session import join
from fitcore.safety.decisions import (
    ClearanceAnswer,
    Decision,
    clearance,
    decisions_of,
    draft_decision,
)

if TYPE_CHECKING:
    from fitcore.safety.screening_result import ScreeningResult

SEVENTEEN, TWENTY, TWENTY_FOUR = Decimal(17), Decimal(20), Decimal(24)
NORMAL = {"arm_left": 138, "arm_right": 134, "left_dp": 138, "right_dp": 138}

SPECIALIST = Decision(
    Side.LEFT, "Dr-7", "specialist", "written", TWENTY_FOUR, TODAY, date(2026, 9, 1),
    "seen in clinic", ("bypass",),
)  # fmt: skip


def ask(
    result: ScreeningResult,
    *decisions: Decision,
    side: Side = Side.LEFT,
    upper: Decimal | None = SEVENTEEN,
    on: date = TODAY,
) -> ClearanceAnswer:
    return clearance(result, side, decisions, upper, on=on)


def bypass() -> ScreeningResult:
    return screened(answers(bypass_left="yes"), pressures(**NORMAL))


def test_a_cleared_leg_is_offered_up_to_its_limit() -> None:
    assert ask(screened()) == ClearanceAnswer(
        screened().legs[0].clearance, offered=True, why="Screened: no stop found.",
        highest_mmhg=TWENTY,
    )  # fmt: skip
    assert ask(screened(), upper=TWENTY).offered
    above = ask(screened(), upper=Decimal("20.1"))
    assert (above.clearance, above.offered, above.highest_mmhg) == ("ask", False, None)
    assert above.why.startswith("Prints up to 20.1 mmHg; without an ABPI at most 20.")
    unprinted = ask(screened(), upper=None)
    assert (unprinted.clearance, unprinted.offered) == ("ask", False)


def test_an_abpi_takes_the_limit_away() -> None:
    result = screened(taken=pressures(**NORMAL))
    for upper in (Decimal(46), None):
        assert ask(result, upper=upper).offered
    assert ask(result).highest_mmhg is None


def test_without_a_decision_nothing_is_offered() -> None:
    for given in ({"emergency": "yes"}, {"bypass_left": "yes"}, {"pregnant": "yes"}):
        answer = ask(screened(answers(**given)))
        assert (answer.offered, answer.highest_mmhg) == (False, None)
    nobody = ask(Sitting().screened())
    assert (nobody.clearance, nobody.offered) == ("not_screened", False)
    assert nobody.why == "Screening not done: size for information, not cleared to fit."
    absent = ask(screened(answers(leg_state_left="absent", leg_why_left="injury")))
    assert (absent.clearance, absent.offered) == ("not_screened", False)


def test_a_decision_lifts_the_stop_of_its_leg_up_to_its_pressure() -> None:
    answer = ask(bypass(), SPECIALIST, upper=TWENTY_FOUR)
    assert (answer.clearance, answer.offered, answer.highest_mmhg) == ("stop", True, TWENTY_FOUR)
    assert answer.why == (
        "Prescriber's decision: Dr-7 (specialist), up to 24 mmHg until 2026-09-01."
    )
    above = ask(bypass(), SPECIALIST, upper=Decimal(25))
    assert not above.offered
    assert above.why == "Prints up to 25 mmHg; the decision allows 24."
    assert not ask(bypass(), replace(SPECIALIST, side=Side.RIGHT)).offered


@pytest.mark.parametrize("days", [-1, 0, 1])
def test_a_decision_holds_from_its_day_to_its_review_date(days: int) -> None:
    first = ask(bypass(), SPECIALIST, on=SPECIALIST.decided_on + timedelta(days=days))
    assert first.offered == (days >= 0)
    last = ask(bypass(), SPECIALIST, on=SPECIALIST.review_date + timedelta(days=days))
    assert last.offered == (days <= 0)
    if not last.offered:
        assert last.why.endswith("A decision is there, but does not hold today.")


def test_a_stop_is_lifted_by_a_specialist_an_ask_by_a_prescriber() -> None:
    assert not ask(bypass(), replace(SPECIALIST, role="prescriber")).offered
    asked = screened(answers(previous_clot="yes"))
    by_prescriber = replace(SPECIALIST, role="prescriber", covers=("previous_clot",))
    assert ask(asked, by_prescriber).offered
    assert not ask(asked, replace(by_prescriber, role="midwife")).offered
    pregnant = screened(answers(gave_birth="yes"))
    assert ask(pregnant, replace(by_prescriber, role="midwife", covers=("gave_birth",))).offered
    boy = screened(answers(under_18="yes"))
    assert not ask(boy, replace(SPECIALIST, covers=("under_18",))).offered


def test_a_decision_never_lifts_a_hold() -> None:
    for given in ({"emergency": "yes"}, {"rest_pain_left": "yes"}, {"black_skin_left": "yes"}):
        result = screened(answers(**given))
        every = tuple(rule.id for rule in result.rules)
        answer = ask(result, replace(SPECIALIST, covers=every))
        assert (answer.clearance, answer.offered) == ("hold", False)
        assert "No decision lifts this" in answer.why


def test_not_even_where_a_hold_named_somebody_to_lift_it() -> None:
    result = screened(answers(black_skin_left="yes"))
    (rule,) = result.rules
    allowed = replace(result, rules=(replace(rule, lifted_by=("specialist",)),))
    assert not ask(allowed, replace(SPECIALIST, covers=("black_skin",))).offered


def test_a_specialist_may_go_above_20_mmhg_on_a_low_abpi() -> None:
    low = screened(taken=pressures(arm_left=138, arm_right=134, left_dp=100))
    decision = replace(SPECIALIST, covers=("abpi_low",))
    assert ask(low, decision, upper=TWENTY_FOUR).offered
    assert not ask(low, decision, upper=Decimal(25)).offered


def test_a_decision_covers_what_it_was_asked_about_and_nothing_found_later() -> None:
    later = screened(
        answers(bypass_left="yes"), pressures(arm_left=138, arm_right=134, left_dp=100)
    )
    answer = ask(later, SPECIALIST)
    assert not answer.offered
    assert answer.why.endswith("A decision is there, but does not cover this.")
    assert ask(later, replace(SPECIALIST, covers=("bypass", "abpi_low"))).offered


def test_a_decision_does_not_raise_the_limit_without_an_abpi_unless_asked_about_it() -> None:
    result = screened(answers(previous_clot="yes"))
    decision = replace(SPECIALIST, covers=("previous_clot",))
    assert ask(result, decision, upper=TWENTY).offered
    above = ask(result, decision, upper=TWENTY_FOUR)
    assert not above.offered
    assert "without an ABPI at most 20" in above.why
    both = replace(decision, covers=("previous_clot", "without_abpi"))
    assert ask(result, both, upper=TWENTY_FOUR).offered
    assert not ask(result, both, upper=None).offered


def test_of_two_decisions_side_by_side_the_more_careful_rules() -> None:
    lower = replace(SPECIALIST, by="Dr-9", highest_mmhg=SEVENTEEN)
    assert ask(bypass(), SPECIALIST, lower, upper=SEVENTEEN).highest_mmhg == SEVENTEEN
    assert not ask(bypass(), SPECIALIST, lower, upper=TWENTY).offered
    assert not ask(bypass(), SPECIALIST, replace(lower, covers=())).offered
    assert not ask(bypass(), SPECIALIST, replace(lower, review_date=TODAY - timedelta(1))).offered


# ---- in a session -------------------------------------------------------------------------------


def stopped() -> Sitting:
    sitting = Sitting()
    sitting.answer_all(**ordinary(bypass_left="yes"))
    return sitting


def offered(sitting: Sitting) -> bool:
    return ask(sitting.screened(), *decisions_of(sitting.session)).offered


def test_a_recorded_decision_comes_back_whole_and_can_be_struck_out() -> None:
    sitting = stopped()
    assert not offered(sitting)
    sitting.add(draft_decision(sitting.session, SPECIALIST, sitting.at))
    assert decisions_of(sitting.session) == (SPECIALIST,)
    assert offered(sitting)
    (head,) = sitting.session.answer("prescriber.left").heads
    sitting.add(draft_withdrawal([str(head.by)], "recorded on the wrong client", sitting.at))
    assert not offered(sitting)


def test_a_later_decision_replaces_an_earlier_one() -> None:
    sitting = stopped()
    sitting.add(draft_decision(sitting.session, SPECIALIST, sitting.at))
    lower = replace(SPECIALIST, highest_mmhg=SEVENTEEN)
    sitting.add(draft_decision(sitting.session, lower, sitting.at))
    assert decisions_of(sitting.session) == (lower,)


def test_decisions_of_two_laptops_stand_side_by_side() -> None:
    sitting = stopped()
    other = sitting.elsewhere()
    sitting.add(draft_decision(sitting.session, SPECIALIST, sitting.at))
    refused = replace(SPECIALIST, highest_mmhg=Decimal(10))
    other.add(draft_decision(other.session, refused, other.at))
    joined = Sitting(join(sitting.session, other.session))
    assert joined.session.answer("prescriber.left").disputed
    assert set(decisions_of(joined.session)) == {SPECIALIST, refused}
    assert not offered(joined)


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        ({"by": " "}, "by"),
        ({"why": ""}, "why"),
        ({"covers": ()}, "covers"),
        ({"side": Side.BOTH}, "side"),
        ({"highest_mmhg": Decimal(0)}, "highest_mmhg"),
        ({"decided_on": TODAY + timedelta(days=1)}, "decided_on"),
        ({"review_date": TODAY - timedelta(days=1)}, "review_date"),
    ],
)
def test_a_decision_that_says_too_little_is_refused(changed: dict[str, object], key: str) -> None:
    sitting = stopped()
    with pytest.raises(ReadingError) as caught:
        draft_decision(sitting.session, replace(SPECIALIST, **changed), sitting.at)  # type: ignore[arg-type]
    assert caught.value.problem.key == key


def test_days_written_as_dates_are_read_too() -> None:
    sitting = stopped()
    draft = draft_decision(sitting.session, SPECIALIST, sitting.at)
    days = {"decided_on": SPECIALIST.decided_on, "review_date": SPECIALIST.review_date}
    sitting.add(replace(draft, fields={**draft.fields, **days}))
    assert decisions_of(sitting.session) == (SPECIALIST,)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("by_whom", None),
        ("role", None),
        ("role", "passer-by"),
        ("how", "heard"),
        ("highest_mmhg", None),
        ("highest_mmhg", "twenty"),
        ("decided_on", "soon"),
        ("review_date", None),
        ("why", ""),
        ("covers", None),
    ],
)
def test_a_decision_changed_outside_the_program_allows_nothing(key: str, value: str | None) -> None:
    sitting = stopped()
    draft = draft_decision(sitting.session, SPECIALIST, sitting.at)
    sitting.add(replace(draft, fields={**draft.fields, key: value}))
    assert len(decisions_of(sitting.session)) == 1
    assert not offered(sitting)
