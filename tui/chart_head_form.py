"""What a leaflet says beside its table: the lines to ask, and what they are in a chart file."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, cast

from fitcore.clean_text import clean
from fitcore.lint.lint_pressure import classes_words
from fitcore.pressures.pressure import find_class, find_standard
from fitcore.tables.leaflet import read_day, read_printed
from fitcore.units import plain
from fitcore.words import mark, say
from tui.chart_head_reading import (
    purpose_hint,
    read_id,
    read_mmhg,
    read_purposes,
    read_source,
    read_step,
    read_words,
    standard_reader,
)
from tui.question_form import Ask

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fitcore.pressures.pressure_model import PressureStandard
    from fitcore.record.entries import Value
    from fitcore.tables.table_values import PrintedGap

_LONGEST_ID = 48
_CHOICES: dict[str, tuple[tuple[str, str], ...]] = {
    "form": (
        ("below_knee", mark("below knee")),
        ("mid_calf", mark("mid-calf")),
        ("half_thigh", mark("half thigh")),
        ("thigh", mark("thigh")),
        ("tights", mark("tights")),
        ("footless_sleeve", mark("footless sleeve")),
    ),
    "toe": (
        ("open", mark("open")),
        ("closed", mark("closed")),
        ("soft_cap", mark("soft cap")),
        ("none", mark("no toe")),
    ),
    "posture": (
        ("standing", mark("standing")),
        ("sitting", mark("sitting")),
        ("lying", mark("lying")),
    ),
    "status": (
        ("read", mark("read off the leaflet")),
        ("second hand", mark("second hand")),
        ("from memory", mark("from memory")),
        ("invented", mark("invented")),
    ),
    "overlap": (
        ("larger", mark("the larger")),
        ("smaller", mark("the smaller")),
        ("ankle", mark("the ankle decides")),
        ("ask", mark("not said: ask me")),
    ),
    "sold": (("pair", mark("in pairs")), ("single", mark("singly"))),
    "made": (("off_the_shelf", mark("off the shelf")), ("to_measure", mark("to measure"))),
    "unit": (("cm", "cm"), ("mm", "mm"), ("in", mark("inches"))),
}
_NEEDED = ("maker", "line", "id", "form", "toe", "purposes", "posture", "source", "status")
_PRESSURE = ("mmhg", "standard", "class")


def head_asks(
    answers: Mapping[str, Value],
    gaps: Sequence[PrintedGap],
    *,
    shoes: bool,
    gap_columns: Mapping[str, str] | None = None,
    standards: Sequence[PressureStandard] = (),
) -> tuple[Ask, ...]:
    """Return the lines of the head that belong to what was answered so far.

    Args:
        answers: what was answered.
        gaps: the narrowest gap of each column: a step of the print, or one the maker means.
        shoes: whether a column holds shoe sizes.
        gap_columns: dimension id and words of each column with a gap the maker may mean.
        standards: the pressure standards known here.
    """
    lengths = [gap for gap in gaps if not gap.column.is_shoe]
    shoe_gaps = [gap for gap in gaps if gap.column.is_shoe]
    asks = [
        _text("maker", say("Who makes it?")),
        _text("line", say("Which line of garments is the table of?")),
        _typed(
            "id",
            say("Short name of the chart, its file's name"),
            read_id,
            proposed=_slug(answers),
        ),
        _choice("form", say("Form of the garment")),
        _choice("toe", say("Its toe")),
        _typed("purposes", say("What it is for"), read_purposes, hint=purpose_hint()),
        _choice("posture", say("Posture the maker wants legs measured in")),
        _choice("unit", say("Unit of the printed table")),
    ]
    if lengths:
        asks.append(_step("step_mm", min(lengths, key=lambda gap: gap.width)))
    if shoe_gaps or shoes:
        asks.append(
            _step("shoe_step", min(shoe_gaps, key=lambda gap: gap.width, default=None), shoe=True)
        )
    asks += [
        _typed(
            "source",
            say("The leaflet: its title and page"),
            read_source,
            hint=say("? where nobody knows it"),
        ),
        _choice("status", say("How you know the numbers")),
        _typed(
            "printed",
            say("When it was printed"),
            read_printed,
            hint=say("such as 2026-03-04 or 03/2026; Enter leaves it out"),
        ),
        *_pressure_asks(answers, standards),
        _choice("overlap", say("Which size where two hold"), needed=False),
        *(_gap(name, words) for name, words in (gap_columns or {}).items()),
        _choice("sold", say("How it is sold"), needed=False),
        _choice("made", say("How it is made"), needed=False),
        _day("valid_from", say("First day the table holds")),
        _day("valid_until", say("Last day the table holds")),
    ]
    if any(answers.get(key) for key in _PRESSURE):  # one of the three is nothing without the others
        asks = [replace(ask, may_stay_open=False) if ask.what in _PRESSURE else ask for ask in asks]
    return tuple(asks)


def missing_keys(head: Mapping[str, Value], gaps: Sequence[PrintedGap]) -> tuple[str, ...]:
    """Return what a chart cannot be without and nobody has said yet."""
    needed = [*_NEEDED, *(_PRESSURE if any(head.get(key) for key in _PRESSURE) else ())]
    missing = [key for key in needed if not head.get(key)]
    steps = {"shoe_step" if gap.column.is_shoe else "step_mm" for gap in gaps}
    return (*missing, *sorted(step for step in steps if head.get(step) is None))


def head_values(head: Mapping[str, Value]) -> dict[str, object]:
    """Return the head's keys as a chart file has them; nothing that is needed may be missing."""
    low_high = re.findall(r"[0-9.]+", str(head.get("mmhg") or ""))
    pressure = {
        "mmhg": [Decimal(end) for end in low_high],
        "standard": head.get("standard"),
        "class": head.get("class"),
    }
    return {
        **{key: head.get(key) for key in ("id", "maker", "line", "form", "toe", "posture")},
        "invented": True if head.get("status") == "invented" else None,
        "purposes": str(head.get("purposes") or "").split(", "),
        "step_mm": head.get("step_mm") or Decimal(0),
        "overlap": head.get("overlap") or "ask",
        "sold": head.get("sold"),
        "made": head.get("made"),
        "valid_from": head.get("valid_from"),
        "valid_until": head.get("valid_until"),
        "source": {
            "status": head.get("status"),
            "text": head.get("source"),
            "printed": head.get("printed"),
        },
        "pressure": pressure if low_high else None,
    }


