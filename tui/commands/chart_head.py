"""What a leaflet says beside its table: the options of `chart import`, and which are missing."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, TypeVar, get_args

from fitcore.charts.gap_rules import GapRule
from fitcore.clean_text import clean
from fitcore.problems import Problem, UnitError
from fitcore.profile_models import Form, Posture, Purpose
from fitcore.tables.leaflet import read_day, read_pressure, read_printed
from fitcore.tables.table_values import PrintedGap, printed_gaps
from fitcore.units import UNITS, plain
from fitcore.words import say
from tui.commands import wrong_use

if TYPE_CHECKING:
    from argparse import ArgumentParser, Namespace
    from collections.abc import Callable, Sequence

    from fitcore.tables.chart_table import ChartTable

Read = TypeVar("Read")

_TOES = ("open", "closed", "soft_cap", "none")
_OVERLAPS = ("larger", "smaller", "ankle", "ask")
_SOLD = ("pair", "single")
_MADE = ("off_the_shelf", "to_measure")
_STATUSES = ("read", "second hand", "from memory", "invented")
_LONGEST_ID = 48


@dataclass(slots=True)
class Head:
    """A chart file's keys beside its table, as far as they are known."""

    values: dict[str, object] = field(default_factory=dict)
    shoe_step: Decimal | None = None
    missing: list[Problem] = field(default_factory=list)
    """One for each option that must be added."""
    notes: list[str] = field(default_factory=list)
    """What was filled in without an option."""
    by_column: dict[str, dict[str, object]] = field(default_factory=dict)
    """What was said of one column alone: its id to keys of its dimension."""


def add_head_options(parser: ArgumentParser) -> None:
    """Add the options that say what a table does not."""
    add = parser.add_argument
    add("--maker", metavar="NAME", help=say("who makes the garment"))
    add("--line", metavar="NAME", help=say("the line of garments the table is of"))
    add("--id", metavar="ID", help=say("the chart's id (default: maker and line)"))
    add("--form", choices=get_args(Form), help=say("form of the garment"))
    add("--toe", choices=_TOES, help=say("its toe"))
    add(
        "--purpose",
        choices=get_args(Purpose),
        action="append",
        help=say("what it is for; may be repeated"),
    )
    add("--posture", choices=get_args(Posture), help=say("posture the maker wants measured"))
    add("--unit", choices=UNITS, help=say("unit, where the table names none"))
    add(
        "--step-mm",
        metavar="MM",
        help=say("step of the printed table: 1 for 21-22.9 and 23-24.9; 0 where a gap is meant"),
    )
    add("--shoe-step", metavar="SIZES", help=say("the same for shoe sizes, such as 1 or 0.5"))
    add(
        "--overlap",
        choices=_OVERLAPS,
        help=say("which size where two hold; ask where the leaflet does not say (default: ask)"),
    )
    add("--sold", choices=_SOLD, help=say("in pairs or singly (default: pair)"))
    add("--made", choices=_MADE, help=say("off the shelf or to measure (default: off_the_shelf)"))
    add(
        "--gap",
        metavar='"COLUMN=none|nearest|larger"',
        action="append",
        help=say(
            "what the leaflet says of a value between two ranges of a column: no size, the nearer "
            "one, the larger; COLUMN is its heading or its name in the file; may be repeated"
        ),
    )
    add(
        "--column-posture",
        metavar='"COLUMN=POSTURE"',
        action="append",
        help=say("posture of one column, where it is another than the chart's; may be repeated"),
    )
    add("--mmhg", metavar="LOW-HIGH", help=say("pressure printed on the garment, in mmHg"))
    add("--standard", metavar="NAME", help=say("standard its pressure class is of"))
    add("--class", metavar="CLASS", dest="grade", help=say("its pressure class"))
    add("--source", metavar="TEXT", help=say("the leaflet: title, page, printed when"))
    add(
        "--source-status",
        choices=_STATUSES,
        default="read",
        help=say("how you know the numbers (default: read)"),
    )
    add("--printed", metavar="DATE", help=say("when the leaflet was printed: 2026-03-04, 03/2026"))
    add("--valid-from", metavar="DATE", help=say("first day the table holds"))
    add("--valid-until", metavar="DATE", help=say("last day the table holds"))
    add("--invented", action="store_true", help=say("the table is made up; never order from it"))


def head_of(arguments: Namespace, table: ChartTable) -> Head:
    """Return a chart file's other keys, and a problem for each that nobody has said.

    Raises:
        FitError: an option is no number, no date or no pressure.
    """
    head = Head()
    values = head.values
    values["id"] = _id_of(arguments, head)
    values["maker"] = _needed(head, "maker", arguments.maker, say("Who makes it?"), "NAME")
    values["line"] = _needed(head, "line", arguments.line, say("Which line is it of?"), "NAME")
    values["invented"] = True if arguments.invented else None
    values["form"] = _needed(
        head, "form", arguments.form, say("Which form has it?"), "|".join(get_args(Form))
    )
    toe = arguments.toe or ("none" if arguments.form == "footless_sleeve" else None)
    values["toe"] = _needed(head, "toe", toe, say("How is its toe?"), "|".join(_TOES))
    values["purposes"] = _needed(
        head, "purpose", arguments.purpose, say("What is it for?"), "|".join(get_args(Purpose))
    )
    _of_columns(head, table, arguments.gap, "gap", get_args(GapRule))
    _of_columns(head, table, arguments.column_posture, "posture", get_args(Posture))
    values["step_mm"] = _step(arguments, table, head)
    values["posture"] = _needed(
        head,
        "posture",
        arguments.posture,
        say("In which posture does the maker want legs measured?"),
        "|".join(get_args(Posture)),
    )
    if arguments.overlap is None:
        head.notes.append(
            say("Where two sizes hold, a person will choose: no --overlap was given.")
        )
    values["overlap"] = arguments.overlap or "ask"
    if arguments.sold is None:
        head.notes.append(say("Taken as sold in pairs: no --sold was given."))
    if arguments.made is None:
        head.notes.append(say("Taken as made off the shelf: no --made was given."))
    values["sold"], values["made"] = arguments.sold, arguments.made
    values["valid_from"] = _read(read_day, arguments.valid_from, "--valid-from")
    values["valid_until"] = _read(read_day, arguments.valid_until, "--valid-until")
    values["source"] = {
        "status": "invented" if arguments.invented else arguments.source_status,
        "text": _needed(
            head, "source", arguments.source, say("Where are the numbers from?"), "TEXT"
        ),
        "printed": _read(read_printed, arguments.printed, "--printed"),
    }
    values["pressure"] = _pressure(arguments, head)
    return head


