"""Open questions in words: what they are about, what to choose from, what each writer had seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.instants import write_instant
from fitcore.merge.clients import DISTINCT, LINKED
from fitcore.merge.conflicts import STRUCK_OUT, conflict_words
from fitcore.record.fields import answer_words
from fitcore.units import plain, show_cm
from fitcore.words import say
from tui.wording.sittings import client_words

if TYPE_CHECKING:
    from fitcore.disk.archive_parts import Questions
    from fitcore.merge.conflicts import Candidate, Conflict, Origin
    from fitcore.record.entries import Entry, Value


def question_words(conflict: Conflict, questions: Questions) -> str:
    """Return what a question is about, with its client."""
    about = conflict_words(conflict)
    if conflict.kind == "clients":
        return say("{codes}: one person, or not?", codes=about)
    if conflict.kind == "group":
        return say("{codes}: are all of these one person?", codes=about)
    client = client_words(questions.sessions.get(conflict.session))
    return say("{client}: {about}", client=client, about=about)


def safety_words() -> str:
    """Say of an open question about safety what holds meanwhile."""
    return say("! Safety: until it is answered the more careful value rules.")


def and_alike(value: str, count: int) -> str:
    """Say that a value answers several questions at once; no full stop.

    Args:
        value: the answer.
        count: how many questions, the first among them.
    """
    return say("{value}, and {count} alike", value=value, count=count - 1) if count > 1 else value


def given_words(words: Sequence[str]) -> str:
    """Return the first of several answers given at once, and how many are like it.

    Args:
        words: a sentence for each, one at least; made harmless here.
    """
    first = visible(words[0])
    if len(words) == 1:
        return first
    return say("{words} And {count} alike.", words=first, count=len(words) - 1)


def nothing_open_words() -> str:
    """Say that nothing is left to answer."""
    return say("Nothing is open.")


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
