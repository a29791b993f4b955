"""`quality`: how well readings agree, by measurer and point. Reads only."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fitcore.disk.profile_files import load_quality_rules
from fitcore.disk.session_files import SESSION_FILE, read_session_file
from fitcore.problems import ProblemLevel
from fitcore.quality.quality_report import gather
from fitcore.words import say
from tui.commands import ExitCode, Outcome
from tui.commands.finding import require_paths, session_files_of
from tui.commands.session_reading import read_all
from tui.wording.quality import quality_rows

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.problems import Problem
    from fitcore.record.session import Session


def quality(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:  # noqa: ARG001
    """Tell the repeat error of every measurer over all sessions under the paths."""
    require_paths(arguments.paths)
    read = _OneByOne(arguments.paths, data)
    gathered = gather(read)
    # One report, one set of thresholds: the folder's own where all sessions are from one folder.
    rules, faults = load_quality_rules(read.owners.pop() if len(read.owners) == 1 else data)
    problems = list(dict.fromkeys([*read.problems, *faults]))
    report = gathered.report(rules)
    serious = any(problem.level is not ProblemLevel.NOTE for problem in problems)
    return Outcome(
        ExitCode.NEEDS_PERSON if serious or report.disputed or report.unusable else ExitCode.FINE,
        {**report.as_json(), "problems": [problem.as_json() for problem in problems]},
        quality_rows(report) if gathered.sessions else [say("There are no sessions here.")],
        [str(problem) for problem in problems],
    )


class _OneByOne:
    """The sessions under some paths, read as they are asked for; copies of one are joined.

    All of a large archive's would not fit into memory.
    """

    def __init__(self, paths: Sequence[Path], data: Path) -> None:
        self._paths = paths
        self._data = data
        self.owners: set[Path] = set()
        """Data folders of the sessions read so far."""
        self.problems: list[Problem] = []
        """What could not be read so far."""

    def __iter__(self) -> Iterator[Session]:
        for files in self._copies():
            read = read_all(files, self._data)
            self.owners |= set(read.owners.values())
            self.problems += read.problems
            yield from read.sessions.values()

    def _copies(self) -> list[list[Path]]:
        """Return the files, those that hold the same session together."""
        found: defaultdict[str, list[Path]] = defaultdict(list)
        for path in self._paths:
            for file in session_files_of(path):
                if file.is_dir():  # as a path it would stand for the files in it
                    self.problems += read_session_file(file).problems
                else:
                    found[_session_in(file)].append(file)
        return list(found.values())


def _session_in(file: Path) -> str:
    """Return the id of the session in a file; the file's own name where none can be read."""
    if SESSION_FILE.fullmatch(file.name):  # whose session is called so, or cannot be used
        return file.stem
    session = read_session_file(file).session
    return str(file) if session is None else session.id
