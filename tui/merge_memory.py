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
    open: int | None = None
    """Items at the desk; None where nobody has been there since the program was started."""
    stops: tuple[tuple[str, ...], ...] = ()
    """Stops somebody with a size is still to be told of: the codes of each person."""
    is_known: bool = False
    """Whether anybody has looked for stops since the program was started."""

    def know(self, stops: Iterable[tuple[str, ...]], count: int | None = None) -> None:
        """Take what is open now.

        Args:
            stops: the codes of each person with a stop.
            count: the desk's items, stops among them; None where only stops were looked for.
        """
        self.stops, self.open, self.is_known = tuple(stops), count, True

    @property
    def stopped_codes(self) -> frozenset[str]:
        """The codes of everybody with such a stop."""
        return frozenset(code for codes in self.stops for code in codes)

    def words(self) -> str:
        """Say where what is open is answered; empty where nothing is known to be open."""
        stops = say("! STOP where a size was given: {count}.", count=len(self.stops))
        told = [stops] if self.stops else []
        if self.open:
            told.append(say("Open at the merge desk: {count}.", count=self.open))
        return " ".join([*told, "F7."]) if told else ""


def late_stop_codes(
    sessions: Iterable[Session], links: Clients | None, rules: Rules, on: date
) -> tuple[tuple[str, ...], ...]:
    """Return whose stops one laptop found after another gave a size, not passed on yet.

    Cheap: only sessions with a sign of a stop are judged.

    Args:
        sessions: all sessions of the folder.
        links: which codes are one person's; None where that is not known.
        rules: the rules of screening among them.
        on: today.

    Returns:
        The codes of the person of each stop.
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
    found = late_stops(sessions, clients, judge, StopSigns(rules.screening).may_stop)
    return tuple(late.codes for late in found)
