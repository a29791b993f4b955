"""The referral note of one session: plain text to hand on or to read out on the telephone. Pure.

It tells what was asked and measured, and by when somebody must act. It judges nothing itself, and
never says that there is no clot.
"""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.flags import Level, told_once
from fitcore.papers.referral_answers import AnswersTold, pressure_lines
from fitcore.papers.referral_readings import calf_lines, instant_words, reading_lines
from fitcore.points import side_words
from fitcore.safety.clearance import cautions
from fitcore.safety.decisions import role_words
from fitcore.safety.outcomes import Action, Clearance, Urgency, outcome_words, urgency_words
from fitcore.safety.screening_edits import RULES_USED, screening_words
from fitcore.safety.screening_result import GO
from fitcore.safety.session_answers import is_assessment
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime

    from fitcore.fit import SessionFit
    from fitcore.record.entries import Entry
    from fitcore.safety.decisions import Decision
    from fitcore.safety.outcomes import FiredRule
    from fitcore.safety.screening_result import LegScreening

_MARGIN = re.compile(r" *(?:- |[0-9]+\. )?")
_STEP = "  "
"""How far a line stands in below what it belongs to."""


def referral_lines(fit: SessionFit, *, width: int = 78, made_at: datetime) -> list[str]:
    """Write the note: by when somebody must act, what was found, and what was measured.

    Args:
        fit: the session with all that was judged of it.
        width: columns of the longest line.
        made_at: the instant the note is made, from the caller's clock.

    Returns:
        Lines of at most so many characters; whatever could steer a terminal is made visible.
    """
    answers = AnswersTold(fit.clearance)
    found = list(_found(fit, answers))
    sections = (
        (say("What was found"), found or [say("No rule fired.")]),
        (say("Other answers"), answers.others()),
        (say("Blood pressures"), pressure_lines(fit.clearance)),
        (say("Calves"), calf_lines(fit.clearance.calves)),
        (say("Measured"), reading_lines(fit)),
        (say("Doubts about what was measured"), _doubts(fit)),
        (say("Decisions and assessments"), _decided(fit)),
        (say("Remarks"), _remarks(fit)),
        (say("Who was told"), _told(fit)),
    )
    lines = [say("REFERRAL NOTE"), *_banner(fit, width), *_head(fit)]
    lines += [_leg_line(fit, leg) for leg in fit.clearance.result.legs]
    for heading, body in sections:
        if told := list(body):
            lines += ["", heading, *(f"{_STEP}{line}" for line in told)]
    lines += ["", *_foot(fit, made_at)]
    return [row for line in lines for row in _wrapped(line, width)]


def _banner(fit: SessionFit, width: int) -> list[str]:
    edge = "=" * width
    return [edge, *_urgent(fit), edge]


def _urgent(fit: SessionFit) -> Iterator[str]:
    """Say by when somebody must act; without a stop say that, and what it is worth."""
    result = fit.clearance.result
    yield {
        Urgency.NOW: say("NOW: call the emergency number. What was found stands below."),
        Urgency.TODAY: say(
            "TODAY: somebody must act today. What was found and who was told: below."
        ),
        Urgency.NEXT_WORKING_DAY: say(
            "BY THE NEXT WORKING DAY: somebody must act. What was found: below."
        ),
        Urgency.ROUTINE: say(
            "BEFORE FITTING: somebody must be asked. What was found stands below."
        ),
        Urgency.NONE: say("No stop was found. No referral follows from screening.")
        if result.outcome == GO
        else say("NOT SCREENED. Nothing here says that a leg may be fitted."),
    }[result.urgency]
    if result.outcome == GO:
        yield say("That alone rules nothing out.")
    if not result.complete:
        first = fit.clearance.rules.screening.questions.first_page
        present, _ = fit.clearance.told.present
        yield say(
            "Screening was not finished: {count} of {all} lines of the first page not answered.",
            count=sum(not present.of(question.id) for question in first),
            all=len(first),
        )


def _head(fit: SessionFit) -> list[str]:
    """Say whom, when and where; few lines, so that what was found stands on the first screen."""
    laptops = sorted({entry.by.laptop for entry in fit.session.entries})
    at = fit.session.measured_at
    return [
        say("Client: {client}", client=_side_by_side(fit, "client") or say("not named")),
        say("Measured by: {who}", who=_side_by_side(fit, "measurer") or say("not named")),
        say(
            "Date: {date}; laptop: {laptops}",
            date=instant_words(at) if at else say("not known"),
            laptops=", ".join(laptops) or say("not known"),
        ),
    ]


def _side_by_side(fit: SessionFit, what: str) -> str:
    return " / ".join(str(value) for value in fit.session.answer(what).values)


def _leg_line(fit: SessionFit, leg: LegScreening) -> str:
    side = side_words(leg.side)
    if not leg.asked:
        return say("{side}: not there, or not to be fitted.", side=side)
    answer = fit.clearance.leg(leg.side)
    line = say("{side}: {outcome}.", side=side, outcome=outcome_words(answer.clearance))
    told_already = any(rule.text in answer.why for rule in fit.clearance.result.rules_of(leg.side))
    if told_already or answer.clearance is Clearance.CLEARED:
        return line
    return f"{line} {answer.why}".rstrip()


