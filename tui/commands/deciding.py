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
from fitcore.merge.clients import DISTINCT, LINKED
from fitcore.merge.conflicts import Conflict
from fitcore.merge.late_stops import draft_passed_on, told_in
from fitcore.merge.ledger_lines import TAKEN
from fitcore.merge.proposals import ChangedFile, by_file
from fitcore.problems import FitError, Problem, ReadingError
from fitcore.record.edits import reason_text
from fitcore.words import say
from tui.answers import (
    Answer,
    Told,
    alike,
    answer_changed,
    draft_codes,
    is_one_by_one,
    parse_value,
    store_answer,
)
from tui.commands import ExitCode, Outcome, wrong_use
from tui.commands.archive_folder import require_data_folder
from tui.commands.finding import require_paths
from tui.commands.linking import link_lines
from tui.commands.looking_through import (
    find_late_stops,
    find_suggestions,
    stop_json,
    stop_rows,
    suggestion_rows,
    suggestions_json,
)
from tui.commands.question_lines import (
    conflict_json,
    conflict_lines,
    file_json,
    file_lines,
    proposal_json,
    proposal_lines,
)
from tui.wording.changed_lines import copies_differ_words
from tui.wording.clocks import KnownClocks
from tui.wording.codes import codes_words
from tui.wording.questions import choice_of, nothing_open_words, question_words
from tui.wording.stops import passed_on_words

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Callable, Iterable, Sequence
    from datetime import datetime
    from pathlib import Path

    from fitcore.disk.archive_parts import Questions
    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.conflicts import Candidate
    from fitcore.merge.late_stops import LateStop
    from fitcore.merge.proposals import Proposal
    from fitcore.record.entries import Draft, Value

TOLD = "told"
"""The answer to a stop after a size was given: somebody was told, and `--why` says whom and how."""
_SHORTEST_ID = 4


