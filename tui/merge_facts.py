"""What is open at the merge desk, gathered from an archive: pure, no screen and no file.

After each answer only what it touches is looked at anew; the archive itself is not read again.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from fitcore.doubts.same_person import alike_sittings
from fitcore.merge.clients import Clients, rival_codes
from fitcore.merge.clock_notes import clock_notes
from fitcore.merge.conflicts import find_conflicts
from fitcore.merge.found import FileKind
from fitcore.merge.ids import content_id
from fitcore.merge.late_stops import late_stops
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.moment.wrong_clocks import wrong_clocks
from fitcore.points import place_words, side_words
from fitcore.units import show_cm
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from fitcore.disk.archive_parts import Questions
    from fitcore.doubts.same_person import AlikeSittings
    from fitcore.merge.late_stops import LateStop
    from fitcore.merge.report import MergeReport
    from fitcore.moment.wrong_clocks import WrongClock
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session
    from fitcore.safety.clearance import SessionClearance

    Judge = Callable[[Session], SessionClearance]


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Two codes that may be one person's."""

    id: str
    codes: tuple[str, str]
    evidence: tuple[str, ...]
    """Sentences, strongest first."""


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


@dataclass(frozen=True)
class Facts:
    """What is open in an archive."""

    questions: Questions
    sessions: Mapping[str, Session]
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
        session = self.sessions.get(session_id) or self.questions.sessions.get(session_id)
        values = session.answer("client").values if session is not None else ()
        return " / ".join(str(value) for value in values) or say("no client's code")


def gather_facts(
    questions: Questions,
    sessions: Iterable[Session],
    files: Sequence[SetAsideFile],
    judge: Judge | None,
    asked: Callable[[str], str] = lambda _: "",
    *,
    may_stop: Callable[[Session], bool] = lambda _: True,
    report: MergeReport | None = None,
) -> Facts:
    """Look through an archive for what a person must see to.

    Args:
        questions: its open questions.
        sessions: all its sessions.
        files: what it has set aside.
        judge: see `Facts`.
        asked: see `Facts`.
        may_stop: see `Facts`.
        report: see `Facts`.
    """
    by_id = {session.id: session for session in sessions}
    facts = Facts(questions, by_id, (), (), (), tuple(files), judge, asked, may_stop, report)
    return replace(
        facts,
        stops=_late_stops(facts, by_id.values()),
        suggestions=_suggestions(facts),
        clocks=_wrong_clocks(facts, by_id.values()),
    )


def with_session(facts: Facts, session: Session) -> Facts:
    """Return the facts once a session has got another line."""
    before = facts.questions
    others = [found for found in before.conflicts if found.session != session.id]
    conflicts = sorted([*others, *find_conflicts(session)], key=lambda found: found.order)
    questions = replace(
        before,
        conflicts=tuple(conflicts),
        sessions={**before.sessions, session.id: session},
    )
    facts = replace(facts, questions=questions, sessions={**facts.sessions, session.id: session})
    other_clocks = [clock for clock in facts.clocks if clock.session.id != session.id]
    clocks = [*other_clocks, *_wrong_clocks(facts, [session])]
    facts = replace(facts, clocks=tuple(clocks))
    return _with_stops(facts, [str(value) for value in session.answer("client").values])


def with_ledger_lines(facts: Facts, entries: Sequence[Entry]) -> Facts:
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
    sitting_of_clocks = [clock.session for clock in facts.clocks]
    facts = replace(facts, clocks=_wrong_clocks(facts, sitting_of_clocks))
    codes = [code for entry in (*entries, *let_go) for code in entry.names("codes")]
    return _with_stops(facts, codes) if codes else facts


def _with_stops(facts: Facts, codes: Iterable[str]) -> Facts:
    """Look for the stops of some people anew."""
    if facts.judge is None:
        return facts
    people = {code for one in codes for code in facts.clients.codes_of(one)}
    theirs = [
        session
        for session in facts.sessions.values()
        if people & {str(value) for value in session.answer("client").values}
    ]
    others = [late for late in facts.stops if not people & set(late.codes)]
    found = [*others, *_late_stops(facts, theirs)]
    return replace(facts, stops=tuple(sorted(found, key=lambda late: (late.codes, late.id))))


