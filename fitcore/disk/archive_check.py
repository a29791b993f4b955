"""Checking an archive: every file read and hashed, against its seal and against the list of files.

Reads only, trusts no memory, takes no lock.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.disk.archive_scan import SET_ASIDE, spot_folder
from fitcore.disk.archive_work import Work
from fitcore.disk.laptop_files import read_ends, with_ends
from fitcore.disk.manifest import MANIFEST, Listed, compare, read_manifest
from fitcore.disk.session_files import read_regular
from fitcore.disk.set_aside import COPY
from fitcore.disk.spotted import read_spotted
from fitcore.merge.found import FileKind, Where, digest_bytes
from fitcore.problems import Problem, ProblemLevel
from fitcore.record.codec import seal_problems
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.report import MergeReport


@dataclass(frozen=True)
class ArchiveCheck:
    """What was found."""

    sessions: int
    """Sealed sessions."""
    ledgers: int
    """Sealed ledgers."""
    problems: tuple[Problem, ...]
    """By path."""
    report: MergeReport
    """What a merge would say of it: gaps, clones, questions."""


def check_archive(archive: Path, surroundings: Surroundings) -> ArchiveCheck:
    """Check a data folder.

    Args:
        archive: the folder.
        surroundings: clock and folders.

    Raises:
        FileFault: its list of files cannot be read at all.
    """
    ends = read_ends([archive])  # of the folder's own laptop; of others no archive knows
    problems: list[Problem] = []
    found: dict[str, Listed] = {}
    sealed = dict.fromkeys(FileKind, 0)
    for spotted in spot_folder(archive, Where.ARCHIVE):
        file, raw = read_spotted(spotted)
        path = str(spotted.path)
        if isinstance(file.content, Problem):
            problems.append(file.content.at(path=path))
        else:
            problems += [problem.at(path=path) for problem in seal_problems(file.content.seal)]
            sealed[spotted.kind] += file.is_whole
        if spotted.where is not Where.ARCHIVE:
            problems.append(_misfiled(path))
        entries = len(file.entries) if file.is_whole else 0
        found[spotted.told] = Listed(spotted.told, len(raw or b""), entries, file.digest)
    for name, raw in _set_aside(archive):
        digest = digest_bytes(raw)
        found[name] = Listed(name, len(raw), 0, digest)
        if (match := COPY.fullmatch(name.rpartition("/")[2])) and match[1] != digest:
            problems.append(_copy_changed(str(archive / name)))
    problems += _against_list(archive, found)
    no_memory = replace(surroundings, cache_folder=None)
    work = Work(archive, no_memory, dry_run=True)
    return ArchiveCheck(
        sealed[FileKind.SESSION],
        sealed[FileKind.LEDGER],
        tuple(sorted(problems, key=lambda problem: (problem.path or "", problem.code))),
        with_ends(work.merge((), None, refuses_links=False), ends).report,
    )


def _against_list(archive: Path, found: dict[str, Listed]) -> list[Problem]:
    listed = read_manifest(archive)
    if isinstance(listed, Problem):
        return [listed]
    if listed is not None:
        return compare(archive, listed, found)
    return [
        Problem(
            code="no_manifest",
            text=say("There is no list of files: nothing was merged here yet."),
            mend=say("A file that is gone can only be noticed after the first merge."),
            path=str(archive / MANIFEST),
            level=ProblemLevel.NOTE,
        )
    ]


def _set_aside(archive: Path) -> Iterator[tuple[str, bytes]]:
    place = archive / SET_ASIDE
    for path in sorted(place.iterdir()) if place.is_dir() else []:
        raw = read_regular(path)
        if isinstance(raw, bytes) and not path.name.startswith("."):
            yield f"{SET_ASIDE}/{path.name}", raw


def _misfiled(path: str) -> Problem:
    return Problem(
        code="misfiled",
        text=say("The file lies in another folder than its own."),
        mend=say("It is read where it is. Once it was merged, it may be removed."),
        path=path,
        level=ProblemLevel.NOTE,
    )


def _copy_changed(path: str) -> Problem:
    return Problem(
        code="copy_changed",
        text=say("A copy that was set aside is not any more what it was."),
        mend=say("Take it from a backup, or ask for the file again from where it came from."),
        path=path,
    )
