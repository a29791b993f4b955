"""Laws of screening: care never makes it better, and nothing is offered without a lift."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st
from screening_cases import TODAY, Sitting, about, book, ordinary

from fitcore.points import LEGS, Side, other_side
from fitcore.record.edits import draft_withdrawal
from fitcore.safety.abpi import Missing, judge_abpi, show_abpi
from fitcore.safety.decisions import Decision, clearance, decisions_of
from fitcore.safety.outcomes import URGENCIES, Action
from fitcore.safety.screening import screen
from fitcore.safety.screening_answers import Answers, Pressures
from fitcore.safety.screening_result import join_results

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.safety.screening_answers import Answer
    from fitcore.safety.screening_model import Question, Rule
    from fitcore.safety.screening_result import ScreeningResult

BOOK = book()
WORSE = ("go", "not_screened", "ask", "stop", "hold")
SAFE_YES = {
    "touch_felt", "foot_check", "midwife_knows", "prescriber_knows", "swelling_old", "abpi_taken",
    "larger_leg_explained", "grown_leg_explained",
}  # fmt: skip
"""Questions whose careful answer is no."""

PLAIN = [
    (question, side)
    for question in BOOK.questions.questions
    if question.kind == "yes_no_unknown"
    for side in question.sides
]
NAMES = [question.id_of(side) for question, side in PLAIN]
HARMLESS = {
    question.id_of(side): "yes" if question.id in SAFE_YES else "no" for question, side in PLAIN
}
HARMFUL = {name: "no" if answer == "yes" else "yes" for name, answer in HARMLESS.items()}

mmhg = st.integers(40, 240).map(Decimal)
tried = mmhg | st.sampled_from(Missing)


sides_wanted = st.sampled_from((LEGS, (Side.LEFT,), (Side.RIGHT,)))
STATES = ("present", "absent", "cannot_be_measured", "unknown")


@st.composite
def answered(draw: st.DrawFn) -> dict[str, Answer]:
    """Draw a whole first page and some answers below it, most of them harmless."""
    names = st.lists(st.sampled_from(NAMES), max_size=8, unique=True)
    kinds = st.sampled_from(("yes", "no", "unknown"))
    found: dict[str, Answer] = ordinary()
    if draw(st.booleans()):
        found = dict(HARMLESS)
    found |= {name: draw(kinds) for name in draw(names)}
    for side in LEGS:
        if draw(st.integers(0, 3)) == 0:
            found[f"leg_state_{side}"] = draw(st.sampled_from(STATES))
            found[f"leg_why_{side}"] = draw(st.sampled_from(("injury", "circulation", "unknown")))
    return found


@st.composite
def whole_pressures(draw: st.DrawFn) -> Pressures:
    """Draw an index for each leg that would clear it, where nothing else speaks against it."""
    days = draw(st.sampled_from((None, 0, 1, 90, 91)))
    given = {name: (Decimal(120),) for name in ("arm_left", "arm_right", "left_dp", "right_dp")}
    return Pressures(given, "", None if days is None else TODAY - timedelta(days=days))


@st.composite
def measured(draw: st.DrawFn) -> Pressures:
    """Draw blood pressures, some missing, some differing between laptops."""
    ids = st.lists(st.sampled_from([p.id for p in BOOK.questions.pressures]), unique=True)
    values = st.lists(tried, min_size=1, max_size=2, unique=True).map(tuple)
    taken = draw(st.none() | st.integers(-1, 200).map(lambda days: TODAY - timedelta(days=days)))
    return Pressures(
        {name: draw(values) for name in draw(ids)}, draw(st.sampled_from(("", "plaster"))), taken
    )


def judged(
    answers: Mapping[str, Answer | tuple[Answer, ...]],
    pressures: Pressures,
    sides: Sequence[Side] = LEGS,
) -> ScreeningResult:
    several = {n: v if isinstance(v, tuple) else (v,) for n, v in answers.items()}
    return screen(Answers(several), pressures, BOOK, on=TODAY, sides=sides)


def at_least_as_careful(one: ScreeningResult, other: ScreeningResult) -> bool:
    """Whether `one` allows nothing that `other` does not."""
    limit = one.max_mmhg is not None or other.max_mmhg is None or one.outcome != "go"
    return limit and WORSE.index(one.outcome) >= WORSE.index(other.outcome)


@given(
    answered(),
    measured() | whole_pressures(),
    st.sampled_from(NAMES) | st.sampled_from(("abpi_taken", "new_symptoms_since_abpi")),
    st.booleans(),
    sides_wanted,
)
def test_a_more_careful_answer_never_makes_the_outcome_better(
    answers: dict[str, Answer],
    pressures: Pressures,
    name: str,
    unknown: bool,  # noqa: FBT001
    sides: Sequence[Side],
) -> None:
    careful = "unknown" if unknown else HARMFUL[name]
    before = judged(answers | {name: HARMLESS[name]}, pressures, sides)
    after = judged(answers | {name: careful}, pressures, sides)
    assert at_least_as_careful(after, before)
    assert URGENCIES.index(after.urgency) <= URGENCIES.index(before.urgency)


@given(answered(), measured() | whole_pressures(), st.sampled_from(NAMES), sides_wanted)
def test_not_known_is_as_careful_as_any_answer(
    answers: dict[str, Answer], pressures: Pressures, name: str, sides: Sequence[Side]
) -> None:
    unknown = judged(answers | {name: "unknown"}, pressures, sides)
    for answer in ("yes", "no"):
        assert at_least_as_careful(unknown, judged(answers | {name: answer}, pressures, sides))


SERIOUS = [
    (rule, question)
    for rule in BOOK.rules.rules
    if rule.both_legs or rule.urgency in ("now", "today")
    for question in BOOK.questions.questions
    if question.id in rule.questions and question.per_leg and question.page == "leg"
]


@given(answered(), st.sampled_from(SERIOUS), st.sampled_from(LEGS), sides_wanted)
def test_what_threatens_a_leg_that_is_there_fires_whether_or_not_it_is_fitted(
    answers: dict[str, Answer],
    serious: tuple[Rule, Question],
    side: Side,
    sides: Sequence[Side],
) -> None:
    """Not answered counts as not known, of every leg but one that is gone."""
    rule, question = serious
    parent = BOOK.questions.find(question.opens[0].question)
    assert parent is not None
    opened = {parent.id: "yes", **{opens.question: "yes" for opens in parent.opens}}
    given = {n: a for n, a in answers.items() if n != question.id_of(side)} | opened
    result = judged(given, Pressures(), sides)
    gone = given.get(f"leg_state_{side}") == "absent"
    fired_for = {leg for one in result.rules if one.id == rule.id for leg in one.sides}
    assert side in fired_for or gone
    for answer in ("yes", "unknown"):
        result = judged(given | {question.id_of(side): answer}, Pressures(), sides)
        fired_for = {leg for one in result.rules if one.id == rule.id for leg in one.sides}
        assert set(LEGS if rule.both_legs else (side,)) <= fired_for, "told is told"


@given(answered(), measured(), sides_wanted)
def test_a_leg_that_is_not_wanted_or_not_there_is_never_cleared(
    answers: dict[str, Answer], pressures: Pressures, sides: Sequence[Side]
) -> None:
    result = judged(answers, pressures, sides)
    for side in LEGS:
        out = answers.get(f"leg_state_{side}") in ("absent", "cannot_be_measured")
        leg = result.leg(side)
        assert leg.asked is (side in sides and not out)
        assert leg.asked or leg.clearance == "not_screened"
        other = judged(answers, pressures).leg(side)
        assert not leg.asked or leg.clearance == other.clearance, "the other leg speaks for none"


@given(answered(), measured(), st.data())
def test_states_of_a_leg_side_by_side_are_as_careful_as_each(
    answers: dict[str, Answer], pressures: Pressures, data: st.DataObject
) -> None:
    one, other = data.draw(st.sampled_from(STATES)), data.draw(st.sampled_from(STATES))
    name = "leg_state_left"
    both = judged(answers | {name: (one, other)}, pressures)
    for state in (one, other):
        alone = judged(answers | {name: state}, pressures)
        assert WORSE.index(both.outcome) >= WORSE.index(alone.outcome)
        assert both.leg(Side.LEFT).asked <= alone.leg(Side.LEFT).asked


@given(answered(), measured(), st.sampled_from(NAMES), st.data())
def test_answers_side_by_side_are_as_careful_as_each(
    answers: dict[str, Answer], pressures: Pressures, name: str, data: st.DataObject
) -> None:
    kinds = st.sampled_from(("yes", "no", "unknown"))
    one, other = data.draw(kinds), data.draw(kinds)
    both = judged(answers | {name: (one, other)}, pressures)
    for answer in (one, other):
        assert at_least_as_careful(both, judged(answers | {name: answer}, pressures))


@given(answered(), measured(), st.data())
def test_pressures_side_by_side_are_as_careful_as_each(
    answers: dict[str, Answer], pressures: Pressures, data: st.DataObject
) -> None:
    name = data.draw(st.sampled_from([p.id for p in BOOK.questions.pressures]))
    one, other = data.draw(tried), data.draw(tried)
    given_both = replace(pressures, given={**pressures.given, name: (one, other)})
    both = judged(answers, given_both)
    for value in (one, other):
        alone = replace(pressures, given={**pressures.given, name: (value,)})
        assert at_least_as_careful(both, judged(answers, alone))


@given(answered(), measured())
def test_the_worse_outcome_and_the_nearer_urgency_win(
    answers: dict[str, Answer], pressures: Pressures
) -> None:
    result = judged(answers, pressures)
    actions = {rule.action.value for rule in result.rules} - {"note"}
    nothing = "go" if any(leg.asked for leg in result.legs) else "not_screened"
    assert result.outcome == max(actions, key=WORSE.index, default=nothing)
    urgencies = [rule.urgency for rule in result.rules]
    assert result.urgency == min(urgencies, key=URGENCIES.index, default="none")
    for leg in (leg for leg in result.legs if leg.asked):
        own = {rule.action.value for rule in result.rules_of(leg.side)} - {"note"}
        assert leg.clearance == (max(own, key=WORSE.index) if own else "cleared")


@given(answered(), measured())
def test_left_and_right_are_judged_alike(answers: dict[str, Answer], pressures: Pressures) -> None:
    swapped = {"left": "right", "right": "left"}

    def mirrored(name: str) -> str:
        return "_".join(swapped.get(part, part) for part in name.split("_"))

    here = judged(answers, pressures)
    there = judged(
        {mirrored(name): answer for name, answer in answers.items()},
        replace(pressures, given={mirrored(n): v for n, v in pressures.given.items()}),
    )
    assert (here.outcome, here.urgency, here.max_mmhg) == (
        there.outcome,
        there.urgency,
        there.max_mmhg,
    )
    for side in LEGS:
        one, other = here.leg(side), there.leg(other_side(side))
        assert (one.clearance, one.abpi, one.limit_mmhg) == (
            other.clearance,
            other.abpi,
            other.limit_mmhg,
        )


@given(answered(), answered(), measured())
def test_two_codes_of_one_person_are_as_careful_as_each(
    one: dict[str, Answer], other: dict[str, Answer], pressures: Pressures
) -> None:
    there = {f"leg_state_{side}": "present" for side in LEGS}
    results = judged(one | there, pressures), judged(other | there, pressures)
    joined = join_results(*results)
    assert joined.outcome == join_results(results[1], results[0]).outcome
    assert all(at_least_as_careful(joined, result) for result in results)
    assert WORSE.index(joined.outcome) == max(WORSE.index(r.outcome) for r in results)


# ---- nothing is offered without what lifts it ------------------------------------------------

RULE_IDS = sorted({rule.id for rule in BOOK.rules.rules} | {"without_abpi", "nothing_named"})


@st.composite
def decisions(draw: st.DrawFn, covers: tuple[str, ...] = ()) -> Decision:
    """Draw a decision; half of them cover everything there is to cover."""
    some = st.lists(st.sampled_from(RULE_IDS), max_size=4, unique=True).map(tuple)
    return Decision(
        draw(st.sampled_from(LEGS)),
        "Dr-7",
        draw(st.sampled_from(("prescriber", "specialist", "midwife", "nobody"))),
        "written",
        draw(st.sampled_from((Decimal(10), Decimal(20), Decimal(46)))),
        TODAY + timedelta(days=draw(st.integers(-2, 1))),
        TODAY + timedelta(days=draw(st.integers(-1, 2))),
        "seen",
        draw(st.just(covers or tuple(RULE_IDS)) | some),
    )


@given(
    answered(),
    measured(),
    st.lists(decisions(), max_size=2),
    st.sampled_from((None, Decimal(10), Decimal(20), Decimal(46))),
    st.dictionaries(st.sampled_from(NAMES), st.sampled_from(("yes", "no", "unknown")), max_size=2),
)
def test_nothing_is_offered_without_what_lifts_it(
    answers: dict[str, Answer],
    pressures: Pressures,
    made: list[Decision],
    upper: Decimal | None,
    earlier: dict[str, str],
) -> None:
    """Decisions were made over some other answers, often the same."""
    result = judged(answers, pressures)
    before = judged(answers | earlier, pressures)
    made = [about(decision, before) for decision in made]
    for side in LEGS:
        answer = clearance(result, side, made, upper, on=TODAY)
        own = [decision for decision in made if decision.side is side]
        open_rules = [rule for rule in result.rules_of(side) if rule.action is not Action.NOTE]
        assert answer.why
        if not answer.offered:
            assert answer.highest_mmhg is None
            continue
        assert result.complete
        assert all(rule.action is not Action.HOLD for rule in open_rules)
        for rule in open_rules:
            assert own
            for decision in own:
                assert decision.decided_on <= TODAY <= decision.review_date
                assert rule.id in decision.covers
                assert decision.role in rule.lifted_by
                assert set(rule.rests_on(side)) <= set(decision.rests_on)
        if answer.highest_mmhg is None:
            assert not any(decision.holds_on(TODAY) for decision in own)
            assert result.leg(side).abpi.clears
        else:
            assert upper is not None
            assert upper <= answer.highest_mmhg


@given(answered(), measured(), st.sampled_from(BOOK.questions.first_page))
def test_nothing_is_offered_before_every_line_is_asked(
    answers: dict[str, Answer], pressures: Pressures, line: object
) -> None:
    kept = {name: answer for name, answer in answers.items() if name != getattr(line, "id", "")}
    result = judged(kept, pressures)
    specialist = Decision(
        Side.LEFT, "Dr-7", "specialist", "written", Decimal(46), TODAY, TODAY, "seen",
        tuple(rule.id for rule in result.rules),
    )  # fmt: skip
    specialist = about(specialist, result)
    assert not clearance(result, Side.LEFT, [specialist], Decimal(10), on=TODAY).offered


HOLDS = {
    name: [rule for rule in BOOK.rules.rules if rule.action == "hold" and base in rule.questions]
    for name, base in ((q.id_of(side), q.id) for q, side in PLAIN)
}
HOLDING = [name for name in NAMES if HOLDS[name]]

steps = st.tuples(
    st.sampled_from(("answer", "answer", "answer", "strike out", "decide", "other laptop")),
    st.sampled_from(HOLDING) | st.sampled_from([q.id for q in BOOK.questions.first_page]),
    st.sampled_from(("yes", "no", "no", "unknown")),
)


@given(st.lists(steps, max_size=10), decisions())
def test_no_path_leads_from_a_hold_to_an_offer_without_an_assessment(
    path: list[tuple[str, str, str]], decision: Decision
) -> None:
    sitting = Sitting()
    sitting.answer_all(**HARMLESS)
    held = False
    for number, (step, name, value) in enumerate(path):
        if step == "answer":
            sitting.answer(f"screen.{name}", value)
            held = held or (value != "no" and bool(HOLDS[name]))
        elif step == "strike out":
            heads = [str(head.by) for head in sitting.session.answer(f"screen.{name}").heads]
            if heads:
                sitting.add(draft_withdrawal(heads, "typed by mistake", sitting.at))
        elif step == "other laptop":
            sitting = sitting.elsewhere(f"laptop{number}-aaaa")
        result = sitting.screened()
        every = replace(decision, covers=tuple(rule.id for rule in result.rules))
        if step == "decide":
            today = replace(every, decided_on=TODAY, review_date=TODAY)
            made = [about(replace(today, side=side), result) for side in LEGS]
        else:
            made = list(decisions_of(sitting.session))
        if held:
            assert result.outcome == "hold"
            legs = [clearance(result, side, made, Decimal(10), on=TODAY) for side in LEGS]
            assert not all(leg.offered for leg in legs)
            stopped = {
                side for rule in result.rules if rule.action == "hold" for side in rule.sides
            }
            assert stopped
            assert not any(legs[LEGS.index(side)].offered for side in stopped)


# ---- the index -------------------------------------------------------------------------------


@given(mmhg, mmhg, st.integers(1, 40), st.lists(st.integers(1, 200), min_size=1, max_size=4))
def test_an_index_is_shown_on_its_own_side_of_every_limit(
    ankle: Decimal, arm: Decimal, scale: int, hundredths: list[int]
) -> None:
    limits = [Decimal(limit) / 100 for limit in hundredths]
    abpi = judge_abpi((arm, arm), (ankle, None))
    shown = show_abpi(abpi, limits)
    assert shown is not None
    assert abpi.ratio is not None
    assert shown == show_abpi(judge_abpi((arm * scale, arm), (ankle * scale, None)), limits)
    for limit in map(Fraction, limits):
        assert (abpi.ratio < limit) == (Fraction(shown) < limit)
        assert (abpi.ratio > limit) == (Fraction(shown) > limit)
    assert abs(Fraction(shown) - abpi.ratio) <= Fraction(1, 200)
