"""Other sessions of one code, such as of another laptop: what counts of them, what ends it.

Everybody here is invented: KES-17 is one code of one person, met on two laptops.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from linked_visits import (
    ASK,
    BLOODS,
    HERE,
    HOLD,
    NOW,
    PROFILES,
    STOP,
    TODAY,
    here,
    judged,
    read_calves,
    visit,
)
from screening_cases import Sitting

from fitcore.fit import fit_session
from fitcore.papers.referral import referral_lines
from fitcore.points import LEGS, Kind, Point, Side
from fitcore.record.edits import draft_answer, draft_reading
from fitcore.record.last_time import before_each, sessions_before
from fitcore.record.readings import Readings
from fitcore.safety.assessments import Assessment, draft_assessment
from fitcore.safety.clearance import judge_clearance
from fitcore.safety.decisions import Decision, draft_decision
from fitcore.safety.screening import screen_session
from fitcore.units import Length, Millimetre
from tui.clearance_view import stopped_among

if TYPE_CHECKING:
    from fitcore.record.entries import Value
    from fitcore.safety.clearance import SessionClearance

DAYS, YEAR = 24.0, 24.0 * 365
MINUTES_AGO = -0.1


def there(*, hours: float = 0, laptop: str = "dunlin-m4ex", **answers: Value) -> Sitting:
    """Return a visit under the same code, on another laptop."""
    return visit(HERE, hours=hours, laptop=laptop, **answers)


def found(here: Sitting, *there: Sitting) -> tuple[str, str]:
    legs = judged(here, *there).result.legs
    return legs[0].clearance.value, legs[1].clearance.value


def told(cleared: SessionClearance, side: Side = Side.LEFT) -> str:
    return cleared.leg(side).why


# ---- what counts ------------------------------------------------------------------------------


@pytest.mark.parametrize("hours", [MINUTES_AGO, -23, 0.1, 5, 9 * DAYS])
def test_a_hold_on_another_laptop_shortly_before_or_any_time_later_holds_here(
    hours: float,
) -> None:
    held = there(hours=hours, **HOLD)
    cleared = judged(here(), held)
    assert found(here(), held) == ("hold", "hold")
    assert [cleared.leg(side).offered for side in LEGS] == [False, False]
    assert cleared.as_json()["linked"] == [
        {"code": HERE, "session": held.session.id, "whole": True, "outcome": "hold"}
    ]
    assert not any(cleared.offer(side, c).offered for side in LEGS for c in PROFILES.charts)


def test_the_result_says_on_which_day_and_laptop_it_was_found() -> None:
    why = told(judged(here(), there(hours=MINUTES_AGO, **HOLD)))
    assert why.startswith("In another session of this client, 20 March 2026, laptop dunlin-m4ex: ")
    assert "Its new assessment is recorded in that session." in why
    assert "linked code" not in why


def test_it_holds_as_well_before_this_session_has_its_code_written() -> None:
    new = replace(here().session, entries=frozenset())
    cleared = judge_clearance(
        new, Readings(new), PROFILES.rules, on=TODAY, linked=[there(hours=-1, **STOP).session]
    )
    assert "In another session of this client" in told(cleared)


@pytest.mark.parametrize(("hours", "asks"), [(-25, False), (-24, True), (48, True)])
def test_a_question_counts_for_a_day_and_from_later_on(
    hours: float,
    asks: bool,  # noqa: FBT001
) -> None:
    assert (found(here(), there(hours=hours, **ASK))[0] == "ask") is asks


def test_no_answer_is_taken_over() -> None:
    """What stands there is told; what is asked here is asked here."""
    nobody = Sitting(laptop="tern-k7qd")
    nobody.session = replace(nobody.session, id=here().session.id)
    nobody.answer("client", HERE)
    assert found(nobody, there(hours=-1)) == ("not_screened", "not_screened")
    assert judged(nobody, there(hours=-1, **HOLD)).told == judged(nobody).told


def test_the_start_list_marks_it_and_the_note_tells_it() -> None:
    fresh, held = here().session, there(hours=MINUTES_AGO, **HOLD).session
    both = {session.id: session for session in (fresh, held)}
    assert stopped_among([fresh.id], both, PROFILES.rules, TODAY) == {fresh.id}
    assert stopped_among([fresh.id], {fresh.id: fresh}, PROFILES.rules, TODAY) == set()
    fit = fit_session(fresh, PROFILES.charts, PROFILES.rules, on=TODAY, linked=[held])
    note = " ".join(" ".join(referral_lines(fit, made_at=NOW)).split())
    assert "In another session of this client, 20 March 2026, laptop dunlin-m4ex: " in note
    assert "No stop was found" not in note


# ---- what counts for nothing ------------------------------------------------------------------


def empty(hours: float = -1) -> Sitting:
    """Return a session opened by mistake: a code and which legs, and nothing else."""
    whole = there(hours=hours)
    sitting = Sitting(laptop="dunlin-m4ex")
    sitting.session, sitting.at = replace(sitting.session, id=whole.session.id), whole.at
    sitting.answer("client", HERE)
    sitting.answer("sides", ["left", "right"])
    return sitting


def sheet(left: int, right: int | None, hours: float = -1) -> Sitting:
    """Return what a sheet brings: readings, and not a word of screening."""
    return read_calves(empty(hours), left, right)


@pytest.mark.parametrize(
    "other",
    [
        empty(),
        sheet(362, 362),
        sheet(362, None),
        sheet(402, 362),
        there(hours=-1),
        there(hours=-YEAR),
        there(hours=9 * DAYS),
        read_calves(there(hours=-1), 362, None),
    ],
    ids=["empty", "sheet", "one leg", "unlike calves", "clean", "old", "later", "one calf read"],
)
def test_what_found_nothing_counts_for_nothing(other: Sitting) -> None:
    cleared = judged(here(), other)
    assert cleared.linked == ()
    assert cleared.as_json() == judged(here()).as_json()
    assert [cleared.leg(side) for side in LEGS] == [judged(here()).leg(side) for side in LEGS]


def test_unlike_calves_somebody_was_asked_about_count() -> None:
    assert found(here(), read_calves(there(hours=-1), 402, 362)) == ("stop", "stop")


def test_an_answer_put_right_there_stops_nothing_here() -> None:
    """The second session of a day, begun after a slip: the slip is put right where it stands."""
    slip = there(hours=-1, laptop="tern-k7qd", **STOP)
    assert found(here(), slip)[0] == "stop"
    slip.answer_all(bypass_left="no")
    assert found(here(), slip) == ("cleared", "cleared")


def test_a_stronger_garment_without_an_abpi_there_is_measured_here() -> None:
    asked = there(hours=-1, garment_high_mmhg=32)
    assert judged(asked).result.outcome == "ask"
    assert judged(here(), asked).linked == ()


# ---- what ends an older one -------------------------------------------------------------------


def test_last_years_stop_ends_with_this_years_screening_that_finds_none() -> None:
    stopped = there(hours=-YEAR, **STOP)
    decide(stopped, judged(stopped))
    assert found(here(), stopped) == ("cleared", "cleared")
    assert judged(here(), stopped).linked == ()


def test_until_all_is_asked_here_last_years_stop_stands() -> None:
    half = Sitting(laptop="tern-k7qd")
    half.session, half.at = replace(half.session, id=here().session.id), NOW
    half.answer("client", HERE)
    half.answer_all(under_18="no")
    stopped = there(hours=-YEAR, **STOP)
    assert found(half, stopped) == ("stop", "not_screened")
    ends = "It ends once this session looks at all of it afresh and finds no stop."
    assert ends in told(judged(half, stopped))
    assert ends not in told(judged(half, there(hours=-1, **STOP)))


@pytest.mark.parametrize("hours", [-1, -24])
def test_within_a_day_this_session_puts_nothing_right(hours: float) -> None:
    assert found(here(), there(hours=hours, **STOP)) == ("stop", "cleared")


def test_a_stop_found_days_after_its_session_was_begun_is_as_new_as_it_was_found() -> None:
    """A session left open and gone on with: begun before this one, it found its stop after it."""
    open_ = there(hours=-3 * DAYS)
    assert found(here(), open_) == ("cleared", "cleared")
    for at, left in ((NOW - timedelta(days=2), "cleared"), (NOW + timedelta(days=1), "stop")):
        later = there(hours=-3 * DAYS)
        later.at = at
        later.answer_all(bypass_left="yes")
        assert found(here(), later)[0] == left
    asked = there(hours=-3 * DAYS)
    asked.at = NOW - timedelta(hours=2)
    asked.answer_all(weak_pulse_left="yes")
    assert found(here(), asked)[0] == "ask"


def test_a_question_opened_days_later_and_never_answered_is_as_new_as_what_opened_it() -> None:
    opened = there(hours=-3 * DAYS)
    opened.at = NOW + timedelta(days=1)
    opened.answer_all(arteries="yes")
    counted = judged(here(), opened).linked
    assert judged(opened).result.outcome in ("stop", "ask")
    assert [found.whole for found in counted] == [True]


def test_an_answer_of_a_day_to_come_is_never_put_right_here() -> None:
    stopped = there(hours=-30 * DAYS)
    stopped.at = NOW + timedelta(days=400)
    stopped.answer_all(bypass_left="yes")
    assert found(here(), stopped)[0] == "stop"


def test_last_years_stop_found_again_is_decided_once_and_here() -> None:
    sitting, stopped = here(**STOP), there(hours=-YEAR, **STOP)
    decide(stopped, judged(stopped))
    cleared = judged(sitting, stopped)
    assert [rule.id for rule in cleared.open_rules(Side.LEFT)] == ["bypass"]
    assert not cleared.leg(Side.LEFT).offered
    decide(sitting, cleared)
    assert judged(sitting, stopped).leg(Side.LEFT).offered


def test_another_stop_here_puts_last_years_not_right() -> None:
    sitting, stopped = here(fibre_allergy="yes"), there(hours=-YEAR, **STOP)
    rules = {rule.id for rule in judged(sitting, stopped).result.rules_of(Side.LEFT)}
    assert rules >= {"fibre_allergy", f"bypass@{stopped.session.id}"}
    decide(sitting, judged(sitting, stopped))
    assert judged(sitting, stopped).leg(Side.LEFT).offered


def test_last_years_stop_on_a_leg_not_to_be_fitted_now_is_nothing_here() -> None:
    sitting = here()
    sitting.answer("sides", ["right"])
    cleared = judged(sitting, there(hours=-YEAR, **STOP))
    assert (cleared.result.outcome, cleared.linked) == ("go", ())


def test_a_later_session_of_the_same_code_puts_right_for_a_third_one() -> None:
    stopped, clean = there(hours=-60 * DAYS, **STOP), there(hours=-30 * DAYS)
    half = empty(hours=-1)
    assert found(half, stopped)[0] == "stop"
    assert found(half, stopped, clean) == ("not_screened", "not_screened")


def test_what_was_measured_then_is_measured_again() -> None:
    low, normal = {**BLOODS, "left_dp": 100}, {**BLOODS, "left_dp": 140}
    stopped = visit(HERE, hours=-YEAR, pressures=low, abpi_taken="yes")
    assert found(here(), stopped)[0] == "stop"
    again = visit(HERE, laptop="tern-k7qd", pressures=normal, abpi_taken="yes")
    assert found(again, stopped) == ("cleared", "cleared")
    still_low = visit(HERE, laptop="tern-k7qd", pressures=low, abpi_taken="yes")
    own = [rule.id for rule in judged(still_low).open_rules(Side.LEFT)]
    assert [rule.id for rule in judged(still_low, stopped).open_rules(Side.LEFT)] == own


def test_unlike_calves_of_then_are_compared_again() -> None:
    stopped = read_calves(there(hours=-YEAR), 402, 362)
    assert found(here(), stopped) == ("stop", "stop")
    assert found(read_calves(here(), 362, None), stopped) == ("stop", "stop")
    assert found(read_calves(here(), 362, 362), stopped) == ("cleared", "cleared")
    again = judged(read_calves(here(), 402, 362), stopped)
    assert [rule.found_in for rule in again.result.rules] == [""]


def assess(sitting: Sitting) -> None:
    said = {f"screen.{name}": "no" for name in HOLD}
    sitting.add(
        *draft_assessment(
            sitting.session, Assessment("no clot", sitting.at.date(), "D-1", said), sitting.at
        )
    )


def test_a_hold_ends_with_an_assessment_there_or_of_the_same_answers_here() -> None:
    held = there(hours=-30 * DAYS, **HOLD)
    assert found(here(), held) == ("hold", "hold")
    assessed_here = here(**HOLD)
    assess(assessed_here)
    assert found(assessed_here, held) == ("cleared", "cleared")
    assess(held)
    assert found(here(), held) == ("cleared", "cleared")


def test_an_assessment_here_within_a_day_does_not_end_a_hold_of_another_laptop() -> None:
    """It may have been found after; whoever knows says so in that session."""
    assessed_here = here(**HOLD)
    assess(assessed_here)
    assert found(assessed_here, there(hours=-1, **HOLD)) == ("hold", "hold")


def test_last_years_refusal_ends_with_a_clean_screening_and_one_of_today_does_not() -> None:
    for hours, left in ((-YEAR, "cleared"), (-1, "stop"), (DAYS * 30, "stop")):
        refused = there(hours=hours, **ASK)
        decide(refused, judged(refused), mmhg=0)
        assert found(here(), refused)[0] == left


def test_a_refusal_stands_though_what_it_was_asked_about_was_put_right() -> None:
    refused = there(hours=-1, **ASK)
    decide(refused, judged(refused), mmhg=0)
    refused.answer("screen.weak_pulse_left", "no")
    assert judged(refused).result.outcome == "go"
    cleared = judged(here(), refused)
    assert [rule.id for rule in cleared.result.rules] == [f"refused_left@{refused.session.id}"]


def test_an_index_that_does_not_hold_at_the_same_visit_makes_one_here_worthless() -> None:
    taken = {**BLOODS, "left_dp": 140, "right_dp": 140}
    sitting = visit(HERE, laptop="tern-k7qd", pressures=taken, abpi_taken="yes")
    old = visit(HERE, hours=-1, pressures=taken, abpi_taken="yes")
    assert [leg.limit_mmhg for leg in judged(sitting, old).result.legs] == [None, None]
    old.answer("pressure.taken_on", "2024-01-02")
    legs = judged(sitting, old).result.legs
    assert [leg.limit_mmhg for leg in legs] == [20, 20]
    assert legs[0].abpi.why_not.startswith("In another session of this client, 20 March 2026")


# ---- decisions --------------------------------------------------------------------------------


def decide(sitting: Sitting, cleared: SessionClearance, *, mmhg: int = 20) -> None:
    rules = cleared.open_rules(Side.LEFT)
    day = sitting.at.date()
    decision = Decision(
        Side.LEFT,
        "S-02",
        "specialist",
        "written",
        Decimal(mmhg),
        day,
        day.replace(month=day.month + 3),
        "seen",
        tuple(rule.id for rule in rules),
        tuple(dict.fromkeys(what for rule in rules for what in rule.rests_on(Side.LEFT))),
    )
    sitting.add(draft_decision(sitting.session, decision, sitting.at))


def test_a_decision_there_lifts_nothing_here_and_one_here_does() -> None:
    sitting, stopped = here(), there(hours=-2, **STOP)
    decide(stopped, judged(stopped))
    assert judged(stopped, sitting).leg(Side.LEFT).offered
    cleared = judged(sitting, stopped)
    assert not cleared.leg(Side.LEFT).offered
    assert "A decision there lifts nothing here." in told(cleared)
    decide(sitting, cleared)
    assert judged(sitting, stopped).leg(Side.LEFT).offered


# ---- cost -------------------------------------------------------------------------------------


def test_each_session_is_judged_once_however_many_look_at_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sessions = [there(hours=-DAYS * 3 * n).session for n in range(12)]
    judging = [0]

    def counted(*args: Any, **more: Any) -> object:
        judging[0] += 1
        return screen_session(*args, **more)

    monkeypatch.setattr("fitcore.safety.clearance.screen_session", counted)
    for session in sessions:
        others = [other for other in sessions if other is not session]
        judge_clearance(session, Readings(session), PROFILES.rules, on=TODAY, linked=others)
    assert judging[0] == 2 * len(sessions)


def test_what_stood_before_each_session_is_as_for_one_alone() -> None:
    measured = [read_calves(there(hours=-DAYS * n), 362, 362).session for n in range(4)]
    other = read_calves(visit("dunlin-3", hours=-DAYS * 2 - 1), 362, 362).session
    codeless = Sitting()
    length = Length("36.2", "cm", Millimetre(Decimal(362)))
    codeless.add(draft_reading((Side.LEFT, Point.C, Kind.GIRTH), 1, length, NOW))
    known = [*measured, other, empty(hours=-DAYS * 2 - 2).session, codeless.session]
    for session in known:
        alone = sessions_before(session, session.text("client"), known)
        assert before_each(known)[session.id] == alone


def test_a_changed_session_is_judged_anew() -> None:
    sitting, other = here(), there(hours=-1)
    assert found(sitting, other) == ("cleared", "cleared")
    draft = draft_answer(other.session, "screen.bypass_left", "yes", other.at)
    assert draft is not None
    other.add(draft)
    assert found(sitting, other) == ("stop", "cleared")
