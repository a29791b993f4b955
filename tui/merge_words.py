"""What the merge desk tells at its start and end: the merge in one page, and what was decided."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.record.fields import answer_words, field_words
from fitcore.words import say
from tui.commands.merging import gap_lines, remark_lines
from tui.commands.question_words import said_by, when_words

if TYPE_CHECKING:
    from datetime import date

    from fitcore.disk.archive_parts import Merging
    from fitcore.disk.carrying_back import CarriedBack
    from fitcore.record.entries import Entry
    from tui.merge_facts import Facts


def summary_lines(merging: Merging | None, facts: Facts) -> list[str]:
    """Return what a merge came to and what is open, most urgent first after the counts."""
    lines = [] if merging is None else _merged_lines(merging)
    questions = facts.questions
    safety = sum(question.is_safety for question in questions.conflicts)
    lines += [
        say("Stops where a size was given: {count}.", count=len(facts.stops)),
        say(
            "Questions open: {count}, about safety: {safety}.",
            count=len(questions.conflicts),
            safety=safety,
        ),
        say(
            "Codes that may be one person: {codes}. Lines changed outside: {lines}.",
            codes=len(facts.suggestions),
            lines=len(questions.proposals),
        ),
        say(
            "Wrong clocks nobody noted: {clocks}. Files set aside: {files}.",
            clocks=len(facts.clocks),
            files=len(facts.files),
        ),
    ]
    if facts.judge is None:
        told = say("! The rules of screening cannot be loaded: stops were not looked for.")
        lines.append(told)
    if merging is None:
        return lines
    gaps = gap_lines(merging.report)
    missing = gaps or [say("No laptop's entries are missing, and no number was used twice.")]
    notes = (visible(f"! {note}") for note in merging.notes)
    return [*lines, "", *missing, *notes, *remark_lines(merging)]


def _merged_lines(merging: Merging) -> list[str]:
    report = merging.report
    lines = [
        say(
            "Sessions: {added} new, {updated} changed, {unchanged} unchanged.",
            added=report.added,
            updated=report.updated,
            unchanged=report.unchanged,
        )
    ]
    if report.conflicts_settled:
        told = say(
            "Questions settled by what was brought: {count}.", count=report.conflicts_settled
        )
        lines.append(told)
    return [*lines, ""]


def decided_lines(facts: Facts, laptop: str, day: date) -> list[str]:
    """Return all that was decided at this laptop on a day, read from the lines themselves.

    So it is the same whether the desk was closed in between, and holds what verbs decided too.

    Args:
        facts: the archive.
        laptop: whose lines.
        day: the local day, by that laptop's clock.
    """
    found = []
    for session in facts.sessions.values():
        # Asked first of the plain fields: an archive has many lines, and few are decisions.
        decided = [e for e in session.entries if "who" in e.fields and _is_of(e, laptop, day)]
        for entry in decided:
            is_back = session.heads.is_withdrawn(entry)
            words = say(
                "{client}: {what}", client=facts.client_of(session.id), what=_decision(entry)
            )
            found.append((entry.by.number, _decided(entry, words, is_back=is_back)))
    ledgers = facts.clients.ledgers
    for entry in ledgers.entries:
        if entry.array != "withdrawn" and "who" in entry.fields and _is_of(entry, laptop, day):
            is_back = ledgers.heads.is_withdrawn(entry)
            found.append((entry.by.number, _decided(entry, _ruling(entry), is_back=is_back)))
    return [visible(line) for _, line in sorted(found)]


def _is_of(entry: Entry, laptop: str, day: date) -> bool:
    return entry.by.laptop == laptop and entry.at is not None and entry.at.date() == day


def _decided(entry: Entry, words: str, *, is_back: bool) -> str:
    why = entry.text("why") or entry.text("decided_why")
    told = say(
        "{when} {who}: {words}",
        when=when_words(entry.at)[-5:],
        who=entry.text("who"),
        words=words,
    )
    if why:
        told = say("{told} ({why})", told=told, why=why)
    return say("Taken back: {told}", told=told) if is_back else told


def _decision(entry: Entry) -> str:
    what = entry.text("what")
    if what:
        value = answer_words(entry.fields.get("is"))
        return say("{field}: {value}", field=field_words(what), value=value)
    place = " ".join(entry.text(key) for key in ("side", "point", "kind") if entry.text(key))
    if entry.array == "withdrawn":
        return say("struck out {names}", names=", ".join(entry.takes_back))
    return say("{place}: {value}", place=place, value=said_by(entry))


def _ruling(entry: Entry) -> str:
    codes = ", ".join(entry.names("codes"))
    if entry.array == "links":
        return say("{codes}: one person", codes=codes)
    if entry.array == "distincts":
        return say("{codes}: not one person", codes=codes)
    if entry.array == "outside":
        value = answer_words(entry.fields.get("is"))
        return say("a line changed outside: {value}", value=value)
    if entry.array == "clock_notes":
        return say(
            "clock of {laptop}, entries {first} to {last}",
            laptop=entry.text("laptop"),
            first=entry.fields.get("from"),
            last=entry.fields.get("to"),
        )
    return entry.array


def carried_lines(carried: CarriedBack) -> list[str]:
    """Return what was written to a stick, and that it may be pulled."""
    return [
        say(
            "{stick}: {written} files written, {unchanged} were there already; all read back.",
            stick=visible(str(carried.folder.parent)),
            written=carried.written,
            unchanged=carried.unchanged,
        ),
        say("This stick may be pulled. On each laptop, open this desk and merge it."),
        *(visible(say("! Left out: {problem}", problem=p)) for p in carried.left_out),
    ]
