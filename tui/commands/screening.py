"""`screen`: answers in a file against the rules of screening, or the questions themselves."""

from __future__ import annotations

import textwrap
import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.profile_files import load_standards
from fitcore.disk.screening_files import load_screening
from fitcore.disk.session_files import read_regular
from fitcore.points import side_words
from fitcore.problems import FileFault, Problem
from fitcore.safety.outcomes import after_stop_words, first_words, outcome_words, urgency_words
from fitcore.safety.prescription import beside_prescription, prescription_of
from fitcore.safety.screening import screen
from fitcore.safety.screening_answers import allowed_words, answers_from_table
from fitcore.safety.screening_result import GO
from fitcore.safety.told_difference import told_difference
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.points import Side
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_book import ScreeningBook
    from fitcore.safety.screening_model import Question, Questions
    from fitcore.safety.screening_result import LegScreening, ScreeningResult

WIDTH = 78
"""Columns of the longest line."""


def screen_answers(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Judge a file of answers, or print the questions; writes nothing.

    A line of the first page that is not answered counts as not known.
    """
    book, problems = _load(arguments.rules, data)
    if arguments.questions:
        return _print_questions(book.questions, problems)
    if arguments.answers is None:
        raise wrong_use(
            say("No file of answers is named."),
            say("Name a file, or print the questions with --questions."),
            key="ANSWERS",
        )
    table = _read_table(arguments.answers)
    answers, pressures, faults = answers_from_table(table, book.questions)
    if faults:  # judged by half of what was written, an outcome would be worth nothing
        told = [fault.at(path=visible(str(arguments.answers))) for fault in faults]
        document = {"problems": [fault.as_json() for fault in told]}
        return Outcome(ExitCode.NOT_DONE, document, [], [str(fault) for fault in told])
    today = surroundings.now().date()
    given = answers.with_absent_unknown(book.questions)
    result = screen(given, pressures, book, on=today, tape=told_difference(answers, book))
    prescription = prescription_of(given, load_standards(data))
    result = beside_prescription(result, prescription, book)
    return Outcome(
        ExitCode.FINE if result.outcome == GO else ExitCode.NEEDS_PERSON,
        result.as_json(),
        screening_lines(result),
        [str(problem) for problem in problems],
    )


def screening_lines(result: ScreeningResult) -> list[str]:
    """Write a result for people, at most 78 columns wide."""
    outcome = outcome_words(result.outcome)
    lines = [say("Result: {outcome}.", outcome=outcome)]
    if result.rules:
        lines.append(say("Act: {urgency}.", urgency=urgency_words(result.urgency)))
    for leg in result.legs:
        lines += _wrapped(_leg_words(leg), "  ")
    if result.max_mmhg is not None:
        text = say(
            "Without an ABPI: garments up to {mmhg} mmHg (upper printed limit, layers added).",
            mmhg=result.max_mmhg,
        )
        lines += _wrapped(text)
    for rule in result.rules:
        lines += ["", *_rule_words(rule)]
    if result.outcome in ("stop", "hold"):
        lines += ["", *_wrapped(after_stop_words())]
    lines += ["", *_wrapped(first_words())]
    return [*lines, *_wrapped(say("Rules used: {stamp}.", stamp=visible(result.used.stamp)))]


def _load(chosen: Path | None, data: Path) -> tuple[ScreeningBook, tuple[Problem, ...]]:
    """Load the rules: a file, a name of one shipped or the service's own, else those in use."""
    if chosen is None:
        return load_screening(data)
    if chosen.suffix != ".toml" and not chosen.exists():
        return load_screening(data, str(chosen))
    return load_screening(data, file=chosen)


def _read_table(path: Path) -> Mapping[str, object]:
    raw = read_regular(path)
    if isinstance(raw, Problem):
        raise FileFault(raw.at(path=visible(str(path))))
    try:
        return tomllib.loads(raw.decode("utf-8-sig"), parse_float=Decimal)
    except (ValueError, ArithmeticError, RecursionError) as error:
        # Not a line number but a number too large to hold: the reader tells it by another name.
        told = say("a number is too large") if isinstance(error, ArithmeticError) else str(error)
        raise FileFault(
            Problem(
                code="not_toml",
                text=say("The file cannot be read as TOML: {error}.", error=told),
                mend=say("Write [answers] and [pressures], a line for each."),
                path=visible(str(path)),
            )
        ) from error


def _leg_words(leg: LegScreening) -> str:
    side = side_words(leg.side)
    if not leg.asked:
        return say("{side}: not there, or not to be measured.", side=side)
    words = say("{side}: {found}.", side=side, found=outcome_words(leg.clearance))
    if leg.abpi.shown is not None:
        words = say("{words} ABPI {abpi}.", words=words, abpi=leg.abpi.shown)
    return f"{words} {leg.abpi.why_not}".rstrip()


def _rule_words(rule: FiredRule) -> list[str]:
    names = {
        "note": say("note"),
        "ask": say("ask"),
        "stop": say("stop"),
        "hold": say("stop, no decision lifts it"),
    }
    sides = ", ".join(side_words(side) for side in rule.sides)
    head = say(
        "{sides}: {action}, {urgency}",
        sides=sides,
        action=names[rule.action],
        urgency=urgency_words(rule.urgency),
    )
    source = say("Source ({status}): {source}", status=rule.status, source=rule.source)
    return [head, *_wrapped(rule.text, "  "), *_wrapped(source, "    ")]


def _print_questions(questions: Questions, problems: Iterable[Problem]) -> Outcome:
    document = {
        "questions": [
            _question_json(question, side)
            for question in questions.questions
            for side in question.sides
        ],
        "pressures": [
            {"id": p.id, "text": p.text, "low_mmhg": str(p.low), "high_mmhg": str(p.high)}
            for p in questions.pressures
        ],
    }
    lines: list[str] = []
    page = ""
    for question in questions.questions:
        if question.page != page:
            page = question.page
            lines += ["", f"[{_page_words(page)}]"] if lines else [f"[{_page_words(page)}]"]
        lines += [", ".join(question.ids), *_wrapped(question.text, "  ")]
        if question.kind != "yes_no_unknown":
            lines += _wrapped(allowed_words(question), "    ")
        lines += _wrapped(_opened_words(question), "    ")
    lines += ["", say("[blood pressures, in mmHg]")]
    lines += [f"{pressure.id}: {pressure.text}" for pressure in questions.pressures]
    return Outcome(ExitCode.FINE, document, lines, [str(problem) for problem in problems])


def _question_json(question: Question, side: Side | None) -> dict[str, object]:
    return {
        "id": question.id_of(side),
        "side": None if side is None else side.value,
        "text": question.text,
        "page": question.page,
        "kind": question.kind,
        "choices": list(question.choices),
        "opens": [{"question": o.question, "answers": list(o.answers)} for o in question.opens],
        "source": question.source,
        "status": question.status,
    }


def _opened_words(question: Question) -> str:
    if not question.opens:
        return ""
    parents = ", ".join(f"{opens.question} = {'/'.join(opens.answers)}" for opens in question.opens)
    return say("asked after {parents}, or unknown", parents=parents)


def _page_words(page: str) -> str:
    return {
        "ordinary": say("first page: asked of everybody"),
        "detail": say("asked after a yes"),
        "leg": say("asked after a yes, for each leg"),
        "legs": say("the legs"),
        "garment": say("the garment"),
        "prescription": say("the prescription"),
        "abpi": say("the ABPI"),
        "tape": say("after the tape"),
    }[page]


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)