def _needed(head: Head, option: str, given: object, question: str, what: str) -> object:
    if isinstance(given, str):
        given = clean(given).text
    if not given:
        head.missing.append(
            Problem(
                code=f"missing_{option}",
                text=question,
                mend=say("Add --{option} {what}.", option=option, what=what),
                key=f"--{option}",
            )
        )
    return given


def _id_of(arguments: Namespace, head: Head) -> str | None:
    if arguments.id:
        return str(arguments.id)
    if not (arguments.maker and arguments.line):
        return None
    letters = unicodedata.normalize("NFKD", f"{arguments.maker} {arguments.line}").casefold()
    slug = "-".join(re.findall(r"[a-z0-9]+", letters.encode("ascii", "ignore").decode()))
    found = slug[:_LONGEST_ID].strip("-")
    _needed(head, "id", found, say("Its maker and line give no id."), "ID")
    return found


def _step(arguments: Namespace, table: ChartTable, head: Head) -> Decimal | None:
    """Return the step in mm; 0 where no column has a gap, else asked."""
    # What the leaflet says of a gap answers for its column: it is no step of the print.
    gaps = [
        gap for gap in printed_gaps(table) if "gap" not in head.by_column.get(gap.column.id, {})
    ]
    lengths = [gap for gap in gaps if not gap.column.is_shoe]
    shoes = [gap for gap in gaps if gap.column.is_shoe]
    head.shoe_step = _number(arguments.shoe_step, "--shoe-step")
    if shoes and head.shoe_step is None:
        head.missing.append(_ask_step(shoes[0], "--shoe-step"))
    step = _number(arguments.step_mm, "--step-mm")
    if lengths and step is None:
        head.missing.append(_ask_step(min(lengths, key=lambda gap: gap.width), "--step-mm"))
    return Decimal(0) if step is None else step


def _of_columns(
    head: Head, table: ChartTable, given: Sequence[str] | None, key: str, choices: Sequence[str]
) -> None:
    """Take up what was said of single columns, each `COLUMN=VALUE`.

    Raises:
        FitError: there is no such column, or no such value.
    """
    option = {"gap": "--gap", "posture": "--column-posture"}[key]
    columns = {name: c.id for c in table.columns for name in (c.heading.casefold(), c.id)}
    for text in given or ():
        name, _, value = (part.strip() for part in text.rpartition("="))
        found = columns.get(name.casefold())
        if found is None or value not in choices:
            raise wrong_use(
                say("{option} '{text}' is no COLUMN=VALUE.", option=option, text=text[:60]),
                say(
                    "Columns: {columns}. Values: {values}.",
                    columns=", ".join(column.heading or column.id for column in table.columns),
                    values=", ".join(choices),
                ),
                key=option,
            )
        head.by_column.setdefault(found, {})[key] = value


def _ask_step(gap: PrintedGap, option: str) -> Problem:
    return Problem(
        code="missing_step",
        text=say(
            "{heading}: no size holds what lies between {below} and {above}. Is that only the step "
            "the table is printed in?",
            heading=gap.column.heading,
            below=gap.below,
            above=gap.above,
        ),
        mend=say(
            "Add {option} {step} if it is; {option} 0 if the maker means a gap.",
            option=option,
            step=plain(gap.width),
        ),
        key=option,
    )


def _number(text: str | None, option: str) -> Decimal | None:
    if text is None:
        return None
    try:
        number = Decimal(text.strip().replace(",", "."))
    except InvalidOperation:
        number = Decimal("NaN")
    if not number.is_finite() or number < 0:
        raise wrong_use(
            say("{option} '{text}' is not a number.", option=option, text=text[:40]),
            say("Write it like 1 or 0.5."),
            key=option,
        )
    return number


def _read(read: Callable[[str], Read], text: str | None, option: str) -> Read | None:
    """Read what was given for an option; a fault names the option."""
    if text is None:
        return None
    try:
        return read(text)
    except UnitError as error:
        problem = error.problem
        raise wrong_use(f"{option} {problem.text}", problem.mend, key=option) from error


def _pressure(arguments: Namespace, head: Head) -> dict[str, object] | None:
    """Return the printed pressure: standard, class and mmHg, all three or none."""
    given = (arguments.mmhg, arguments.standard, arguments.grade)
    if not any(given):
        head.notes.append(say("No pressure was given; it can be added with --mmhg and the class."))
        return None
    _needed(head, "mmhg", given[0], say("Which pressure has that class?"), "LOW-HIGH")
    _needed(head, "standard", given[1], say("Which standard is that class of?"), "NAME")
    _needed(head, "class", given[2], say("Which class has that pressure?"), "CLASS")
    ends = _read(read_pressure, arguments.mmhg or None, "--mmhg")
    return {"mmhg": ends, "standard": arguments.standard, "class": arguments.grade}
