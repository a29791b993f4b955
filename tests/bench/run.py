"""Speed and memory as ratios against a bare application, in one run on one machine.

`python tests/bench/run.py [--runs 9] [--sessions 200] [--keys 200] [--legs 500] [--charts 20]`.
Linux. Nothing here passes or fails: a ratio over its budget (design 9) is marked, and a person
looks into it.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import sys
import tempfile
import time
import tomllib
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from table import ROOT, Row, own_home, print_head

sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from crash.terminal import ENTER, LEFT_ALTERNATE_SCREEN, Terminal, program  # noqa: E402
from crash.visit import FIELDS, leave_session  # noqa: E402
from synthetic import make_sessions  # noqa: E402

from fitcore.certainty.certainty import certainty  # noqa: E402
from fitcore.certainty.certainty_errors import size_errors  # noqa: E402
from fitcore.charts.sizing import chart_values, decide_size  # noqa: E402
from fitcore.disk.data_folder import DataFolder  # noqa: E402
from fitcore.disk.profile_files import load_profiles  # noqa: E402
from fitcore.disk.session_files import (  # noqa: E402
    find_session_files,
    read_session_file,
    session_path,
)
from fitcore.disk.surroundings import real_surroundings  # noqa: E402
from fitcore.points import Kind, Point, Side  # noqa: E402
from fitcore.record.codec import read_session  # noqa: E402
from fitcore.record.edits import draft_reading  # noqa: E402
from fitcore.record.entries import Draft  # noqa: E402
from fitcore.record.readings import Adopted  # noqa: E402
from fitcore.shoes import foot_length_mm  # noqa: E402
from fitcore.units import Millimetre, parse_length  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

START = datetime(2026, 3, 5, 8, 40, tzinfo=UTC)
LONG_SESSION = 40
"""Readings of a long sitting: both legs, full set, some repeats."""
QUIET_SECONDS = 0.06
"""A paint is over once nothing has been written for so long."""

_BARE = """
from textual.app import App
from textual.widgets import Label
class Bare(App):
    ENABLE_COMMAND_PALETTE = False
    count = 0
    def compose(self):
        yield Label("one label")
    def on_key(self, event):
        self.count += 1
        self.query_one(Label).update(f"key {self.count}")
