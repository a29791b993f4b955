"""`conflicts` and `decide`: what only a person can answer, and the answers.

An answer is a line that lists all it was made over: it travels, closes its question everywhere, and
can be taken back with `withdraw`, or with `unlink` where it is about clients' codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.disk.archive import open_questions, settle
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.screening_files import load_screening
from fitcore.merge.choices import draft_choice, draft_other_value
from fitcore.merge.clients import DISTINCT, LINKED, draft_distinct, draft_link
from fitcore.merge.conflicts import Conflict
from fitcore.merge.proposals import draft_ruling
from fitcore.problems import FileFault, Problem, ReadingError
from fitcore.record.edits import reason_text
from fitcore.record.fields import parse_answer
from fitcore.record.session import entry_order, value_key
from fitcore.safety.screening_answers import ANSWER_PREFIX, PRESSURE_PREFIX
from fitcore.safety.screening_edits import parse_screening
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use
from tui.commands.finding import require_paths
from tui.commands.question_words import (
    choice_of,
    conflict_json,
    conflict_lines,
    proposal_json,
    proposal_lines,
    question_words,
)

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from fitcore.disk.archive_parts import Questions
    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.conflicts import Candidate
    from fitcore.merge.proposals import Proposal
    from fitcore.record.entries import Draft, Value

_SHORTEST_ID = 4


def conflicts(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """List what is open in an archive, what bears on safety first."""
    archive: Path = arguments.archive or data
    require_paths([archive])
    questions = open_questions(archive, surroundings)
    lines: list[str] = []
    for conflict in questions.conflicts:
        lines += [*conflict_lines(conflict, questions), ""]
    for proposal in questions.proposals:
        lines += [*proposal_lines(proposal), ""]
    if questions.conflicts:
        lines.append(say("Answer with: anklefirst decide ID VALUE --who CODE --why W --data DIR"))
    if questions.proposals:
        lines.append(say("Changed lines: VALUE is taken, corrected or refused."))
    is_open = bool(questions.conflicts or questions.proposals)
    return Outcome(
        ExitCode.NEEDS_PERSON if is_open else ExitCode.FINE,
        {
            "conflicts": [conflict_json(found, questions) for found in questions.conflicts],
            "proposals": [proposal_json(found) for found in questions.proposals],
        },
        lines if is_open else [say("Nothing is open.")],
    )


def decide(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Answer one question, or several alike with the same value."""
    require_paths([data])
    reason_text(arguments.why)
    with DataFolder(data, surroundings) as folder:
        questions = open_questions(data, surroundings)
        found = [_find(questions, typed) for typed in dict.fromkeys(arguments.ids)]
        if arguments.all_like:
            found = _alike(questions, found)
        desk = _Desk(questions, data, arguments.value, arguments.who, arguments.why)
        answers = [desk.answer(question, surroundings.now()) for question in found]
        about = [answer.words for answer in answers]
        if arguments.all_like and not arguments.yes:
            return Outcome(
                ExitCode.NEEDS_PERSON,
                {"decided": [], "would_decide": [answer.id for answer in answers]},
                [*about, say("Nothing was written. Repeat it with --yes.")],
                folder.notes,
            )
        entries = [_store(folder, answer) for answer in answers]
        settle(data, surroundings)
        notes = folder.notes
    decided = [
        {"question": answer.id, "session": answer.session or None, "entries": names}
        for answer, names in zip(answers, entries, strict=True)
    ]
    lines = [
        say("{words} Stored as {names}.", words=words, names=", ".join(names))
        for words, names in zip(about, entries, strict=True)
    ]
    return Outcome(ExitCode.FINE, {"decided": decided}, lines, notes)


@dataclass(frozen=True, slots=True)
class _Answer:
    id: str
    session: str
    """Empty where it is for the ledger."""
    draft: Draft | None
    ruling: Draft | None
    words: str


