"""The strictest rules are the strictest: against every guideline that is shipped beside them."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from screening_cases import GUIDELINES, TODAY, answers, book, screened

from fitcore.points import LEGS
from fitcore.safety.abpi import Missing, MmHg
from fitcore.safety.outcomes import URGENCIES
from fitcore.safety.screening_answers import Answers, Pressures

WORSE = ("cleared", "not_screened", "ask", "stop", "hold")
SHIPPED = Path(__file__).parents[2] / "profiles" / "screening"
BOOKS = {name: book(name) for name in ("strictest", *GUIDELINES)}
EDGES = sorted(
    {
        rule.threshold + step
        for one in BOOKS.values()
        for rule in one.rules.rules
        if rule.measure == "abpi" and rule.threshold is not None
        for step in (Decimal("-0.001"), Decimal(0), Decimal("0.001"))
    }
)
MEASURED = {
    measure: sorted(
        {
            rule.threshold + step
            for one in BOOKS.values()
            for rule in one.rules.rules
            if rule.measure == measure and rule.threshold is not None
            for step in (-1, 0, 1)
        }
    )
    for measure in ("ankle_mmhg", "toe_mmhg")
}
PLAIN = [
    name
    for question in BOOKS["strictest"].questions.questions
    if question.kind == "yes_no_unknown"
    for name in question.ids
]
figures = st.integers(40, 240).map(Decimal)


SHARED_BANDS = {"has-2010", "icc-2020"}
"""Guidelines that hold under 0.6; the first asks up to 0.9 and more. Ours keeps what most share."""


def is_told_apart(guideline: str, taken: Pressures) -> bool:
    """Whether figures lie where the strictest file says that a guideline is stricter than it."""
    ankles = [v for n, vs in taken.given.items() if n[-3:] in ("_dp", "_pt") for v in vs]
    arms = [v for n, vs in taken.given.items() if n.startswith("arm") for v in vs]
    if guideline == "avf-2019":  # holds at 0.5 and at 60 mmHg themselves, too
        halves = {ankle * 2 for ankle in ankles if isinstance(ankle, Decimal)}
        return Decimal(60) in ankles or bool(halves & set(arms))
    if guideline not in SHARED_BANDS:
        return False
    numbers = [v for v in (*ankles, *arms) if isinstance(v, Decimal)]
    if len(numbers) < len(ankles) + len(arms):
        return bool(numbers)
    ratios = [ankle / arm for ankle in ankles for arm in arms]  # type: ignore[operator]
    bands = ((Decimal("0.5"), Decimal("0.6")), (Decimal("0.8"), Decimal("0.9")))
    return any(low <= ratio <= high for ratio in ratios for low, high in bands)


def not_milder(given: Answers, taken: Pressures, guideline: str) -> None:
    """Assert that no leg fares worse by a guideline, and nobody is called for sooner."""
    if is_told_apart(guideline, taken):
        return
    strict = screened(given, taken)
    other = screened(given, taken, rules=guideline)
    for side in LEGS:
        one, two = strict.leg(side), other.leg(side)
        assert WORSE.index(one.clearance) >= WORSE.index(two.clearance), (taken, guideline)
        assert one.abpi.clears <= two.abpi.clears
        assert one.limit_mmhg is not None or two.limit_mmhg is None
    assert URGENCIES.index(strict.urgency) <= URGENCIES.index(other.urgency)


def test_every_guideline_shipped_is_compared() -> None:
    others = {"questions.toml", "purposes.toml", "strictest.toml"}
    files = {path.name for path in SHIPPED.glob("*.toml")} - others
    assert files == {f"{name}.toml" for name in GUIDELINES}


@pytest.mark.parametrize("guideline", GUIDELINES)
def test_at_every_edge_of_every_guideline(guideline: str) -> None:
    arm = Decimal(200)  # keeps the ankle itself above its own limits
    for ratio in EDGES:
        given = {"arm_left": (arm,), "arm_right": (arm,), "left_dp": (ratio * arm,)}
        not_milder(answers(), Pressures(given), guideline)
    for measure, name in (("ankle_mmhg", "left_dp"), ("toe_mmhg", "left_toe")):
        for value in MEASURED[measure]:
            low = {"arm_left": (Decimal(75),), "arm_right": (Decimal(75),), name: (value,)}
            not_milder(answers(), Pressures(low), guideline)


@pytest.mark.parametrize("guideline", GUIDELINES)
@pytest.mark.parametrize("answer", ["yes", "no", "unknown"])
def test_with_every_answer_alone(guideline: str, answer: str) -> None:
    for name in PLAIN:
        not_milder(answers(**{name: answer}), Pressures(), guideline)


@given(
    st.dictionaries(st.sampled_from(PLAIN), st.sampled_from(("yes", "no", "unknown")), max_size=6),
    st.dictionaries(
        st.sampled_from([p.id for p in BOOKS["strictest"].questions.pressures]),
        (figures | st.sampled_from(Missing)).map(lambda value: (value,)),
    ),
    st.sampled_from(GUIDELINES),
)
def test_with_all_sorts_of_answers_and_pressures(
    told: dict[str, str], taken: dict[str, tuple[MmHg]], guideline: str
) -> None:
    not_milder(answers(**told), Pressures(dict(taken), taken_on=TODAY), guideline)
