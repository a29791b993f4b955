"""Codes of one person: said to be the same, or asked and not the same. Nothing is ever fused.

A person is what links hold together; no code is retired, and every link can be taken back. While
somebody says *the same* and somebody else *not the same*, a stop under either code holds for both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING

from fitcore.clean_text import clean
from fitcore.merge.conflicts import Candidate, Conflict, conflict_id, origin_of
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.problems import Problem, ReadingError
from fitcore.record.edits import reason_text
from fitcore.record.entries import Draft
from fitcore.record.session import join
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from fitcore.merge.conflicts import ConflictKind
    from fitcore.merge.proposals import Proposal
    from fitcore.record.entries import Entry, Value
    from fitcore.record.session import Session

LINKED, DISTINCT = "linked", "distinct"
"""What is said of two codes."""
MOST_UNCONFIRMED = 3
"""Codes one person may have before somebody must confirm them together (ours: chains grow)."""


@dataclass(frozen=True)
class Clients:
    """Which codes are one person's, by all ledgers together."""

    ledgers: LedgerLines

    @cached_property
    def links(self) -> tuple[Entry, ...]:
        """Lines that say *the same person* and stand, sorted by name."""
        return self._standing("links")

    @cached_property
    def distincts(self) -> tuple[Entry, ...]:
        """Lines that say *not the same person* and stand, sorted by name."""
        return self._standing("distincts")

    @cached_property
    def groups(self) -> tuple[tuple[str, ...], ...]:
        """Codes of one person each, two or more, sorted; doubtful ones too."""
        return tuple(sorted({group for group in self._group_of.values() if len(group) > 1}))

    def codes_of(self, code: str) -> tuple[str, ...]:
        """Return all codes of a person, sorted, by any of them; also while that is disputed.

        A stop under any of them holds for all.
        """
        return self._group_of.get(code, (code,))

    def are_distinct(self, one: str, other: str) -> bool:
        """Whether somebody says that two codes are two people's."""
        return frozenset((one, other)) in self._apart

    def may_suggest(self, one: str, other: str) -> bool:
        """Whether it may be suggested that two codes are one person's.

        Never once somebody has answered: *not the same* silences a guess for good.
        """
        return (
            one != other and not self.are_distinct(one, other) and other not in self.codes_of(one)
        )

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """Groups of codes said to be one person and not, and large groups nobody confirmed."""
        found = []
        for group in self.groups:
            links = [link for link in self.links if set(_codes(link)) <= set(group)]
            if apart := self._against(group):
                found.append(_conflict("clients", group, links, apart))
            elif len(group) > MOST_UNCONFIRMED and not _is_confirmed(group, links):
                found.append(_conflict("group", group, links, ()))
        return tuple(found)

    def _standing(self, array: str) -> tuple[Entry, ...]:
        return tuple(e for e in self.ledgers.heads.heads_of(array) if len(_codes(e)) > 1)

    @cached_property
    def _group_of(self) -> Mapping[str, tuple[str, ...]]:
        groups: dict[str, set[str]] = {}
        for link in self.links:
            united = set[str]().union(*(groups.get(code, {code}) for code in _codes(link)))
            groups |= dict.fromkeys(united, united)
        return {code: tuple(sorted(group)) for code, group in groups.items()}

    @cached_property
    def _apart(self) -> frozenset[frozenset[str]]:
        pairs = (pair for entry in self.distincts for pair in combinations(_codes(entry), 2))
        return frozenset(frozenset(pair) for pair in pairs)

    def _against(self, group: Sequence[str]) -> list[Entry]:
        """Return lines that say of two codes of a group that they are two people's."""
        return [e for e in self.distincts if len(set(_codes(e)) & set(group)) > 1]


def careful_clients(ledgers: LedgerLines, proposals: Iterable[Proposal]) -> Clients:
    """Return which codes are one person's, with the links of changed ledgers nobody ruled on yet.

    Of a ledger changed outside the program only the links count, and nothing that parts codes: the
    more careful of both.

    Args:
        ledgers: what all sealed ledgers say together.
        proposals: changed lines nobody has answered for; those of sessions link nothing.
    """
    lines = (proposal.proposed for proposal in proposals)
    links = (line for line in lines if line is not None and line.array == "links")
    return Clients(LedgerLines(ledgers.entries.union(links)))


def codes_in(session: Session, client: str = "") -> tuple[str, ...]:
    """Return the codes a session stands under, sorted; several where laptops differ.

    Args:
        session: the session.
        client: the code it is begun with, where nothing is written yet.
    """
    written = {str(value) for value in session.answer("client").values}
    return tuple(sorted((written or {client}) - {""}))


