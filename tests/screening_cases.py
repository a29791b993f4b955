"""What the tests of screening share: the shipped rules, the ordinary client, and demo answers.

Everybody here is invented.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING

from fitcore.disk.screening_files import load_screening
from fitcore.identity import EntryId
from fitcore.points import LEGS
from fitcore.record.edits import draft_answer
from fitcore.record.session import Session
from fitcore.safety.abpi import Missing, MmHg
from fitcore.safety.screening import answers_of, screen, screen_session
from fitcore.safety.screening_answers import Answer, Answers, Pressures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.points import Side
    from fitcore.record.entries import Draft, Value
    from fitcore.safety.decisions import Decision
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_result import ScreeningResult

SESSION = "0199c3a2-5f1e-7d40-9b6a-2f8e61d0c9a7"
TODAY = date(2026, 3, 4)
GUIDELINES = (
    "avf-2019",
    "german-s2k-2018",
    "has-2010",
    "icc-2020",
    "nhs-devon-2025",
    "nice-cks",
    "sign-120",
)


@cache
def book(rules: str = "strictest") -> ScreeningBook:
    """Load the shipped rules of one file, once."""
    loaded, problems = load_screening(chosen=rules)
    assert problems == ()
    return loaded


def ordinary(**changed: Answer) -> dict[str, Answer]:
    """Every line of the first page asked, none; then what is changed or added."""
    return {question.id: "no" for question in book().questions.first_page} | changed


def answers(**changed: Answer) -> Answers:
    return Answers({name: (value,) for name, value in ordinary(**changed).items()})


def pressures(
    *, why: str = "", taken_on: date | None = None, **given: str | int | Missing
) -> Pressures:
    values: dict[str, tuple[MmHg, ...]] = {
        name: (value if isinstance(value, Missing) else Decimal(value),)
        for name, value in given.items()
    }
    return Pressures(values, why, taken_on)


def screened(
    given: Answers | None = None,
    taken: Pressures | None = None,
    *,
    rules: str = "strictest",
    sides: Sequence[Side] = LEGS,
) -> ScreeningResult:
    return screen(given or answers(), taken or Pressures(), book(rules), on=TODAY, sides=sides)


def fired(result: ScreeningResult) -> set[str]:
    return {rule.id for rule in result.rules}


def about(decision: Decision, result: ScreeningResult) -> Decision:
    """Return a decision that was made over what a result found of the rules it covers."""
    covered = [rule for rule in result.rules if rule.id in decision.covers]
    told = (what for rule in covered for what in rule.rests_on(decision.side))
    return replace(decision, rests_on=tuple(dict.fromkeys([*decision.rests_on, *told])))


def legs(result: ScreeningResult) -> tuple[str, str]:
    return (result.legs[0].clearance.value, result.legs[1].clearance.value)


class Sitting:
    """One session that grows entry by entry, as a laptop writes it."""

    def __init__(self, session: Session | None = None, laptop: str = "tern-k7qd") -> None:
        self.session = session or Session(SESSION, frozenset())
        self.laptop = laptop
        self.number = 0
        self.at = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)

    def add(self, *drafts: Draft) -> None:
        for draft in drafts:
            self.number += 1
            entry = draft.entry(EntryId(self.laptop, self.number))
            again = tomllib.loads(f"v = {entry.line}", parse_float=Decimal)["v"]
            self.session = self.session.with_entries(replace(entry, fields=again))

    def answer(self, what: str, value: Value) -> None:
        draft = draft_answer(self.session, what, value, self.at)
        if draft is not None:
            self.add(draft)

    def answer_all(self, **given: Value) -> None:
        for name, value in given.items():
            self.answer(f"screen.{name}", value)

    def screened(self) -> ScreeningResult:
        return screen_session(answers_of(self.session, book()), book(), on=TODAY)

    def elsewhere(self, laptop: str = "dunlin-m4ex") -> Sitting:
        """Go on with a copy on another laptop."""
        return Sitting(self.session, laptop)
