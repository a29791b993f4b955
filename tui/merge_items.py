"""What the merge desk asks, one item at a time: what it is about, and what may be answered.

Words and order only; no screen, nothing is stored here. A stop that nobody passed on comes first.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.merge.clients import DISTINCT, LINKED
from fitcore.merge.conflicts import STRUCK_OUT
from fitcore.record.fields import answer_words
from fitcore.safety.screening_answers import ANSWER_PREFIX
from fitcore.words import say
from tui.merge_item import TOLD, Choice, Item
from tui.merge_other_items import changed_items, clock_item, codes_item, file_item
from tui.wording.questions import (
    choice_of,
    question_words,
    safety_words,
    seen_words,
    typed_form,
)
from tui.wording.sittings import person_words, sitting_line, when_words
from tui.wording.stops import stop_lines, stop_title

if TYPE_CHECKING:
    from fitcore.merge.conflicts import Candidate, Conflict, Origin
    from fitcore.merge.late_stops import LateStop
    from fitcore.record.entries import Entry
    from tui.merge_facts import DeskFacts

_NOT_TOLD_AGAIN = ("by", "at", "what", "is", "instead_of", "who")
_OF_READINGS = (
    "side",
    "point",
    "kind",
    "round",
    "typed",
    "unit",
    "mm",
    "system",
    "value",
    "not_taken",
)


def desk_items(facts: DeskFacts) -> tuple[Item, ...]:
    """Return all that is open, in the order to see to it.

    Stops that nobody passed on; questions about safety, first those of a person who was given a
    size; other questions; codes; lines changed outside; clocks; files set aside.
    """
    given = _given_codes(facts)
    conflicts = sorted(
        facts.questions.conflicts,
        key=lambda c: (not (c.is_safety and _is_given(facts, c, given)), *c.order),
    )
    items = (
        *(_stop(facts, late) for late in facts.stops),
        *(_question(facts, c, is_given=_is_given(facts, c, given)) for c in conflicts),
        *(codes_item(found) for found in facts.suggestions),
        *changed_items(facts),
        *(clock_item(found) for found in facts.clocks),
        *(file_item(found) for found in facts.files),
    )
    return tuple(_visible(item) for item in items)


def _visible(item: Item) -> Item:
    """Return an item whose texts may be shown: a stick's folders may be called anything."""
    choices = tuple(
        replace(
            choice, title=visible(choice.title), lines=tuple(visible(line) for line in choice.lines)
        )
        for choice in item.choices
    )
    lines = tuple(visible(line) for line in item.lines)
    return replace(item, title=visible(item.title), lines=lines, choices=choices)


# --- a stop after a size was given ---------------------------------------------------------------


def _stop(facts: DeskFacts, late: LateStop) -> Item:
    choice = Choice(TOLD, say("say who was told"), (say("This item closes once somebody was."),))
    lines = tuple(stop_lines(late, facts.known_clocks))
    return Item(late.id, "stop", stop_title(late), lines, (choice,), "told", late)


def _given_codes(facts: DeskFacts) -> frozenset[str]:
    """Return the codes of everybody with a finished session, all codes of a person together."""
    return frozenset(
        linked
        for glance in facts.sessions.glances.values()
        if glance.is_finished
        for code in glance.codes
        for linked in facts.clients.codes_of(code)
    )


def _is_given(facts: DeskFacts, conflict: Conflict, given: frozenset[str]) -> bool:
    session = facts.sessions.get(conflict.session)
    if session is None:
        return bool(given & set(conflict.field.split(" = ")))
    return bool(given & {str(value) for value in session.answer("client").values})


# --- questions -----------------------------------------------------------------------------------


def _question(facts: DeskFacts, conflict: Conflict, *, is_given: bool) -> Item:
    lines = []
    if conflict.is_safety:
        lines.append(safety_words())
        if is_given:
            lines.append(say("! A session of this person is finished: a size may have been given."))
    if conflict.kind in ("clients", "group"):
        return Item(
            conflict.id,
            "question",
            question_words(conflict, facts.questions),
            tuple(lines),
            _code_choices(facts, conflict),
            "why",
            conflict,
        )
    if asked := facts.asked(conflict.field.removeprefix(ANSWER_PREFIX)):
        lines.insert(0, say("Asked: {question}", question=asked))
    session = facts.sessions.get(conflict.session)
    if session is not None:
        lines.append(sitting_line(session))
    choices = tuple(
        Choice(str(number), _value(conflict, candidate), _said(facts, conflict, candidate))
        for number, candidate in enumerate(conflict.candidates)
    )
    title = question_words(conflict, facts.questions)
    return Item(conflict.id, "question", title, tuple(lines), choices, "why", conflict)


def _value(conflict: Conflict, candidate: Candidate) -> str:
    if candidate.value == STRUCK_OUT and conflict.kind != "answer":
        return say("struck out: does not count")
    if conflict.kind == "answer":
        return answer_words(candidate.value)
    return choice_of(conflict, candidate)


def _said(facts: DeskFacts, conflict: Conflict, candidate: Candidate) -> tuple[str, ...]:
    lines: list[str] = []
    for origin in candidate.origins:
        lines += origin_rows(facts, origin)
        more = dict(origin.entry.fields)
        hidden = _NOT_TOLD_AGAIN if conflict.kind == "answer" else (*_NOT_TOLD_AGAIN, *_OF_READINGS)
        lines += [f"{key}: {typed_form(value)}" for key, value in more.items() if key not in hidden]
    return tuple(lines)


def origin_rows(facts: DeskFacts, origin: Origin) -> list[str]:
    """Write who brought a value, in short rows: entry, laptop, person, time, clock, what it saw."""
    who, seen = person_words(origin.measurer), seen_words(origin)
    return [
        str(origin.entry.by),
        say("on {laptop}", laptop=origin.laptop),
        say("decided by {who}", who=who) if origin.is_decision else say("by {who}", who=who),
        when_words(facts.known_clocks.shown(origin.entry, origin.zone)),
        clock_badge(facts, origin.entry),
        say("had seen: {seen}", seen=seen) if seen else say("had seen no other value"),
    ]


def clock_badge(facts: DeskFacts, entry: Entry) -> str:
    """Say how far the time beside it can be relied on."""
    clocks = facts.known_clocks
    if doubt := clocks.doubt(entry):
        return say("! {doubt}", doubt=doubt)
    return clocks.remark(entry) or say("clock not in doubt")


def _code_choices(facts: DeskFacts, conflict: Conflict) -> tuple[Choice, ...]:
    """Return what may be said of codes somebody linked: confirm, or part where they are two."""
    by_value = {candidate.value: candidate for candidate in conflict.candidates}
    words = {LINKED: say("one person"), DISTINCT: say("not one person")}
    choices = []
    for value in (LINKED, DISTINCT):
        brought = by_value.get(value)
        lines = [row for o in brought.origins for row in origin_rows(facts, o)] if brought else []
        if brought is not None and (whys := [e.text("why") for e in brought.entries]):
            lines += [say("why: {why}", why=why) for why in whys if why]
        if value == LINKED or len(conflict.field.split(" = ")) == 2:
            choices.append(Choice(value, words[value], tuple(lines)))
    return tuple(choices)
