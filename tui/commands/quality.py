"""`quality`: how well readings agree, by measurer and point. Reads only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.disk.profile_files import load_quality_rules
from fitcore.problems import ProblemLevel
from fitcore.quality.quality_report import report_quality
from fitcore.words import say
from tui.commands import ExitCode, Outcome
from tui.commands.finding import require_paths
from tui.commands.session_reading import read_all
from tui.wording.quality import quality_rows

if TYPE_CHECKING:
    from argparse import Namespace
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings


def quality(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:  # noqa: ARG001
    """Tell the repeat error of every measurer over all sessions under the paths."""
    require_paths(arguments.paths)
    read = read_all(arguments.paths, data)
    # One report, one set of thresholds: the folder's own where all sessions are from one folder.
    owners = set(read.owners.values())
    rules, faults = load_quality_rules(owners.pop() if len(owners) == 1 else data)
    problems = list(dict.fromkeys([*read.problems, *faults]))
    report = report_quality(read.sessions.values(), rules)
    serious = any(problem.level is not ProblemLevel.NOTE for problem in problems)
    return Outcome(
        ExitCode.NEEDS_PERSON if serious or report.disputed or report.unusable else ExitCode.FINE,
        {**report.as_json(), "problems": [problem.as_json() for problem in problems]},
        quality_rows(report) if read.sessions else [say("There are no sessions here.")],
        [str(problem) for problem in problems],
    )
