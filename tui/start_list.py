"""The lines of the start screen: paused sessions, today's, then every client. No screen here."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import accumulate, chain, islice
from typing import TYPE_CHECKING, Literal, NamedTuple

from fitcore.words import say
from tui.measured_when import MeasuredWhen, may_be_of_day, when_of_glance
from tui.wording.clocks import KnownClocks

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence
    from datetime import date

    from fitcore.disk.session_book import SessionBook
    from fitcore.record.glance import Glance

MOST_LINES = 200
"""More are not drawn; typing part of a code narrows the list (ours)."""
NOTHING_NOTED = KnownClocks()
Kind = Literal["paused", "today", "client", "new"]


@dataclass(frozen=True, slots=True)
class StartLine:
    """One line of the start screen."""

    kind: Kind
    client: str
    session_id: str
    """The session the line opens, or the client's newest; empty for a new client."""
    when: str
    state: str
    legend: str = ""
    """What the sign behind the time means; empty where there is none."""

    def same_as(self, other: StartLine) -> bool:
        """Whether both lead to the same thing, whatever they say of it by now."""
        mine = (self.kind, self.client, self.session_id)
        return mine == (other.kind, other.client, other.session_id)


class StartList:
    """All lines of the start screen; narrowing them opens no file but where a clock note bears."""

    def __init__(
        self,
        book: SessionBook,
        today: date,
        clocks: KnownClocks = NOTHING_NOTED,
    ) -> None:
        """Sort the sessions of a folder; heavy where there are many.

        Args:
            book: the folder's sessions.
            today: the local day.
            clocks: what is noted of the laptops' clocks; times are shown set right by it.
        """
        self._book, self._clocks = book, clocks
        self._whens: dict[str, MeasuredWhen] = {}
        self._begun: list[tuple[Kind, Glance]] = []
        finished_today: list[tuple[Kind, Glance]] = []
        newest: dict[str, Glance] = {}
        # The id's own time bits order the list; a wrong clock can only misplace a line, never lose
        # it.
        for glance in reversed(list(book.glances.values())):
            if not glance.client:
                continue
            newest.setdefault(glance.client, glance)
            if not glance.is_finished:
                if glance.is_whole and glance.is_begun:
                    self._begun.append(("paused", glance))
            elif may_be_of_day(glance, clocks, today):
                at = self._when(glance).at
                if at is not None and at.date() == today:
                    finished_today.append(("today", glance))
        self._begun += finished_today
        self._clients = [newest[code] for code in sorted(newest)]
        self._codes = _Codes([glance.client.casefold() for glance in self._clients])

    @property
    def begun(self) -> list[str]:
        """Ids of the paused sessions, newest first, then of those finished today."""
        return [glance.id for _, glance in self._begun]

    def lines(
        self, typed: str, stopped: Collection[str] = (), stopped_codes: Collection[str] = ()
    ) -> list[StartLine]:
        """Return the lines to show, at most `MOST_LINES`.

        Args:
            typed: part of a code to look for; empty shows all.
            stopped: ids of sessions a stop is known to stand in.
            stopped_codes: codes of clients for whom one was found after a size was given.

        Returns:
            Paused sessions newest first, today's finished ones, then clients by code. Where a code
            is typed, lines of exactly that client stand first, or an offer to start a new client.
        """
        part, told = typed.casefold(), _Stops(stopped, stopped_codes)
        begun = [each for each in self._begun if part in each[1].client.casefold()]
        if not part:
            shown = islice(chain(begun, self._holding("")), MOST_LINES)
            return [self._line(*found, told) for found in shown]
        # Enter on a typed code never opens another client: a longer code that merely holds it
        # has to be marked with the arrow first.
        exact = [each for each in begun if each[1].client.casefold() == part]
        exact += (("client", self._clients[at]) for at in self._codes.equal_to(part))
        first = [self._line(*found, told) for found in exact[:MOST_LINES]]
        first = first or [StartLine("new", typed, "", "", say("new client: start here"))]
        longer = (
            each for each in chain(begun, self._holding(part)) if each[1].client.casefold() != part
        )
        rest = islice(longer, MOST_LINES - len(first))
        return [*first, *(self._line(*found, told) for found in rest)]

    def _holding(self, part: str) -> Iterator[tuple[Kind, Glance]]:
        return (("client", self._clients[at]) for at in self._codes.holding(part))

    def _line(self, kind: Kind, glance: Glance, stops: _Stops) -> StartLine:
        when = self._when(glance)
        words = when.words or say("no readings")
        is_told = kind != "client" and glance.id in stops.sessions
        state = _state(kind, glance, is_stopped=is_told or glance.client in stops.codes)
        return StartLine(kind, glance.client, glance.id, words, state, when.legend)

    def _when(self, glance: Glance) -> MeasuredWhen:
        if not self._clocks.notes:
            return MeasuredWhen(glance.measured_at, glance.measured_at)
        when = self._whens.get(glance.id)
        if when is None:
            # Kept, for where a note may bear on it the session had to be read.
            when = when_of_glance(glance, self._clocks, self._book.read)
            self._whens[glance.id] = when
        return when


class _Stops(NamedTuple):
    sessions: Collection[str]
    codes: Collection[str]


class _Codes:
    """Codes in small letters, many: searched as one text, so that no key has to wait."""

    def __init__(self, codes: Sequence[str]) -> None:
        self._text = "".join(["\n", *(f"{_on_one_line(code)}\n" for code in codes)])
        self._starts = list(accumulate((len(code) + 1 for code in codes), initial=1))[:-1]

    def holding(self, part: str) -> Iterator[int]:
        """Yield the places of the codes that hold a text, in their order."""
        place = 0
        while place < len(self._starts):
            at = self._text.find(_on_one_line(part), self._starts[place])
            if at < 0:
                return
            place = bisect_right(self._starts, at)
            yield place - 1

    def equal_to(self, code: str) -> Iterator[int]:
        """Yield the places of the codes that are a text, in their order."""
        wanted = f"\n{_on_one_line(code)}\n"
        at = self._text.find(wanted)
        while at >= 0:
            yield bisect_right(self._starts, at)
            at = self._text.find(wanted, at + 1)


def _on_one_line(code: str) -> str:
    """Return a code as long as it is, without the line breaks a file written by hand may hold."""
    return code.replace("\n", "\0")


def _state(kind: Kind, glance: Glance, *, is_stopped: bool) -> str:
    if kind == "paused":
        told = say("PAUSED: go on (STOP)") if is_stopped else say("PAUSED: go on")
        return told + (f" ! {glance.remark}" if glance.remark else "")
    if kind == "today":
        if is_stopped:
            return say("finished today (STOP): see the result")
        return say("finished today: see the result")
    if is_stopped:
        return say("new session (STOP: F7)")
    if not glance.is_whole:
        return say("new session (! last changed outside)")
    if glance.is_finished or not glance.is_begun:
        return say("new session")
    return say("new session (last left open)")
