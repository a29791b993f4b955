"""Open questions as words and as JSON: every value with who brought it and what they had seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.instants import write_instant
from fitcore.merge.clients import DISTINCT, LINKED
from fitcore.merge.clock_notes import clock_notes, shown_at
from fitcore.merge.conflicts import STRUCK_OUT, conflict_words
from fitcore.record.fields import answer_words
from fitcore.safety.decisions import DECISION_PREFIX, role_words
from fitcore.units import plain, show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.disk.archive_parts import Questions
    from fitcore.merge.conflicts import Candidate, Conflict, Origin
    from fitcore.merge.proposals import ChangedFile, Proposal
    from fitcore.record.entries import Entry, Value


def choice_of(conflict: Conflict, candidate: Candidate) -> str:
    """Return what is typed to choose a value: alike only for lines that differ otherwise."""
    value = candidate.value
    if conflict.kind in ("answer", "clients", "group") or value == STRUCK_OUT:
        return typed_form(value)
    entry = candidate.entries[0]
    if entry.fields.get("mm") is not None and isinstance(value, Decimal):
        return f"{show_cm(value)} cm"
    system = entry.text("system").replace("_", " ").upper()
    return f"{system} {typed_form(value)}".strip()


def may_choose(conflict: Conflict, candidate: Candidate) -> bool:
    """Whether one answer can give this value: of three codes, which two differ is not said."""
    codes = conflict.field.split(" = ")
    of_codes = conflict.kind in ("clients", "group")
    return not (of_codes and candidate.value == DISTINCT and len(codes) > 2)


def typed_form(value: Value) -> str:
    """Write a value as it is typed."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | Decimal):
        return plain(Decimal(value))
    if isinstance(value, str):
        return value
    if isinstance(value, datetime):
        return write_instant(value)
    if isinstance(value, Sequence):
        return ", ".join(str(item) for item in value)
    return value.isoformat()


def conflict_json(conflict: Conflict, questions: Questions) -> dict[str, object]:
    """Return a question in the shape `conflicts --json` prints."""
    return {
        "id": conflict.id,
        "session": conflict.session or None,
        "client": client_of(questions, conflict.session),
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
                "from": [_origin_json(origin, questions) for origin in candidate.origins],
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


def conflict_lines(conflict: Conflict, questions: Questions) -> list[str]:
    """Write a question for people, its values below each other."""
    sign = say("! safety: until it is answered the more careful value rules")
    head = say("{id}  {about}", id=conflict.id, about=question_words(conflict, questions))
    lines = [head, *([f"  {sign}"] if conflict.is_safety else [])]
    for candidate in conflict.candidates:
        choice = choice_of(conflict, candidate)
        if not may_choose(conflict, candidate):
            choice = say("{choice}: say it with unlink and distinct, two at a time", choice=choice)
        lines.append(f"  {choice}")
        lines += _decision_lines(conflict, candidate)
        lines += [f"    {origin_words(origin, questions)}" for origin in candidate.origins]
    return lines


def question_words(conflict: Conflict, questions: Questions) -> str:
    """Return what a question is about, with its client."""
    about = conflict_words(conflict)
    if conflict.kind == "clients":
        return say("{codes}: one person, or not?", codes=about)
    if conflict.kind == "group":
        return say("{codes}: are all of these one person?", codes=about)
    client = client_of(questions, conflict.session) or say("no client's code")
    return say("{client}: {about}", client=client, about=about)


def origin_words(origin: Origin, questions: Questions) -> str:
    """Write who brought a value, when by the laptop's own clock, and what they had seen."""
    at, doubtful = shown_at(origin.entry, clock_notes(questions.clients.ledgers))
    words = say(
        "{entry}: {who}, {when} by the clock of {laptop}",
        entry=str(origin.entry.by),
        who=who_words(origin),
        when=when_words(at),
        laptop=origin.laptop,
    )
    if doubtful:
        words = say("{words} (that clock is in doubt)", words=words)
    if origin.is_decision:
        words = say("{words}; a decision", words=words)
    seen = seen_words(origin)
    return say("{words}; had seen: {seen}", words=words, seen=seen) if seen else words


def who_words(origin: Origin) -> str:
    """Return who brought a value."""
    return origin.measurer or say("nobody named")


def when_words(at: datetime | None) -> str:
    """Return when a line was written, by the local time of its laptop."""
    return f"{at:%Y-%m-%d %H:%M}" if at is not None else say("no time")


def seen_words(origin: Origin) -> str:
    """Return what a writer had seen and replaced; empty where it is nothing."""
    seen = [
        said_by(seen.entry) if seen.entry is not None else say("{name}, not here", name=seen.name)
        for seen in origin.saw
    ]
    return ", ".join(seen)


def said_by(entry: Entry) -> str:
    """Return what an entry says, shortly."""
    mm = entry.fields.get("mm")
    if isinstance(mm, Decimal):
        return f"{show_cm(mm)} cm"
    for key in ("is", "value", "not_taken", "typed"):
        if (value := entry.fields.get(key)) is not None:
            return answer_words(value)
    words = {"links": LINKED, "distincts": DISTINCT}
    return words.get(entry.array, entry.array)


def proposal_lines(proposal: Proposal) -> list[str]:
    """Write a changed line for people: before and after below each other."""
    head = say(
        "{id}  {place} {entry}: {change}",
        id=proposal.id,
        place=proposal.about.place,
        entry=str(proposal.name),
        change=change_words(proposal),
    )
    now = proposal.proposed.line if proposal.proposed is not None else say("not there")
    return [
        head,
        *(say("  sealed: {line}", line=entry.line) for entry in proposal.sealed),
        say("  now: {line}", line=now),
        say("  found in {paths}", paths=", ".join(proposal.paths)),
    ]


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


def file_lines(found: ChangedFile, questions: Questions) -> list[str]:
    """Write a file with several unvouched lines for people, as one item."""
    codes = {e.text("is") for p in found.proposals if (e := p.proposed) and _is_client(e)}
    client = ", ".join(sorted(codes)) or client_of(questions, found.about.name)
    head = say(
        "{id}  {place}: {count} lines that no sealed copy here holds",
        id=found.id,
        place=found.about.place,
        count=len(found.proposals),
    )
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


def _is_client(entry: Entry) -> bool:
    return entry.text("what") == "client"


def change_words(proposal: Proposal) -> str:
    """Return what was done to a line."""
    return {
        "changed": say("changed outside the program"),
        "added": say("added outside the program, or its sealed file has not come"),
        "missing": say("removed outside the program"),
    }[proposal.change.value]


def client_of(questions: Questions, session_id: str) -> str | None:
    """Return the client's code of a session, several where they are in question."""
    session = questions.sessions.get(session_id)
    values = session.answer("client").values if session is not None else ()
    return " / ".join(str(value) for value in values) or None


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


def _origin_json(origin: Origin, questions: Questions) -> dict[str, object]:
    at, doubtful = shown_at(origin.entry, clock_notes(questions.clients.ledgers))
    return {
        "entry": str(origin.entry.by),
        "laptop": origin.laptop,
        "who": origin.measurer or None,
        "at": write_instant(at) if at is not None else None,
        "clock_doubtful": doubtful,
        "decision": origin.is_decision,
        "had_seen": [seen.name for seen in origin.saw],
    }
