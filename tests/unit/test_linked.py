"""Sessions under another code of the same person: what counts, what puts it right, what lifts it.

Everybody here is invented: KES-17 and dunlin-3 are two codes of one person.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from linked_visits import (
    ASK,
    BLOODS,
    HERE,
    HOLD,
    HOURS_A_DAY,
    NOW,
    PROFILES,
    STOP,
    THERE,
    THIRD,
    TODAY,
    here,
    judged,
    read_calves,
    visit,
)
from screening_cases import Sitting, fired, ordinary

from fitcore.fit import fit_session
from fitcore.papers.referral import referral_lines
from fitcore.points import Side
from fitcore.problems import ReadingError
from fitcore.safety.assessments import Assessment, draft_assessment
from fitcore.safety.decisions import Decision, draft_decision

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.record.session import Session
    from fitcore.safety.clearance import SessionClearance


def found(here: Sitting, *there: Sitting) -> tuple[str, str]:
    legs = judged(here, *there).result.legs
    return legs[0].clearance.value, legs[1].clearance.value


# ---- what counts ------------------------------------------------------------------------------


def test_without_other_codes_nothing_is_different() -> None:
    alone = judged(here(**STOP))
    assert alone.linked == ()
    assert alone.as_json()["linked"] == []
    assert fired(alone.result) == fired(judged(here(**STOP)).result)


@pytest.mark.parametrize("hours", [-24 * 200, -25, -24, -1, 0, 1, 24 * 9])
def test_a_stop_under_the_other_code_holds_however_old_it_is(hours: float) -> None:
    stopped = visit(hours=hours, **STOP)
    cleared = judged(here(), stopped)
    assert found(here(), stopped) == ("stop", "cleared")
    assert (cleared.leg(Side.LEFT).offered, cleared.leg(Side.RIGHT).offered) == (False, True)
    (counted,) = cleared.linked
    assert (counted.code, counted.session.id) == (THERE, stopped.session.id)
    assert counted.whole is (hours >= -HOURS_A_DAY)


@pytest.mark.parametrize(("hours", "asks"), [(-25, False), (-24, True), (-1, True), (48, True)])
def test_a_question_to_the_prescriber_counts_for_a_day_and_from_later_on(
    hours: float,
    asks: bool,  # noqa: FBT001
) -> None:
    cleared = judged(here(), visit(hours=hours, **ASK))
    assert (cleared.result.outcome == "ask") is asks
    assert bool(cleared.linked) is asks


def test_the_result_says_where_it_was_found_and_when() -> None:
    stopped = visit(hours=-48, **STOP)
    why = judged(here(), stopped).leg(Side.LEFT).why
    assert f"Under the linked code {THERE}, session of 18 March 2026: " in why
    hold = judged(here(), visit(hours=-48, **HOLD)).leg(Side.LEFT).why
    assert "Its new assessment is recorded in that session." in hold
    assert "No decision lifts this" in hold


def test_the_document_lists_code_session_and_outcome() -> None:
    stopped, clean = visit(hours=-25, **STOP), visit(hours=-2)
    old = visit(hours=-24 * 30)
    listed = judged(here(), stopped, clean, old).as_json()["linked"]
    assert listed == [
        {"code": THERE, "session": stopped.session.id, "whole": False, "outcome": "stop"},
        {"code": THERE, "session": clean.session.id, "whole": True, "outcome": "go"},
    ]


def test_what_is_not_screened_here_is_not_screened_by_a_clean_session_there() -> None:
    nobody = Sitting(laptop="tern-k7qd")
    nobody.session = replace(nobody.session, id=here().session.id)
    nobody.answer("client", HERE)
    assert found(nobody, visit(hours=-1)) == ("not_screened", "not_screened")
    assert found(nobody, visit(hours=-1, **STOP)) == ("stop", "not_screened")


def test_no_garment_is_offered_past_a_stop_under_the_other_code() -> None:
    alone, cleared = judged(here()), judged(here(), visit(hours=-72, **STOP))
    offers = [
        [c.offer(side, chart) for chart in PROFILES.charts for side in (Side.LEFT,)]
        for c in (alone, cleared)
    ]
    assert any(offer.offered for offer in offers[0])
    assert {offer.offered for offer in offers[1]} == {False}
    for chart in PROFILES.charts:
        assert cleared.offer(Side.RIGHT, chart) == alone.offer(Side.RIGHT, chart)


def test_a_suspected_clot_there_bars_the_abpi_here() -> None:
    legs = judged(here(), visit(hours=-1, **HOLD)).result.legs
    assert [leg.may_take_abpi for leg in legs] == [False, False]


def test_an_old_index_there_does_not_make_a_fresh_one_here_worthless() -> None:
    fresh = {**BLOODS, "left_dp": 140, "right_dp": 140}
    sitting = visit(HERE, laptop="tern-k7qd", pressures=fresh, abpi_taken="yes")
    old = visit(hours=-24 * 400, pressures=fresh, abpi_taken="yes", **STOP)
    legs = judged(sitting, old).result.legs
    assert [leg.abpi.valid for leg in legs] == [True, True]


def test_an_index_that_does_not_hold_there_at_the_same_visit_makes_one_here_worthless() -> None:
    fresh = {**BLOODS, "left_dp": 140, "right_dp": 140}
    sitting = visit(HERE, laptop="tern-k7qd", pressures=fresh, abpi_taken="yes")
    old = visit(hours=-1, pressures=fresh, abpi_taken="yes")
    old.answer("pressure.taken_on", "2024-01-02")
    legs = judged(sitting, old).result.legs
    assert [leg.limit_mmhg for leg in legs] == [20, 20]
    assert legs[0].abpi.why_not.startswith(f"Under the linked code {THERE}, session of 20 March")


def test_an_emergency_of_another_day_is_for_today_and_of_this_one_is_now() -> None:
    emergency = {"emergency": "yes"}
    assert judged(here(), visit(hours=-2, **emergency)).result.urgency == "now"
    later = judged(here(), visit(hours=-24 * 20, **emergency)).result
    assert (later.outcome, later.urgency) == ("hold", "today")


# ---- what puts it right -----------------------------------------------------------------------


def test_an_answer_put_right_there_stops_nothing_here() -> None:
    stopped = visit(hours=-72, **STOP)
    stopped.answer_all(bypass_left="no")
    assert found(here(), stopped) == ("cleared", "cleared")


def test_a_hold_there_outlives_a_change_of_mind_and_ends_with_an_assessment_there() -> None:
    held = visit(hours=-72, **HOLD)
    held.answer_all(swelling_new_left="no")
    assert found(here(), held) == ("hold", "hold")
    told = {f"screen.{name}": "no" for name in HOLD}
    on = held.at.date()
    held.add(*draft_assessment(held.session, Assessment("no clot", on, "D-1", told), held.at))
    assert found(here(), held) == ("cleared", "cleared")


def test_a_later_clean_session_under_the_same_code_puts_a_stop_right() -> None:
    stopped, clean = visit(hours=-24 * 30, **STOP), visit(hours=-24 * 10)
    assert found(here(), stopped, clean) == ("cleared", "cleared")
    assert judged(here(), stopped, clean).linked == ()


@pytest.mark.parametrize(
    "later",
    [
        visit(THIRD, hours=-24 * 10, laptop="petrel-aaaa"),
        visit(HERE, hours=-24 * 10, laptop="tern-k7qd"),
        visit(hours=-24 * 30 + 5),
        visit(hours=-24 * 40),
        visit(hours=-24 * 10, **STOP),
        visit(hours=-24 * 10, emergency="yes"),
    ],
    ids=["third code", "code of here", "same visit", "earlier", "stop again", "hold"],
)
def test_nothing_else_puts_a_stop_right(later: Sitting) -> None:
    assert found(here(), visit(hours=-24 * 30, **STOP), later)[0] in ("stop", "hold")


def ids(sitting: Sitting, *there: Sitting) -> set[str]:
    """Return the ids of all rules found under other codes."""
    return {rule.id for rule in judged(sitting, *there).result.rules if rule.found_in}


def test_each_rule_keeps_its_session_in_its_id_and_stands_until_that_leg_is_free() -> None:
    """A later stop or a refusal does not take the place of the first: both are told."""
    stopped = visit(hours=-24 * 30, **STOP)
    again = visit(hours=-24 * 10, fibre_allergy="yes")
    both = {f"bypass@{stopped.session.id}", f"fibre_allergy@{again.session.id}"}
    assert ids(here(**STOP), stopped, again) == both
    refused = visit(hours=-24 * 10, **ASK)
    decision = decided(refused, judged(refused), mmhg=0)
    refused.add(draft_decision(refused.session, replace(decision, role="prescriber"), refused.at))
    refused.answer("screen.weak_pulse_left", "no")
    both = {f"bypass@{stopped.session.id}", f"refused_left@{refused.session.id}"}
    assert ids(here(), stopped, refused) == both


def test_a_question_found_later_is_put_right_by_a_session_that_asks_nothing() -> None:
    sitting, asked = visit(HERE, hours=-24 * 20, laptop="tern-k7qd"), visit(hours=-24 * 19, **ASK)
    question = {f"weak_pulse@{asked.session.id}"}
    assert ids(sitting, asked) == question
    assert ids(sitting, asked, visit(hours=-24 * 9)) == set()
    assert question < ids(sitting, asked, visit(hours=-24 * 9, walking_pain_left="yes"))


def test_once_a_clot_was_ruled_out_there_an_abpi_may_be_taken_here() -> None:
    sitting = visit(HERE, hours=-24 * 20, laptop="tern-k7qd")
    held, later = visit(hours=-24 * 18, **HOLD), visit(hours=-24 * 9, **HOLD)
    assert not judged(sitting, held).result.leg(Side.LEFT).may_take_abpi
    assessment = Assessment(
        "no clot", later.at.date(), "D-1", {f"screen.{name}": "no" for name in HOLD}
    )
    later.add(*draft_assessment(later.session, assessment, later.at))
    assert judged(sitting, held, later).result.leg(Side.LEFT).may_take_abpi


def test_a_session_broken_off_puts_nothing_right() -> None:
    half = Sitting(laptop="dunlin-m4ex")
    whole = visit(hours=-24 * 10)
    half.session = replace(half.session, id=whole.session.id)
    half.at, half.number = whole.at, whole.number
    half.answer("client", THERE)
    half.answer_all(under_18="no")
    assert found(here(), visit(hours=-24 * 30, **STOP), half) == ("stop", "cleared")


def test_a_leg_nobody_asked_about_is_not_put_right() -> None:
    other_leg = visit(hours=-24 * 10)
    other_leg.answer("sides", ["right"])
    assert found(here(), visit(hours=-24 * 30, **STOP), other_leg) == ("stop", "cleared")


def test_what_was_measured_is_put_right_by_measuring_again() -> None:
    low = {**BLOODS, "left_dp": 100}
    stopped = visit(hours=-24 * 30, pressures=low, abpi_taken="yes")
    assert found(here(), stopped)[0] == "stop"
    assert found(here(), stopped, visit(hours=-24 * 10))[0] == "stop"
    normal = {**BLOODS, "left_dp": 140}
    again = visit(hours=-24 * 10, pressures=normal, abpi_taken="yes")
    assert found(here(), stopped, again)[0] == "cleared"


def test_a_toe_pressure_is_put_right_by_another_toe_pressure() -> None:
    sitting, taken = visit(HERE, hours=-24 * 20, laptop="tern-k7qd"), {"abpi_taken": "yes"}
    tried = visit(hours=-24 * 19, pressures={"left_toe": "could_not_obtain"}, **taken)
    assert found(sitting, tried) == ("ask", "cleared")
    normal = {**BLOODS, "left_dp": 140}
    ankle = visit(hours=-24 * 9, pressures=normal, **taken)
    assert found(sitting, tried, ankle) == ("ask", "cleared")
    toe = visit(hours=-24 * 9, pressures={**normal, "left_toe": 110}, **taken)
    assert found(sitting, tried, toe) == ("cleared", "cleared")


def test_a_difference_of_the_calves_is_put_right_by_reading_both_again() -> None:
    stopped = read_calves(visit(hours=-24 * 30), 402, 362)
    assert found(here(), stopped) == ("stop", "stop")
    unread, alike = visit(hours=-24 * 10), read_calves(visit(hours=-24 * 9), 362, 362)
    assert found(here(), stopped, unread) == ("stop", "stop")
    assert found(here(), stopped, read_calves(visit(hours=-24 * 10), 362, None)) == ("stop", "stop")
    assert found(here(), stopped, alike) == ("cleared", "cleared")


def test_a_hold_is_put_right_by_a_later_session_only_with_an_assessment() -> None:
    held, later = visit(hours=-24 * 30, **HOLD), visit(hours=-24 * 10, **HOLD)
    told = {f"screen.{name}": "no" for name in HOLD}
    assert found(here(), held, visit(hours=-24 * 10)) == ("hold", "hold")
    assessment = Assessment("no clot", later.at.date(), "D-1", told)
    later.add(*draft_assessment(later.session, assessment, later.at))
    assert found(here(), held, later) == ("cleared", "cleared")


# ---- clocks that are wrong --------------------------------------------------------------------


def test_a_clock_surely_wrong_puts_nothing_right_and_is_never_too_old() -> None:
    stopped, asked = visit(hours=-24 * 30, **STOP), visit(hours=-24 * 900, **ASK)
    tomorrow = visit(hours=24 * 3)
    assert found(here(), stopped, tomorrow) == ("stop", "cleared")
    assert found(here(), asked) == ("ask", "cleared")
    wrong = visit(hours=-24 * 10)
    assert found(here(), stopped, wrong) == ("cleared", "cleared")
    wrong.answer("clock", "wrong")
    assert found(here(), stopped, wrong) == ("stop", "cleared")


def test_a_laptops_own_numbers_say_which_came_first() -> None:
    """A clock set back: by its id the clean session is the later one, by its numbers not."""
    stopped, clean = visit(hours=-24 * 30, **STOP), visit(hours=-24 * 10)
    numbered = Sitting(laptop="dunlin-m4ex")
    numbered.session = replace(numbered.session, id=clean.session.id)
    numbered.at = clean.at
    numbered.answer("client", THERE)
    numbered.answer("sides", ["left", "right"])
    numbered.answer_all(**ordinary())
    assert found(here(), stopped, numbered) == ("stop", "cleared")


# ---- decisions --------------------------------------------------------------------------------


def decided(sitting: Sitting, cleared: SessionClearance, *, mmhg: int = 20) -> Decision:
    rules = cleared.open_rules(Side.LEFT)
    rests_on = dict.fromkeys(what for rule in rules for what in rule.rests_on(Side.LEFT))
    day = sitting.at.date()
    return Decision(
        Side.LEFT,
        "S-02",
        "specialist",
        "written",
        Decimal(mmhg),
        day,
        day + timedelta(days=90),
        "seen",
        tuple(rule.id for rule in rules),
        tuple(rests_on),
    )


def offered(sitting: Sitting, *there: Sitting) -> bool:
    return judged(sitting, *there).leg(Side.LEFT).offered


def test_a_decision_there_lifts_nothing_here_and_is_told() -> None:
    stopped = visit(hours=-72, **STOP)
    decision = decided(stopped, judged(stopped))
    stopped.add(draft_decision(stopped.session, decision, stopped.at))
    assert offered(stopped)
    cleared = judged(here(), stopped)
    assert not cleared.leg(Side.LEFT).offered
    assert "A decision there lifts nothing here." in cleared.leg(Side.LEFT).why


def test_a_decision_here_lifts_it_while_what_was_found_there_is_unchanged() -> None:
    sitting, stopped = here(), visit(hours=-72, **STOP)
    decision = decided(sitting, judged(sitting, stopped))
    sitting.add(draft_decision(sitting.session, decision, sitting.at, linked=[stopped.session]))
    assert offered(sitting, stopped)
    again = visit(hours=-48, **STOP)
    assert not offered(sitting, stopped, again)
    stopped.answer("screen.numb_left", "yes")
    assert not offered(sitting, stopped)


def test_a_decision_on_the_same_rule_found_here_does_not_cover_the_one_found_there() -> None:
    sitting, stopped = here(**STOP), visit(hours=-72, **STOP)
    decision = decided(sitting, judged(sitting))
    sitting.add(draft_decision(sitting.session, decision, sitting.at))
    assert offered(sitting)
    assert not offered(sitting, stopped)


def test_nobody_decides_by_telephone_about_an_answer_there_before_it_was_given() -> None:
    sitting, stopped = here(), visit(hours=-2, **STOP)
    decision = decided(sitting, judged(sitting, stopped))
    early = replace(decision, how="read_back", decided_on=TODAY - timedelta(days=1))
    linked = [stopped.session]
    with pytest.raises(ReadingError):
        draft_decision(sitting.session, early, sitting.at, linked=linked)
    draft_decision(sitting.session, replace(early, decided_on=TODAY), sitting.at, linked=linked)


def test_a_refusal_there_stops_here_until_it_is_decided_anew_there() -> None:
    asked = visit(hours=-72, **ASK)
    decision = decided(asked, judged(asked), mmhg=0)
    asked.add(draft_decision(asked.session, replace(decision, role="prescriber"), asked.at))
    assert found(here(), asked) == ("stop", "cleared")
    assert "no compression" in judged(here(), asked).leg(Side.LEFT).why
    assert found(here(), visit(hours=-72, **ASK)) == ("cleared", "cleared")


# ---- paper ------------------------------------------------------------------------------------


def note(sitting: Sitting, there: Iterable[Session]) -> str:
    fit = fit_session(
        sitting.session, PROFILES.charts, PROFILES.rules, on=TODAY, linked=list(there)
    )
    return " ".join(" ".join(referral_lines(fit, made_at=NOW)).split())


def test_the_note_tells_what_was_found_there_and_what_it_rests_on() -> None:
    low = {**BLOODS, "left_dp": 100}
    stopped = visit(hours=-72, pressures=low, abpi_taken="yes", **STOP)
    told = note(here(), [stopped.session])
    assert f"Under the linked code {THERE}, session of 17 March 2026: " in told
    assert "100 mmHg" in told
    assert "Bypass" in told or "bypass" in told
    assert "No stop was found" not in told