@dataclass(frozen=True, slots=True)
class _Desk:
    """What somebody answers, to whichever question."""

    questions: Questions
    data: Path
    value: str
    who: str
    why: str

    def answer(self, question: Conflict | Proposal, at: datetime) -> _Answer:
        """Make the lines of an answer; nothing is written."""
        told = {"who": clean(self.who).text, "why": reason_text(self.why)}
        if not isinstance(question, Conflict):
            draft, ruling = draft_ruling(question, self.value.casefold(), **told, at=at)
            words = say("{entry}: {value}.", entry=str(question.name), value=self.value)
            session = question.about.name if draft is not None else ""
            return _Answer(question.id, session, draft, ruling, words)
        words = say(
            "{about}: {value}.",
            about=question_words(question, self.questions),
            value=clean(self.value).text,
        )
        if question.kind in ("clients", "group"):
            return _Answer(question.id, "", None, self._codes(question, told, at), words)
        chosen = _chosen(question, self.value)
        draft = (
            draft_choice(question, chosen, **told, at=at)
            if chosen is not None
            else draft_other_value(question, self._parse(question, at), **told, at=at)
        )
        return _Answer(question.id, question.session, draft, None, words)

    def _codes(self, question: Conflict, told: dict[str, str], at: datetime) -> Draft:
        codes = question.field.split(" = ")
        clients = self.questions.clients
        if self.value == LINKED:
            return draft_link(clients, codes, **told, at=at)
        if self.value == DISTINCT and len(codes) == 2:
            return draft_distinct(clients, codes, **told, at=at)
        raise wrong_use(
            say("'{value}' does not answer this question.", value=clean(self.value).text[:40]),
            say("Say linked, or part the codes with unlink and distinct, two at a time."),
            key="VALUE",
        )

    def _parse(self, question: Conflict, at: datetime) -> Value:
        if question.kind != "answer":
            choices = ", ".join(choice_of(question, c) for c in question.candidates)
            raise wrong_use(
                say("'{value}' was not read by anybody.", value=clean(self.value).text[:40]),
                say("Use one of: {choices}.", choices=choices),
                key="VALUE",
            )
        if question.field.startswith((ANSWER_PREFIX, PRESSURE_PREFIX)):
            return parse_screening(load_screening(self.data)[0], question.field, self.value)
        return parse_answer(question.field, self.value, at)


def _chosen(conflict: Conflict, typed: str) -> Candidate | None:
    """Return the value somebody means, by what is shown of it or by an entry's name."""
    wanted = clean(typed).text.casefold()
    shown = [
        candidate
        for candidate in conflict.candidates
        if wanted in (_folded(conflict, candidate), _folded(conflict, candidate, " cm"))
        or wanted in {str(entry.by) for entry in candidate.entries}
    ]
    if len(shown) > 1:
        names = ", ".join(str(candidate.entries[0].by) for candidate in shown)
        raise wrong_use(
            say("'{value}' is said by several lines that differ.", value=wanted[:40]),
            say("Name the line: {names}.", names=names),
            key="VALUE",
        )
    return shown[0] if shown else None


def _folded(conflict: Conflict, candidate: Candidate, without: str = "") -> str:
    return choice_of(conflict, candidate).casefold().removesuffix(without)


def _find(questions: Questions, typed: str) -> Conflict | Proposal:
    """Return the open question of an id, or of the start of one.

    Raises:
        ReadingError: none or several are called so.
    """
    wanted = clean(typed).text.casefold()
    every: list[Conflict | Proposal] = [*questions.conflicts, *questions.proposals]
    found = [q for q in every if len(wanted) >= _SHORTEST_ID and q.id.startswith(wanted)]
    if len(found) == 1:
        return found[0]
    raise ReadingError(
        Problem(
            code="question_ambiguous" if found else "question_unknown",
            text=say("No one open question is called '{id}'.", id=wanted[:40]),
            mend=say("List them with: anklefirst conflicts. It may have been answered already."),
            key="ID",
        )
    )


def _alike(questions: Questions, named: Sequence[Conflict | Proposal]) -> list[Conflict | Proposal]:
    """Return every open question about the same field with the same values to choose from."""
    wanted = {_likeness(question) for question in named if isinstance(question, Conflict)}
    alike = [conflict for conflict in questions.conflicts if _likeness(conflict) in wanted]
    return [*alike, *(question for question in named if question not in alike)]


def _likeness(conflict: Conflict) -> tuple[object, ...]:
    values = frozenset(value_key(candidate.value) for candidate in conflict.candidates)
    return (conflict.kind, conflict.field, values)


def _store(folder: DataFolder, answer: _Answer) -> list[str]:
    """Store an answer durably and return its entries' names."""
    names = []
    if answer.draft is not None:
        session = folder.read(answer.session)
        if session is None:
            raise FileFault(
                Problem(
                    code="changed_on_disk",
                    text=say("The session cannot be read any more."),
                    mend=say("Run verify; nothing was stored for this question."),
                    key=answer.session,
                )
            )
        grown = folder.append(session, [answer.draft])
        names += [str(e.by) for e in sorted(grown.entries - session.entries, key=entry_order)]
    if answer.ruling is not None:
        folder.append_to_ledger([answer.ruling])
        names.append(f"{folder.laptop.id}:{folder.laptop.next - 1}")
    return names
