"""The referral note: what was found at one sitting, in plain text to read out or hand on. Pure.

It tells what was asked and measured, and never says that there is no clot.
"""

from __future__ import annotations

import textwrap
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.abpi import Missing, MmHg
from fitcore.clean_text import visible
from fitcore.clearance import cautions
from fitcore.decisions import DECISION_PREFIX, role_words
from fitcore.flags import Level, told_once
from fitcore.instants import long_date
from fitcore.outcomes import Urgency, first_words, outcome_words, urgency_words
from fitcore.points import LEGS, Kind, place_words, side_words
from fitcore.screening_answers import ANSWER_PREFIX, NO, PRESSURE_PREFIX, UNKNOWN, is_assessment
from fitcore.screening_questions import Asked
from fitcore.shoes import system_words
from fitcore.units import plain, show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime

    from fitcore.entries import Entry
    from fitcore.fit import LegFit, SessionFit
    from fitcore.outcomes import FiredRule
    from fitcore.readings import Adopted
    from fitcore.screening_answers import Answer
    from fitcore.screening_model import Question

_EMPTY_LINE = "____________________________"


def referral_lines(fit: SessionFit, *, made_at: datetime, width: int = 78) -> list[str]:
    """Write the note.

    Args:
        fit: the session with all judgements.
        made_at: when the note is made.
        width: columns of the longest line.

    Returns:
        Lines of at most so many columns, for any terminal, paper or telephone.
    """
    parts = [
        _head(fit, made_at),
        _outcome(fit),
        _section(say("What was found"), _rules(fit)),
        _section(say("What was answered"), _answers(fit)),
        _section(say("Blood pressures"), _pressures(fit)),
        _section(say("Readings"), (line for leg in fit.legs for line in _readings(leg))),
        _section(say("Doubts about the readings"), _doubts(fit)),
        _section(say("Decisions and assessments"), _decisions(fit)),
        _section(say("Remarks"), _remarks(fit)),
        _section(say("Who was told"), _told(fit)),
        ["", say("This note tells what was asked and measured. It is no diagnosis.")],
        [first_words(), cautions()],
        [say("Rules used: {stamp}.", stamp=fit.clearance.result.used.stamp)],
    ]
    return [line for part in parts for text in part for line in _wrapped(visible(text), width)]


def _head(fit: SessionFit, made_at: datetime) -> list[str]:
    session = fit.session
    at = session.measured_at
    laptops = sorted({entry.by.laptop for entry in session.entries})
    return [
        say("REFERRAL NOTE"),
        say("Client: {client}", client=fit.client or say("not named")),
        say(
            "Seen: {date}, by {who}",
            date=f"{long_date(at)}, {at:%H:%M %z}" if at else say("no date"),
            who=session.text("measurer") or say("not named"),
        ),
        say(
            "Note made: {date} on {laptops}",
            date=f"{long_date(made_at)}, {made_at:%H:%M %z}",
            laptops=", ".join(laptops) or say("no laptop"),
        ),
        "",
    ]


def _outcome(fit: SessionFit) -> list[str]:
    result = fit.clearance.result
    lines = []
    if result.urgency is Urgency.NOW:
        lines.append(say("URGENT: NOW. Call the emergency number."))
    elif result.urgency is not Urgency.NONE:
        lines.append(say("Act: {urgency}.", urgency=urgency_words(result.urgency)))
    if not result.complete:
        lines.append(say("Screening was not completed."))
    elif not result.rules:
        lines.append(say("Screening found no stop; no referral follows from it."))
    for side in LEGS:
        leg = result.leg(side)
        told = outcome_words(leg.clearance) if leg.asked else say("not there, or not to be fitted")
        lines.append(f"{side_words(side)}: {told}.")
    return lines


def _rules(fit: SessionFit) -> Iterator[str]:
    for rule in fit.clearance.result.rules:
        yield _rule_words(rule)
    for found in fit.clearance.calves.findings:
        yield f"- {found.text}"


def _rule_words(rule: FiredRule) -> str:
    sides = ", ".join(side_words(side) for side in rule.sides)
    return say(
        "- {sides}: {text} Source ({status}): {source}",
        sides=sides,
        text=rule.text,
        status=rule.status,
        source=rule.source,
    )


def _answers(fit: SessionFit) -> Iterator[str]:
    """Tell the answers that are anything else than a plain no."""
    questions = fit.clearance.rules.screening.questions
    answers, _ = fit.clearance.told.present
    asked = Asked(answers, questions, fit.clearance.told.sides)
    for question in questions.questions:
        for side in question.sides:
            given = answers.of(question.id_of(side))
            worth = given if question.id in _BOTH_WAYS else [a for a in given if a != NO]
            if not worth and asked.is_open(question, side) and question.opens and not given:
                worth = [] if question.may_stay_open else [UNKNOWN]
            if worth:
                told = " / ".join(_answer_words(question, answer) for answer in worth)
                leg = f"{side_words(side)}: " if side is not None else ""
                yield f"- {leg}{question.text} {told}"


