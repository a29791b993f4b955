"""What the merge desk tells at its start and end: the merge in one page, and what was decided."""

from __future__ import annotations

import os
from datetime import timedelta
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.merge.clients import DISTINCT, LINKED
from fitcore.record.fields import answer_words
from fitcore.words import say
from tui.merge_other_items import line_words
from tui.wording.codes import codes_words
from tui.wording.merges import (
    gap_lines,
    is_any_carried,
    merged_lines,
    remark_lines,
)
from tui.wording.questions import nothing_open_words
from tui.wording.sittings import when_words
from tui.wording.stops import not_looked_words

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import date
    from pathlib import Path

    from fitcore.disk.archive_parts import Merging
    from fitcore.disk.carrying_back import CarriedBack
    from fitcore.problems import Problem
    from fitcore.record.entries import Entry
    from fitcore.record.glance import Glance
    from tui.merge_facts import DeskFacts


_LONGEST_STICK = 28
"""Signs of a stick's path in the line that says whether it may be pulled (ours)."""
_MOST_LEFT_OUT = 2
"""Files left out that are named; more are counted (ours)."""
_MOST_GAPS = 3
"""Gaps named in one sentence; the summary names all (ours)."""


def summary_lines(
    merging: Merging | None, facts: DeskFacts, seen: Collection[str] = ()
) -> list[str]:
    """Return what a merge came to and what is open, most urgent first after the counts.

    Args:
        merging: the last merge; None where nothing was merged.
        facts: the archive.
        seen: digests of the set-aside files somebody looked at.
    """
    lines = [] if merging is None else [*merged_lines(merging.report), ""]
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
            "Clocks said to be wrong, right time not yet noted: {clocks}.", clocks=len(facts.clocks)
        ),
        _files_line(facts, seen),
    ]
    if facts.judge is None:
        lines.append(not_looked_words())
    report = merging.report if facts.report is None and merging is not None else facts.report
    missing = [] if report is None else gap_lines(report)
    if report is not None and not missing:
        missing = [say("No laptop's entries are missing, and no number was used twice.")]
    if merging is None:
        return [*lines, "", *missing]
    notes = (visible(f"! {note}") for note in merging.notes)
    return [*lines, "", *missing, *notes, *remark_lines(merging)]


def _files_line(facts: DeskFacts, seen: Collection[str]) -> str:
    count, looked_at = len(facts.files), sum(file.digest in seen for file in facts.files)
    if looked_at:
        return say("Files set aside: {files}, seen: {seen}.", files=count, seen=looked_at)
    return say("Files set aside: {files}.", files=count)


def missing_words(facts: DeskFacts) -> str:
    """Return what has not come yet although nothing asks for an answer; empty where all has.

    It stays until it has come: no answer brings it, so it is told at the end of each day.
    """
    report = facts.report
    told = []
    for gap in report.gaps if report is not None else ():
        numbers = str(gap.first) if gap.first == gap.last else f"{gap.first}-{gap.last}"
        told.append(say("{laptop} {numbers}", laptop=gap.laptop, numbers=numbers))
    more = len(told) - _MOST_GAPS
    if more > 0:
        told = [*told[:_MOST_GAPS], say("and {count} more", count=more)]
    parts = [say("entries {names}", names=", ".join(told))] if told else []
    if len(facts.files) == 1:
        parts.append(say("what the file set aside held"))
    elif facts.files:
        parts.append(say("what {count} files set aside held", count=len(facts.files)))
    return "; ".join(parts)


def left_words(facts: DeskFacts, count: int) -> str:
    """Say what is left to answer, and what is missing.

    Args:
        facts: the archive.
        count: how many items are open.
    """
    missing = missing_words(facts)
    if count and missing:
        return say(
            "Still open: {count} (F7). Still missing: {missing}.", count=count, missing=missing
        )
    if count:
        return say("Still open: {count} (F7).", count=count)
    if missing:
        return say("Nothing to answer; still missing: {missing}.", missing=missing)
    return nothing_open_words()


def decided_lines(facts: DeskFacts, laptop: str, day: date) -> list[str]:
    """Return all that was decided at this laptop on a day, read from the lines themselves.

    So it is the same whether the desk was closed in between, and holds what verbs decided too.

    Args:
        facts: the archive.
        laptop: whose lines.
        day: the local day, by that laptop's clock.
    """
    found = []
    for session in facts.sessions.where(lambda glance: _wrote_since(glance, laptop, day)):
        # Asked first of the plain fields: a session has many lines, and few are decisions.
        decided = [e for e in session.entries if "who" in e.fields and _is_of(e, laptop, day)]
        for entry in decided:
            is_back = session.heads.is_withdrawn(entry)
            words = say(
                "{client}: {what}", client=facts.client_of(session.id), what=line_words(entry)
            )
            found.append((entry.by.number, _decided(entry, words, is_back=is_back)))
    ledgers = facts.clients.ledgers
    for entry in ledgers.entries:
        if entry.array != "withdrawn" and "who" in entry.fields and _is_of(entry, laptop, day):
            is_back = ledgers.heads.is_withdrawn(entry)
            found.append((entry.by.number, _decided(entry, _ruling(facts, entry), is_back=is_back)))
    return [visible(line) for _, line in sorted(found)]


