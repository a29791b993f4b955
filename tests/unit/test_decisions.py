"""May it be fitted? What a prescriber's decision lifts, what it never lifts, and until when."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from screening_cases import TODAY, Sitting, about, answers, ordinary, pressures, screened

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
    may_fit,
)

if TYPE_CHECKING:
    from fitcore.record.entries import Value
    from fitcore.safety.screening_result import ScreeningResult

SEVENTEEN, TWENTY, TWENTY_FOUR = Decimal(17), Decimal(20), Decimal(24)
NORMAL = {"arm_left": 138, "arm_right": 134, "left_dp": 138, "right_dp": 138}

SPECIALIST = Decision(
    Side.LEFT, "Dr-7", "specialist", "written", TWENTY_FOUR, TODAY, date(2026, 9, 1),
    "seen in clinic", ("bypass",), ("screen.bypass_left=yes",),
)  # fmt: skip


def ask(
    result: ScreeningResult,
    *decisions: Decision,
    side: Side = Side.LEFT,
    upper: Decimal | None = SEVENTEEN,
    on: date = TODAY,
) -> ClearanceAnswer:
    """Ask about a garment; the decisions were made over this very result."""
    made = [about(decision, result) for decision in decisions]
    return clearance(result, side, made, upper, on=on)


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
    decision = replace(SPECIALIST, covers=tuple(rule.id for rule in low.rules))
    assert ask(low, decision, upper=TWENTY_FOUR).offered
    assert not ask(low, decision, upper=Decimal(25)).offered


def test_a_decision_covers_what_it_was_asked_about_and_nothing_found_later() -> None:
    later = screened(
        answers(bypass_left="yes"), pressures(arm_left=138, arm_right=134, left_dp=100)
    )
    answer = ask(later, SPECIALIST)
    assert not answer.offered
    assert answer.why.endswith("A decision is there, but does not cover this.")
    assert ask(later, replace(SPECIALIST, covers=tuple(r.id for r in later.rules))).offered


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


def test_only_who_may_decide_it_takes_the_limit_without_an_abpi_away() -> None:
    """A midwife lifts what is asked of a pregnancy, and not the 20 mmHg: no rule has to fire."""
    pregnant = screened(answers(pregnant="yes", gave_birth="yes", pregnancy_warning="no",
        midwife_knows="yes", weeks_pregnant=Decimal(30)))  # fmt: skip
    every = (*(rule.id for rule in pregnant.rules), "without_abpi")
    midwife = replace(SPECIALIST, role="midwife", covers=every)
    assert ask(pregnant, midwife, upper=TWENTY).highest_mmhg == TWENTY
    assert not ask(pregnant, midwife, upper=TWENTY_FOUR).offered
    assert ask(pregnant, replace(midwife, role="prescriber"), upper=TWENTY_FOUR).offered


def test_of_two_decisions_both_must_be_about_the_limit() -> None:
    result = screened(answers(previous_clot="yes"))
    asked = replace(SPECIALIST, covers=("previous_clot", "without_abpi"))
    other = replace(asked, by="Dr-9", covers=("previous_clot",))
    assert ask(result, asked, asked, upper=TWENTY_FOUR).offered
    assert not ask(result, asked, other, upper=TWENTY_FOUR).offered
    assert ask(result, asked, other, upper=TWENTY).highest_mmhg == TWENTY


# ---- what it was about has changed since -------------------------------------------------------


def decided(result: ScreeningResult, later: ScreeningResult) -> ClearanceAnswer:
    """Decide over one result, and ask over a later one."""
    covers = tuple(rule.id for rule in result.rules)
    made = about(replace(SPECIALIST, covers=covers, rests_on=()), result)
    assert clearance(result, Side.LEFT, [made], SEVENTEEN, on=TODAY).offered
    return clearance(later, Side.LEFT, [made], SEVENTEEN, on=TODAY)


@pytest.mark.parametrize(
    ("first", "later"),
    [
        ({"no_feeling": "yes", "numb_left": "no", "numb_right": "no", "cannot_report_pain": "no"},
         {"skin": "yes", "weeping_skin_left": "no", "weeping_skin_right": "no",
          "fragile_skin_left": "no", "fragile_skin_right": "no", "skin_graft_left": "no",
          "skin_graft_right": "no", "fibre_allergy": "no"}),
        ({"bypass_left": "unknown"}, {"bypass_left": "yes"}),
        ({"bypass_left": "yes"}, {"bypass_left": "unknown"}),
        ({"garment_high_mmhg": Decimal(24)}, {"garment_high_mmhg": Decimal(24), "cancer": "yes"}),
    ],
)  # fmt: skip
def test_a_decision_ends_with_the_answer_it_was_about(
    first: dict[str, str], later: dict[str, str]
) -> None:
    before = screened(answers(**first))
    assert decided(before, before).offered
    answer = decided(before, screened(answers(**(first | later))))
    assert not answer.offered
    assert "A decision is there, but" in answer.why


def test_a_decision_on_one_low_index_is_none_on_a_lower_one() -> None:
    arms = {"arm_left": 140, "arm_right": 138}
    before = screened(taken=pressures(**arms, left_dp=111))
    again = screened(taken=pressures(**arms, left_dp="111.0"))
    assert decided(before, again).offered, "the same figure, typed otherwise"
    lower = decided(before, screened(taken=pressures(**arms, left_dp=90)))
    assert not lower.offered
    assert lower.why.endswith("A decision is there, but what it rests on has changed.")


def test_what_changes_at_the_other_leg_leaves_a_decision_alone() -> None:
    before = screened(answers(bypass_left="yes"))
    assert decided(before, screened(answers(bypass_left="yes", bypass_right="yes"))).offered


def test_less_than_was_decided_about_is_covered_still() -> None:
    both = screened(answers(bypass_left="yes", numb_left="yes"))
    assert decided(both, screened(answers(bypass_left="yes"))).offered


# ---- in a session -------------------------------------------------------------------------------


def stopped() -> Sitting:
    sitting = Sitting()
    sitting.answer_all(**ordinary(bypass_left="yes"))
    return sitting


def offered(sitting: Sitting) -> bool:
    made = decisions_of(sitting.session)
    return clearance(sitting.screened(), Side.LEFT, made, SEVENTEEN, on=TODAY).offered


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
        ({"highest_mmhg": Decimal(-1)}, "highest_mmhg"),
        ({"decided_on": TODAY + timedelta(days=1)}, "decided_on"),
        ({"review_date": TODAY - timedelta(days=1)}, "review_date"),
        ({"decided_on": TODAY - timedelta(days=1), "how": "read_back"}, "decided_on"),
        ({"review_date": TODAY + timedelta(days=367)}, "review_date"),
    ],
)
def test_a_decision_that_says_too_little_is_refused(changed: dict[str, object], key: str) -> None:
    sitting = stopped()
    with pytest.raises(ReadingError) as caught:
        draft_decision(sitting.session, replace(SPECIALIST, **changed), sitting.at)  # type: ignore[arg-type]
    assert caught.value.problem.key == key


NO_COMPRESSION = replace(SPECIALIST, highest_mmhg=Decimal(0), why="too little flow")


def test_a_refusal_is_recorded_and_keeps_the_leg_from_being_fitted() -> None:
    sitting = stopped()
    sitting.add(draft_decision(sitting.session, NO_COMPRESSION, sitting.at))
    assert decisions_of(sitting.session) == (NO_COMPRESSION,)
    for on in (TODAY, NO_COMPRESSION.review_date + timedelta(days=1)):
        answer = may_fit(sitting.screened(), Side.LEFT, [NO_COMPRESSION], on=on)
        assert (answer.clearance, answer.offered, answer.highest_mmhg) == ("stop", False, None)
        assert answer.why == "Prescriber's decision: Dr-7 (specialist): no compression."
    assert may_fit(sitting.screened(), Side.RIGHT, [NO_COMPRESSION], on=TODAY).offered
    sitting.answer("screen.bypass_left", "no")
    sitting.answer("screen.arteries", "no")
    later = ask(sitting.screened(), NO_COMPRESSION)
    assert (later.clearance, later.offered) == ("ask", False), "it stands until decided anew"
    sitting.add(draft_decision(sitting.session, SPECIALIST, sitting.at))
    assert decisions_of(sitting.session) == (SPECIALIST,)
    beside = may_fit(bypass(), Side.LEFT, [SPECIALIST, NO_COMPRESSION], on=TODAY)
    assert not beside.offered, "one of two that differ refuses"


def test_a_refusal_does_not_hide_a_hold() -> None:
    held = screened(answers(bypass_left="yes", emergency="yes"))
    answer = may_fit(held, Side.LEFT, [NO_COMPRESSION], on=TODAY)
    assert (answer.clearance, answer.offered) == ("hold", False)
    assert answer.why.startswith("Call the emergency number now.")


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
        ("highest_mmhg", Decimal(0)),
        ("highest_mmhg", Decimal(-5)),
        ("highest_mmhg", True),
        ("rests_on", None),
        ("rests_on", ["screen.bypass_left=unknown"]),
        ("decided_on", "soon"),
        ("review_date", None),
        ("why", ""),
        ("covers", None),
    ],
)
def test_a_decision_changed_outside_the_program_allows_nothing(
    key: str, value: Value | None
) -> None:
    sitting = stopped()
    draft = draft_decision(sitting.session, SPECIALIST, sitting.at)
    sitting.add(replace(draft, fields={**draft.fields, key: value}))
    (decision,) = decisions_of(sitting.session)
    assert not clearance(sitting.screened(), Side.LEFT, [decision], None, on=TODAY).offered
    assert not may_fit(sitting.screened(), Side.LEFT, [decision], on=TODAY).offered


def test_a_decision_may_be_as_old_as_the_answer_it_is_about_and_hold_a_year() -> None:
    sitting = stopped()
    sitting.at += timedelta(days=3)
    whole_year = replace(SPECIALIST, how="read_back", review_date=TODAY + timedelta(days=366))
    sitting.add(draft_decision(sitting.session, whole_year, sitting.at))
    assert decisions_of(sitting.session) == (whole_year,)
    sitting.answer("screen.bypass_left", "unknown")
    sitting.answer("screen.bypass_left", "yes")
    with pytest.raises(ReadingError, match="by telephone before an answer"):
        draft_decision(sitting.session, whole_year, sitting.at)
    letter = replace(whole_year, how="written")
    assert draft_decision(sitting.session, letter, sitting.at).fields["how"] == "written"


def test_an_answer_from_a_clock_that_was_wrong_makes_no_decision_too_old() -> None:
    sitting = Sitting()
    sitting.at += timedelta(days=400)
    sitting.answer_all(**ordinary(bypass_left="yes"))
    sitting.at -= timedelta(days=400)
    sitting.add(draft_decision(sitting.session, SPECIALIST, sitting.at))
    assert offered(sitting)


def test_the_newest_of_its_answers_says_how_old_a_decision_may_be() -> None:
    sitting = stopped()
    sitting.at += timedelta(days=1)
    sitting.answer("screen.numb_left", "yes")
    told = replace(SPECIALIST, covers=("bypass", "numb"), how="read_back")
    both = about(told, sitting.screened())
    with pytest.raises(ReadingError, match="by telephone before an answer"):
        draft_decision(sitting.session, both, sitting.at)
    today = replace(both, decided_on=TODAY + timedelta(days=1))
    assert draft_decision(sitting.session, today, sitting.at).fields["covers"] == ["bypass", "numb"]