Bare().run(mouse=False)
"""


def bare() -> list[str]:
    """Return the command that starts the application everything is compared with."""
    return [sys.executable, "-c", _BARE]


def appears(command: Sequence[str], words: str) -> float:
    """Return milliseconds from the start of a process until words are on its screen."""
    with Terminal(command) as terminal:
        terminal.until_shown(words, seconds=600)
        seconds = time.perf_counter() - terminal.started_at
        terminal.kill()
    return seconds * 1000


def painted(command: Sequence[str]) -> float:
    """Return milliseconds until the first row of text, whatever it says."""
    with Terminal(command) as terminal:
        terminal.until(
            lambda: any(line.strip() for line in terminal.text.splitlines()), "first paint"
        )
        seconds = time.perf_counter() - terminal.started_at
        terminal.kill()
    return seconds * 1000


def in_turn(runs: int, **measures: Callable[[], float]) -> dict[str, float]:
    """Run measures in turn, so that a slow moment meets all alike; the median of each."""
    found: dict[str, list[float]] = {name: [] for name in measures}
    for _ in range(runs):
        for name, measure in measures.items():
            found[name].append(measure())
    return {name: statistics.median(values) for name, values in found.items()}


def peak_megabytes(terminal: Terminal) -> float:
    """Return the most memory a process has held so far."""
    status = Path(f"/proc/{terminal.pid}/status").read_text(encoding="ascii")
    (line,) = [line for line in status.splitlines() if line.startswith("VmHWM")]
    return int(line.split()[1]) / 1024


def quiet(terminal: Terminal) -> None:
    """Read until nothing has been written for a moment."""
    while terminal.read(QUIET_SECONDS):
        pass


def key_times(terminal: Terminal, keys: str, count: int) -> list[float]:
    """Return milliseconds from each key to the first byte written because of it."""
    quiet(terminal)
    times = []
    for number in range(count):
        start = time.perf_counter()
        terminal.type(keys[number % len(keys)])
        while not terminal.read(1.0):
            pass
        times.append((time.perf_counter() - start) * 1000)
        quiet(terminal)
    return times


def p95(values: Sequence[float]) -> float:
    """Return the 95th percentile."""
    return statistics.quantiles(values, n=20)[-1]


def prepared(root: Path, name: str, sessions: int) -> Path:
    """Return a folder with one paused session and some finished ones."""
    data = root / name
    leave_session(data, FIELDS[:2])
    make_sessions(data, sessions)
    return data


def starts(root: Path, runs: int, sessions: int) -> Iterator[Row]:
    """Measure the first frame and the usable list."""
    empty, full = prepared(root, "empty", 0), prepared(root, "full", sessions)
    for command in (bare(), program(empty)):  # once, so that everything is compiled and cached
        with Terminal(command) as terminal:
            terminal.until_shown("one label" if command == bare() else "PAUSED")
            quiet(terminal)
    found = in_turn(
        runs,
        bare_paint=lambda: painted(bare()),
        bare_label=lambda: appears(bare(), "one label"),
        empty_paint=lambda: painted(program(empty)),
        empty_frame=lambda: appears(program(empty), "F10 close"),
        empty_list=lambda: appears(program(empty), "PAUSED"),
        full_paint=lambda: painted(program(full)),
        full_frame=lambda: appears(program(full), "F10 close"),
        full_list=lambda: appears(program(full), "PAUSED"),
    )
    label = found["bare_label"]
    for what, name, budget in (
        ("first text, 1 session", "empty_paint", 1.3),
        ("whole first frame, 1 session", "empty_frame", 1.3),
        ("usable list, 1 session", "empty_list", 2.0),
        (f"first text, {sessions} sessions", "full_paint", 1.3),
        (f"whole first frame, {sessions} sessions", "full_frame", 1.3),
        (f"usable list, {sessions} sessions", "full_list", 2.0),
    ):
        yield Row(what, f"{found[name]:.0f} ms", f"{label:.0f} ms", found[name] / label, budget)


def measuring(root: Path, keys: int, sessions: int) -> Iterator[Row]:
    """Measure memory and keys at the measuring screen."""
    memory: dict[int, tuple[float, float]] = {}
    times: dict[str, tuple[list[float], list[float]]] = {}
    for count in sorted({0, sessions}):
        data = prepared(root, f"measuring {count}", count)
        with Terminal(bare()) as other, Terminal(program(data)) as ours:
            other.until_shown("one label")
            ours.until_shown("PAUSED", seconds=600)
            quiet(ours)
            quiet(other)
            times["start"] = key_times(ours, "4\x7f", keys), key_times(other, "4x", keys)
            at = ours.mark()
            ours.type(ENTER)
            ours.until_shown(f"3 of {len(FIELDS)}", after=at)
            quiet(ours)
            quiet(other)
            memory[count] = peak_megabytes(ours), peak_megabytes(other)
            times["measuring"] = key_times(ours, "4\x7f", keys), key_times(other, "4x", keys)
            assert LEFT_ALTERNATE_SCREEN not in ours.output + other.output
    for count, (mine, theirs) in memory.items():
        what = f"peak memory, measuring screen, {count + 1} sessions"
        yield Row(what, f"{mine:.1f} MB", f"{theirs:.1f} MB", mine / theirs, 1.7)
    for screen, (took, bare_took) in times.items():
        for name, of in (("median", statistics.median), ("p95", p95)):
            ms, their_ms = of(took), of(bare_took)
            what = f"key to repaint, {screen}, {name}, {sessions + 1} sessions"
            yield Row(what, f"{ms:.1f} ms", f"{their_ms:.1f} ms", ms / their_ms, 3.0)


def _durably(path: Path, content: bytes) -> None:
    """The least a durable whole-file write takes."""
    temporary = path.with_name("bare.tmp")
    descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    os.write(descriptor, content)
    os.fsync(descriptor)
    os.close(descriptor)
    os.replace(temporary, path)  # noqa: PTH105 - the bare call is what is measured
    folder = os.open(path.parent, os.O_RDONLY)
    os.fsync(folder)
    os.close(folder)


def saving(root: Path, runs: int) -> Iterator[Row]:
    """Measure the save of one reading against bare durable writes of the same bytes."""
    flush = os.fsync

    def once(*, flushed: bool) -> tuple[float, float]:
        if not flushed:
            setattr(os, "fsync", lambda _descriptor: None)  # noqa: B010 - mypy knows its type
        mine, bare_writes = [], []
        data = Path(tempfile.mkdtemp(dir=root))
        with DataFolder(data, real_surroundings(), label="tern", measurer="N-17") as folder:
            for number in range(runs):
                if number % LONG_SESSION == 0:
                    first = Draft("answers", START, {"what": "client", "is": "tern-001-U"})
                    session = folder.append(folder.new_session(), [first])
                draft = draft_reading(
                    (Side.LEFT, Point.B, Kind.GIRTH),
                    1 + number % LONG_SESSION,
                    parse_length("22.4", "cm"),
                    START,
                )
                began = time.perf_counter()
                session = folder.append(session, [draft])
                mine.append(time.perf_counter() - began)
                laptop = (data / "laptop.toml").read_bytes()
                content = session_path(data, session.id).read_bytes()
                began = time.perf_counter()
                _durably(data / "a.bin", laptop)
                _durably(data / "b.bin", content)
                bare_writes.append(time.perf_counter() - began)
        os.fsync = flush
        return statistics.median(mine) * 1000, statistics.median(bare_writes) * 1000

    for what, flushed in (("save of one reading, flushed", True), ("the same, not flushed", False)):
        mine, theirs = once(flushed=flushed)
        yield Row(what, f"{mine:.2f} ms", f"{theirs:.2f} ms", mine / theirs)


def reading(root: Path, sessions: int) -> Iterator[Row]:
    """Measure reading session files against the standard TOML reader on the same text."""
    data = root / "reading"
    make_sessions(data, sessions)
    paths = list(find_session_files(data))
    raws = [path.read_bytes() for path in paths]
    size = statistics.mean(map(len, raws))

    def timed(work: Callable[[], object]) -> float:
        began = time.perf_counter()
        work()
        return (time.perf_counter() - began) / len(paths) * 1e6

    found = in_turn(
        5,
        toml=lambda: timed(
            lambda: [tomllib.loads(raw.decode(), parse_float=Decimal) for raw in raws]
        ),
        parse=lambda: timed(lambda: [read_session(raw) for raw in raws]),
        file=lambda: timed(lambda: [read_session_file(path) for path in paths]),
    )
    for what, name in (("session text to session", "parse"), ("session file to session", "file")):
        yield Row(
            f"{what} ({size:.0f} bytes, {1e6 / found[name]:.0f} a s)",
            f"{found[name]:.0f} us",
            f"{found['toml']:.0f} us",
            found[name] / found["toml"],
        )


def deciding(legs: int, charts: int) -> Iterator[Row]:
    """Legs against charts on one core, with the certainty of each size and without.

    The legs are drawn from a fixed seed: girths about the means and spreads of a published survey
    (ANSUR II women, public), lengths and shoe sizes about usual ones.
    """
    rules, shipped = load_profiles().certainty, load_profiles().charts
    # As many charts as asked for: copies are charts of their own, so nothing is shared.
    table = [shipped[i % len(shipped)].model_copy() for i in range(charts)]
    drawn = random.Random(20260304)  # noqa: S311 - no secret
    about = {
        (Point.B, Kind.GIRTH): (216, 15),
        (Point.C, Kind.GIRTH): (373, 29),
        (Point.G, Kind.GIRTH): (616, 56),
        (Point.D, Kind.LENGTH): (410, 25),
        (Point.G, Kind.LENGTH): (720, 40),
    }
    people: list[dict[tuple[Point, Kind], Adopted]] = []
    for _ in range(legs):
        leg = {
            place: Adopted(*place, Millimetre(Decimal(round(drawn.gauss(*spread)))), 1, None, ())
            for place, spread in about.items()
        }
        size = Decimal(drawn.randrange(70, 90)) / 2
        mm = foot_length_mm(size, "eu")
        shoe = (Point.FOOT, Kind.SHOE)
        leg[shoe] = Adopted(*shoe, mm, 1, None, (), size, "eu")
        people.append(leg)

    def seconds(*, sure: bool) -> float:
        start = time.perf_counter()
        for leg in people:

            def measured(
                point: Point, kind: Kind, leg: dict[tuple[Point, Kind], Adopted] = leg
            ) -> Adopted | None:
                return leg.get((point, kind))

            for chart in table:
                decide_size(chart, measured)
                if sure:
                    values, _ = chart_values(chart, measured)
                    certainty(chart, values, size_errors(chart, measured, rules))
        return time.perf_counter() - start

    without, sure = seconds(sure=False), seconds(sure=True)
    count = legs * charts
    yield Row(
        f"{legs} legs x {charts} charts, with certainty",
        f"{count / sure:.0f} /s",
        f"{count / without:.0f} /s",
        sure / without,
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=9)
    parser.add_argument("--sessions", type=int, default=200)
    parser.add_argument("--keys", type=int, default=200)
    parser.add_argument("--only", choices=["starts", "measuring", "saving", "reading", "deciding"])
    parser.add_argument("--legs", type=int, default=500)
    parser.add_argument("--charts", type=int, default=20)
    asked = parser.parse_args()
    print_head()
    with own_home() as root:
        parts: dict[str, Callable[[], Iterator[Row]]] = {
            "starts": lambda: starts(root, asked.runs, asked.sessions),
            "measuring": lambda: measuring(root, asked.keys, asked.sessions),
            "saving": lambda: saving(root, 5 * LONG_SESSION),
            "reading": lambda: reading(root, 400),
            "deciding": lambda: deciding(asked.legs, asked.charts),
        }
        for part, rows in parts.items():
            if asked.only in (None, part):
                for row in rows():
                    print(row.line(), flush=True)


if __name__ == "__main__":
    main()
