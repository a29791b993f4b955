"""What the program knows of its merge desk while it runs. No screen here."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from fitcore.merge.clients import Clients
    from fitcore.record.session import Session
    from fitcore.rules import Rules


@dataclass
class MergeMemory:
    """What was seen, and what is known to be open: by the desk, else stops alone."""

    seen: set[str] = field(default_factory=set)
    """Digests of the set-aside files somebody looked at."""
    open: int = 0
    stops: int = 0
    """How many of those open are stops somebody with a size is still to be told of."""
    is_known: bool = False
    """Whether anybody has looked since the program was started."""

    def know(self, count: int, stops: int) -> None:
        """Take what is open now, and how many of it are stops."""
        self.open, self.stops, self.is_known = count, stops, True

    def words(self) -> str:
        """Say where what is open is answered; empty where nothing is known to be open."""
        if self.stops:
            told = say("! STOP where a size was given: {stops}.", stops=self.stops)
            return say("{stops} Questions open: {count}. F7.", stops=told, count=self.open)
        return say("Questions open: {count}. F7.", count=self.open) if self.open else ""


def count_late_stops(
    sessions: Iterable[Session], links: Clients | None, rules: Rules, on: date
) -> int:
    """Count the stops that one laptop found for somebody another gave a size, not passed on yet.

    Cheap: only sessions with a sign of a stop are judged.

    Args:
        sessions: all sessions of the folder.
        links: which codes are one person's; None where that is not known.
        rules: the rules of screening among them.
        on: today.
    """
    # Imported here, in the thread: the start is shown before anything of a merge is needed.
    from fitcore.merge.clients import Clients
    from fitcore.merge.late_stops import late_stops
    from fitcore.merge.ledger_lines import LedgerLines
    from fitcore.record.readings import Readings
    from fitcore.safety.clearance import SessionClearance, judge_clearance
    from fitcore.safety.stop_signs import StopSigns

    def judge(session: Session) -> SessionClearance:
        return judge_clearance(session, Readings(session), rules, on=on)

    clients = links if links is not None else Clients(LedgerLines())
    return len(late_stops(sessions, clients, judge, StopSigns(rules.screening).may_stop))
