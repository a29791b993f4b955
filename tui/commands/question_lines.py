"""Open questions as the verbs print them, for people and as JSON: values, and who brought them."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.instants import write_instant
from fitcore.merge.clients import DISTINCT
from fitcore.safety.decisions import DECISION_PREFIX, role_words
from fitcore.units import plain
from fitcore.words import say
from tui.wording.changed_lines import change_words, line_now, unsealed_codes, unsealed_words
from tui.wording.questions import (
    choice_of,
    question_words,
    safety_words,
    seen_words,
)
from tui.wording.sittings import codes_of, person_words, when_words

if TYPE_CHECKING:
    from fitcore.disk.archive_parts import Questions
    from fitcore.merge.conflicts import Candidate, Conflict, Origin
    from fitcore.merge.proposals import ChangedFile, Proposal
    from tui.wording.clocks import KnownClocks


def conflict_json(
    conflict: Conflict, questions: Questions, clocks: KnownClocks
) -> dict[str, object]:
    """Return a question in the shape `conflicts --json` prints."""
    return {
        "id": conflict.id,
        "session": conflict.session or None,
        "client": codes_of(questions.sessions.get(conflict.session)) or None,
        "kind": conflict.kind,
        "field": conflict.field,
        "safety": conflict.is_safety,
        "values": [
            {
                "choose": choice_of(conflict, candidate)
                if may_choose(conflict, candidate)
                else None,
                "value_mm": _mm(candidate),
                "max_mmhg": _highest_mmhg(conflict, candidate),
                "role": _role(conflict, candidate),
                "from": [_origin_json(origin, clocks) for origin in candidate.origins],
            }
            for candidate in conflict.candidates
        ],
    }


def proposal_json(proposal: Proposal) -> dict[str, object]:
    """Return a changed line in the shape `conflicts --json` prints."""
    return {
        "id": proposal.id,
        "about": proposal.about.place,
        "entry": str(proposal.name),
        "change": proposal.change.value,
        "sealed": [entry.line for entry in proposal.sealed],
        "proposed": proposal.proposed.line if proposal.proposed is not None else None,
        "found_in": list(proposal.paths),
    }


def file_json(found: ChangedFile) -> dict[str, object]:
    """Return a file with several unvouched lines in the shape `conflicts --json` prints."""
    return {
        "id": found.id,
        "about": found.about.place,
        "lines": len(found.proposals),
        "laptops": list(found.laptops),
        "found_in": list(found.paths),
        "proposals": [proposal.id for proposal in found.proposals],
    }


def conflict_lines(conflict: Conflict, questions: Questions, clocks: KnownClocks) -> list[str]:
    """Write a question for people, its values below each other."""
    head = say("{id}  {about}", id=conflict.id, about=question_words(conflict, questions))
    lines = [head, *([f"  {safety_words()}"] if conflict.is_safety else [])]
    for candidate in conflict.candidates:
        choice = choice_of(conflict, candidate)
        if not may_choose(conflict, candidate):
            choice = say("{choice}: say it with unlink and distinct, two at a time", choice=choice)
        lines.append(f"  {choice}")
        lines += _decision_lines(conflict, candidate)
        lines += [f"    {origin_words(origin, clocks)}" for origin in candidate.origins]
    return lines


def proposal_lines(proposal: Proposal) -> list[str]:
    """Write a changed line for people: before and after below each other."""
    head = say(
        "{id}  {place} {entry}: {change}",
        id=proposal.id,
        place=proposal.about.place,
        entry=str(proposal.name),
        change=change_words(proposal),
    )
    return [
        head,
        *(say("  sealed: {line}", line=entry.line) for entry in proposal.sealed),
        say("  now: {line}", line=line_now(proposal)),
        say("  found in {paths}", paths=", ".join(proposal.paths)),
    ]


def file_lines(found: ChangedFile, questions: Questions) -> list[str]:
    """Write a file with several unvouched lines for people, as one item."""
    client = unsealed_codes(found, questions.sessions.get(found.about.name))
    head = say("{id}  {what}", id=found.id, what=unsealed_words(found))
    laptops = ", ".join(found.laptops)
    return [
        say("{head} (client {client})", head=head, client=client) if client else head,
        say(
            "  First fetch the newest folder of {laptops} and merge it: then only what was really "
            "changed is asked.",
            laptops=laptops,
        ),
        say("  Or answer for all of them: decide {id} refused, or taken.", id=found.id),
        say("  found in {paths}", paths=", ".join(found.paths)),
    ]


def origin_words(origin: Origin, clocks: KnownClocks) -> str:
    """Write who brought a value, when by the laptop's own clock, and what they had seen."""
    words = say(
        "{entry}: {who}, {when} by the clock of {laptop}",
        entry=str(origin.entry.by),
        who=person_words(origin.measurer),
        when=when_words(clocks.shown(origin.entry, origin.zone)),
        laptop=origin.laptop,
    )
    if remark := clocks.remark(origin.entry):
        words = say("{words} ({remark})", words=words, remark=remark)
    if origin.is_decision:
        words = say("{words}; a decision", words=words)
    seen = seen_words(origin)
    return say("{words}; had seen: {seen}", words=words, seen=seen) if seen else words


def may_choose(conflict: Conflict, candidate: Candidate) -> bool:
    """Whether one answer can give this value: of three codes, which two differ is not said."""
    codes = conflict.field.split(" = ")
    of_codes = conflict.kind in ("clients", "group")
    return not (of_codes and candidate.value == DISTINCT and len(codes) > 2)


def _decision_lines(conflict: Conflict, candidate: Candidate) -> list[str]:
    """Say what a prescriber's decision allows and who decided: the words alone may be the same."""
    if not conflict.field.startswith(DECISION_PREFIX):
        return []
    highest, role = _highest_mmhg(conflict, candidate), _role(conflict, candidate)
    return [
        say(
            "    at most {mmhg} mmHg; decided by {whom}, {role}",
            mmhg=highest if highest is not None else "?",
            whom=candidate.entries[0].text("by_whom") or "?",
            role=role_words(role) if role else "?",
        )
    ]


def _highest_mmhg(conflict: Conflict, candidate: Candidate) -> str | None:
    """Return the highest pressure a prescriber's decision allows; None for anything else."""
    value = candidate.entries[0].fields.get("highest_mmhg")
    if not conflict.field.startswith(DECISION_PREFIX) or isinstance(value, bool):
        return None
    return plain(Decimal(value)) if isinstance(value, int | Decimal) else None


def _role(conflict: Conflict, candidate: Candidate) -> str | None:
    """Return the role of whoever decided, as it is stored; None for anything else."""
    role = candidate.entries[0].text("role")
    return role or None if conflict.field.startswith(DECISION_PREFIX) else None


def _mm(candidate: Candidate) -> str | None:
    is_length = candidate.entries[0].fields.get("mm") is not None
    value = candidate.value
    return plain(value) if is_length and isinstance(value, Decimal) else None


def _origin_json(origin: Origin, clocks: KnownClocks) -> dict[str, object]:
    at = clocks.shown(origin.entry, origin.zone)
    return {
        "entry": str(origin.entry.by),
        "laptop": origin.laptop,
        "who": origin.measurer or None,
        "at": write_instant(at) if at is not None else None,
        "clock_doubtful": clocks.notes_differ(origin.entry),
        "decision": origin.is_decision,
        "had_seen": [seen.name for seen in origin.saw],
    }
