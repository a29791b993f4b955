"""Laws of screening: care never makes it better, and nothing is offered without a lift."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st
from screening_cases import TODAY, Sitting, book, ordinary

from fitcore.points import LEGS, Side, other_side
from fitcore.record.edits import draft_withdrawal
from fitcore.safety.abpi import Missing, judge_abpi, show_abpi
from fitcore.safety.decisions import Decision, clearance, decisions_of
from fitcore.safety.outcomes import URGENCIES, Action
from fitcore.safety.screening import screen
from fitcore.safety.screening_answers import Answers, Pressures
from fitcore.safety.screening_result import join_results

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitcore.safety.screening_answers import Answer
    from fitcore.safety.screening_result import ScreeningResult

BOOK = book()
WORSE = ("go", "not_screened", "ask", "stop", "hold")
SAFE_YES = {"touch_felt", "foot_check", "midwife_knows", "prescriber_knows"}
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


@st.composite
def answered(draw: st.DrawFn) -> dict[str, Answer]:
    """Draw a whole first page and some answers below it, most of them harmless."""
    names = st.lists(st.sampled_from(NAMES), max_size=8, unique=True)
    kinds = st.sampled_from(("yes", "no", "unknown"))
    found: dict[str, Answer] = ordinary()
    if draw(st.booleans()):
        found = dict(HARMLESS)
    return found | {name: draw(kinds) for name in draw(names)}


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
    answers: Mapping[str, Answer | tuple[Answer, ...]], pressures: Pressures
) -> ScreeningResult:
    several = {n: v if isinstance(v, tuple) else (v,) for n, v in answers.items()}
    return screen(Answers(several), pressures, BOOK, on=TODAY)


def at_least_as_careful(one: ScreeningResult, other: ScreeningResult) -> bool:
    """Whether `one` allows nothing that `other` does not."""
    limit = one.max_mmhg is not None or other.max_mmhg is None or one.outcome != "go"
    return limit and WORSE.index(one.outcome) >= WORSE.index(other.outcome)


@given(answered(), measured(), st.sampled_from(NAMES), st.booleans())
def test_a_more_careful_answer_never_makes_the_outcome_better(
    answers: dict[str, Answer],
    pressures: Pressures,
    name: str,
    unknown: bool,  # noqa: FBT001
) -> None:
    before = judged(answers | {name: HARMLESS[name]}, pressures)
    after = judged(answers | {name: "unknown" if unknown else HARMFUL[name]}, pressures)
    assert at_least_as_careful(after, before)
    assert URGENCIES.index(after.urgency) <= URGENCIES.index(before.urgency)


@given(answered(), measured(), st.sampled_from(NAMES))
def test_not_known_is_as_careful_as_any_answer(
    answers: dict[str, Answer], pressures: Pressures, name: str
) -> None:
    unknown = judged(answers | {name: "unknown"}, pressures)
    for answer in ("yes", "no"):
        assert at_least_as_careful(unknown, judged(answers | {name: answer}, pressures))


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
    assert result.outcome == max(actions, key=WORSE.index, default="go")
    urgencies = [rule.urgency for rule in result.rules]
    assert result.urgency == min(urgencies, key=URGENCIES.index, default="none")
    for leg in result.legs:
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
    results = judged(one, pressures), judged(other, pressures)
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
)
def test_nothing_is_offered_without_what_lifts_it(
    answers: dict[str, Answer],
    pressures: Pressures,
    made: list[Decision],
    upper: Decimal | None,
) -> None:
    result = judged(answers, pressures)
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
            made = [replace(every, side=side, decided_on=TODAY, review_date=TODAY) for side in LEGS]
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
