"""What two calves ask for: the tape's only red flag, and never a word of reassurance."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from screening_cases import TODAY, answers, book, legs

from fitcore.points import Side
from fitcore.safety.screening import screen
from fitcore.safety.screening_answers import Pressures
from fitcore.safety.side_difference import (
    FollowUp,
    SideDifference,
    change_since_last,
    side_difference,
)

if TYPE_CHECKING:
    from fitcore.safety.screening_answers import Answer

BOOK = book()
NOTHING = FollowUp()
TWICE = FollowUp(repeated=True)


def differ(left: str | None, right: str | None, asked: FollowUp = NOTHING) -> SideDifference:
    one, other = (Decimal(mm) if mm is not None else None for mm in (left, right))
    return side_difference(one, other, BOOK, "C", asked)


@pytest.mark.parametrize(
    ("left", "right", "step"),
    [
        ("399.9", "370", "small"),
        ("400", "370", "repeat"),
        ("370", "400", "repeat"),
        ("402", "370", "repeat"),
        ("370", "370", "small"),
        (None, "370", "one_leg"),
        ("370", None, "one_leg"),
        (None, None, "one_leg"),
    ],
)
def test_three_centimetres_exactly_are_read_again(
    left: str | None, right: str | None, step: str
) -> None:
    assert differ(left, right).step == step


def test_one_leg_is_no_reassurance() -> None:
    assert differ(None, "370").text == "No leg to compare: no reassurance."


@pytest.mark.parametrize(
    ("new", "explained", "step", "question"),
    [
        ((), (), "ask", "larger_leg_new"),
        (("yes",), (), "stop", ""),
        (("unknown",), (), "stop", ""),
        (("no", "yes"), ("yes",), "stop", ""),
        (("no",), (), "ask", "larger_leg_explained"),
        (("no",), ("yes",), "note", ""),
        (("no",), ("no",), "stop", ""),
        (("no",), ("unknown",), "stop", ""),
        (("no",), ("yes", "no"), "stop", ""),
        (("yes",), ("yes",), "stop", ""),
    ],
)
def test_after_the_second_reading_it_is_asked(
    new: tuple[Answer, ...], explained: tuple[Answer, ...], step: str, question: str
) -> None:
    found = differ("402", "370", FollowUp(repeated=True, new=new, explained=explained))
    assert (found.step, found.question) == (step, question)
    assert (found.larger, found.difference_mm) == (Side.LEFT, Decimal(32))
    assert (found.rule is None) == (step == "note")


def test_case_5_larger_by_32_mm_for_two_days_is_a_stop_today() -> None:
    found = differ("402", "370", FollowUp(repeated=True, new=("yes",)))
    assert found.rule is not None
    assert (found.rule.action, found.rule.urgency) == ("stop", "today")
    assert found.text.startswith("LEFT calf larger by 3.2 cm at the widest of the calf")
    assert found.text.endswith("Medical assessment today.")
    result = screen(answers(), Pressures(), BOOK, on=TODAY, tape=[found.rule])
    assert (result.outcome, result.urgency) == ("stop", "today")
    assert legs(result) == ("stop", "stop")


def test_until_it_is_settled_nothing_is_cleared() -> None:
    for asked in (NOTHING, TWICE, FollowUp(repeated=True, new=("no",))):
        rule = differ("402", "370", asked).rule
        assert (
            screen(answers(), Pressures(), BOOK, on=TODAY, tape=[rule] if rule else []).outcome
            == "stop"
        )


def test_where_it_was_taken_is_said() -> None:
    at_ten = side_difference(Decimal(402), Decimal(370), BOOK, "tuberosity", TWICE)
    assert "10 cm below the knee bump" in at_ten.text
    assert "not 10 cm below the knee bump" in differ("402", "370").text


def test_growth_since_last_time_asks_the_same() -> None:
    def grown(now: str, before: str, asked: FollowUp) -> SideDifference | None:
        return change_since_last(Side.RIGHT, Decimal(now), Decimal(before), BOOK, asked)

    assert grown("399.9", "370", NOTHING) is None
    assert grown("370", "402", NOTHING) is None
    first = grown("400", "370", NOTHING)
    assert first is not None
    assert (first.step, first.larger) == ("repeat", Side.RIGHT)
    new = grown("400", "370", FollowUp(repeated=True, new=("unknown",)))
    assert new is not None
    assert new.step == "stop"


def test_no_sentence_promises_that_there_is_no_clot() -> None:
    cases = [
        differ(left, "370", asked)
        for left in (None, "370", "402")
        for asked in (NOTHING, TWICE, FollowUp(repeated=True, new=("no",), explained=("yes",)))
    ]
    texts = [case.text for case in cases] + [rule.text for rule in BOOK.rules.rules]
    assert texts
    assert not any("no clot" in text.casefold() for text in texts)