def by_code(sessions: Iterable[Session]) -> dict[str, tuple[Session, ...]]:
    """Return the sessions under each code, by id; one that stands under several under each.

    Copies of one session, such as of two folders, are joined.
    """
    joined: dict[str, Session] = {}
    for one in sessions:
        held = joined.get(one.id)
        joined[one.id] = one if held is None or held is one else join(held, one)
    found: dict[str, list[Session]] = {}
    for id_ in sorted(joined):
        for code in codes_in(joined[id_]):
            found.setdefault(code, []).append(joined[id_])
    return {code: tuple(those) for code, those in found.items()}


def linked_sessions(
    session: Session,
    clients: Clients | None,
    known: Mapping[str, Sequence[Session]],
    client: str = "",
) -> tuple[Session, ...]:
    """Return the person's other sessions, by id, to be judged together with one.

    They stand under the same code, such as of another laptop, or under one linked with it. Codes
    said to be one person's and not, count while that is open. A session without a code has none.

    Args:
        session: the session looked at.
        clients: which codes are one person's; None where that is not known.
        known: all sessions known here, `by_code`.
        client: the code it is begun with, where nothing is written yet.
    """
    own = codes_in(session, client)
    codes = {*own, *(other_codes(own, clients) if clients is not None else ())}
    found = {one.id: one for code in codes for one in known.get(code, ())}
    found.pop(session.id, None)
    return tuple(found[id_] for id_ in sorted(found))


def other_codes(codes: Iterable[str], clients: Clients) -> frozenset[str]:
    """Return the other codes of a person or, where laptops differ about the code, of each."""
    own = frozenset(codes)
    return frozenset(other for code in own for other in clients.codes_of(code)) - own


def rival_codes(
    codes_in_sessions: Iterable[Sequence[str]], clients: Clients
) -> tuple[tuple[str, str], ...]:
    """Return pairs of codes worth asking about: two were given to one sitting. Sorted.

    Args:
        codes_in_sessions: the values of each session's field `client`.
        clients: what was answered already.
    """
    pairs = {
        (one, other)
        for codes in codes_in_sessions
        for one, other in combinations(sorted(set(codes)), 2)
        if clients.may_suggest(one, other)
    }
    return tuple(sorted(pairs))


def draft_link(
    clients: Clients, codes: Sequence[str], *, who: str, why: str, at: datetime
) -> Draft:
    """Say that codes are one person's, for the ledger; *not the same* seen here is replaced.

    Raises:
        ReadingError: fewer than two different codes, or no reason.
    """
    answered = [e for e in clients.distincts if set(_codes(e)) <= set(codes)]
    return _draft("links", codes, answered, at, {"who": who, "why": reason_text(why)})


def draft_distinct(
    clients: Clients, codes: Sequence[str], *, who: str, why: str, at: datetime
) -> Draft:
    """Say that codes are different people's, for the ledger; *the same* seen here is replaced.

    Raises:
        ReadingError: fewer than two different codes, or no reason.
    """
    answered = [e for e in clients.links if set(_codes(e)) <= set(codes)]
    return _draft("distincts", codes, answered, at, {"who": who, "why": reason_text(why)})


def draft_unlink(names: Sequence[str], *, who: str, why: str, at: datetime) -> Draft:
    """Take back links or distincts by their entries' names, for the ledger.

    Raises:
        ReadingError: no reason was given.
    """
    return Draft("withdrawn", at, {"takes_back": list(names), "why": reason_text(why), "who": who})


def _codes(entry: Entry) -> tuple[str, ...]:
    return tuple(dict.fromkeys(entry.names("codes")))


def _is_confirmed(group: Sequence[str], links: Sequence[Entry]) -> bool:
    """Whether a line beside the others names the whole group."""
    return len(links) > 1 and any(set(_codes(link)) == set(group) for link in links)


def _conflict(
    kind: ConflictKind, group: Sequence[str], links: Sequence[Entry], apart: Sequence[Entry]
) -> Conflict:
    field = " = ".join(group)
    lines = [*links, *apart]
    sides = ((LINKED, links), (DISTINCT, apart))
    return Conflict(
        conflict_id("", field, lines),
        "",
        kind,
        field,
        tuple(
            Candidate(value, tuple(origin_of(lines, entry) for entry in entries))
            for value, entries in sides
            if entries
        ),
        frozenset(str(entry.by) for entry in lines),
        tuple(dict.fromkeys(str(entry.by) for entry in lines)),
    )


def _draft(
    array: str,
    codes: Sequence[str],
    answered: Sequence[Entry],
    at: datetime,
    told: Mapping[str, Value],
) -> Draft:
    different = list(dict.fromkeys(clean(code).text for code in codes))
    if len(different) < 2 or not all(different):
        raise ReadingError(
            Problem(
                code="codes_missing",
                text=say("Two different clients' codes are needed."),
                mend=say("Give the codes as they stand in the sessions."),
            )
        )
    seen = dict.fromkeys(name for e in answered for name in (str(e.by), *e.replaces))
    return Draft(
        array,
        at,
        {"codes": different, "instead_of": list(seen) or None, **told},
    )
