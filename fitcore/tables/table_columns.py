"""The headings of a maker's table: which way it stands, what each column means, what is open."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitcore.points import Kind
from fitcore.problems import Problem, UnitError
from fitcore.tables.table_cells import (
    UNIT_WORDS,
    PrintedRange,
    parse_range,
    without_unsafe_joins,
)
from fitcore.tables.table_grid import GridCell, Row, turned
from fitcore.tables.table_headings import Heading, read_heading
from fitcore.tables.table_meanings import Meaning, Question, read_meaning
from fitcore.tables.table_sizes import is_variant
from fitcore.units import UNITS, Unit
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True, slots=True)
class TableColumn:
    """One column of ranges."""

    heading: str
    meaning: Meaning
    unit: Unit | None
    """None for shoe sizes, and where nothing says the unit."""

    @property
    def id(self) -> str:
        """Name of its dimension in a chart file."""
        return self.meaning.id

    @property
    def is_shoe(self) -> bool:
        """Whether its ranges are shoe sizes."""
        return self.meaning.kind is Kind.SHOE


@dataclass(frozen=True, slots=True)
class ReadHeadings:
    """What the headings of one table come to."""

    headings: tuple[Heading, ...]
    columns: Mapping[int, TableColumn]
    """Columns of ranges by their index."""
    questions: tuple[Question, ...]


class HeadingReader:
    """Reads the headings of one table."""

    def __init__(self, unit: Unit | None, meanings: Mapping[str, str]) -> None:
        self._unit = unit
        self._meanings = {_folded(heading): meaning for heading, meaning in meanings.items()}
        self._written = {_folded(heading): heading for heading in meanings}
        self._used: set[str] = set()

    def upright(self, rows: Sequence[Row]) -> tuple[list[Row], bool]:
        """Return the rows with headings first, and whether they had to be turned for that."""
        across = [self._heading(cell, number).about_legs for number, cell in _numbered(rows[0])]
        down = [
            2 if _folded(row[0].text) in self._meanings else read_heading(row[0].text).about_legs
            for row in rows[1:]
        ]
        stands_across = max(down, default=0) > max(across)
        if stands_across and len({len(row) for row in rows}) == 1:
            self._used.clear()
            return _with_units(turned(rows)), True
        return _with_units(rows), False

    def read(self, rows: Sequence[Row]) -> ReadHeadings:
        """Read the headings of upright rows, and what the cells below tell of their units."""
        body = rows[1:]
        headings = [
            _words_column(self._heading(cell, number), number - 1, len(rows[0]), body)
            for number, cell in _numbered(rows[0])
        ]
        questions = [
            replace(
                h.question,
                problem=h.question.problem.at(line=cell.line, key=key_of(cell, h)),
                heading=_reference(number, rows[0]),
            )
            for (number, cell), h in zip(_numbered(rows[0]), headings, strict=True)
            if h.question is not None
        ]
        questions += _questions_of_use(headings, rows[0])
        columns = {
            index: self._column(index, heading, body)
            for index, heading in enumerate(headings)
            if heading.meaning is not None and heading.meaning.use == "measure"
        }
        lacking = [c.heading for c in columns.values() if c.unit is None and not c.is_shoe]
        if lacking:
            questions.append(_which_unit(lacking, rows[0][0].line))
        questions += self._unused_meanings(rows[0])
        return ReadHeadings(tuple(headings), columns, tuple(questions))

    def _unused_meanings(self, headings: Row) -> list[Question]:
        """Ask about meanings given for headings that are not there."""
        names = ", ".join(cell.text for cell in headings if cell.text)
        return [
            Question(
                Problem(
                    code="heading_not_there",
                    text=say(
                        "No column is headed '{heading}'.", heading=self._written[heading][:60]
                    ),
                    mend=say("The headings are: {names}.", names=names[:200]),
                ),
                self._written[heading],
            )
            for heading in self._meanings
            if heading not in self._used
        ]

    def _heading(self, cell: GridCell, number: int) -> Heading:
        heading = read_heading(cell.text)
        key = next(
            (k for k in (f"column {number}", _folded(cell.text)) if k in self._meanings), None
        )
        if key is not None:
            self._used.add(key)
            meaning = read_meaning(self._meanings[key])
            if meaning is not None:
                return replace(heading, meaning=meaning, question=None)
            problem = Problem(
                code="meaning_not_known",
                text=say(
                    "'{meaning}' is no meaning of a column.", meaning=self._meanings[key][:40]
                ),
                mend=say("Say for example: B girth, D length, foot length, shoe eu, size, skip."),
            )
            return replace(heading, meaning=None, question=Question(problem, cell.text))
        if number == 1 and not cell.text:
            return replace(heading, meaning=Meaning("size"), question=None)
        return heading

    def _column(self, index: int, heading: Heading, body: Sequence[Row]) -> TableColumn:
        meaning = heading.meaning or Meaning("skip")
        if meaning.kind is Kind.SHOE:
            return TableColumn(heading.text, meaning, None)
        known = self._unit is not None
        unit = heading.unit or unit_of_cells(index, body, sure=known) or self._unit
        return TableColumn(heading.text, meaning, unit)


def key_of(cell: GridCell, heading: Heading) -> str:
    """Return where a cell stands, in words: the column of the text, and its heading."""
    number = say("column {number}", number=cell.column)
    return f"{number} ({heading.text})" if heading.text else number


def _words_column(heading: Heading, index: int, width: int, body: Sequence[Row]) -> Heading:
    """Take a column of words such as `short`, `long` as the variant, whatever its heading."""
    measure_in_words = heading.meaning is None or heading.meaning.use == "measure"
    if heading.unit is not None or not measure_in_words:
        return heading
    cells = [row[index].text for row in body if len(row) == width]
    if cells and all(is_variant(cell) for cell in cells):
        return replace(heading, meaning=Meaning("variant"), question=None)
    return heading


def _questions_of_use(headings: Sequence[Heading], cells: Row) -> list[Question]:
    """Ask where two columns mean the same, or none is the size or a measure."""
    found: list[Question] = []
    first: dict[str, str] = {}
    for (number, cell), heading in zip(_numbered(cells), headings, strict=True):
        meaning = heading.meaning
        if meaning is None or meaning.use in ("skip", "variant"):
            continue
        if meaning.id in first:
            problem = Problem(
                code="columns_alike",
                text=say(
                    "'{one}' and '{other}' are both {what}.",
                    one=first[meaning.id],
                    other=heading.text,
                    what=meaning.words,
                ),
                mend=say("Keep the one that is printed in your unit, and leave out the other."),
            )
            place = problem.at(line=cell.line, key=key_of(cell, heading))
            found.append(Question(place, _reference(number, cells), ("skip",)))
        first.setdefault(meaning.id, heading.text)
    if "size" not in first:
        found.append(_lacks("no_size_column", say("No column names the sizes."), cells, "size"))
    asked = any(heading.question is not None for heading in headings)
    if not asked and not set(first) - {"size"}:
        found.append(_lacks("no_measure", say("No column is a measure."), cells, "B girth"))
    return found


def _reference(number: int, cells: Row) -> str:
    """Return what names this column alone: its heading, else its number."""
    text = cells[number - 1].text
    alike = [cell for cell in cells if _folded(cell.text) == _folded(text)]
    plain = bool(text) and not set(text) & set("\"'`$\\%")
    return text if plain and len(alike) == 1 else f"column {number}"


def _lacks(code: str, text: str, cells: Row, choice: str) -> Question:
    names = ", ".join(cell.text for cell in cells if cell.text)
    mend = say("Say which it is; the headings are: {names}.", names=names[:200])
    problem = Problem(code=code, text=text, mend=mend, line=cells[0].line)
    return Question(problem, next((c.text for c in cells if c.text), ""), (choice,))


def _which_unit(headings: Sequence[str], line: int) -> Question:
    problem = Problem(
        code="unit_unknown",
        text=say("Nothing says the unit of: {names}.", names=", ".join(headings)[:200]),
        mend=say("Look at the leaflet and say cm, mm or in."),
        line=line,
    )
    return Question(problem, "", UNITS)


def _with_units(rows: Sequence[Row]) -> list[Row]:
    """Join a second line of headings that holds nothing but units with the first."""
    second = rows[1] if len(rows) > 1 else ()
    texts = [cell.text.casefold().strip("()[]. ") for cell in second]
    named = [text for text in texts if text]
    if not named or len(second) != len(rows[0]) or not set(named) <= set(UNIT_WORDS):
        return list(rows)
    joined = [
        replace(cell, text=f"{cell.text} ({unit})") if unit else cell
        for cell, unit in zip(rows[0], texts, strict=True)
    ]
    return [tuple(joined), *rows[2:]]


def unit_of_cells(index: int, body: Sequence[Row], *, sure: bool) -> Unit | None:
    """Return the unit a column's own cells name; None where they do not say.

    One cell in inches does not make inches of the others: the cell that differs is told instead.

    Args:
        index: the column's.
        body: the rows below the headings.
        sure: take only what more than half of the cells name; else half is enough, and so is the
            first cell, where many tables print the unit once.
    """
    cells = (row[index].text for row in body if index < len(row))
    found = [ranges[0].unit for text in cells if (ranges := _ranges_in(text))]
    named = Counter(unit for unit in found if unit is not None)
    if not named:
        return None
    unit, count = named.most_common(1)[0]
    if 2 * count > len(found) or (not sure and (2 * count == len(found) or found[0] == unit)):
        return unit
    return None


def _ranges_in(text: str) -> tuple[PrintedRange, ...]:
    """Return the range of a cell, or nothing where it holds none."""
    try:
        return (parse_range(text, None),)
    except UnitError:
        return ()


def _numbered(row: Row) -> list[tuple[int, GridCell]]:
    return list(enumerate(row, 1))


def _folded(text: str) -> str:
    return without_unsafe_joins(text)[0].casefold()