_BOTH_WAYS = (
    "touch_felt",
    "foot_check",
    "midwife_knows",
    "prescriber_knows",
    "larger_leg_explained",
)
"""Questions whose *no* is worth telling."""


def _answer_words(question: Question, answer: Answer) -> str:
    if answer == UNKNOWN:
        return say("not known")
    return question.choice_words(answer) if isinstance(answer, str) else plain(answer)


def _pressures(fit: SessionFit) -> Iterator[str]:
    questions = fit.clearance.rules.screening.questions
    _, taken = fit.clearance.told.present
    for pressure in questions.pressures:
        given = [value for value in taken.of(pressure.id) if value is not None]
        if given:
            told = " / ".join(_mmhg_words(value) for value in given)
            yield f"- {pressure.text}: {told}"
    if taken.one_arm_why:
        yield say("- One arm only: {why}", why=taken.one_arm_why)
    if taken.taken_on is not None:
        yield say("- Taken on {day}", day=taken.taken_on.isoformat())
    for leg in fit.clearance.result.legs:
        if leg.abpi.shown is not None:
            index = say("- {side}: ABPI {abpi}", side=side_words(leg.side), abpi=leg.abpi.shown)
            yield f"{index}. {leg.abpi.why_not}".rstrip()


def _mmhg_words(value: MmHg) -> str:
    if isinstance(value, Decimal):
        return say("{mmhg} mmHg", mmhg=plain(value))
    return {
        Missing.NOT_OBTAINED: say("could not be obtained"),
        Missing.NOT_COMPRESSIBLE: say("would not compress"),
    }[value]


def _readings(leg: LegFit) -> Iterator[str]:
    side = side_words(leg.side)
    for value in leg.adopted:
        yield f"- {side} {_value_words(value)}"
    for missing in leg.not_taken:
        yield f"- {side} {missing}"
    if leg.times is not None and leg.times.hours_up is not None:
        yield say("- {side}: {hours:.1f} h after rising", side=side, hours=leg.times.hours_up)


def _value_words(value: Adopted) -> str:
    what = place_words(value.point, value.kind)
    if value.kind is Kind.SHOE and value.value is not None:
        return f"{what}: {system_words(value.system or 'eu')} {plain(value.value)}"
    if value.spread_mm is None:
        return say("{what}: {cm} cm, read once", what=what, cm=show_cm(value.mm))
    return say(
        "{what}: {cm} cm, of {count} readings {spread} mm apart",
        what=what,
        cm=show_cm(value.mm),
        count=value.readings,
        spread=plain(value.spread_mm),
    )


def _doubts(fit: SessionFit) -> Iterator[str]:
    for flag in told_once(fit.flags):
        if flag.level is not Level.NOTE and flag.about != "screening":
            leg = f"{side_words(flag.side)}: " if flag.side else ""
            yield f"- {leg}{flag.text}"


def _decisions(fit: SessionFit) -> Iterator[str]:
    for decision in fit.clearance.decisions:
        yield say(
            "- {side}: {words}. {why} ({how}, {day}, {role})",
            side=side_words(decision.side),
            words=decision.words,
            why=decision.why,
            how=say("in writing") if decision.how == "written" else say("read back"),
            day=decision.decided_on.isoformat(),
            role=role_words(decision.role),
        )
    for entry in sorted(fit.session.heads.live, key=lambda entry: entry.by):
        what = entry.text("what")
        if is_assessment(entry) and not what.startswith(DECISION_PREFIX):
            yield say(
                "- Assessed on {day} by {who}: {finding} ({what}: {is_now})",
                day=entry.fields["assessed_on"],
                who=entry.text("assessed_by"),
                finding=entry.text("finding"),
                what=what.removeprefix(ANSWER_PREFIX).removeprefix(PRESSURE_PREFIX),
                is_now=entry.fields.get("is"),
            )


def _remarks(fit: SessionFit) -> Iterator[str]:
    for entry in fit.session.heads.heads_of("remarks"):
        yield f"- {entry.text('text')}"


def _told(fit: SessionFit) -> list[str]:
    heads = fit.session.answer("told").heads
    if not heads:
        return [say("Told: {line} at {line}", line=_EMPTY_LINE)]
    return [_told_words(entry) for entry in heads]


def _told_words(entry: Entry) -> str:
    at = f"{long_date(entry.at)}, {entry.at:%H:%M %z}" if entry.at else say("no time")
    return say("- {who}, {at}", who=entry.text("is"), at=at)


def _section(title: str, lines: Iterable[str]) -> list[str]:
    body = list(lines)
    return ["", title, *body] if body else []


def _wrapped(text: str, width: int) -> list[str]:
    if not text:
        return [""]
    indent = "  " if text.startswith("- ") else ""
    return textwrap.wrap(text, width, subsequent_indent=indent, break_on_hyphens=False)