def conflicts(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """List what is open in an archive, what bears on safety first."""
    archive: Path = arguments.archive or data
    require_paths([archive])
    if arguments.archive is not None:
        require_data_folder(archive)
    questions = open_questions(archive, surroundings)
    late = find_late_stops(archive, surroundings)
    suggestions = find_suggestions(archive, questions.clients)
    clocks = KnownClocks.of(questions.clients.ledgers, suggestions.clocks)
    lines: list[str] = []
    for stop in late.found:
        lines += [*stop_rows(stop, clocks), ""]
    if late.not_looked:
        lines += [late.not_looked, ""]
    for conflict in questions.conflicts:
        lines += [*conflict_lines(conflict, questions, clocks), ""]
    changed = by_file(questions.proposals)
    for item in changed:
        told = (
            file_lines(item, questions) if isinstance(item, ChangedFile) else proposal_lines(item)
        )
        lines += [*told, ""]
    if questions.conflicts:
        lines.append(say("Answer with: anklefirst decide ID VALUE --who CODE --why W --data DIR"))
    if questions.proposals:
        lines.append(say("Changed lines: VALUE is taken, corrected or refused."))
    is_open = bool(questions.conflicts or questions.proposals or late.needs_person)
    suggested = suggestion_rows(suggestions)
    if arguments.links:
        lines += link_lines(questions.clients)
    return Outcome(
        ExitCode.NEEDS_PERSON if is_open else ExitCode.FINE,
        {
            "conflicts": [conflict_json(found, questions, clocks) for found in questions.conflicts],
            "proposals": [proposal_json(found) for found in questions.proposals],
            "late_stops": [stop_json(found) for found in late.found],
            "changed_files": [
                file_json(found) for found in changed if isinstance(found, ChangedFile)
            ],
            "suggestions": suggestions_json(suggestions),
            "links": [list(group) for group in questions.clients.groups],
        },
        [
            *lines,
            *([] if is_open else [nothing_open_words()]),
            *([say("Suggestions, not counted as open:"), *suggested] if suggested else []),
        ],
    )


def decide(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Answer one question, or several alike with the same value."""
    require_paths([data])
    reason_text(arguments.why)
    with DataFolder(data, surroundings) as folder:
        questions = open_questions(data, surroundings)
        if clean(arguments.value).text.casefold() == TOLD:
            answers = _passed_on(arguments, data, surroundings)
        else:
            found = _find_all(
                questions,
                arguments.ids,
                arguments.value,
                lambda: find_late_stops(data, surroundings).found,
            )
            if (len(found) > 1 or arguments.all_like) and any(map(is_one_by_one, found)):
                raise _refuse_batch()
            if arguments.all_like:
                found = alike(questions, found)
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
        entries = [store_answer(folder, answer).names for answer in answers]
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
class _Desk:
    """What somebody answers, to whichever question."""

    questions: Questions
    data: Path
    value: str
    who: str
    why: str

    def answer(self, question: Conflict | Proposal, at: datetime) -> Answer:
        """Make the lines of an answer; nothing is written."""
        told = Told.of(self.who, self.why, at)
        if not isinstance(question, Conflict):
            return answer_changed(question, self.value.casefold(), told)
        if question.kind in ("clients", "group"):
            ruling = self._codes(question, told)
            words = say("{codes}.", codes=codes_words(question.field.split(" = "), self.value))
            return Answer(question.id, "", None, ruling, words)
        words = say(
            "{about}: {value}.",
            about=question_words(question, self.questions),
            value=clean(self.value).text,
        )
        chosen, named = _chosen(question, self.value), {"who": told.who, "why": told.why}
        draft = (
            draft_choice(question, chosen, **named, at=at)
            if chosen is not None
            else draft_other_value(question, self._parse(question, at), **named, at=at)
        )
        return Answer(question.id, question.session, draft, None, words)

    def _codes(self, question: Conflict, told: Told) -> Draft:
        codes = question.field.split(" = ")
        if self.value == LINKED or (self.value == DISTINCT and len(codes) == 2):
            return draft_codes(self.questions.clients, codes, self.value, told)
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
        return parse_value(question, self.value, lambda: load_screening(self.data)[0], at)


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


def _passed_on(arguments: Namespace, data: Path, surroundings: Surroundings) -> list[Answer]:
    """Make the lines that say who was told of late stops; nothing is written."""
    late = find_late_stops(data, surroundings).found
    answers = []
    for typed in dict.fromkeys(arguments.ids):
        wanted = clean(typed).text.casefold()
        found = [one for one in late if _is_meant(one.id, wanted)]
        if len(found) != 1:
            raise ReadingError(_not_one(wanted, is_ambiguous=bool(found)))
        told, who = reason_text(arguments.why), clean(arguments.who).text
        draft = draft_passed_on(found[0], told, who=who, at=surroundings.now())
        words = passed_on_words(found[0], told)
        answers.append(Answer(found[0].id, told_in(found[0]).id, draft, None, words))
    return answers


def _refuse_batch() -> FitError:
    return wrong_use(
        say("A prescriber's decision is for one leg of one person: it is not chosen for several."),
        say("Answer these questions one by one, without --all-like."),
        key="ID",
    )


def _find_all(
    questions: Questions,
    ids: Iterable[str],
    value: str,
    find_stops: Callable[[], Sequence[LateStop]],
) -> list[Conflict | Proposal]:
    """Return what ids name; a file with several lines stands for all of them.

    Args:
        questions: what is open.
        ids: as typed.
        value: the answer.
        find_stops: finds the open stops, which are dear to find: only for an id of no question.

    Raises:
        ReadingError: one names none or several.
        FitError: all lines of a file cannot be answered so.
    """
    files = [item for item in by_file(questions.proposals) if isinstance(item, ChangedFile)]
    found: dict[str, Conflict | Proposal] = {}
    for typed in ids:
        wanted = clean(typed).text.casefold()
        meant = [file for file in files if _is_meant(file.id, wanted)]
        if len(meant) != 1 or _names_a_question(questions, wanted):
            question = _find(questions, typed, find_stops)
            found[question.id] = question
            continue
        if value.casefold() == TAKEN and not meant[0].is_one_text:
            raise wrong_use(
                copies_differ_words(),
                say("Say refused for all, or fetch the laptop's newest folder and merge it."),
                key="VALUE",
            )
        found |= {proposal.id: proposal for proposal in meant[0].proposals}
    return list(found.values())


def _names_a_question(questions: Questions, wanted: str) -> bool:
    every: list[Conflict | Proposal] = [*questions.conflicts, *questions.proposals]
    return any(_is_meant(question.id, wanted) for question in every)


def _is_meant(question_id: str, wanted: str) -> bool:
    return len(wanted) >= _SHORTEST_ID and question_id.startswith(wanted)


def _find(
    questions: Questions, typed: str, find_stops: Callable[[], Sequence[LateStop]]
) -> Conflict | Proposal:
    """Return the open question of an id, or of the start of one.

    Raises:
        ReadingError: none or several are called so; or it is a stop.
    """
    wanted = clean(typed).text.casefold()
    every: list[Conflict | Proposal] = [*questions.conflicts, *questions.proposals]
    found = [q for q in every if _is_meant(q.id, wanted)]
    if len(found) == 1:
        return found[0]
    if not found and any(_is_meant(stop.id, wanted) for stop in find_stops()):
        raise ReadingError(_takes_told(wanted))
    raise ReadingError(_not_one(wanted, is_ambiguous=bool(found)))


def _takes_told(wanted: str) -> Problem:
    return Problem(
        code="stop_takes_told",
        text=say("'{id}' is a stop after a size was given.", id=wanted[:40]),
        mend=say(
            "It takes the answer told, with who was told and how as --why, and nothing else does."
        ),
        key="VALUE",
    )


def _not_one(wanted: str, *, is_ambiguous: bool) -> Problem:
    return Problem(
        code="question_ambiguous" if is_ambiguous else "question_unknown",
        text=say("No one open question is called '{id}'.", id=wanted[:40]),
        mend=say(
            "List them with: anklefirst conflicts. It may have been answered already. A stop after "
            "a size was given takes the answer told, and nothing else does."
        ),
        key="ID",
    )
