"""The first look for a stop: it may send too much to be judged, never too little."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import product
from typing import TYPE_CHECKING

import pytest
from screening_cases import GUIDELINES, ordinary
from strategies import SESSION, entry_of

from fitcore.disk.profile_files import load_profiles
from fitcore.disk.screening_files import load_screening
from fitcore.points import LEGS
from fitcore.record.readings import Readings
from fitcore.record.session import Session
from fitcore.safety.clearance import judge_clearance
from fitcore.safety.outcomes import Clearance
from fitcore.safety.stop_signs import StopSigns

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fitcore.record.entries import Entry
    from fitcore.rules import Rules
    from fitcore.safety.screening_model import Question

TERN = "tern-k7qd"
STOPS = (Clearance.STOP, Clearance.HOLD)


def rules_of(name: str) -> Rules:
    screening, problems = load_screening(chosen=name)
    assert problems == ()
    return replace(load_profiles().rules, screening=screening)


def screened(**changed: object) -> list[Entry]:
    """Return the lines of a healthy client, the first page asked whole, then what is changed."""
    told = {f"screen.{name}": value for name, value in ordinary().items()} | changed
    return [
        entry_of("answers", f"{TERN}:{number}", what=what, is_=value)
        for number, (what, value) in enumerate(told.items(), 1)
    ]


def girth(number: int, side: str, mm: str, point: str = "C") -> Entry:
    return entry_of(
        "readings", f"{TERN}:{number}", side=side, point=point, kind="girth", round=1,
        typed=mm, unit="mm", mm=Decimal(mm),
    )  # fmt: skip


def may_be_answered(question: Question) -> list[object]:
    if question.kind == "number":
        return [question.low, question.high, "unknown", "forty"]
    return [*(question.choices or ("yes", "no")), "unknown", "nonsense"]


def is_stopped(session: Session, rules: Rules) -> bool:
    found = judge_clearance(session, Readings(session), rules, on=date(2026, 3, 4))
    return any(found.leg(side).clearance in STOPS for side in LEGS)


def cases(rules: Rules) -> Iterator[Session]:
    """Yield the healthy client with each answer there is to each question, and what opens it."""
    questions = {question.id: question for question in rules.screening.questions.questions}
    fields = {"purpose": "purpose", "garment_form": "forms"}
    for question in questions.values():
        opened: dict[str, object] = {}
        parents = list(question.opens)
        while parents:
            opens = parents[0]
            parent = questions[opens.question]
            for name in parent.ids:
                opened[fields.get(parent.id, f"screen.{name}")] = opens.answers[0]
            parents = list(parent.opens)
        for name, value in product(question.ids, may_be_answered(question)):
            yield Session(
                SESSION,
                frozenset(screened(**opened, **{fields.get(name, f"screen.{name}"): value})),
            )
            # Alone, without what opens it: an answer that is there counts all the same.
            yield Session(
                SESSION, frozenset(screened(**{fields.get(name, f"screen.{name}"): value}))
            )
    for pressure, mmhg in product(rules.screening.questions.pressures, (30, 120, 260)):
        told = {
            "pressure.arm_left": 140,
            "pressure.arm_right": 140,
            f"pressure.{pressure.id}": mmhg,
        }
        yield Session(SESSION, frozenset(screened(**told)))
    for what, value in product(("swollen", "dent"), ("left", "both", "no")):
        yield Session(SESSION, frozenset(screened(**{what: value})))
    for left, right in product(("360", "365", "389", "390", "420"), repeat=2):
        calves = (girth(201, "left", left), girth(202, "right", right))
        yield Session(SESSION, frozenset([*screened(), *calves]))


@pytest.mark.parametrize("name", ["strictest", *GUIDELINES])
def test_whatever_stops_a_leg_has_a_sign(name: str) -> None:
    rules = rules_of(name)
    signs = StopSigns(rules.screening)
    signless = [session for session in cases(rules) if not signs.may_stop(session)]
    assert len(signless) > 20
    assert [session for session in signless if is_stopped(session, rules)] == []


def test_the_cases_above_do_stop_people() -> None:
    rules = rules_of("strictest")
    assert sum(is_stopped(session, rules) for session in cases(rules)) > 50


def test_a_healthy_client_has_no_sign_with_readings_and_purpose() -> None:
    book = rules_of("strictest").screening
    signs, form = StopSigns(book), book.questions.find("garment_form")
    assert form is not None
    lines = [
        *screened(purpose="prescribed", forms=form.choices[0], swollen="no", dent="no"),
        girth(201, "left", "360"),
        girth(202, "right", "389"),
        girth(203, "left", "500", point="G"),
    ]
    assert not signs.may_stop(Session(SESSION, frozenset(lines)))


def test_an_answer_put_right_or_struck_out_is_a_sign_still() -> None:
    """A hold outlives a change of mind."""
    signs = StopSigns(rules_of("strictest").screening)
    lines = [
        *screened(),
        entry_of("answers", f"{TERN}:300", what="screen.emergency", is_="yes"),
        entry_of(
            "answers", f"{TERN}:301", what="screen.emergency", is_="no", instead_of=[f"{TERN}:300"]
        ),
        entry_of("withdrawn", f"{TERN}:302", takes_back=[f"{TERN}:300"], why="mistyped"),
    ]
    assert signs.may_stop(Session(SESSION, frozenset(lines)))
