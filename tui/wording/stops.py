"""A stop that one laptop found after another had given a size: what is told, to whom."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from fitcore.merge.conflicts import origin_of, zone_of
from fitcore.points import side_words
from fitcore.safety.outcomes import outcome_words, urgency_words
from fitcore.words import say
from tui.wording.sittings import codes_of, person_words, when_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.merge.late_stops import LateStop
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session
    from tui.wording.clocks import KnownClocks


def stop_title(late: LateStop) -> str:
    """Say whose stop it is; no full stop."""
    return say("STOP after a size was given: {codes}", codes=" = ".join(late.codes))


def stop_lines(late: LateStop, clocks: KnownClocks) -> list[str]:
    """Say who is to be rung, what was found of each leg, what to do, and by which rules.

    Args:
        late: the stop.
        clocks: for the times shown.
    """
    legs = "; ".join(
        say("{side}: {found}", side=side_words(side), found=outcome_words(found.value))
        for side, found in late.legs
    )
    given = _writers(late.given, late.finished_by, clocks)
    found = _writers(late.stop, late.rests_on, clocks)
    return [
        *(say("Size given: {who}", who=who) for who in given),
        *(say("Stop found: {who}", who=who) for who in found),
        legs,
        say(
            "Tell whoever ordered, fitted or prescribed, by your local protocol. Is anything worn?"
        ),
        *(
            say("! {text} Act: {when}.", text=rule.text, when=urgency_words(rule.urgency))
            for rule in late.rules
        ),
    ]


def passed_on_words(late: LateStop, told: str) -> str:
    """Say that a stop was passed on.

    Args:
        late: the stop.
        told: who was told, and how.
    """
    return say("{stop}. Told: {whom}.", stop=stop_title(late), whom=told)


def not_looked_words() -> str:
    """Say that nobody could look for such stops."""
    return say("! Nobody could look for stops after a size was given: the rules cannot be used.")


def _writers(session: Session, entries: Iterable[Entry], clocks: KnownClocks) -> list[str]:
    """Return who wrote some lines of a session, each laptop and person once: where, who, when.

    Not who opened the session: whoever is rung must be the one who found it.
    """
    by_writer: defaultdict[tuple[str, str], list[Entry]] = defaultdict(list)
    for entry in entries:
        who = origin_of(session.entries, entry).measurer
        by_writer[entry.by.laptop, who].append(entry)
    told = []
    for (laptop, who), theirs in by_writer.items():
        times = [
            when_words(clocks.shown(entry, zone_of(session.entries, entry))) for entry in theirs
        ]
        words = say(
            "{codes}, {when} on {laptop} by {who}",
            codes=codes_of(session),
            when=min(times) if min(times) == max(times) else f"{min(times)} - {max(times)}",
            laptop=laptop,
            who=person_words(who),
        )
        doubt = next((doubt for entry in theirs if (doubt := clocks.doubt(entry))), "")
        told.append(say("{words} ({doubt})", words=words, doubt=doubt) if doubt else words)
    return told
