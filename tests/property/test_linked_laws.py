"""Laws of judging a person's sessions together: never less careful, in any order and number."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st
from linked_visits import BLOODS, HERE, PROFILES, THERE, THIRD, TODAY, judged, read_calves, visit

from fitcore.merge.clients import by_code, linked_sessions
from fitcore.points import LEGS
from fitcore.safety.decisions import Decision, draft_decision
from fitcore.safety.outcomes import ACTIONS, URGENCIES, Action, worst_action

if TYPE_CHECKING:
    from screening_cases import Sitting

    from fitcore.safety.clearance import SessionClearance

ANSWERS = {
    "none": {},
    "stop": {"bypass_left": "yes"},
    "hold": {"swelling_new_right": "yes"},
    "emergency": {"emergency": "yes"},
    "ask": {"weak_pulse_left": "yes"},
    "note": {"smoker": "no"},
    "not known": {"arteries": "unknown"},
}
LAPTOPS = {HERE: "tern-k7qd", THERE: "dunlin-m4ex", THIRD: "petrel-z9wa"}


@st.composite
def visits(draw: st.DrawFn, code: str, hours: st.SearchStrategy[float]) -> Sitting:
    """Draw one visit: what was answered, pressures, calves, and perhaps a decision on a leg."""
    low = {**BLOODS, "left_dp": draw(st.sampled_from((60, 100, 140, 200)))}
    sitting = visit(
        code,
        hours=draw(hours),
        laptop=LAPTOPS[code],
        pressures=draw(st.sampled_from(({}, low))),
        **ANSWERS[draw(st.sampled_from(sorted(ANSWERS)))],
    )
    calves = draw(st.sampled_from((None, (362, 362), (402, 362))))
    if calves is not None:
        read_calves(sitting, *calves)
    if draw(st.booleans()):
        decide(sitting, judged(sitting), draw(st.sampled_from((0, 15, 40))))
    return sitting


def decide(sitting: Sitting, cleared: SessionClearance, mmhg: int) -> None:
    """Record a decision about everything a decision may be asked about here."""
    day = min(sitting.at.date(), TODAY)
    for side in LEGS:
        rules = cleared.open_rules(side)
        decision = Decision(
            side,
            "S-02",
            "specialist",
            "written",
            Decimal(mmhg),
            day,
            day + timedelta(days=60),
            "seen",
            tuple(rule.id for rule in rules),
            tuple(dict.fromkeys(what for rule in rules for what in rule.rests_on(side))),
        )
        if rules:
            sitting.add(draft_decision(sitting.session, decision, sitting.at))


own = visits(HERE, st.just(0.0))
times = st.sampled_from((-24 * 60.0, -24 * 20.0, -30.0, -20.0, -1.0, 3.0, 24 * 5.0))
there = st.lists(visits(THERE, times), max_size=3, unique_by=lambda s: s.session.id)
third = st.lists(visits(THIRD, times), min_size=1, max_size=2, unique_by=lambda s: s.session.id)


def badness(cleared: SessionClearance) -> list[int]:
    """Return how bad the worst rule on each leg is, 0 for none."""
    found = [worst_action(cleared.result.rules_of(side)) for side in LEGS]
    return [0 if action is None else ACTIONS.index(action) for action in found]


def offers(cleared: SessionClearance) -> set[str]:
    """Return everything that may be offered: legs, and garments for them."""
    legs = {side.value for side in LEGS if cleared.leg(side).offered}
    return legs | {
        f"{side} {chart.id}"
        for side in LEGS
        for chart in PROFILES.charts
        if cleared.offer(side, chart).offered
    }


def check_more_careful(careful: SessionClearance, other: SessionClearance) -> None:
    pairs = zip(badness(careful), badness(other), strict=True)
    assert all(one >= two for one, two in pairs)
    urgencies = [URGENCIES.index(found.result.urgency) for found in (careful, other)]
    assert urgencies[0] <= urgencies[1]
    assert offers(careful) <= offers(other)
    for leg, before in zip(careful.result.legs, other.result.legs, strict=True):
        assert before.may_take_abpi or not leg.may_take_abpi
        assert before.limit_mmhg is None or leg.limit_mmhg == before.limit_mmhg


@settings(max_examples=120, deadline=None)
@given(own, there)
def test_sessions_under_linked_codes_never_make_the_outcome_less_careful(
    sitting: Sitting, others: list[Sitting]
) -> None:
    check_more_careful(judged(sitting, *others), judged(sitting))


@settings(max_examples=80, deadline=None)
@given(own, there, third)
def test_one_code_more_never_makes_the_outcome_less_careful(
    sitting: Sitting, others: list[Sitting], more: list[Sitting]
) -> None:
    check_more_careful(judged(sitting, *others, *more), judged(sitting, *others))


@settings(max_examples=60, deadline=None)
@given(own, there, third)
def test_the_order_of_sessions_changes_nothing(
    sitting: Sitting, others: list[Sitting], more: list[Sitting]
) -> None:
    one, other = judged(sitting, *others, *more), judged(sitting, *more[::-1], *others[::-1])
    assert one.as_json() == other.as_json()
    assert offers(one) == offers(other)


@settings(max_examples=80, deadline=None)
@given(own, there, st.sampled_from((0, 15, 40)))
def test_no_decision_here_lifts_a_hold_there_and_each_lifts_only_what_it_names(
    sitting: Sitting, others: list[Sitting], mmhg: int
) -> None:
    before = judged(sitting, *others)
    decide(sitting, before, mmhg)
    after = judged(sitting, *others)
    for side in LEGS:
        held = any(rule.action is Action.HOLD for rule in before.result.rules_of(side))
        assert not (held and after.leg(side).offered)
    # Another stop, found there since: the decision does not name it.
    fresh = visit("curlew-4", hours=-2, laptop="curlew-w2fs", bypass_left="yes")
    assert not judged(sitting, *others, fresh).leg(LEGS[0]).offered


# ---- the same code ----------------------------------------------------------------------------

EARLIEST = -24 * 400.0
same = st.lists(visits(HERE, times), max_size=4, unique_by=lambda s: s.session.id)


@settings(max_examples=120, deadline=None)
@given(own, same)
def test_other_sessions_of_the_code_never_make_the_outcome_less_careful(
    sitting: Sitting, others: list[Sitting]
) -> None:
    check_more_careful(judged(sitting, *others), judged(sitting))


@settings(max_examples=80, deadline=None)
@given(own, same, visits(HERE, st.just(EARLIEST)))
def test_one_session_more_that_is_the_first_of_all_never_makes_it_less_careful(
    sitting: Sitting, others: list[Sitting], first: Sitting
) -> None:
    """It can put nothing right: only a later one that looked again does."""
    check_more_careful(judged(sitting, *others, first), judged(sitting, *others))


@settings(max_examples=80, deadline=None)
@given(own, same, visits(HERE, st.sampled_from((-20.0, -1.0, 3.0))))
def test_nothing_puts_right_what_was_found_within_a_day(
    sitting: Sitting, others: list[Sitting], near: Sitting
) -> None:
    """Whoever found it knows no more of this session than this one of it."""
    apart = [o for o in others if abs(o.at - near.at) <= timedelta(hours=24)]
    alone, together = judged(near), judged(sitting, *apart, near)
    for side in LEGS:
        bad = [r for r in alone.result.rules_of(side) if r.action in (Action.STOP, Action.HOLD)]
        assert {f"{rule.id}@{near.session.id}" for rule in bad} <= {
            rule.id for rule in together.result.rules_of(side)
        }


@settings(max_examples=60, deadline=None)
@given(own, same)
def test_the_order_of_sessions_of_one_code_changes_nothing(
    sitting: Sitting, others: list[Sitting]
) -> None:
    one, other = judged(sitting, *others), judged(sitting, *others[::-1])
    assert one.as_json() == other.as_json()
    assert offers(one) == offers(other)


@settings(max_examples=60, deadline=None)
@given(own, same)
def test_a_stop_of_the_same_visit_is_known_whatever_else_is_there(
    sitting: Sitting, others: list[Sitting]
) -> None:
    stopped = visit(HERE, hours=-2, laptop="dunlin-m4ex", bypass_left="yes")
    known = by_code(one.session for one in (sitting, *others, stopped))
    linked = linked_sessions(sitting.session, None, known)
    assert {one.id for one in linked} == {one.session.id for one in (*others, stopped)}
    assert not judged(sitting, *others, stopped).leg(LEGS[0]).offered