def _late_stops(facts: Facts, sessions: Iterable[Session]) -> tuple[LateStop, ...]:
    if facts.judge is None:
        return ()
    return late_stops(sessions, facts.clients, facts.judge, facts.may_stop)


def _wrong_clocks(facts: Facts, sessions: Iterable[Session]) -> tuple[WrongClock, ...]:
    notes = clock_notes(facts.clients.ledgers)
    unique = {session.id: session for session in sessions}
    return wrong_clocks(unique.values(), lambda entry: any(note.covers(entry) for note in notes))


# --- codes of one person -------------------------------------------------------------------------


def _suggestions(facts: Facts) -> tuple[Suggestion, ...]:
    """Return codes worth asking about: given to one sitting, or alike in their numbers."""
    given = {session.id: _codes_given(session) for session in facts.sessions.values()}
    several = {name: codes for name, codes in given.items() if len(codes) > 1}
    rivals = rival_codes(several.values(), facts.clients)
    like = {
        found.codes: found
        for found in alike_sittings(facts.sessions.values(), facts.clients.may_suggest)
    }
    found = []
    for codes in sorted({*rivals, *like}):
        evidence = [
            say("Both codes were given to one sitting: {sitting}.", sitting=_sitting(session))
            for name, both in several.items()
            if set(codes) <= set(both)
            for session in [facts.sessions[name]]
        ]
        if codes in like:
            evidence += _alike_words(like[codes])
        found.append(Suggestion(content_id("codes", *codes), codes, tuple(evidence)))
    return tuple(found)


def _codes_given(session: Session) -> tuple[str, ...]:
    """Return the codes laptops gave a sitting without seeing each other's, answered or not.

    A code put right by whoever had seen it was a slip, and stands for nobody.
    """
    # Most sessions have one line about the client, and then there is nothing to find.
    lines = [e for e in session.entries if e.fields.get("what") == "client" and not e.erased]
    if len(lines) < 2:
        return ()
    replaced = {name for e in lines if e.array != "decisions" for name in e.replaces}
    codes = {
        entry.text("is")
        for entry in lines
        if entry.array != "decisions"
        and str(entry.by) not in replaced
        and not session.heads.is_withdrawn(entry)
    }
    return tuple(sorted(code for code in codes if code))


def _alike_words(found: AlikeSittings) -> list[str]:
    one, other = found.sittings
    same = [values for values in found.values if values[1] == values[2]]
    words = [
        say(
            "Measured the same day on two laptops: {one}; {other}.",
            one=_sitting(one),
            other=_sitting(other),
        ),
        say(
            "{same} of {count} values are the same to the millimetre:",
            same=len(same),
            count=len(found.values),
        ),
    ]
    for (side, point, kind), first, second in found.values:
        words.append(
            say(
                "  {side} {place}: {first} and {second} cm",
                side=side_words(side),
                place=place_words(point, kind),
                first=show_cm(first),
                second=show_cm(second),
            )
        )
    return words


def _sitting(session: Session) -> str:
    """Return when, where and by whom somebody was measured."""
    at = session.measured_at
    laptops = ", ".join(sorted({e.by.laptop for e in session.answer("client").heads}))
    return say(
        "{when} on {laptop} by {who}",
        when=f"{at:%Y-%m-%d %H:%M}" if at is not None else say("no time"),
        laptop=laptops or "?",
        who=session.text("measurer") or say("nobody named"),
    )


def sitting_words(session: Session) -> str:
    """Return a sitting in words: its codes, when, where and by whom."""
    codes = " / ".join(str(value) for value in session.answer("client").values)
    return say("{codes}, {sitting}", codes=codes, sitting=_sitting(session))
