"""A merge against the least such a merge can do, and against git on the same files; one run.

`python tests/bench/merging.py [--sessions 2000] [--runs 3] [--only first|again|memory|git]`.
Linux, with git. Each measure runs in a process of its own, in turn, and the median counts. Nothing
here passes or fails: a ratio over its budget (design 9) is marked, and a person looks into it.

The least a first merge can do is to read, hash and parse every file of the stick and to write the
same bytes durably, a batch at a time; the least of a merge after it is to walk the archive, to hash
the stick and to parse what changed. What changed must be written too: a second row says what the
least comes to with that. Four laptops hold a fifth of all sessions in common, have
measured a fifth each, and have edited some of the common ones, half of those all alike.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from table import ROOT, Row, own_home, print_head

sys.path[:0] = [str(ROOT)]

from synthetic import LAPTOPS, Laptop  # noqa: E402

from fitcore.disk.archive import merge_folders, open_questions  # noqa: E402
from fitcore.disk.session_files import session_path  # noqa: E402
from fitcore.disk.surroundings import real_surroundings  # noqa: E402
from fitcore.merge.found import digest_bytes  # noqa: E402
from fitcore.record.canonical import read_canonical  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

BATCH = 200
"""Files written before their folders are flushed, in the least a merge can do."""
POSTURES = ("standing", "sitting", "lying", "sitting")
"""What each laptop makes of the posture in the sessions all of them edit."""


@dataclass(frozen=True)
class Took:
    """What one measure took."""

    seconds: float
    cpu: float
    """Seconds of processor time in it."""
    megabytes: float
    """Most memory its process ever held."""


# --- what is measured, each in its own process ---------------------------------------------------


def ours(archive: Path, *sticks: Path) -> None:
    """Merge as the program does."""
    merge_folders(archive, sticks, real_surroundings())


def least_first(archive: Path, stick: Path) -> None:
    """Read, hash and parse every file, and write the same bytes durably."""
    take(sorted(stick.glob("sessions/*/*.toml")), archive, stick)


def take(paths: Sequence[Path], archive: Path, stick: Path) -> None:
    """Read, hash and parse some files of a stick, and write the same bytes durably."""
    for start in range(0, len(paths), BATCH):
        waiting: list[tuple[Path, Path]] = []
        for path in paths[start : start + BATCH]:
            raw = path.read_bytes()
            digest_bytes(raw)
            if read_canonical(raw) is None:
                raise ValueError(path)
            target = archive / path.relative_to(stick)
            target.parent.mkdir(parents=True, exist_ok=True)
            temporary = target.with_suffix(".tmp")
            descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            os.write(descriptor, raw)
            os.fsync(descriptor)
            os.close(descriptor)
            waiting.append((temporary, target))
        for temporary, target in waiting:
            temporary.rename(target)
        for folder in {target.parent for _, target in waiting}:
            descriptor = os.open(folder, os.O_RDONLY)
            os.fsync(descriptor)
            os.close(descriptor)


def least_again(archive: Path, stick: Path, changed: Path) -> None:
    """Walk the archive, hash the stick, parse what changed."""
    for month in os.scandir(archive / "sessions"):
        for entry in os.scandir(month.path):
            entry.stat(follow_symlinks=False)
    for path in stick.glob("sessions/*/*.toml"):
        digest_bytes(path.read_bytes())
    for name in json.loads(changed.read_text(encoding="ascii")):
        if read_canonical(session_path(stick, name).read_bytes()) is None:
            raise ValueError(name)


def least_written(archive: Path, stick: Path, changed: Path) -> None:
    """Do the same, and write what changed durably, beside the archive."""
    least_again(archive, stick, changed)
    names = json.loads(changed.read_text(encoding="ascii"))
    take([session_path(stick, name) for name in names], archive.with_name("written"), stick)


MEASURES: dict[str, Callable[..., None]] = {
    "ours": ours,
    "least_first": least_first,
    "least_again": least_again,
    "least_written": least_written,
}


def child(name: str, folders: Sequence[str]) -> None:
    """Run one measure and print what it took."""
    paths = [Path(folder) for folder in folders]
    began, cpu = time.perf_counter(), time.process_time()
    MEASURES[name](*paths)
    seconds, cpu = time.perf_counter() - began, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps([seconds, cpu, peak]))


def took(name: str, *folders: Path) -> Took:
    """Run one measure in a process of its own."""
    command = [sys.executable, __file__, "--child", name, *map(str, folders)]
    ran = subprocess.run(command, check=True, capture_output=True, text=True)
    return Took(*json.loads(ran.stdout))


def median(found: Sequence[Took]) -> Took:
    """Return the median of each figure."""
    return Took(
        statistics.median(one.seconds for one in found),
        statistics.median(one.cpu for one in found),
        statistics.median(one.megabytes for one in found),
    )


def times(
    what: str, mine: Sequence[Took], least: Sequence[Took], budget: float | None
) -> Iterator[Row]:
    """Make the rows of one comparison: by the clock, and by the processor alone."""
    one, other = median(mine), median(least)
    pairs = ((what, one.seconds, other.seconds, budget), ("  processor", one.cpu, other.cpu, None))
    for name, a, b, limit in pairs:
        yield Row(name, f"{a:.2f} s", f"{b:.2f} s", a / b, limit)


# --- a merge and the least it can do -------------------------------------------------------------


def first(root: Path, sessions: int, runs: int) -> Iterator[Row]:
    """Measure the first merge of a stick into an empty archive."""
    stick = root / "stick"
    Laptop(LAPTOPS[0]).measure(stick, sessions)
    mine, least = [], []
    for run in range(runs):
        least.append(took("least_first", root / f"least {run}", stick))
        mine.append(took("ours", root / f"archive {run}", stick))
        for name in ("least", "archive"):
            shutil.rmtree(root / f"{name} {run}")
    yield from times(f"merge, first time, {sessions} sessions", mine, least, 1.5)


def again(root: Path, sessions: int, runs: int) -> Iterator[Row]:
    """Measure a merge where one session in a hundred changed: at once, and a quiet merge later."""
    archive, changed = root / "archive", root / "changed.json"
    laptop, stick = Laptop(LAPTOPS[0]), root / "stick"
    names = laptop.measure(stick, sessions)
    took("ours", archive, stick)
    for quiet in (False, True):
        mine, least, written = [], [], []
        for run in range(runs):
            if quiet:
                took("ours", archive, stick)
            some = names[run :: max(100, runs)]
            laptop.edit(stick, stick, some, posture=POSTURES[1 + run % 2])
            changed.write_text(json.dumps(some), encoding="ascii")
            least.append(took("least_again", archive, stick, changed))
            written.append(took("least_written", archive, stick, changed))
            mine.append(took("ours", archive, stick))
            shutil.rmtree(root / "written")
        when = "a merge later" if quiet else "at once"
        yield from times(f"merge again, 1 % changed, {when}", mine, least, 1.5)
        yield from times("  against the same, written", mine, written, None)


def memory(root: Path, sessions: int, runs: int) -> Iterator[Row]:
    """Measure the most memory a merge holds, of so many sessions and of four times as many."""
    found: dict[str, list[float]] = {"first": [], "again": []}
    for count in (sessions, 4 * sessions):
        stick, archive = root / f"stick {count}", root / f"archive {count}"
        Laptop(LAPTOPS[0]).measure(stick, count)
        found["first"].append(took("ours", archive, stick).megabytes)
        seen = [took("ours", archive, stick).megabytes for _ in range(runs)]
        found["again"].append(statistics.median(seen))
    for when, (small, large) in found.items():
        what = f"memory, {when}: {4 * sessions} against {sessions}"
        yield Row(what, f"{large:.1f} MB", f"{small:.1f} MB", large / small)


# --- git on the same files -----------------------------------------------------------------------


@dataclass(frozen=True)
class Day:
    """What four laptops bring."""

    shared: Path
    """Sessions all of them had before."""
    sticks: tuple[Path, ...]


def make_day(root: Path, sessions: int) -> Day:
    """Make a fifth of the sessions as shared, a fifth by each laptop, and edits of shared ones."""
    part, laptops = sessions // 5, [Laptop(name) for name in LAPTOPS]
    day = Day(root / "shared", tuple(root / f"from-{name}" for name in LAPTOPS))
    names = laptops[0].measure(day.shared, part)
    edits = part // 20
    for index, (laptop, stick) in enumerate(zip(laptops, day.sticks, strict=True)):
        laptop.measure(stick, part)
        own = names[edits * (1 + index) : edits * (2 + index)]
        laptop.edit(day.shared, stick, [*names[:edits], *own], posture=POSTURES[index])
    return day


def with_git(root: Path, day: Day, flush: str) -> tuple[float, float, list[int]]:
    """Commit a branch for each laptop and merge them; files in conflict are settled untimed.

    Returns:
        Seconds to add and commit, seconds to merge, and the files in conflict at each merge.
    """
    spent = {"commit": 0.0, "merge": 0.0}

    def git(*words: str, timed: str = "", may_fail: bool = False) -> str:
        settings = ("-c", "user.name=bench", "-c", "user.email=bench@invalid", "-c", "gc.auto=0")
        began = time.perf_counter()
        ran = subprocess.run(
            ["git", *settings, "-c", f"core.fsync={flush}", *words],  # noqa: S607
            cwd=root,
            check=not may_fail,
            capture_output=True,
            text=True,
            env={**os.environ, "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1"},
        )
        if timed:
            spent[timed] += time.perf_counter() - began
        return ran.stdout

    root.mkdir()
    git("init", "-q", "-b", "main")
    shutil.copytree(day.shared, root, dirs_exist_ok=True)
    git("add", "-A")
    git("commit", "-q", "-m", "shared")
    for number, stick in enumerate(day.sticks):
        git("checkout", "-q", "-b", f"laptop-{number}", "main")
        shutil.copytree(stick, root, dirs_exist_ok=True)
        git("add", "-A", timed="commit")
        git("commit", "-q", "-m", stick.name, timed="commit")
    git("checkout", "-q", "main")
    conflicts = []
    for number in range(len(day.sticks)):
        git("merge", "-q", "--no-edit", f"laptop-{number}", timed="merge", may_fail=True)
        conflicts.append(len(git("diff", "--name-only", "--diff-filter=U").splitlines()))
        if conflicts[-1]:
            git("checkout", "-q", "--ours", "--", ".")
            git("add", "-A")
            git("commit", "-q", "--no-edit")
    return spent["commit"], spent["merge"], conflicts


def against_git(root: Path, sessions: int, runs: int) -> Iterator[Row]:
    """Measure four laptops' day with git and with a merge of ours."""
    day = make_day(root, sessions)
    mine, questions = [], 0
    theirs: dict[str, list[tuple[float, float]]] = {"default": [], "all": []}
    conflicts: list[int] = []
    for run in range(runs):
        archive = root / f"archive {run}"
        shutil.copytree(day.shared, archive)
        took("ours", archive)
        mine.append(took("ours", archive, *day.sticks))
        questions = len(open_questions(archive, real_surroundings()).conflicts)
        shutil.rmtree(archive)
        for flush, found in theirs.items():
            repository = root / f"git {run} {flush}"
            *spent, conflicts = with_git(repository, day, flush)
            found.append((spent[0], spent[1]))
            shutil.rmtree(repository)
    seconds = median(mine).seconds
    for flush, found in theirs.items():
        commit, merge = (statistics.median(each) for each in zip(*found, strict=True))
        told = "flushed" if flush == "all" else "as it comes"
        whole = commit + merge
        yield Row(f"merge / git {told}", f"{seconds:.2f} s", f"{whole:.2f} s", seconds / whole)
        yield Row("  git's merges alone", f"{seconds:.2f} s", f"{merge:.2f} s", seconds / merge)
    stopped = sum(conflicts)
    what = f"questions / files in conflict {conflicts}"
    yield Row(what, str(questions), str(stopped), questions / max(1, stopped))


def main() -> None:
    """Print the table."""
    if sys.argv[1:2] == ["--child"]:
        child(sys.argv[2], sys.argv[3:])
        return
    parts: dict[str, Callable[[Path, int, int], Iterator[Row]]] = {
        "first": first,
        "again": again,
        "memory": memory,
        "git": against_git,
    }
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=2000)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--only", choices=list(parts))
    asked = parser.parse_args()
    print_head()
    with own_home() as root:
        for part, rows in parts.items():
            if asked.only in (None, part):
                folder = root / part
                folder.mkdir()
                for row in rows(folder, asked.sessions, asked.runs):
                    print(row.line(), flush=True)
                shutil.rmtree(folder)


if __name__ == "__main__":
    main()
