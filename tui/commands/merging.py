"""`merge`, `verify` and `carry-back`: sticks into an archive, the archive checked, files back.

Only the progress line is written here, and only to a terminal.
"""

from __future__ import annotations

import sys
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.archive import merge_folders
from fitcore.disk.archive_check import check_archive
from fitcore.disk.carrying_back import carry_back as write_back
from fitcore.disk.drives import is_left_behind
from fitcore.disk.kept_files import bytes_of, kept_files, part_needless, whose
from fitcore.problems import ProblemLevel
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use
from tui.commands.archive_folder import archive_line, require_archive, require_data_folder
from tui.commands.finding import require_paths
from tui.commands.looking_through import find_late_stops, stop_rows
from tui.commands.merged_words import kept_lines, set_aside_lines, taken_up_line, whole_line
from tui.wording.merges import (
    carried_words,
    gap_lines,
    is_any_carried,
    merged_lines,
    remark_lines,
)

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

    from fitcore.disk.archive_engine import Engine
    from fitcore.disk.archive_parts import Merging
    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.report import SetAside
    from tui.commands.looking_through import LateStops


def merge(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Merge sticks into an archive; nothing on the sticks is written, moved or deleted."""
    archive: Path = arguments.archive
    _require_folders(arguments.sticks)
    _require_plugged_in(arguments.sticks)
    if archive.exists():
        _require_folders([archive])
    require_archive(archive)
    into = archive_line(archive, data, dry_run=arguments.dry_run)
    with _engine(arguments) as engine, _progress(say("merging")) as progress:
        merging = merge_folders(
            archive,
            arguments.sticks,
            surroundings,
            dry_run=arguments.dry_run,
            progress=progress,
            engine=engine,
        )
    not_there_yet = arguments.sticks if arguments.dry_run else []
    late = find_late_stops(archive, surroundings, not_there_yet)
    to_see, needless = part_needless(merging.report.set_aside, archive, not_there_yet)
    merging = replace(merging, report=replace(merging.report, set_aside=to_see))
    document = {
        **merging.report.as_json(),
        "late_stops": late.count,
        "set_aside": [_set_aside_json(file, archive) for file in to_see],
        "copies": [_set_aside_json(file, archive) for file in needless],
    }
    lines = [
        *([say("Tried out only: nothing was written.")] if arguments.dry_run else []),
        into,
        *late_lines(late),
        *_merge_lines(merging, archive),
        *set_aside_lines(to_see, needless, archive),
        *gap_lines(merging.report),
    ]
    is_needed = merging.needs_person or late.needs_person
    return Outcome(
        ExitCode.NEEDS_PERSON if is_needed else ExitCode.FINE,
        document,
        lines,
        [*merging.notes, *remark_lines(merging)],
    )


def late_lines(late: LateStops) -> list[str]:
    """Say which stops were found after a size was given, before anything else."""
    lines = [line for found in late.found for line in stop_rows(found, late.clocks)]
    return [*lines, *([late.not_looked] if late.not_looked else [])]


def _set_aside_json(file: SetAside, archive: Path) -> dict[str, object]:
    return {**file.as_json(), **whose(bytes_of(file, archive)).as_json()}


def verify(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:  # noqa: ARG001
    """Read every file of an archive and hold it against its seal and the list of files."""
    archive: Path = arguments.archive
    require_paths([archive])
    require_data_folder(archive)
    check = check_archive(archive, surroundings)
    gaps, clones = check.report.gaps, check.report.clones
    serious = [p for p in check.problems if p.level is not ProblemLevel.NOTE]
    kept = kept_files(archive)
    # Of a file changed outside `conflicts` asks line by line; once it is answered, it is seen to.
    answered = () if check.report.proposals else ("seal_broken", "seal_missing")
    to_see = [file for file in kept if not file.is_needless and file.reason not in answered]
    lines = [
        whole_line(check.sessions, check.ledgers),
        *map(str, check.problems),
        *gap_lines(check.report),
        *kept_lines(kept),
        say(
            "What a laptop wrote after its last entry here, no archive can know: merge that "
            "laptop's newest folder."
        ),
    ]
    return Outcome(
        ExitCode.NEEDS_PERSON if serious or gaps or clones or to_see else ExitCode.FINE,
        {
            "sessions": check.sessions,
            "ledgers": check.ledgers,
            "problems": [problem.as_json() for problem in check.problems],
            "gaps": [gap.as_json() for gap in gaps],
            "clones": [clone.as_json() for clone in clones],
            "set_aside": [file.as_json() for file in kept],
        },
        lines,
    )


def carry_back(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Write the archive's files to a stick for the laptops, and read them back."""
    stick: Path = arguments.stick
    require_paths([data, stick])
    _require_folders([data, stick])
    with _progress(say("carrying back")) as progress:
        carried = write_back(data, stick, surroundings, progress)
    lines = [carried_words(carried), *(_pull_lines(stick) if is_any_carried(carried) else [])]
    return Outcome(
        ExitCode.NEEDS_PERSON if carried.left_out else ExitCode.FINE,
        {
            "folder": str(carried.folder),
            "written": carried.written,
            "unchanged": carried.unchanged,
            "left_out": [problem.as_json() for problem in carried.left_out],
        },
        lines,
        [str(problem) for problem in carried.left_out],
    )


def _pull_lines(stick: Path) -> list[str]:
    return [
        say("You may pull the stick now. On each laptop:"),
        say(
            "  anklefirst merge OWN-FOLDER {stick}   ('anklefirst where' names the folder)",
            stick=visible(str(stick)),
        ),
    ]


def _engine(arguments: Namespace) -> AbstractContextManager[Engine | None]:
    """Hold what is asked to merge batches; None is the plain loop."""
    if arguments.partitions is not None and arguments.partitions < 1:
        raise wrong_use(
            say("--partitions is not a number from 1."),
            say("Say into how many parts to divide the sessions, or leave it out."),
            key="--partitions",
        )
    if arguments.engine == "dask":
        from fitcore.disk.engine_dask import dask_engine

        return dask_engine(arguments.scheduler, arguments.partitions)
    if arguments.scheduler is not None or arguments.partitions is not None:
        raise wrong_use(
            say("--scheduler and --partitions are for a cluster."),
            say("Add --engine dask, or leave them out."),
            key="--engine",
        )
    return nullcontext()


def _merge_lines(merging: Merging, archive: Path) -> list[str]:
    report = merging.report
    lines = merged_lines(report)
    lines += taken_up_line(report.new_lines)
    if report.conflicts_open or report.proposals:
        lines.append(
            say(
                "! Open questions: {questions}. Files changed outside the program: {changed}. "
                "See them with: anklefirst conflicts {archive}",
                questions=report.conflicts_open,
                changed=report.proposals,
                archive=visible(str(archive)),
            )
        )
    return lines


def _require_folders(paths: list[Path]) -> None:
    require_paths(paths)
    for path in paths:
        if not path.is_dir():
            raise wrong_use(
                say("{path} is not a folder.", path=visible(str(path))),
                say("Name the folder, or the stick's folder."),
                key="PATH",
            )


def _require_plugged_in(sticks: list[Path]) -> None:
    for stick in sticks:
        if is_left_behind(stick):
            raise wrong_use(
                say(
                    "No stick is plugged in at {path}; nothing was merged.",
                    path=visible(str(stick)),
                ),
                say("Plug it in, and name the folder where it then appears."),
                key="PATH",
            )


@contextmanager
def _progress(words: str) -> Iterator[Callable[[int, int], None] | None]:
    """Show how far the work is, on one line of a terminal; elsewhere nothing is shown."""
    if not sys.stderr.isatty():
        yield None
        return
    shown = -1

    def show(done: int, total: int) -> None:
        nonlocal shown
        percent = 100 * done // max(total, 1)
        if percent != shown:
            shown = percent
            sys.stderr.write(f"\r{words}: {percent} %")
            sys.stderr.flush()

    try:
        yield show
    finally:
        if shown >= 0:
            sys.stderr.write("\n")