def head_of_values(values: Mapping[str, object]) -> dict[str, Value]:
    """Return the answers a chart file stands for.

    Args:
        values: the file as `tomllib` reads it, numbers as Decimal.
    """
    source, pressure = _table(values, "source"), _table(values, "pressure")
    mmhg = pressure.get("mmhg")
    purposes = values.get("purposes")
    step = values.get("step_mm")
    found = {
        **{key: values.get(key) for key in ("id", "maker", "line", "form", "toe", "posture")},
        **{key: values.get(key) for key in ("unit", "sold", "made")},
        "overlap": values.get("overlap", "ask"),
        **{key: values.get(key) for key in ("valid_from", "valid_until")},
        "purposes": ", ".join(map(str, purposes)) if isinstance(purposes, list) else None,
        "step_mm": Decimal(str(step)) if isinstance(step, int | Decimal) else None,
        "source": source.get("text"),
        "status": "invented" if values.get("invented") is True else source.get("status"),
        "printed": source.get("printed"),
        "mmhg": "-".join(map(str, mmhg)) if isinstance(mmhg, list) else None,
        "standard": pressure.get("standard"),
        "class": pressure.get("class"),
    }
    return {
        key: cast("Value", clean(value).text if isinstance(value, str) else value)
        for key, value in found.items()
        if isinstance(value, str | date | Decimal)
    }


