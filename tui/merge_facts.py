"""What is open at the merge desk, gathered from an archive: pure, no screen and no file.

After each answer only what it touches is looked at anew; the archive itself is not read again.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from fitcore.disk.known_sessions import AlikeDays
from fitcore.merge.clients import Clients
from fitcore.merge.conflicts import find_conflicts
from fitcore.merge.found import FileKind
from fitcore.merge.late_stops import late_stops
from fitcore.merge.ledger_lines import LedgerLines
from tui.wording.clocks import KnownClocks, clocks_not_noted
from tui.wording.codes import code_suggestions
from tui.wording.sittings import client_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from fitcore.disk.archive_parts import Questions
    from fitcore.disk.known_sessions import KnownSessions
    from fitcore.merge.late_stops import LateStop
    from fitcore.merge.report import MergeReport
    from fitcore.moment.wrong_clocks import WrongClock
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session
    from fitcore.safety.clearance import SessionClearance
    from tui.wording.codes import Suggestion

    Judge = Callable[[Session], SessionClearance]


@dataclass(frozen=True, slots=True)
class SetAsideFile:
    """One file the archive keeps as a copy and does not read."""

    digest: str
    text: str
    """The reason."""
    mend: str
    """What to do."""
    found_in: tuple[str, ...]
    is_copied: bool
    """Whether its bytes lie in the archive; of a link or device only the note does."""
    whose: str = ""
    """Client and laptop, by its bytes; empty where they do not tell."""


@dataclass(frozen=True)
class DeskFacts:
    """What is open in an archive, as the merge desk knows it."""

    questions: Questions
    sessions: KnownSessions
    """All sessions that can be read, by id."""
    stops: tuple[LateStop, ...]
    suggestions: tuple[Suggestion, ...]
    clocks: tuple[WrongClock, ...]
    files: tuple[SetAsideFile, ...]
    judge: Judge | None
    """Says whether a session's legs may be fitted; None where the rules cannot be loaded."""
    asked: Callable[[str], str] = field(default=lambda _: "")
    """Returns what was asked, in its own words, by a question of screening's id; empty where that
    is not known."""
    may_stop: Callable[[Session], bool] = field(default=lambda _: True)
    """A cheap first look: False only where judging a session can stop no leg."""
    report: MergeReport | None = None
    """What a merge says of the archive as a whole: whose entries are missing."""

    @property
    def clients(self) -> Clients:
        """Which codes are one person's."""
        return self.questions.clients

    def client_of(self, session_id: str) -> str:
        """Return a session's code, several where they are in question."""
        return client_words(self.session_of(session_id))

    def session_of(self, session_id: str) -> Session | None:
        """Return a session, also one that only a question holds; None where there is none."""
        return self.sessions.get(session_id) or self.questions.sessions.get(session_id)

    @property
    def known_clocks(self) -> KnownClocks:
        """How far times can be relied on."""
        return KnownClocks.of(self.clients.ledgers, self.clocks)


def gather_facts(
    questions: Questions,
    sessions: KnownSessions,
    files: Sequence[SetAsideFile],
    judge: Judge | None,
    asked: Callable[[str], str] = lambda _: "",
    *,
    may_stop: Callable[[Session], bool] = lambda _: True,
    report: MergeReport | None = None,
    days: AlikeDays | None = None,
) -> DeskFacts:
    """Look through an archive for what a person must see to.

    Args:
        questions: its open questions.
        sessions: all its sessions.
        files: what it has set aside.
        judge: see `DeskFacts`.
        asked: see `DeskFacts`.
        may_stop: see `DeskFacts`.
        report: see `DeskFacts`.
        days: what was found alike before; None where nothing was looked for.
    """
    facts = DeskFacts(questions, sessions, (), (), (), tuple(files), judge, asked, may_stop, report)
    clients, wrong = facts.clients, sessions.where(lambda glance: glance.says_wrong_clock)
    return replace(
        facts,
        stops=_late_stops(facts, sessions.of_several(clients)),
        suggestions=code_suggestions(sessions, clients, days or AlikeDays()),
        clocks=clocks_not_noted(wrong, clients.ledgers),
    )


def with_session(facts: DeskFacts, session: Session) -> DeskFacts:
    """Return the facts once a session has got another line."""
    before = facts.questions
    others = [found for found in before.conflicts if found.session != session.id]
    conflicts = sorted([*others, *find_conflicts(session)], key=lambda found: found.order)
    questions = replace(
        before,
        conflicts=tuple(conflicts),
        sessions={**before.sessions, session.id: session},
    )
    facts = replace(facts, questions=questions, sessions=facts.sessions.with_session(session))
    other_clocks = [clock for clock in facts.clocks if clock.session.id != session.id]
    clocks = [*other_clocks, *clocks_not_noted([session], facts.clients.ledgers)]
    facts = replace(facts, clocks=tuple(clocks))
    return _with_stops(facts, [str(value) for value in session.answer("client").values])


def with_ledger_lines(facts: DeskFacts, entries: Sequence[Entry]) -> DeskFacts:
    """Return the facts once a ledger has got other lines; what they say of codes bears on stops."""
    before = facts.questions
    known = LedgerLines(before.clients.ledgers.entries.union(entries))
    ruled = [p for p in before.proposals if known.is_ruled(p.id)]
    # A link of a changed ledger counts only until somebody has answered for it.
    let_go = {p.proposed for p in ruled if p.about.kind is FileKind.LEDGER and p.proposed}
    clients = Clients(LedgerLines(known.entries - let_go) if let_go else known)
    own = [found for found in before.conflicts if found.session]
    conflicts = sorted([*own, *clients.conflicts], key=lambda found: found.order)
    questions = replace(
        before,
        conflicts=tuple(conflicts),
        proposals=tuple(p for p in before.proposals if not clients.ledgers.is_ruled(p.id)),
        clients=clients,
    )
    facts = replace(
        facts,
        questions=questions,
        suggestions=tuple(s for s in facts.suggestions if clients.may_suggest(*s.codes)),
    )
    sittings = {clock.session.id: clock.session for clock in facts.clocks}
    clocks = clocks_not_noted(sittings.values(), facts.clients.ledgers)
    facts = replace(facts, clocks=clocks)
    codes = [code for entry in (*entries, *let_go) for code in entry.names("codes")]
    return _with_stops(facts, codes) if codes else facts


def _with_stops(facts: DeskFacts, codes: Iterable[str]) -> DeskFacts:
    """Look for the stops of some people anew."""
    if facts.judge is None:
        return facts
    people = {code for one in codes for code in facts.clients.codes_of(one)}
    theirs = facts.sessions.of_codes(people)
    others = [late for late in facts.stops if not people & set(late.codes)]
    found = [*others, *_late_stops(facts, theirs)]
    return replace(facts, stops=tuple(sorted(found, key=lambda late: (late.codes, late.id))))


def _late_stops(facts: DeskFacts, sessions: Iterable[Session]) -> tuple[LateStop, ...]:
    if facts.judge is None:
        return ()
    return late_stops(sessions, facts.clients, facts.judge, facts.may_stop)
