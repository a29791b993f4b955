"""What an archive holds beside its questions: late stops, codes that may be one person's, clocks.

The merge desk tells the same, in the same words; here it is found and laid out for the verbs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitcore.disk.known_sessions import AlikeDays, KnownSessions
from fitcore.disk.session_book import look_through
from fitcore.disk.several_laptops import sessions_of_several
from fitcore.instants import write_instant
from fitcore.merge.late_stops import late_stops
from fitcore.problems import ProfileError
from fitcore.record.readings import Readings
from fitcore.safety.clearance import judge_clearance
from fitcore.safety.stop_signs import StopSigns
from fitcore.words import say
from tui.wording.clocks import KnownClocks, clock_id, clock_lines, clock_title, clocks_not_noted
from tui.wording.codes import code_suggestions
from tui.wording.stops import not_looked_words, stop_lines, stop_title

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.merge.clients import Clients
    from fitcore.merge.late_stops import LateStop
    from fitcore.moment.wrong_clocks import WrongClock
    from fitcore.record.session import Session
    from fitcore.rules import Rules
    from fitcore.safety.clearance import SessionClearance
    from tui.wording.codes import Suggestion


@dataclass(frozen=True, slots=True)
class LateStops:
    """Stops after a size was given that nobody has passed on."""

    found: tuple[LateStop, ...]
    clocks: KnownClocks = field(default_factory=KnownClocks)
    """For the times shown."""
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
        words = say("{words} {problem}", words=not_looked_words(), problem=error.problem)
        return LateStops((), not_looked=words)
    today = surroundings.now().date()
    may_stop = StopSigns(rules.screening).may_stop
    found = late_stops(sessions, clients, lambda one: _judge(one, rules, today), may_stop)
    wrong = clocks_not_noted(sessions, clients.ledgers)
    return LateStops(found, KnownClocks.of(clients.ledgers, wrong))


@dataclass(frozen=True, slots=True)
class Suggestions:
    """What may be worth asking about in an archive; nothing of it is a question yet."""

    codes: tuple[Suggestion, ...]
    clocks: tuple[WrongClock, ...]


def find_suggestions(archive: Path, clients: Clients) -> Suggestions:
    """Return alike codes and wrong clocks.

    Args:
        archive: the data folder; all its sessions are looked at.
        clients: what its ledgers say of codes and clocks.
    """
    known = KnownSessions(look_through(archive, None, 0))
    return Suggestions(
        code_suggestions(known, clients, AlikeDays()),
        clocks_not_noted(known.where(lambda glance: glance.says_wrong_clock), clients.ledgers),
    )


def stop_rows(late: LateStop, clocks: KnownClocks) -> list[str]:
    """Write a late stop as the verbs print it, with its id and how it is answered.

    Args:
        late: the stop.
        clocks: for the times shown.
    """
    return [
        say("! {id}  {stop}", id=late.id, stop=stop_title(late)),
        *(f"  {line}" for line in stop_lines(late, clocks)),
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


def suggestion_rows(suggestions: Suggestions) -> list[str]:
    """Write for people what may be worth asking about; each is only a suggestion."""
    lines: list[str] = []
    for found in suggestions.codes:
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
    for clock in suggestions.clocks:
        lines += [
            say("{clock}, and nobody has noted it.", clock=clock_title(clock)),
            *(f"  {text}" for text in clock_lines(clock)),
            say("  What time it was is said at the merge desk (F7). No line is changed by it."),
            "",
        ]
    return lines


def suggestions_json(suggestions: Suggestions) -> list[dict[str, object]]:
    """Return the suggestions in the shape `conflicts --json` prints."""
    codes = [_codes_json(found) for found in suggestions.codes]
    return [*codes, *(_clock_json(clock) for clock in suggestions.clocks)]


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
        "id": clock_id(clock),
        "laptop": clock.laptop,
        "from": clock.first,
        "to": clock.last,
        "session": clock.session.id,
        "entry": str(clock.example.by),
        "shown": write_instant(shown) if shown is not None else None,
    }
