"""The merge desk's work on disk: merging, looking through, keeping answers, carrying back.

Every function blocks and is called in a thread, one at a time. The data folder is held by the
program already; nothing here takes its lock again.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.archive import merge_folders, merge_into, open_questions, settle
from fitcore.disk.carrying_back import carry_back
from fitcore.disk.drives import is_left_behind
from fitcore.disk.kept_files import is_done, whose
from fitcore.disk.known_sessions import AlikeDays, KnownSessions
from fitcore.disk.session_book import look_through
from fitcore.disk.set_aside import read_kept
from fitcore.merge.clients import draft_unlink
from fitcore.merge.found import FileKind
from fitcore.merge.ledger_lines import TAKEN
from fitcore.problems import FileFault, FitError, Problem
from fitcore.record.edits import draft_withdrawal
from fitcore.record.readings import Readings
from fitcore.safety.clearance import judge_clearance
from fitcore.safety.stop_signs import StopSigns
from fitcore.words import say
from tui.answers import Stored, append_to_ledger, append_to_session, store_answer
from tui.merge_facts import SetAsideFile, gather_facts, with_ledger_lines, with_session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from fitcore.disk.archive_parts import Merging
    from fitcore.disk.carrying_back import CarriedBack
    from fitcore.disk.data_folder import DataFolder
    from fitcore.disk.session_book import SessionBook
    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.report import MergeReport
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session
    from fitcore.rules import Rules
    from fitcore.safety.clearance import SessionClearance
    from tui.answers import Answer
    from tui.merge_desk import Given
    from tui.merge_facts import DeskFacts

    Progress = Callable[[int, int], None]


class StoppedError(FitError):
    """Somebody stopped the work; merging or carrying back again finishes it."""


@dataclass
class MergeWork:
    """One desk's work in one data folder."""

    folder: DataFolder
    around: Surroundings
    rules: Rules | None
    """None where they cannot be loaded: then nobody looks for stops."""
    _stop: threading.Event = field(default_factory=threading.Event)
    _report: MergeReport | None = None
    """What the last merge says of the archive as a whole; answers bring nobody's entries."""
    _book: SessionBook | None = None
    _days: AlikeDays = field(default_factory=AlikeDays)

    def stop(self) -> None:
        """Let what runs in another thread end at its next step."""
        self._stop.set()

    def merge(self, sticks: Sequence[Path], progress: Progress) -> Merging:
        """Merge sticks into the folder; one that is gone is told of, never taken for an empty one.

        Raises:
            FileFault: none is there, or something cannot be read or written; what was written
                holds.
            StoppedError: somebody stopped it.
        """
        self._stop.clear()
        there = [stick for stick in sticks if _is_there(stick)]
        if not there:
            told = " ".join(_not_merged(stick) for stick in sticks)
            mend = say("Plug it in and press F5, then mark it again.")
            raise FileFault(Problem(code="stick_gone", text=told, mend=mend))
        merging = merge_into(self.folder, there, self.around, self._watched(progress))
        self._report = merging.report
        gone = [stick for stick in sticks if stick not in there or not _is_there(stick)]
        return replace(
            merging,
            notes=(*(_not_merged(stick) for stick in gone), *merging.notes),
            nothing_on=tuple(stick for stick in merging.nothing_on if stick not in gone),
        )

    def look_through(self) -> DeskFacts:
        """Read the folder and find what is open.

        Raises:
            FileFault: it cannot be read.
        """
        looked_at = int(self.around.now().timestamp() * 1_000_000_000)
        self._book = look_through(self.folder.path, self._book, looked_at)
        questions = open_questions(self.folder.path, self.around)
        judge = partial(self._judge, self.rules) if self.rules is not None else None
        signs = StopSigns(self.rules.screening) if self.rules is not None else None
        if self._report is None:
            path = self.folder.path
            self._report = merge_folders(path, (), self.around, dry_run=True).report
        return gather_facts(
            questions,
            KnownSessions(self._book),
            self._set_aside(),
            judge,
            self._asked,
            may_stop=signs.may_stop if signs is not None else lambda _: True,
            report=self._report,
            days=self._days,
        )

    def store(self, answers: Sequence[Answer], facts: DeskFacts, given: Given) -> DeskFacts:
        """Keep answers durably, one after the other.

        Args:
            answers: in the order to keep them.
            facts: what was open.
            given: takes up each answer once it is on disk, also where a later one fails.

        Returns:
            What is open afterwards.

        Raises:
            FileFault: one could not be written; those before it stand.
        """
        asked = {proposal.id: proposal for proposal in facts.questions.proposals}
        taken = False
        in_ledger: list[Entry] = []
        for answer in answers:
            stored = store_answer(self.folder, answer)
            given.stored += (stored,)
            given.words += (answer.words,)
            line = asked.get(answer.id)
            if line is not None and _is_taken(stored):
                is_session = line.about.kind is FileKind.SESSION
                given.taken += ((line.about.name if is_session else "", str(line.name)),)
                taken = True
            if stored.session is not None:
                facts = with_session(facts, stored.session)
            in_ledger += stored.in_ledger
        if taken:
            self._report = settle(self.folder.path, self.around).report
            return self.look_through()
        return with_ledger_lines(facts, in_ledger) if in_ledger else facts

    def take_back(self, given: Given, who: str) -> DeskFacts:
        """Strike an answer out, all its lines: they are kept, and its questions are open again.

        Raises:
            FileFault: it could not be written.
        """
        at, why = self.around.now(), say("taken back at the merge desk")
        in_session: dict[str, list[str]] = {}
        in_ledger: list[str] = []
        for stored in given.stored:
            names = [str(entry.by) for entry in stored.in_session]
            if stored.session is not None:
                in_session.setdefault(stored.session.id, []).extend(names)
            in_ledger += [str(entry.by) for entry in stored.in_ledger]
        for session_id, name in given.taken:
            if session_id:
                in_session.setdefault(session_id, []).append(name)
            else:
                in_ledger.append(name)
        for session_id, names in in_session.items():
            append_to_session(self.folder, session_id, [draft_withdrawal(names, why, at)])
        if in_ledger:
            append_to_ledger(self.folder, [draft_unlink(in_ledger, who=who, why=why, at=at)])
        given.is_taken_back = True
        return self.look_through()

    def carry_back(self, stick: Path, progress: Progress) -> CarriedBack:
        """Write the archive to a stick for the laptops, and read it back.

        Raises:
            FolderInUse: another program has the stick's folder open.
            FileFault: it could not be written, or was not read back as it was written.
            StoppedError: somebody stopped it; the stick is not finished.
        """
        self._stop.clear()
        self._report = settle(
            self.folder.path, self.around
        ).report  # the list of files says what the archive holds now
        path, watched = self.folder.path, self._watched(progress)
        return carry_back(path, stick, self.around, watched, is_held=True)

    def _watched(self, progress: Progress) -> Progress:
        def watched(done: int, total: int) -> None:
            if self._stop.is_set():
                raise StoppedError(
                    Problem(
                        code="stopped",
                        text=say("Stopped. What was written until now holds."),
                        mend=say("Do it again to finish it; nothing is lost."),
                    )
                )
            progress(done, total)

        return watched

    def _asked(self, name: str) -> str:
        question = self.rules.screening.questions.find(name) if self.rules is not None else None
        return question.text if question is not None else ""

    def _judge(self, rules: Rules, session: Session) -> SessionClearance:
        return judge_clearance(session, Readings(session), rules, on=self.around.now().date())

    def _set_aside(self) -> list[SetAsideFile]:
        """Return files nobody can read and with which something is left to do.

        A file changed outside is asked about line by line instead.
        """
        found = {}
        for kept in read_kept(self.folder.path):
            problem = kept.found.content
            if is_done(kept, self.folder.path):
                continue
            if isinstance(problem, Problem):
                found[kept.found.digest] = SetAsideFile(
                    kept.found.digest,
                    problem.text,
                    problem.mend,
                    kept.found_in,
                    is_copied=kept.raw is not None,
                    whose=whose(kept.raw or b"").words,
                )
        return [found[digest] for digest in sorted(found)]


def _is_there(stick: Path) -> bool:
    """Whether a stick is plugged in: pulled, it may leave its empty folder behind."""
    return stick.is_dir() and not is_left_behind(stick)


def _not_merged(stick: Path) -> str:
    return say("{stick} is gone, not merged.", stick=visible(str(stick)))


def _is_taken(stored: Stored) -> bool:
    ruling = stored.answer.ruling
    return ruling is not None and ruling.array == "outside" and ruling.fields.get("is") == TAKEN


def folders_of(paths: Iterable[Path], data: Path) -> list[Path]:
    """Return what may be merged: the data folder itself is no stick."""
    own = data.resolve()
    return [path for path in paths if path.resolve() != own]
