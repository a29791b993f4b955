"""What the screen says of clearance: each leg in a line, each rule in a line, one of them whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from textual.content import Content

from fitcore.merge.clients import by_code, linked_sessions
from fitcore.points import LEGS, side_words
from fitcore.record.last_time import LastTime, sessions_before
from fitcore.record.readings import Readings
from fitcore.safety.clearance import judge_clearance, source_words
from fitcore.safety.outcomes import (
    Action,
    Clearance,
    FiredRule,
    Urgency,
    after_stop_words,
    outcome_words,
    urgency_words,
)
from fitcore.safety.shape import recorded_shapes, shape_words
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from fitcore.merge.clients import Clients
    from fitcore.record.session import Session
    from fitcore.rules import Rules
    from fitcore.safety.clearance import SessionClearance


def legs_content(clearance: SessionClearance) -> Content:
    """Return what was found for each leg, and what that means for fitting."""
    parts: list[str | tuple[str, str]] = []
    for side in LEGS:
        leg, answer = clearance.result.leg(side), clearance.leg(side)
        if not leg.asked:
            parts += [(f"{side_words(side):<7}", "bold"), say("not to be fitted"), "\n"]
            continue
        in_the_way = answer.offered and bool(recorded_shapes(clearance.session, side))
        style = "bold" if answer.offered and not in_the_way else "bold reverse"
        shown = say("may be fitted") if answer.offered else outcome_words(answer.clearance)
        if in_the_way:
            shown = say("not to fit: shape, a specialist first")
        told = say("  ABPI {abpi}", abpi=leg.abpi.shown) if leg.abpi.shown else ""
        if answer.offered and answer.highest_mmhg is not None:
            told += say("  at most {mmhg} mmHg, the highest printed", mmhg=answer.highest_mmhg)
        parts += [(f"{side_words(side):<7}", "bold"), (f" {shown} ", style), told, "\n"]
    prescribed = clearance.prescription
    if prescribed is not None:
        pressure, question = prescribed.pressure
        told = say("Prescribed: {words}.", words=pressure.words) if pressure else question
        parts.append(told)
    return Content.assemble(*parts)


def rule_lines(rules: Sequence[FiredRule]) -> list[str]:
    """Return each rule in one line: what it asks for, by when, which legs, what it is about."""
    cells = [
        (action_words(rule.action), urgency_words(rule.urgency), _sides_words(rule))
        for rule in rules
    ]
    widths = [max(map(cell_len, column)) + 2 for column in zip(*cells, strict=True)]
    return [
        "".join(set_cell_size(word, width) for word, width in zip(row, widths, strict=True))
        + rule.text
        for row, rule in zip(cells, rules, strict=True)
    ]


def _sides_words(rule: FiredRule) -> str:
    return say("both") if len(rule.sides) > 1 else " ".join(map(side_words, rule.sides))


def action_words(action: Action) -> str:
    """Return a rule's action in a word."""
    return {
        Action.HOLD: say("HOLD"),
        Action.STOP: say("STOP"),
        Action.ASK: say("ASK"),
        Action.NOTE: say("note"),
    }[action]


def rule_content(clearance: SessionClearance, rule: FiredRule | None) -> Content:
    """Return one rule whole, with its source, and what can be done about it."""
    if rule is None:
        told = shape_against(clearance) or say("No rule speaks against fitting.")
        told = "\n".join([told, *clearance.purpose_notes()])
        return Content(told)
    what_next = {
        Action.HOLD: say("No decision lifts this; F4 records a new assessment."),
        Action.STOP: say("F2 records the decision of a specialist."),
        Action.ASK: say("F2 records the decision of the prescriber."),
        Action.NOTE: "",
    }[rule.action]
    if rule.action in (Action.ASK, Action.STOP) and not rule.lifted_by:
        what_next = say("No decision lifts this here.")
    if rule.action is Action.HOLD and rule.found_in:
        what_next = say("No decision lifts this; its new assessment is recorded in that session.")
    if any(rule.id in decision.covers for decision in clearance.decisions):
        what_next = say("A decision about this is recorded.")
    return Content.assemble(
        (rule.text, "bold"),
        "\n",
        (source_words(rule.status, rule.source), "dim"),
        "\n",
        what_next,
    )


def shape_against(clearance: SessionClearance) -> str:
    """Say which legs' shape keeps every size back, as the result says it; empty where none does."""
    told = []
    for leg in clearance.result.legs:
        why = shape_words(recorded_shapes(clearance.session, leg.side)) if leg.asked else ""
        told += [f"{side_words(leg.side)}: {why}"] if why else []
    return " ".join(told)


def is_stopped(clearance: SessionClearance) -> bool:
    """Whether a stop stands on a leg that was to be fitted, or a hold on any leg or none."""
    legs = [clearance.leg(leg.side) for leg in clearance.result.legs if leg.asked]
    held = any(rule.action is Action.HOLD for rule in clearance.result.rules)
    stopped = (Clearance.STOP, Clearance.HOLD)
    return held or any(not leg.offered and leg.clearance in stopped for leg in legs)


def stopped_among(
    ids: Iterable[str],
    sessions: Mapping[str, Session],
    rules: Rules,
    on: date,
    links: Clients | None = None,
) -> frozenset[str]:
    """Return the ids of sessions a stop or a hold stands in.

    Args:
        ids: the sessions asked about.
        sessions: all sessions by id, to compare with the same client's earlier ones.
        rules: the rules of screening among them.
        on: today.
        links: which codes are one person's: a stop in one session holds in all.
    """
    asked = {name: sessions[name].text("client") for name in ids}
    clients = set(asked.values())
    theirs = [session for session in sessions.values() if session.text("client") in clients]
    known = by_code(sessions.values())
    found = set()
    for name, client in asked.items():
        session = sessions[name]
        last = LastTime(sessions_before(session, client, theirs))
        linked = linked_sessions(session, links, known)
        readings = Readings(session)
        judged = judge_clearance(session, readings, rules, on=on, last=last, linked=linked)
        if is_stopped(judged):
            found.add(name)
    return frozenset(found)


def advice(clearance: SessionClearance) -> str:
    """Return what to do now: the nearest urgency, and what is left of measuring."""
    result = clearance.result
    answers = [clearance.leg(leg.side) for leg in result.legs if leg.asked]
    stopped = is_stopped(clearance)
    if not stopped and not answers:
        return say("There is no leg to fit here.")
    if not stopped and all(answer.offered for answer in answers):
        shape = shape_against(clearance)
        if shape:
            return shape
        why_not = [leg.abpi.why_not for leg in result.legs if leg.abpi.why_not]
        told = [answer.why for answer in answers if result.rules]
        return next(iter((*why_not, *told)), "")
    if result.urgency is Urgency.NOW:
        return say("Call the emergency number NOW. F3 has the note to read out.")
    if stopped:
        return after_stop_words()
    return say("Measuring may go on; no size is offered before the prescriber has answered.")
