"""What the merge desk asks, one item at a time: what it is about, and what may be answered.

Words and order only; no screen, nothing is stored here. A stop that nobody passed on comes first.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from fitcore.clean_text import visible
from fitcore.instants import EPOCH
from fitcore.merge.clients import DISTINCT, LINKED
from fitcore.merge.clock_notes import clock_notes, shown_at
from fitcore.merge.conflicts import STRUCK_OUT
from fitcore.merge.ledger_lines import CORRECTED, REFUSED, TAKEN
from fitcore.merge.proposals import draft_ruling
from fitcore.points import side_words
from fitcore.problems import ReadingError
from fitcore.record.fields import answer_words
from fitcore.safety.outcomes import outcome_words, urgency_words
from fitcore.safety.screening_answers import ANSWER_PREFIX
from fitcore.words import say
from tui.commands.question_words import (
    change_words,
    choice_of,
    question_words,
    said_by,
    seen_words,
    typed_form,
    when_words,
    who_words,
)
from tui.merge_facts import sitting_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fitcore.merge.conflicts import Candidate, Conflict, Origin
    from fitcore.merge.late_stops import LateStop
    from fitcore.merge.proposals import Proposal
    from fitcore.moment.wrong_clocks import WrongClock
    from fitcore.record.entries import Entry
    from tui.merge_facts import Facts, SetAsideFile, Suggestion

    Subject = LateStop | Conflict | Suggestion | Proposal | WrongClock | SetAsideFile

Needs = Literal["why", "told", "time", ""]
"""What is asked once a value is chosen: why, who was told, the right time, nothing."""

TOLD, NOTED, SEEN = "told", "noted", "seen"
"""Answers of items that have one way on only."""

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


@dataclass(frozen=True, slots=True)
class Choice:
    """One value to choose, with everybody who brought it."""

    key: str
    """What is meant: the number of the candidate, or a word of the merge."""
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing only a person can see to."""

    id: str
    kind: Literal["stop", "question", "codes", "changed", "clock", "file"]
    title: str
    lines: tuple[str, ...]
    """What to know before choosing."""
    choices: tuple[Choice, ...]
    needs: Needs
    subject: Subject


def desk_items(facts: Facts) -> tuple[Item, ...]:
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
        *(_stop(late) for late in facts.stops),
        *(_question(facts, c, is_given=_is_given(facts, c, given)) for c in conflicts),
        *(_codes(found) for found in facts.suggestions),
        *(_changed(facts, found) for found in facts.questions.proposals),
        *(_clock(found) for found in facts.clocks),
        *(_file(found) for found in facts.files),
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


def _stop(late: LateStop) -> Item:
    legs = "; ".join(
        say("{side}: {found}", side=side_words(side), found=outcome_words(found.value))
        for side, found in late.legs
    )
    title = say("STOP for {codes}: a size was given", codes=" = ".join(late.codes))
    rules = [
        say("! {text} Act: {when}.", text=rule.text, when=urgency_words(rule.urgency))
        for rule in late.rules
    ]
    lines = (
        say("Size given: {sitting}", sitting=sitting_words(late.given)),
        say("Stop: {sitting}", sitting=sitting_words(late.stop)),
        legs,
        say(
            "Tell whoever ordered, fitted or prescribed, by your local protocol. Is anything worn?"
        ),
        *rules,
    )
    choice = Choice(TOLD, say("say who was told"), (say("This item closes once somebody was."),))
    return Item(late.id, "stop", title, lines, (choice,), "told", late)


def _given_codes(facts: Facts) -> frozenset[str]:
    """Return the codes of everybody with a finished session, all codes of a person together."""
    return frozenset(
        linked
        for session in facts.sessions.values()
        if session.value("finished") is True
        for value in session.answer("client").values
        for linked in facts.clients.codes_of(str(value))
    )


def _is_given(facts: Facts, conflict: Conflict, given: frozenset[str]) -> bool:
    session = facts.sessions.get(conflict.session)
    if session is None:
        return bool(given & set(conflict.field.split(" = ")))
    return bool(given & {str(value) for value in session.answer("client").values})


# --- questions -----------------------------------------------------------------------------------


def _question(facts: Facts, conflict: Conflict, *, is_given: bool) -> Item:
    lines = []
    if conflict.is_safety:
        lines.append(say("! Safety: until it is answered the more careful value rules."))
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
        lines.append(say("Sitting: {sitting}", sitting=sitting_words(session)))
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


def _said(facts: Facts, conflict: Conflict, candidate: Candidate) -> tuple[str, ...]:
    lines: list[str] = []
    for origin in candidate.origins:
        lines += origin_rows(facts, origin)
        more = dict(origin.entry.fields)
        hidden = _NOT_TOLD_AGAIN if conflict.kind == "answer" else (*_NOT_TOLD_AGAIN, *_OF_READINGS)
        lines += [f"{key}: {typed_form(value)}" for key, value in more.items() if key not in hidden]
    return tuple(lines)