def _found(fit: SessionFit, answers: AnswersTold) -> Iterator[str]:
    """Tell each rule that fired, the worst first, with what made it fire and its source."""
    for number, rule in enumerate(fit.clearance.result.rules, start=1):
        sides = ", ".join(side_words(side) for side in rule.sides)
        yield f"{number}. {sides}: {_action_words(rule)}"
        yield f"{_STEP}{rule.text}"
        yield from (f"{_STEP}- {because}" for because in answers.because(rule))
        if any(d.covers_rule(rule) and d.side in rule.sides for d in fit.clearance.decisions):
            yield _STEP + say("A decision about this is recorded below.")
        source = say("Source ({status}): {source}", status=rule.status, source=rule.source)
        yield f"{_STEP}{source}"


def _action_words(rule: FiredRule) -> str:
    action = {
        Action.NOTE: say("to know"),
        Action.ASK: outcome_words(Action.ASK),
        Action.STOP: outcome_words(Action.STOP),
        Action.HOLD: outcome_words(Action.HOLD),
    }[rule.action]
    if rule.urgency is Urgency.NONE:
        return f"{action}."
    return f"{action}; {urgency_words(rule.urgency)}."


def _doubts(fit: SessionFit) -> Iterator[str]:
    """Tell what is in doubt; what the calves say stands above already."""
    levels = {Level.WARN: say("doubt"), Level.BLOCK: say("must be settled")}
    calves = {finding.text for finding in fit.clearance.calves.findings}
    for flag in told_once(fit.flags):
        if flag.level in levels and flag.text not in calves:
            side = f"{side_words(flag.side)}: " if flag.side is not None else ""
            yield f"- {levels[flag.level]}: {side}{flag.text}"


def _decided(fit: SessionFit) -> Iterator[str]:
    told = [_decision_words(decision, fit) for decision in fit.clearance.decisions]
    told += [
        _assessment_words(entry, fit)
        for entry in fit.session.heads.live
        if entry.array in ("answers", "decisions") and is_assessment(entry)
    ]
    if not told:
        yield say("None recorded.")
    yield from (f"- {line}" for line in told)


def _decision_words(decision: Decision, fit: SessionFit) -> str:
    side = side_words(decision.side)
    if not decision.covers:
        words = " ".join(filter(None, (decision.by, role_words(decision.role), decision.why)))
        told = say("{side}: a decision that cannot be read whole: it allows nothing.", side=side)
        return f"{told} {words}".rstrip()
    told = say(
        "{side}: {words}. Decided on {day}, {how}. Why: {why}",
        side=side,
        words=decision.words,
        day=decision.decided_on.isoformat(),
        how=say("in writing") if decision.how == "written" else say("by telephone and read back"),
        why=decision.why,
    )
    day = fit.clearance.on
    if decision.holds_on(day) or decision.refuses:
        return told
    return say("{told} It does not hold on {day}.", told=told, day=day.isoformat())


def _assessment_words(entry: Entry, fit: SessionFit) -> str:
    what, value = entry.text("what"), entry.fields.get("is", "")
    told = say(
        "Assessed on {day} by {who}: {finding} From then on: {answer}",
        day=entry.fields["assessed_on"],
        who=entry.fields["assessed_by"],
        finding=entry.fields["finding"],
        answer=screening_words(fit.clearance.rules.screening, what, value),
    )
    if fit.session.heads.successors(entry):
        return say("{told} It was answered anew since.", told=told)
    return told


def _remarks(fit: SessionFit) -> Iterator[str]:
    for entry in fit.session.heads.heads_of("remarks"):
        first, *more = entry.text("text").split("\n")
        yield f"- {first}"
        yield from (f"{_STEP}{line}" for line in more)


def _told(fit: SessionFit) -> Iterator[str]:
    """Tell who was told; somebody told before somebody else was told all the same."""
    entries = [
        entry
        for entry in fit.session.heads.live
        if entry.array in ("answers", "decisions") and entry.text("what") == "told"
    ]
    if not entries:
        yield say("Told: ______________________________  at ______________")
    for entry in entries:
        yield say(
            "- {who}; recorded {at} on {laptop}.",
            who=entry.fields.get("is", ""),
            at=instant_words(entry.at) if entry.at is not None else say("at a time not known"),
            laptop=entry.by.laptop,
        )


def _foot(fit: SessionFit, made_at: datetime) -> Iterator[str]:
    yield say("This note tells what was asked and measured. It is no diagnosis.")
    yield cautions()
    stamp = fit.clearance.result.used.stamp
    yield say("Rules used: {stamp}.", stamp=stamp)
    for answered in fit.session.answer(RULES_USED).values:
        if answered != stamp:
            yield say("Rules in use when it was answered: {stamp}.", stamp=answered)
    made = instant_words(made_at)
    yield say("Note made: {date}, of session {session}.", date=made, session=fit.session.id)


def _wrapped(line: str, width: int) -> Iterable[str]:
    """Wrap a line as far in as it stands; below a dash or a number, as far in as its words."""
    safe = visible(line)
    margin = _MARGIN.match(safe)
    indent = " " * (len(margin[0]) if margin else 0)
    return textwrap.wrap(safe, width, subsequent_indent=indent, break_on_hyphens=False) or [""]