def title_of(head: Mapping[str, Value]) -> str:
    """Return maker and line, as far as they were said."""
    return " ".join(str(head[key]) for key in ("maker", "line") if head.get(key))


# -------------------------------------------------------------------------------------------------


def _table(values: Mapping[str, object], key: str) -> Mapping[str, object]:
    value = values.get(key)
    return value if isinstance(value, dict) else {}


def _choice(what: str, text: str, *, needed: bool = True) -> Ask:
    choices = tuple((stored, say(words)) for stored, words in _CHOICES[what])
    return Ask(what, text, choices=choices, may_stay_open=not needed, knows_unknown=False)


def _gap(dimension: str, words: str) -> Ask:
    choices = (
        ("none", say("no size")),
        ("nearest", say("the nearer size")),
        ("larger", say("the larger size")),
    )
    text = say("Gap {what}: which holds", what=words)
    return Ask(f"gap_{dimension}", text, choices=choices, may_stay_open=True, knows_unknown=False)


def _pressure_asks(
    answers: Mapping[str, Value], standards: Sequence[PressureStandard]
) -> list[Ask]:
    """Return standard, class and mmHg; the mmHg of a class that is known are proposed."""
    names = [f"{number} {standard.name}" for number, standard in enumerate(standards, 1)]
    known = find_standard(standards, str(answers.get("standard", "")))
    named = find_class(known, str(answers.get("class", ""))) if known is not None else None
    own = named.own if named is not None else None
    figures = ""
    if own is not None and own.high_mmhg is not None:
        figures = f"{plain(own.low_mmhg)}-{plain(own.high_mmhg)}"
    return [
        _typed(
            "standard",
            say("Standard its pressure class is of"),
            standard_reader(standards),
            hint=say("a number, or as printed: {names}", names="  ".join(names))
            if names
            else say("as printed on the garment"),
        ),
        _typed(
            "class",
            say("Its pressure class"),
            read_words,
            hint=say("such as {names}", names=classes_words(known))
            if known is not None
            else say("as printed on the garment"),
        ),
        _typed(
            "mmhg",
            say("Pressure on the garment in mmHg"),
            read_mmhg,
            hint=say("what {named} has; compare it with the garment", named=named.words)
            if named is not None
            else say("both ends, such as 18-21"),
            proposed=figures,
        ),
    ]


def _text(what: str, text: str) -> Ask:
    return Ask(what, text, parse=read_words, may_stay_open=what not in _NEEDED, knows_unknown=False)


def _typed(
    what: str, text: str, parse: Callable[[str], Value], *, hint: str = "", proposed: str = ""
) -> Ask:
    return Ask(
        what,
        text,
        parse=parse,
        hint=hint,
        proposed=proposed,
        may_stay_open=what not in _NEEDED,
        knows_unknown=False,
    )


def _day(what: str, text: str) -> Ask:
    return _typed(what, text, read_day, hint=say("such as 2026-03-04; Enter leaves it out"))


def _step(what: str, gap: PrintedGap | None, *, shoe: bool = False) -> Ask:
    if gap is None:
        hint = say("1 for whole sizes, 0.5 for half ones")
    else:
        hint = say(
            "no size holds what lies between {below} and {above}: {width} if that is only how it "
            "is printed, 0 if the maker means a gap",
            below=gap.below,
            above=gap.above,
            width=plain(gap.width),
        )
    text = say("Step of the printed shoe sizes") if shoe else say("Step of the printed table, mm")
    return Ask(what, text, parse=read_step, hint=hint, knows_unknown=False)


def _slug(answers: Mapping[str, Value]) -> str:
    letters = unicodedata.normalize("NFKD", title_of(answers)).casefold()
    slug = "-".join(re.findall(r"[a-z0-9]+", letters.encode("ascii", "ignore").decode()))
    return slug[:_LONGEST_ID].strip("-")
