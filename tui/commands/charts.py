"""`chart`: its subcommands, and `chart import`: a maker's table into a chart file.

Nothing is guessed: what the table and the options leave open is told, with the option to add. A
row that could not be read is written as it was printed, so that the chart cannot be used before
somebody has mended it.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from fitcore.charts.chart import Chart
from fitcore.clean_text import visible
from fitcore.disk.atomic import read_bytes, write_durably
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.profile_reading import read_profile
from fitcore.lint.chart_lint import lint_chart
from fitcore.lint.lint_codes import OF_PRESSURE
from fitcore.problems import FileFault, Problem, ProblemLevel
from fitcore.tables.chart_table import ChartTable, parse_table
from fitcore.tables.chart_text import write_chart
from fitcore.tables.table_values import row_remarks, table_values
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use
from tui.commands.chart_head import Head, add_head_options, head_of
from tui.commands.chart_reports import add_reports
from tui.commands.finding import require_paths
from tui.verbs import PROGRAM, Parser

if TYPE_CHECKING:
    from argparse import Namespace, _SubParsersAction
    from collections.abc import Sequence

    from fitcore.disk.surroundings import Surroundings
    from fitcore.lint.chart_remark import ChartRemark
    from fitcore.tables.table_meanings import Question

_LONGEST_MESSAGE = 300
LARGEST_TABLE = 1 << 20
"""Bytes; ours. No maker's table is a hundredth of it."""


class _SubcommandParser(Parser):
    """The parser of one subcommand, made the way argparse makes them."""

    def __init__(self, prog: str, description: str = "", **_others: object) -> None:
        super().__init__(prog, description)

    def error(self, message: str) -> NoReturn:
        """Raise what is wrong with the words; not the usage, which names thirty options."""
        text, sign, names = message.partition(": ")
        if sign and text.startswith("the following arguments are required"):
            text = say("Not given: {names}.", names=names)
            mend = say("Add {names}; '{program} --help' tells how.", names=names, program=self.prog)
            raise wrong_use(text, mend)
        text = f"{message[:1].upper()}{message[1:_LONGEST_MESSAGE]}."
        raise wrong_use(text, say("'{program} --help' lists what there is.", program=self.prog))


def read_words(words: Sequence[str], at: int | None) -> Namespace:
    """Read the words after `chart`.

    Args:
        words: all but the verb itself.
        at: where the subcommand stands among them; None where there is none.

    Returns:
        The arguments; `run` is the command.

    Raises:
        FitError: no such subcommand, or its words are wrong.
        HelpAsked: somebody asked.
    """
    parser = Parser(f"{PROGRAM} chart", say("Get a maker's size table in, and look at charts."))
    subparsers = parser.add_subparsers(
        parser_class=_SubcommandParser, metavar="COMMAND", required=True
    )
    _add_import(subparsers)
    add_reports(subparsers)
    if at is None:
        return parser.parse_args(words)
    own = subparsers.choices.get(words[at])
    if own is None:
        raise wrong_use(
            say("There is no command 'chart {name}'.", name=words[at][:40]),
            say("Commands: {names}.", names=", ".join(subparsers.choices)),
        )
    return own.parse_intermixed_args([*words[:at], *words[at + 1 :]])


