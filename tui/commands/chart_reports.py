"""`chart lint`, what is wrong in a chart, and `chart coverage`, whom it fits. Clears nobody."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from fitcore.charts.chart import Chart
from fitcore.clean_text import visible
from fitcore.coverage.coverage import Coverage, cover
from fitcore.coverage.coverage_picture import coverage_picture
from fitcore.coverage.coverage_svg import coverage_svg
from fitcore.disk.atomic import write_durably
from fitcore.disk.leg_sets import ARCHIVE, SYNTHETIC, load_set
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.profile_reading import locate, read_profile
from fitcore.disk.session_files import read_regular
from fitcore.lint.chart_lint import lint_chart
from fitcore.problems import FitError, Problem, ProblemLevel
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use
from tui.commands.finding import require_paths, toml_files

if TYPE_CHECKING:
    from argparse import ArgumentParser, Namespace, _SubParsersAction
    from collections.abc import Sequence
    from datetime import date
    from typing import Any

    from fitcore.coverage.leg_set import LegSet
    from fitcore.disk.profile_files import Profiles
    from fitcore.disk.surroundings import Surroundings

PICTURE_WIDTH, PICTURE_HEIGHT = 78, 24


def add_reports(subparsers: _SubParsersAction[Any]) -> None:
    """Add `lint` and `coverage` to the subcommands of `chart`; each sets `run`, the command."""
    linting = _add(subparsers, "lint", say("tell what is wrong or doubtful in size charts"))
    linting.add_argument(
        "files", metavar="FILE", nargs="+", type=Path, help=say("chart files, or folders of them")
    )
    linting.set_defaults(run=lint)
    covering = _add(subparsers, "coverage", say("tell which legs of a set get a size in a chart"))
    covering.add_argument("file", metavar="FILE", type=Path, help=say("a chart file"))
    covering.add_argument(
        "--against",
        metavar="SET",
        required=True,
        help=say(
            "the legs: {synthetic} (made up, shipped), {archive} (your own sessions), a table in "
            "CSV, or a data folder",
            synthetic=SYNTHETIC,
            archive=ARCHIVE,
        ),
    )
    covering.add_argument("--svg", metavar="OUT", help=say("draw it as SVG into this new file"))
    covering.add_argument(
        "--ascii", action="store_true", help=say("draw with plain characters only")
    )
    covering.set_defaults(run=coverage)


def _add(subparsers: _SubParsersAction[Any], name: str, words: str) -> ArgumentParser:
    parser: ArgumentParser = subparsers.add_parser(
        name, help=words, description=f"{words[:1].upper()}{words[1:]}."
    )
    return parser


# --- lint ----------------------------------------------------------------------------------------


def lint(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Judge chart files; nothing in them is changed."""
    named: Sequence[Path] = arguments.files
    require_paths(named)
    files = [file for path in named for file in (toml_files(path) if path.is_dir() else [path])]
    profiles = load_profiles(own=data)
    today = surroundings.now().date()
    problems = [problem for file in files for problem in _lint_file(file, profiles, today)]
    serious = any(problem.level is not ProblemLevel.NOTE for problem in problems)
    levels = {"error": say("error"), "warning": say("warning"), "note": say("note")}
    lines = [f"{levels[problem.level]}: {problem}" for problem in problems]
    return Outcome(
        ExitCode.NEEDS_PERSON if serious else ExitCode.FINE,
        {"problems": [_without_line(problem) for problem in problems]},
        lines or [say("Charts looked at: {count}. Nothing to remark.", count=len(files))],
    )


def _lint_file(path: Path, profiles: Profiles, on: date) -> list[Problem]:
    raw = read_regular(path)
    if isinstance(raw, Problem):
        return [raw.at(path=str(path))]
    chart = read_profile(raw, Chart, str(path))
    if isinstance(chart, tuple):
        return list(chart)
    text = raw.decode("utf-8-sig")
    return [
        Problem(
            code=remark.code,
            text=remark.text,
            mend=remark.mend,
            path=str(path),
            line=locate(text, remark.key),
            key=remark.key,
            level=remark.level,
        )
        for remark in lint_chart(chart, profiles.ranges, on=on, standards=profiles.standards)
    ]


def _without_line(problem: Problem) -> dict[str, str | int | None]:
    return {key: value for key, value in problem.as_json().items() if key != "line"}