def _wrote_since(glance: Glance, laptop: str, day: date) -> bool:
    # A laptop's offset may have changed: of two lines the later one may have the earlier date.
    return any(
        written.laptop == laptop
        and written.newest is not None
        and written.newest.date() >= day - timedelta(days=1)
        for written in glance.written
    )


def _is_of(entry: Entry, laptop: str, day: date) -> bool:
    return entry.by.laptop == laptop and entry.at is not None and entry.at.date() == day


def _decided(entry: Entry, words: str, *, is_back: bool) -> str:
    # A line chosen at the desk keeps who and why of its own; whoever chose it stands beside them.
    who = entry.text("decided_who") or entry.text("who")
    why = entry.text("decided_why") or entry.text("why")
    told = say(
        "{when} {who}: {words}",
        when=when_words(entry.at)[-5:],
        who=who,
        words=words,
    )
    if why:
        told = say("{told} ({why})", told=told, why=why)
    return say("Taken back: {told}", told=told) if is_back else told


def _ruling(facts: DeskFacts, entry: Entry) -> str:
    if entry.array in ("links", "distincts"):
        return codes_words(entry.names("codes"), LINKED if entry.array == "links" else DISTINCT)
    if entry.array == "outside":
        value = answer_words(entry.fields.get("is"))
        about = entry.text("about")
        name = entry.text("entry")  # lines ruled by an older version do not say which
        line = say("line {name} changed outside", name=name) if name else say("a changed line")
        client = facts.client_of(about) if about in facts.sessions else about
        return say("{client}: {line}: {value}", client=client, line=line, value=value)
    if entry.array == "clock_notes":
        return say(
            "clock of {laptop}, entries {first} to {last}",
            laptop=entry.text("laptop"),
            first=entry.fields.get("from"),
            last=entry.fields.get("to"),
        )
    return entry.array


def carried_lines(outcomes: Sequence[tuple[Path, CarriedBack | str]], archive: Path) -> list[str]:
    """Return which sticks may be pulled, a line for each, and then why others may not.

    What stays behind comes last: it is the archive's, and the same for each stick.

    Args:
        outcomes: each stick with what was written to it, or with what went wrong.
        archive: the archive; files left out are named by their path in it.
    """
    lines, faults = [], []
    left_out: dict[str, None] = {}
    is_any = False
    for stick, came_to in outcomes:
        name = _stick_words(stick)
        if isinstance(came_to, str):
            lines.append(say("! {stick}: not carried back, see below.", stick=name))
            short = visible(stick.name or str(stick))
            faults.append(say("! {stick}: {fault}", stick=short, fault=visible(came_to)))
            continue
        left_out |= dict.fromkeys(_path_in(archive, problem) for problem in came_to.left_out)
        if is_any_carried(came_to):
            is_any = True
            told = say(
                "{stick} may be pulled: {written} written, {unchanged} there already.",
                stick=name,
                written=came_to.written,
                unchanged=came_to.unchanged,
            )
        else:
            told = say("! {stick}: nothing could be carried, see below.", stick=name)
        lines.append(told)
    if is_any:
        lines.append(say("All was read back. On each laptop, open this desk and merge its stick."))
    return [*lines, *faults, *_left_out_lines(list(left_out))]


def _stick_words(stick: Path) -> str:
    """Return a stick's path, of a long one the end: its outcome must fit into one line."""
    path = visible(str(stick))
    return path if len(path) <= _LONGEST_STICK else "…" + path[1 - _LONGEST_STICK :]


def _path_in(archive: Path, problem: Problem) -> str:
    path = problem.path or ""
    return visible(path.removeprefix(f"{archive}{os.sep}").replace(os.sep, "/"))


def _left_out_lines(paths: Sequence[str]) -> list[str]:
    if not paths:
        return []
    if len(paths) == 1:
        head = say("! Left out until its question is answered (F7):")
    else:
        head = say("! {count} files left out until answered (F7):", count=len(paths))
    named = [f"  {path}" for path in paths[:_MOST_LEFT_OUT]]
    if (more := len(paths) - _MOST_LEFT_OUT) > 0:
        named[-1] = say("{path} and {count} more.", path=named[-1], count=more)
    return [head, *named]