def import_table(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Read a maker's table and write it as a chart file."""
    named = str(arguments.table)
    out = Path(arguments.out)
    meanings = dict(_meaning(text) for text in arguments.column or [])
    table = parse_table(_text_of(named), unit=arguments.unit, meanings=meanings)
    head = head_of(arguments, table)
    there = _judge_target(out, replace_it=arguments.replace)
    problems = [
        *(problem.at(path=named) for problem in _with_options(table)),
        *head.missing,
        *([there] if there else []),
    ]
    good = len(table.good_rows)
    if table.questions or table.faults or head.missing or there or not good:
        if not (table.questions or table.faults or good):
            problems.append(_no_good_row(named))
        return _not_written(good, problems)
    whole = not any(row.problems for row in table.rows)
    profiles = load_profiles(own=data)
    of_table = partial(
        table_values, table, head.values, shoe_step=head.shoe_step, by_column=head.by_column
    )
    values = of_table(good_only=True)
    judged = read_profile(write_chart(values).encode(), Chart, str(out))
    if isinstance(judged, tuple):
        return _not_written(good, [*problems, *(replace(p, line=None) for p in judged)])
    remarks = lint_chart(
        judged, profiles.ranges, on=surroundings.now().date(), standards=profiles.standards
    )
    problems += [_of_remark(remark, out) for remark in remarks if _is_told(remark, whole=whole)]
    if not whole:
        values = of_table()
    text = write_chart(values, row_remarks(table))
    write_durably(out, text.encode(), expected=read_bytes(out) if arguments.replace else None)
    return Outcome(
        ExitCode.FINE if whole and not _is_serious(problems) else ExitCode.NEEDS_PERSON,
        {
            "written": str(out),
            "sizes": good,
            "problems": [problem.as_json() for problem in problems],
        },
        _told(table, head, out),
        [str(problem) for problem in problems],
    )


def _add_import(subparsers: _SubParsersAction[_SubcommandParser]) -> None:
    words = say("get a maker's table in")
    parser = subparsers.add_parser("import", help=words, description=f"{words.capitalize()}.")
    parser.add_argument(
        "table",
        metavar="TABLE",
        help=say("the table as CSV or pasted text; - reads what is piped in"),
    )
    parser.add_argument(
        "--out", metavar="FILE", required=True, help=say("the chart file to write, NAME.toml")
    )
    parser.add_argument(
        "--replace", action="store_true", help=say("write over FILE if it is there")
    )
    parser.add_argument(
        "--column",
        metavar='"HEADING=MEANING"',
        action="append",
        help=say(
            "what a column means: B girth, D length, foot length, shoe eu, size, variant, or skip "
            "to leave it out; 'column 3' names a column without a heading; may be repeated"
        ),
    )
    add_head_options(parser)
    parser.set_defaults(run=import_table)


def _is_serious(problems: Sequence[Problem]) -> bool:
    """Whether any problem is more than a note."""
    return any(problem.level is not ProblemLevel.NOTE for problem in problems)


def _is_told(remark: ChartRemark, *, whole: bool) -> bool:
    """Whether a remark of lint is told at import: what is surely wrong, or of the pressure given.

    Rows of a chart some of whose rows are left out are counted otherwise than in the file.
    """
    if not whole and remark.key.startswith("sizes"):
        return False
    doubtful = remark.level is ProblemLevel.WARNING and remark.code in OF_PRESSURE
    return remark.level is ProblemLevel.ERROR or doubtful


def _of_remark(remark: ChartRemark, out: Path) -> Problem:
    return Problem(
        code=remark.code,
        text=remark.text,
        mend=remark.mend,
        path=str(out),
        key=remark.key,
        level=remark.level,
    )


def _told(table: ChartTable, head: Head, out: Path) -> list[str]:
    lines = [
        say("{heading}: {meaning}", heading=column.heading, meaning=column.meaning.words)
        + (f", {column.unit}" if column.unit else "")
        for column in table.columns
    ]
    lines += [say("{heading}: left out", heading=heading) for heading in table.left_out]
    lines += head.notes
    names = ", ".join(row.name for row in table.good_rows)
    unread = len(table.rows) - len(table.good_rows)
    lines.append(say("Written to {path}. Sizes: {names}.", path=visible(str(out)), names=names))
    if unread:
        lines.append(
            say(
                "Rows to mend in that file: {count}. Until then no leg is matched to this chart.",
                count=unread,
            )
        )
    else:
        lines.append(say("Now compare every number with the leaflet."))
    return lines


def _with_options(table: ChartTable) -> list[Problem]:
    """Return the table's problems; a question says which option answers it."""
    answers = {id(question.problem): _options(question) for question in table.questions}
    return [
        replace(problem, mend=f"{problem.mend} {answers[id(problem)]}")
        if answers.get(id(problem))
        else problem
        for problem in table.problems
    ]


def _options(question: Question) -> str:
    if question.problem.code == "unit_unknown":
        options = [f"--unit {choice}" for choice in question.choices]
    else:
        options = [f'--column "{question.heading}={choice}"' for choice in question.choices]
    return say("Add {options}.", options=say(" or ").join(options)) if options else ""


def _meaning(text: str) -> tuple[str, str]:
    heading, sign, meaning = text.rpartition("=")
    if not sign or not heading.strip():
        raise wrong_use(
            say("'{text}' is not HEADING=MEANING.", text=text[:60]),
            say('Write it like --column "Ankle=B girth".'),
            key="--column",
        )
    return heading, meaning


def _judge_target(out: Path, *, replace_it: bool) -> Problem | None:
    if out.suffix != ".toml":
        return _target_problem(
            say("{path} does not end in .toml.", path=out.name),
            say("Give it such a name: no other file is read as a chart."),
            out,
        )
    if not out.parent.is_dir():
        return _target_problem(
            say("There is no folder {path}.", path=str(out.parent)),
            say("Make the folder first, or name another."),
            out,
        )
    if not out.exists() and not out.is_symlink():
        return None
    if out.is_symlink() or not out.is_file():
        return _target_problem(
            say("{path} is no ordinary file.", path=out.name), say("Name another file."), out
        )
    if replace_it:
        return None
    return _target_problem(
        say("{path} is there already.", path=out.name),
        say("Name another file, or add --replace."),
        out,
    )


def _target_problem(text: str, mend: str, out: Path) -> Problem:
    return Problem(code="not_written", text=text, mend=mend, path=str(out), key="--out")


def _no_good_row(named: str) -> Problem:
    return Problem(
        code="no_good_row",
        text=say("No row could be read whole, so nothing was written."),
        mend=say("Mend the table, or say with --column what its columns are."),
        path=named,
    )


def _not_written(good: int, problems: Sequence[Problem]) -> Outcome:
    return Outcome(
        ExitCode.NOT_DONE,
        {
            "written": None,
            "sizes": good,
            "problems": [problem.as_json() for problem in problems],
        },
        [say("Nothing was written.")],
        [str(problem) for problem in problems],
    )


def _text_of(named: str) -> str:
    """Read the table's text.

    Raises:
        FileFault: it is no text in UTF-8 or UTF-16 with its mark.
    """
    if named == "-":
        raw = sys.stdin.buffer.read(LARGEST_TABLE + 1)
    else:
        path = Path(named)
        require_paths([path])
        if not path.is_file():
            raise _unreadable(named, say("This is not an ordinary file."))
        with path.open("rb") as file:
            raw = file.read(LARGEST_TABLE + 1)
    if len(raw) > LARGEST_TABLE:
        raise _unreadable(named, say("It is longer than a table of sizes can be."))
    wide = raw[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        return raw.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = None if wide else raw.count(b"\n", 0, error.start) + 1
        raise _unreadable(named, say("It holds bytes that are not UTF-8 text."), line) from error


def _unreadable(named: str, text: str, line: int | None = None) -> FileFault:
    return FileFault(
        Problem(
            code="table_unreadable",
            text=text,
            mend=say("Save the table as CSV, UTF-8, or paste it into a text file."),
            path=named,
            line=line,
            level=ProblemLevel.ERROR,
        )
    )
