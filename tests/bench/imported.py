"""Imported sessions against many charts on one core, with the certainty of each size and without.

`python tests/bench/imported.py [--sessions 10000] [--charts 20] [--fits 1000]`. Linux. A measuring
sheet of invented clients goes through the real `import` into a temporary folder; its session files
are read and judged by `fit_session`, as `fit` does. Nothing here passes or fails.

`fit` judges more than sizes: clearance, conditions, doubts, the morning. So the sizes alone are
timed, of all sessions, from the values `fit` would use, and `fit` itself on the first few. Without
certainty means the same calls, but that the three functions which work it out answer at once. Both
take turns, a few hundred sessions at a time, so that a slow moment meets both alike. The times are
the processor's.
"""

from __future__ import annotations

import argparse
import csv
import random
import sys
import time
from argparse import Namespace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING
from unittest.mock import patch

from table import ROOT, Row, own_home, print_head

sys.path[:0] = [str(ROOT)]

from fitcore import leg_fit  # noqa: E402
from fitcore.certainty.certainty import certainty  # noqa: E402
from fitcore.certainty.certainty_errors import size_errors  # noqa: E402
from fitcore.charts.sizing import chart_values, decide_size  # noqa: E402
from fitcore.disk.profile_files import load_profiles  # noqa: E402
from fitcore.disk.session_files import find_session_files, read_session_file  # noqa: E402
from fitcore.disk.surroundings import real_surroundings  # noqa: E402
from fitcore.fit import fit_session  # noqa: E402
from fitcore.points import LEGS  # noqa: E402
from fitcore.record.readings import Readings  # noqa: E402
from fitcore.record.sheet import COLUMNS  # noqa: E402
from tui.commands.importing import import_sheet  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from fitcore.charts.chart import Chart
    from fitcore.record.session import Session
    from fitcore.rules import Rules

TURN = 250
"""Sessions judged in one go before the other way has its turn."""
DAY = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
COLUMNS_OF_CHARTS = (
    ("ankle", "B", "girth", 190, 20, 19),
    ("calf", "C", "girth", 310, 20, 69),
    ("thigh", "G", "girth", 450, 30, 199),
    ("length", "D", "length", 330, 0, 79),
)
"""Dimension, point, kind, lowest edge of the smallest size, step to the next size and width, mm:
ankles meet, calves and thighs are broad, a length parts short from long, as printed tables do."""
ABOUT_MM = (("B", "girth", 225, 18), ("C", "girth", 372, 28), ("D", "length", 410, 22),
            ("G", "girth", 600, 45))  # fmt: skip
"""Point, kind, mean and spread of what the invented clients measure."""