def origin_rows(facts: Facts, origin: Origin) -> list[str]:
    """Write who brought a value, in short rows: entry, laptop, person, time, clock, what it saw."""
    at, _ = shown_at(origin.entry, clock_notes(facts.clients.ledgers))
    who, seen = who_words(origin), seen_words(origin)
    return [
        str(origin.entry.by),
        say("on {laptop}", laptop=origin.laptop),
        say("decided by {who}", who=who) if origin.is_decision else say("by {who}", who=who),
        when_words(at),
        clock_badge(facts, origin.entry),
        say("had seen: {seen}", seen=seen) if seen else say("had seen no other value"),
    ]


def clock_badge(facts: Facts, entry: Entry) -> str:
    """Say how far the time beside it can be relied on."""
    at, is_doubtful = shown_at(entry, clock_notes(facts.clients.ledgers))
    if is_doubtful:
        return say("! clock notes differ")
    if at != entry.at:
        return say("clock set right by note")
    wrong = any(
        clock.laptop == entry.by.laptop and clock.first <= entry.by.number <= clock.last
        for clock in facts.clocks
    )
    return say("! clock was wrong") if wrong else say("clock not in doubt")


def _code_choices(facts: Facts, conflict: Conflict) -> tuple[Choice, ...]:
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


# --- codes, changed lines, clocks, files ---------------------------------------------------------


def _codes(found: Suggestion) -> Item:
    one, other = found.codes
    choices = (
        Choice(LINKED, say("one person"), (say("Linked, never fused; can be taken back."),)),
        Choice(DISTINCT, say("two people"), (say("Kept apart; nobody is asked again."),)),
    )
    title = say("{one} and {other}: one person?", one=one, other=other)
    return Item(found.id, "codes", title, found.evidence, choices, "why", found)


def allowed_rulings(proposal: Proposal) -> Iterator[str]:
    """Yield what may be ruled of a changed line."""
    for ruling in (TAKEN, CORRECTED, REFUSED):
        try:
            draft_ruling(proposal, ruling, who="-", why="-", at=EPOCH)
        except ReadingError:
            continue
        yield ruling


def _changed(facts: Facts, proposal: Proposal) -> Item:
    now = proposal.proposed
    shown_now = (*_differing(now, proposal.sealed), now.line) if now else (say("not there"),)
    sealed = tuple(
        line
        for entry in proposal.sealed
        for line in (*_differing(entry, [now] if now else []), entry.line)
    )
    accept = say("accept it: struck out") if now is None else say("accept it, as a correction")
    titles = {
        TAKEN: say("accept it: take the line"),
        CORRECTED: accept,
        REFUSED: say("refuse: the sealed line holds") if proposal.sealed else say("refuse it"),
    }
    choices = tuple(
        Choice(
            ruling,
            titles[ruling],
            (say("sealed:"), *(sealed or [say("nothing")]))
            if ruling == REFUSED
            else (say("now:"), *shown_now),
        )
        for ruling in allowed_rulings(proposal)
    )
    client = facts.client_of(proposal.about.name)
    title = say(
        "{client}, {entry}: {change}",
        client=client,
        entry=str(proposal.name),
        change=change_words(proposal),
    )
    lines = [say("Found in {path}", path=path) for path in proposal.paths]
    if len(choices) == 1:
        lines.append(say("It can only be refused; enter what is right by hand."))
    return Item(proposal.id, "changed", title, tuple(lines), choices, "why", proposal)


def _differing(entry: Entry, others: Sequence[Entry]) -> list[str]:
    """Return what a line says otherwise than others; where there are none, what it says."""
    if not others:
        return [said_by(entry)]
    return [
        f"{key}: {typed_form(value)}"
        for key, value in entry.fields.items()
        if any(other.fields.get(key) != value for other in others)
    ]


def _clock(found: WrongClock) -> Item:
    title = say("{laptop}: the clock was wrong", laptop=found.laptop)
    lines = (
        say("Sitting: {sitting}", sitting=sitting_words(found.session)),
        say("Said at the time by {entry}: date and time are wrong.", entry=str(found.said_by.by)),
        say(
            "Entries {first} to {last}. At {entry} the clock showed {when}.",
            first=found.first,
            last=found.last,
            entry=str(found.example.by),
            when=when_words(found.shown),
        ),
        say("If it is known what time it was, times can be shown right. No line is changed."),
    )
    choice = Choice(NOTED, say("say what time it was"), ())
    return Item(_clock_id(found), "clock", title, lines, (choice,), "time", found)


def _clock_id(found: WrongClock) -> str:
    return f"{found.laptop}:{found.first}-{found.last}"


def _file(found: SetAsideFile) -> Item:
    where = [say("Found as {path}", path=path) for path in found.found_in]
    kept = (
        say("A copy is kept: set-aside/{digest}.copy", digest=found.digest)
        if found.is_copied
        else say("It was not copied: it is only where it was found.")
    )
    lines = (say("! {text}", text=found.text), say("To do: {mend}", mend=found.mend), *where, kept)
    choice = Choice(SEEN, say("seen: go on"), (say("The file stays set aside."),))
    name = found.found_in[0].rpartition("/")[2] if found.found_in else found.digest
    return Item(
        found.digest, "file", say("Set aside: {name}", name=name), lines, (choice,), "", found
    )
