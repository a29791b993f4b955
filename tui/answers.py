"""Answers to what only a person can settle: made by the merge desk and by the verbs alike.

An answer is one line or two, kept durably the moment it is given. No screen here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.identity import EntryId
from fitcore.merge.clients import LINKED, draft_distinct, draft_link
from fitcore.merge.conflicts import Conflict
from fitcore.merge.proposals import draft_ruling
from fitcore.problems import FileFault, Problem
from fitcore.record.edits import reason_text, who_text
from fitcore.record.fields import parse_answer
from fitcore.record.session import entry_order, value_key
from fitcore.safety.decisions import DECISION_PREFIX
from fitcore.safety.screening_answers import ANSWER_PREFIX, PRESSURE_PREFIX
from fitcore.safety.screening_edits import parse_screening
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from datetime import datetime

    from fitcore.disk.archive_parts import Questions
    from fitcore.disk.data_folder import DataFolder
    from fitcore.merge.clients import Clients
    from fitcore.merge.conflicts import Candidate
    from fitcore.merge.proposals import Proposal
    from fitcore.record.entries import Draft, Entry, Value
    from fitcore.record.session import Session
    from fitcore.safety.screening_book import ScreeningBook


_NOT_SAID = ("by", "at", "instead_of", "takes_back", "who", "why", "decided_who", "decided_why")
"""Keys of a line that tell of its writing, not what is said."""


@dataclass(frozen=True, slots=True)
class Told:
    """Who answers, why and when."""

    who: str
    why: str
    at: datetime
    """From the caller's clock."""

    @classmethod
    def of(cls, who: str, why: str, at: datetime) -> Told:
        """Clean what was typed.

        Raises:
            ReadingError: nobody is named, or no reason was given.
        """
        return cls(who_text(who), reason_text(why), at)


@dataclass(frozen=True, slots=True)
class Answer:
    """The lines of one answer; nothing is written yet."""

    id: str
    """Of the question."""
    session: str
    """The session `draft` is for; empty where there is none."""
    draft: Draft | None
    ruling: Draft | None
    """What is for the ledger."""
    words: str
    """What was asked, and what is answered."""


@dataclass(frozen=True)
class Stored:
    """One answer on disk."""

    answer: Answer
    session: Session | None
    """The session with its new line; None where there is none."""
    in_session: tuple[Entry, ...]
    in_ledger: tuple[Entry, ...]

    @property
    def names(self) -> list[str]:
        """Names of the entries it is stored as."""
        return [str(entry.by) for entry in (*self.in_session, *self.in_ledger)]


def draft_codes(clients: Clients, codes: Sequence[str], value: str, told: Told) -> Draft:
    """Say of codes that they are one person's, or not.

    Args:
        clients: what was said so far.
        codes: two or more.
        value: `linked` or `distinct`.
        told: who says so.
    """
    draft = draft_link if value == LINKED else draft_distinct
    return draft(clients, codes, who=told.who, why=told.why, at=told.at)


def answer_changed(proposal: Proposal, value: str, told: Told) -> Answer:
    """Answer for a line changed outside: `taken`, `corrected` or `refused`.

    Raises:
        ReadingError: nothing of that kind can be done with the line.
    """
    draft, ruling = draft_ruling(proposal, value, who=told.who, why=told.why, at=told.at)
    words = say("{entry}: {value}.", entry=str(proposal.name), value=value)
    return Answer(
        proposal.id, proposal.about.name if draft is not None else "", draft, ruling, words
    )


def parse_value(
    question: Conflict, typed: str, book: Callable[[], ScreeningBook], at: datetime
) -> Value:
    """Read a value nobody brought, for a field that is answered.

    Args:
        question: what it answers.
        typed: as typed.
        book: loads the questions of screening, which say what may be answered; only where needed.
        at: the present instant.

    Raises:
        ReadingError: not one of the field's answers.
        UnitError: not a time or zone.
    """
    if question.field.startswith((ANSWER_PREFIX, PRESSURE_PREFIX)):
        return parse_screening(book(), question.field, typed)
    return parse_answer(question.field, typed, at)


def store_answer(folder: DataFolder, answer: Answer) -> Stored:
    """Store an answer durably: when this returns it is on disk.

    Raises:
        FileFault: it could not be written. Where it takes two lines, the first may stand.
    """
    grown: Session | None = None
    in_session: tuple[Entry, ...] = ()
    if answer.draft is not None:
        grown, in_session = append_to_session(folder, answer.session, [answer.draft])
    in_ledger = append_to_ledger(folder, [answer.ruling]) if answer.ruling is not None else ()
    return Stored(answer, grown, in_session, in_ledger)


def append_to_session(
    folder: DataFolder, session_id: str, drafts: Sequence[Draft]
) -> tuple[Session, tuple[Entry, ...]]:
    """Add lines to a session as it is on disk now; return it and what was added, in order.

    Raises:
        FileFault: it is not there, or cannot be written; nothing was stored.
    """
    session = folder.read(session_id)
    if session is None:
        raise FileFault(
            Problem(
                code="changed_on_disk",
                text=say("The session cannot be read any more."),
                mend=say("Run verify; nothing was stored for this question."),
                key=session_id,
            )
        )
    grown = folder.append(session, drafts)
    return grown, tuple(sorted(grown.entries - session.entries, key=entry_order))


def append_to_ledger(folder: DataFolder, drafts: Sequence[Draft]) -> tuple[Entry, ...]:
    """Add lines to the laptop's ledger; return them.

    Raises:
        FileFault: nothing was stored.
    """
    folder.append_to_ledger(drafts)
    laptop = folder.laptop
    first = laptop.next - len(drafts)
    return tuple(
        draft.entry(EntryId(laptop.id, number)) for number, draft in enumerate(drafts, first)
    )


def alike(questions: Questions, named: Iterable[Conflict | Proposal]) -> list[Conflict | Proposal]:
    """Return every open question about the same field with the same lines to choose from.

    Lines are the same where all they say is, not their value alone. What a prescriber decided is
    for one leg of one person: such a question is like no other.
    """
    named = list(named)
    asked = [question for question in named if isinstance(question, Conflict)]
    wanted = {_likeness(question) for question in asked if not is_one_by_one(question)}
    found = [conflict for conflict in questions.conflicts if _likeness(conflict) in wanted]
    return [*found, *(question for question in named if question not in found)]


def is_one_by_one(question: Conflict | Proposal) -> bool:
    """Whether a question may never be answered together with others: a prescriber's decision."""
    return isinstance(question, Conflict) and question.field.startswith(DECISION_PREFIX)


def content_of(candidate: Candidate) -> frozenset[object]:
    """Return all that the lines of a value say, but for who wrote them, when and over what."""
    return frozenset(
        (value_key(candidate.value), *_said(entry.fields)) for entry in candidate.entries
    )


def _said(fields: Mapping[str, Value]) -> Iterator[tuple[str, str]]:
    for key, value in sorted(fields.items()):
        if key not in _NOT_SAID:
            yield key, repr(value)


def _likeness(conflict: Conflict) -> tuple[object, ...]:
    contents = frozenset(content_of(candidate) for candidate in conflict.candidates)
    return (conflict.kind, conflict.field, contents)
