"""What an archive holds beside its questions: late stops, codes that may be one person's, clocks.

The merge desk tells the same; here it is found and worded for the verbs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.disk.session_files import read_sessions
from fitcore.disk.several_laptops import sessions_of_several
from fitcore.instants import write_instant
from fitcore.merge.clock_notes import clock_notes, shown_at
from fitcore.merge.conflicts import origin_of
from fitcore.merge.late_stops import late_stops
from fitcore.points import side_words
from fitcore.problems import ProfileError
from fitcore.record.readings import Readings
from fitcore.safety.clearance import judge_clearance
from fitcore.safety.outcomes import outcome_words, urgency_words
from fitcore.safety.stop_signs import StopSigns
from fitcore.words import say
from tui.commands.question_words import when_words
from tui.merge_facts import gather_facts, sitting_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date
    from pathlib import Path

    from fitcore.disk.archive_parts import Questions
    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.clock_notes import ClockNote
    from fitcore.merge.late_stops import LateStop
    from fitcore.moment.wrong_clocks import WrongClock
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session
    from fitcore.rules import Rules
    from fitcore.safety.clearance import SessionClearance
    from tui.merge_facts import Facts, Suggestion


@dataclass(frozen=True, slots=True)
class LateStops:
    """Stops after a size was given that nobody has passed on."""

    found: tuple[LateStop, ...]
    notes: tuple[ClockNote, ...] = ()
    """How wrong clocks were, for the times shown."""
    not_looked: str = ""
    """Why nobody could look for them; empty where somebody did."""

    @property
    def needs_person(self) -> bool:
        """Whether there is one, or may be one."""
        return bool(self.found or self.not_looked)

    @property
    def count(self) -> int | None:
        """How many there are; None where nobody could look."""
        return None if self.not_looked else len(self.found)


def find_late_stops(
    archive: Path, surroundings: Surroundings, sticks: Iterable[Path] = ()
) -> LateStops:
    """Look for stops after a size was given.

    Args:
        archive: the data folder; its own rules count.
        surroundings: clock and folders.
        sticks: what is looked at as if it was merged already.
    """
    sessions, clients = sessions_of_several(archive, sticks)
    if not sessions:
        return LateStops(())
    from fitcore.disk.profile_files import load_profiles  # dear; most merges never come here

    try:
        rules = load_profiles(archive if archive.is_dir() else None).rules
    except ProfileError as error:
        words = say(
            "! Nobody could look for stops after a size was given: the rules cannot be used. "
            "{problem}",
            problem=error.problem,
        )
        return LateStops((), not_looked=words)
    today = surroundings.now().date()
    may_stop = StopSigns(rules.screening).may_stop
    found = late_stops(sessions, clients, lambda one: _judge(one, rules, today), may_stop)
    return LateStops(found, clock_notes(clients.ledgers))


def find_suggestions(archive: Path, questions: Questions) -> Facts:
    """Return what may be worth asking about in an archive: alike codes and wrong clocks.

    Args:
        archive: the data folder; all its sessions are read.
        questions: what is open in it.
    """
    read = (file.session for file in read_sessions([archive]))
    return gather_facts(questions, (one for one in read if one is not None), (), None)


def stop_lines(late: LateStop, notes: Sequence[ClockNote]) -> list[str]:
    """Write a late stop for people.

    Args:
        late: the stop.
        notes: how wrong clocks were.
    """
    legs = "; ".join(
        say("{side}: {found}", side=side_words(side), found=outcome_words(found.value))
        for side, found in late.legs
    )
    rules = [
        say("  ! {text} Act: {when}.", text=rule.text, when=urgency_words(rule.urgency))
        for rule in late.rules
    ]
    return [
        say(
            "! {id}  STOP after a size was given: {codes}",
            id=late.id,
            codes=" = ".join(late.codes),
        ),
        say("  {legs}", legs=legs),
        *rules,
        *(
            say("  size given: {who}", who=who)
            for who in _writers(late.given, late.finished_by, notes)
        ),
        *(say("  stop found: {who}", who=who) for who in _writers(late.stop, late.rests_on, notes)),
        say(
            "  Tell whoever ordered, fitted or prescribed, by your local protocol. "
            "Is anything worn?"
        ),
        say(
            '  Then: anklefirst decide {id} told --who CODE --why "whom you told, and how" '
            "--data DIR",
            id=late.id,
        ),
    ]


def stop_json(late: LateStop) -> dict[str, object]:
    """Return a late stop in the shape `conflicts --json` prints."""
    return {
        "id": late.id,
        "codes": list(late.codes),
        "stop": late.stop.id,
        "given": late.given.id,
        "legs": [{"side": side.value, "clearance": found.value} for side, found in late.legs],
        "rules": [rule.id for rule in late.rules],
        "rests_on": [str(entry.by) for entry in late.rests_on],
        "found_by": list(late.found_by),
        "given_by": list(late.given_by),
    }


def suggestion_lines(facts: Facts) -> list[str]:
    """Write for people what may be worth asking about; each is only a suggestion."""
    lines: list[str] = []
    for found in facts.suggestions:
        one, other = found.codes
        lines += [
            say("{one} and {other}: may be one person. Not a question yet.", one=one, other=other),
            *(f"  {text}" for text in found.evidence),
            say(
                "  Ask, then: anklefirst link {one} {other} --who CODE --why W --data DIR "
                "(or distinct)",
                one=one,
                other=other,
            ),
            "",
        ]
    for clock in facts.clocks:
        lines += [
            say("{laptop}: the clock was wrong, and nobody has noted it.", laptop=clock.laptop),
            say("  sitting: {sitting}", sitting=sitting_words(clock.session)),
            say(
                "  Entries {first} to {last}. At {entry} the clock showed {when}.",
                first=clock.first,
                last=clock.last,
                entry=str(clock.example.by),
                when=when_words(clock.shown),
            ),
            say("  What time it was is said at the merge desk (F7). No line is changed by it."),
            "",
        ]
    return lines


def suggestions_json(facts: Facts) -> list[dict[str, object]]:
    """Return the suggestions in the shape `conflicts --json` prints."""
    codes = [_codes_json(found) for found in facts.suggestions]
    return [*codes, *(_clock_json(clock) for clock in facts.clocks)]


def stop_words(late: LateStop, told: str) -> str:
    """Return what was answered for a late stop."""
    codes = " = ".join(late.codes)
    return say("STOP after a size was given, {codes}. Told: {whom}.", codes=codes, whom=told)


def _writers(session: Session, entries: Iterable[Entry], notes: Sequence[ClockNote]) -> list[str]:
    """Return who wrote some lines, each laptop and person once: whoever is rung must know of it."""
    codes = " / ".join(str(value) for value in session.answer("client").values)
    told: dict[tuple[str, str], str] = {}
    for entry in entries:
        who = origin_of(session.entries, entry).measurer or say("nobody named")
        at, is_doubtful = shown_at(entry, notes)
        words = say(
            "{codes}, {when} on {laptop} by {who}",
            codes=codes,
            when=when_words(at),
            laptop=entry.by.laptop,
            who=who,
        )
        if is_doubtful:
            words = say("{words} (that clock is in doubt)", words=words)
        told.setdefault((entry.by.laptop, who), words)
    return list(told.values())


def _judge(session: Session, rules: Rules, today: date) -> SessionClearance:
    return judge_clearance(session, Readings(session), rules, on=today)


def _codes_json(found: Suggestion) -> dict[str, object]:
    return {
        "kind": "codes",
        "id": found.id,
        "codes": list(found.codes),
        "evidence": list(found.evidence),
    }


def _clock_json(clock: WrongClock) -> dict[str, object]:
    shown = clock.shown
    return {
        "kind": "clock",
        "id": f"{clock.laptop}:{clock.first}-{clock.last}",
        "laptop": clock.laptop,
        "from": clock.first,
        "to": clock.last,
        "session": clock.session.id,
        "entry": str(clock.example.by),
        "shown": write_instant(shown) if shown is not None else None,
    }
