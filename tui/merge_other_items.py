"""What the merge desk asks besides stops and questions: codes, changed lines, clocks, files.

Words only; no screen, nothing is stored here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.instants import EPOCH
from fitcore.merge.clients import DISTINCT, LINKED
from fitcore.merge.ledger_lines import CORRECTED, REFUSED, TAKEN
from fitcore.merge.proposals import Change, ChangedFile, by_file, draft_ruling
from fitcore.problems import ReadingError
from fitcore.record.fields import answer_words, field_words
from fitcore.words import say
from tui.merge_item import LATER, NOTED, SEEN, Choice, Item
from tui.wording.changed_lines import (
    change_words,
    copies_differ_words,
    line_now,
    unsealed_codes,
    unsealed_words,
    unusable_words,
)
from tui.wording.clocks import clock_id, clock_lines, clock_title
from tui.wording.questions import said_by, typed_form
from tui.wording.set_aside import to_do_words, wrong_words
from tui.wording.sittings import client_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fitcore.merge.proposals import Proposal
    from fitcore.moment.wrong_clocks import WrongClock
    from fitcore.record.entries import Entry
    from tui.merge_facts import DeskFacts, SetAsideFile
    from tui.wording.codes import Suggestion


def codes_item(found: Suggestion) -> Item:
    """Ask whether two codes are one person's."""
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
        if not why_not(proposal, ruling):
            yield ruling


def why_not(proposal: Proposal, ruling: str) -> str:
    """Return why a line cannot be ruled so; empty where it can."""
    try:
        draft_ruling(proposal, ruling, who="-", why="-", at=EPOCH)
    except ReadingError as error:
        return error.problem.text
    return ""


def changed_items(facts: DeskFacts) -> Iterator[Item]:
    """Yield the lines changed outside: one by one, but those of one file without a sealed one."""
    for found in by_file(facts.questions.proposals):
        if isinstance(found, ChangedFile):
            yield _unsealed(facts, found)
        else:
            yield _changed(facts, found)


def _unsealed(facts: DeskFacts, file: ChangedFile) -> Item:
    """Ask once about all lines that nothing sealed vouches for: their file may still come."""
    lines = file.proposals
    title = say("{what}: fetch that laptop's newest folder first", what=unsealed_words(file))
    codes = unsealed_codes(file, facts.session_of(file.about.name))
    told: tuple[str, ...] = (
        say(
            "Written on {laptops}, for {client}.",
            laptops=", ".join(file.laptops),
            client=codes or client_words(None),
        ),
        *(say("Found in {path}", path=path) for path in file.paths),
        say("Once the sealed file has come, nothing has to be answered here."),
    )
    shown = tuple(
        say("{entry}: {words}", entry=str(line.name), words=line_words(line.proposed))
        for line in lines
        if line.proposed is not None
    )
    choices: tuple[Choice, ...] = (
        Choice(LATER, say("put off"), (say("They stay open until that folder has come."),)),
        Choice(REFUSED, say("refuse all"), (say("None of them counts."),)),
    )
    unusable = {line.id: why for line in lines if (why := why_not(line, TAKEN))}
    if not file.is_one_text:
        told = (*told, copies_differ_words(), *shown)
    elif unusable:
        told = (*told, *unusable_words(unusable), *shown)
    else:
        choices = (*choices, Choice(TAKEN, say("take all"), shown))
    return Item(file.id, "lines", title, told, choices, "why", lines)


def line_words(entry: Entry) -> str:
    """Return what a line says, with what it is about."""
    what = entry.text("what")
    if what:
        value = answer_words(entry.fields.get("is"))
        return say("{field}: {value}", field=field_words(what), value=value)
    if entry.array == "withdrawn":
        return say("struck out {names}", names=", ".join(entry.takes_back))
    if text := entry.text("text"):
        return text
    place = " ".join(entry.text(key) for key in ("side", "point", "kind") if entry.text(key))
    value = said_by(entry)
    return say("{place}: {value}", place=place, value=value) if place else value


def _changed(facts: DeskFacts, proposal: Proposal) -> Item:
    now = proposal.proposed
    shown_now = (*(_differing(now, proposal.sealed) if now else ()), line_now(proposal))
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
        usual = TAKEN if proposal.change is Change.ADDED else CORRECTED
        lines.append(say("! {why}", why=why_not(proposal, usual)))
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


def clock_item(found: WrongClock) -> Item:
    """Ask what time it was, and say what the answer does and what it does not."""
    lines = (
        *clock_lines(found),
        say("Say what time it was, if that is known. It is kept beside the times."),
        say(
            "No line is changed. Questions, the start list and results show the right time, "
            "marked; 'fit' and the note show the recorded one, and charts are judged by that day "
            "and the day of fitting."
        ),
    )
    choice = Choice(NOTED, say("say what time it was"), ())
    return Item(clock_id(found), "clock", clock_title(found), lines, (choice,), "time", found)


def file_item(found: SetAsideFile) -> Item:
    """Show a file nobody can read, with its reason and what to do."""
    where = [say("Found as {path}", path=path) for path in found.found_in]
    kept = (
        say("A copy is kept: set-aside/{digest}.copy", digest=found.digest)
        if found.is_copied
        else say("It was not copied: it is only where it was found.")
    )
    lines = (
        say("! {wrong}", wrong=wrong_words(found.text, found.whose)),
        to_do_words(found.mend),
        *where,
        kept,
    )
    choice = Choice(SEEN, say("seen: go on"), (say("The file stays set aside."),))
    name = found.found_in[0].rpartition("/")[2] if found.found_in else found.digest
    return Item(
        found.digest, "file", say("Set aside: {name}", name=name), lines, (choice,), "", found
    )