def write_sheet(path: Path, sessions: int) -> None:
    """Write one invented client's sitting after the other: both legs, four places."""
    drawn = random.Random(20260302)  # noqa: S311 - a fixed sequence is what is wanted
    with path.open("w", encoding="utf-8", newline="") as file:
        sheet = csv.writer(file)
        sheet.writerow(COLUMNS)
        for number in range(sessions):
            at = DAY + timedelta(days=number // 2000, minutes=number % 600)
            head = (f"SK{number:05d}", at.isoformat(), "N-17")
            tail = ("standing", (at - timedelta(hours=2)).isoformat())
            means = [drawn.gauss(mean, spread) for _, _, mean, spread in ABOUT_MM]
            for side in ("left", "right"):
                for (point, kind, _, _), mean in zip(ABOUT_MM, means, strict=True):
                    cm = Decimal(round(mean + drawn.gauss(0, 4))) / 10
                    sheet.writerow((*head, side, point, kind, 1, cm, "cm", *tail))


def write_charts(folder: Path, count: int) -> None:
    """Write invented charts of one to four dimensions: some with overlaps, some with gaps."""
    drawn = random.Random(count)  # noqa: S311 - a fixed sequence is what is wanted
    folder.mkdir()
    for number in range(count):
        columns = COLUMNS_OF_CHARTS[: 1 + number % 4]
        lines = [
            "format = 1", f'id = "bench-{number}"', 'maker = "Invented Mill"',
            f'line = "Bench {number}"', "invented = true",
            f'form = "{"thigh" if len(columns) > 2 else "below_knee"}"', 'toe = "open"',
            'purposes = ["work", "standing", "travel", "sport", "prescribed", "other"]',
            'unit = "mm"', "step_mm = 1", 'posture = "standing"',
            f'overlap = "{drawn.choice(("larger", "smaller", "ankle"))}"',
            "[source]", 'status = "invented"', 'text = "Made up for a benchmark."',
        ]  # fmt: skip
        for name, point, kind, *_ in columns:
            lines += ["[[dimensions]]", f'id = "{name}"', f'point = "{point}"', f'kind = "{kind}"']
        moved = {column[0]: drawn.randrange(-6, 7) for column in columns}
        wider = (0, 5, -4)[number // 4 % 3]  # ankles meet, overlap, or leave a gap
        for size in range(6):
            for long in (False, True) if len(columns) == 4 else (False,):
                lines += ["[[sizes]]", f'size = "{size + 1}"', f'variant = "{"long" * long}"']
                for name, _, _, lowest, step, width in columns:
                    low = lowest + moved[name] + size * step
                    low += width + 1 if long and name == "length" else 0
                    high = low + width + (wider if name == "ankle" else 0)
                    lines.append(f"{name} = [{low}, {high}]")
        (folder / f"bench-{number}.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def imported(root: Path, sessions: int) -> Path:
    """Import a sheet and return the data folder."""
    sheet, data = root / "sheet.csv", root / "data"
    write_sheet(sheet, sessions)
    outcome = import_sheet(Namespace(sheet=sheet, zone="Etc/UTC"), data, real_surroundings())
    said = outcome.document
    if said["sessions"] != sessions or said["refused"]:
        raise ValueError(outcome.lines[-1])
    return data


def sizes_alone(session: Session, charts: Sequence[Chart], rules: Rules, *, sure: bool) -> int:
    """Judge every leg against every chart, nothing else; return how many decisions that is."""
    readings = Readings(session)
    for side in LEGS:
        measured = partial(readings.adopted, side)
        for chart in charts:
            decide_size(chart, measured)
            if sure:
                values, missing = chart_values(chart, measured)
                if not missing:
                    spreads = size_errors(chart, measured, rules.certainty)
                    certainty(chart, values, spreads)
    return len(LEGS) * len(charts)


def whole_fit(session: Session, charts: Sequence[Chart], rules: Rules, *, sure: bool) -> int:
    """Judge a session as `fit` does; return how many legs were held against how many charts."""
    if sure:
        found = fit_session(session, charts, rules, on=date(2026, 3, 20))
    else:
        with patch.multiple(
            leg_fit,
            certainty=lambda *_, **__: None,
            nearest_change=lambda *_, **__: None,
            size_errors=lambda *_, **__: {},
        ):
            found = fit_session(session, charts, rules, on=date(2026, 3, 20))
    return sum(len(leg.charts) for leg in found.legs)


def judging(root: Path, sessions: int, charts: int, fits: int) -> Iterator[Row]:
    """Import, read and judge: the sizes of all, the whole of the first few."""
    write_charts(root / "charts", charts)
    began = time.perf_counter()
    data = imported(root, sessions)
    took = time.perf_counter() - began
    loaded = load_profiles(own=data, charts=root / "charts")
    if loaded.problems or len(loaded.charts) != charts:
        raise ValueError(loaded.problems)
    print(f"import of {sessions} sessions: {took:.1f} s, {sessions / took:.0f} /s", flush=True)
    paths = list(find_session_files(data))
    began = time.process_time()
    found = [file.session for file in map(read_session_file, paths) if file.session is not None]
    reading = time.process_time() - began
    if len(found) != sessions:
        raise ValueError(len(found))
    ways: dict[str, Callable[..., int]] = {"sizes alone": sizes_alone, "fit": whole_fit}
    for name, judge in ways.items():
        spent, decisions = {True: 0.0, False: 0.0}, 0
        some = found[:fits] if judge is whole_fit else found
        for start in range(0, len(some), TURN):
            for sure in spent:
                began = time.process_time()
                for session in some[start : start + TURN]:
                    count = judge(session, loaded.charts, loaded.rules, sure=sure)
                    decisions += count if sure else 0
                spent[sure] += time.process_time() - began
                for session in some[start : start + TURN]:
                    vars(session).pop("heads", None)  # worked out afresh by either way
        what = f"{name}, {decisions} leg-charts, certainty or not"
        rate, without = (f"{decisions / spent[sure]:.0f} /s" for sure in (True, False))
        yield Row(what, rate, without, spent[True] / spent[False])
        if judge is whole_fit:
            both = reading * len(some) / sessions + spent[True]
            whole = f"{decisions / both:.0f} /s"
            yield Row("  read from disk and fit, against fit", whole, rate, both / spent[True])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=10_000)
    parser.add_argument("--charts", type=int, default=20)
    parser.add_argument("--fits", type=int, default=1000)
    asked = parser.parse_args()
    print_head()
    with own_home() as root:
        for row in judging(root, asked.sessions, asked.charts, asked.fits):
            print(row.line(), flush=True)


if __name__ == "__main__":
    main()