# --- coverage ------------------------------------------------------------------------------------


def coverage(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:  # noqa: ARG001
    """Count and draw which legs of a set get a size in a chart; geometry only."""
    path: Path = arguments.file
    require_paths([path])
    raw = read_regular(path)
    chart = (raw,) if isinstance(raw, Problem) else read_profile(raw, Chart, str(path))
    if isinstance(chart, tuple):
        problems = [problem.at(path=str(path)) for problem in chart]
        document = {"problems": [problem.as_json() for problem in problems]}
        return Outcome(ExitCode.NOT_DONE, document, [], [str(problem) for problem in problems])
    legs = load_set(arguments.against, data)
    if not legs.legs:
        raise _no_legs(arguments.against)
    counts = cover(chart, legs.legs)
    said = _about(chart, legs)
    lines = [
        say("{chart} against {set}", chart=chart.title, set=legs.name),
        *(line for text in said for line in textwrap.wrap(text, PICTURE_WIDTH)),
        "",
        *_table(counts),
        "",
        *coverage_picture(
            chart, legs.legs, PICTURE_WIDTH, PICTURE_HEIGHT, ascii=bool(arguments.ascii)
        ),
    ]
    notes = [
        *(f"{arguments.against}:{refusal.line}: {refusal.why}" for refusal in legs.refused),
        *(str(problem) for problem in legs.problems),
    ]
    if arguments.svg is not None:
        svg = coverage_svg(chart, legs.legs, set_name=legs.name, about=said)
        notes.append(_write(Path(arguments.svg), svg))
    worried = legs.refused or any(p.level is not ProblemLevel.NOTE for p in legs.problems)
    refused = [refusal.as_json() for refusal in legs.refused]
    unread = [problem.as_json() for problem in legs.problems]
    return Outcome(
        ExitCode.NEEDS_PERSON if worried else ExitCode.FINE,
        {
            **counts.as_json(),
            **({"refused": refused} if refused else {}),
            **({"problems": unread} if unread else {}),
        },
        lines,
        notes,
    )


def _about(chart: Chart, legs: LegSet) -> list[str]:
    """Return what must be said beside the figures."""
    told = [*legs.about]
    for dimension in chart.dimensions:
        stand_in = legs.stand_ins.get((dimension.point, dimension.kind))
        if stand_in:
            told.append(stand_in)
    if chart.invented:
        told.append(say("The chart is invented: it can never be ordered from."))
    told.append(say("Numbers in a chart are not the whole fit, and clear nobody's leg."))
    return told


def _table(counts: Coverage) -> list[str]:
    rows = [
        (say("legs"), counts.legs),
        (say("one size"), counts.one_size),
        (say("several sizes"), counts.several),
        (say("none: a gap between sizes"), counts.between),
        (say("none: outside all sizes"), counts.off_chart),
        (say("none: measures point to different sizes"), counts.proportions),
    ]
    if counts.not_measured:
        rows.append((say("a measure of the chart is not in the set"), counts.not_measured))
    wide = max(len(words) for words, _ in rows)
    lines = [f"{words:<{wide}} {_share(number, counts.legs)}" for words, number in rows]
    sizes = max((len(name) for name in counts.by_size), default=0)
    head = (say("size"), say("gets it"), say("holds"))
    sizes = max(sizes, len(head[0]))
    lines += ["", f"{head[0]:<{sizes}} {head[1]:>16} {head[2]:>16}"]
    lines += [
        f"{name:<{sizes}} {_share(number, counts.legs)} {_share(counts.holds[name], counts.legs)}"
        for name, number in counts.by_size.items()
    ]
    return lines


def _share(count: int, of: int) -> str:
    return f"{count:>7} {100 * count / of:>6.1f} %"


def _no_legs(against: str) -> FitError:
    text = say("There is no leg in {set}.", set=visible(against))
    mend = say("Name another set: {name} is always there.", name=SYNTHETIC)
    return FitError(Problem(code="no_legs", text=text, mend=mend, key="--against"))


def _write(out: Path, text: str) -> str:
    """Write a new file; one that is there already is never written over."""
    if out.exists() or out.is_symlink():
        raise wrong_use(
            say("{path} is there already.", path=visible(str(out))),
            say("Name another file; nothing was written."),
            key="--svg",
        )
    write_durably(out, text.encode(), expected=None)
    return say("Written to {path}.", path=visible(str(out)))
