"""Codes of one person: links, *not the same*, both at once, and the sessions under all of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from strategies import AT, SESSION, entry_of

from fitcore.identity import EntryId
from fitcore.merge.clients import (
    Clients,
    by_code,
    draft_distinct,
    draft_link,
    draft_unlink,
    linked_sessions,
    rival_codes,
)
from fitcore.merge.ledger_lines import gather
from fitcore.problems import ReadingError
from fitcore.record.session import Session

if TYPE_CHECKING:
    from fitcore.record.entries import Draft, Entry

A, B, C, D = "tern-014-0", "dunlin-003-Q", "KES 17/b", "petrel-9"


def clients(*entries: Entry) -> Clients:
    return Clients(gather([frozenset(entries)]))


def link(by: str, *codes: str, **more: object) -> Entry:
    return entry_of("links", by, codes=list(codes), who="C-02", why="same list number", **more)


def distinct(by: str, *codes: str, **more: object) -> Entry:
    return entry_of("distincts", by, codes=list(codes), who="C-02", why="two sisters", **more)


def written(draft: Draft, number: int) -> Entry:
    return draft.entry(EntryId("curlew-w2fs", number))


def test_links_hold_codes_together_however_they_chain_and_no_code_goes() -> None:
    people = clients(link("tern-k7qd:1", A, B), link("dunlin-m4ex:9", B, C))
    assert people.codes_of(A) == people.codes_of(C) == tuple(sorted((A, B, C)))
    assert people.codes_of(D) == (D,)
    assert people.groups == (tuple(sorted((A, B, C))),)
    assert people.conflicts == ()


def test_a_link_taken_back_parts_the_codes_and_restored_joins_them_again() -> None:
    tie = link("tern-k7qd:1", A, B)
    back = written(draft_unlink([str(tie.by)], who="C-02", why="mistaken", at=AT), 1)
    again = written(draft_unlink([str(back.by)], who="C-02", why="was right", at=AT), 2)
    assert clients(tie, back).groups == ()
    assert clients(tie, back, again).groups == clients(tie).groups


def test_the_same_and_not_the_same_from_two_who_did_not_know_is_a_question() -> None:
    people = clients(link("tern-k7qd:1", A, B), distinct("dunlin-m4ex:9", A, B))
    (conflict,) = people.conflicts
    assert (conflict.kind, conflict.is_safety) == ("clients", True)
    assert [candidate.value for candidate in conflict.candidates] == ["linked", "distinct"]
    assert conflict.names == {"tern-k7qd:1", "dunlin-m4ex:9"}
    assert people.codes_of(A) == tuple(sorted((A, B)))  # a stop under either still holds for both


def test_a_chain_that_joins_two_who_are_distinct_is_a_question() -> None:
    people = clients(
        link("tern-k7qd:1", A, B), link("dunlin-m4ex:9", B, C), distinct("tern-k7qd:2", A, C)
    )
    (conflict,) = people.conflicts
    assert conflict.names == {"tern-k7qd:1", "dunlin-m4ex:9", "tern-k7qd:2"}
    settled = clients(
        *people.links,
        *people.distincts,
        written(draft_unlink(["dunlin-m4ex:9"], who="C-02", why="other lady", at=AT), 1),
    )
    assert settled.conflicts == ()
    assert settled.groups == (tuple(sorted((A, B))),)


def test_who_answers_anew_having_seen_the_other_answer_replaces_it() -> None:
    tie = link("tern-k7qd:1", A, B)
    no = written(draft_distinct(clients(tie), [A, B], who="C-02", why="two sisters", at=AT), 1)
    parted = clients(tie, no)
    assert (parted.groups, parted.conflicts) == ((), ())
    assert parted.are_distinct(A, B)
    yes = written(draft_link(parted, [A, B], who="C-02", why="one after all", at=AT), 2)
    people = clients(tie, no, yes)
    assert people.groups == (tuple(sorted((A, B))),)
    assert people.conflicts == ()


def test_a_group_of_more_than_three_codes_wants_one_line_that_names_them_all() -> None:
    ties = [link("tern-k7qd:1", A, B), link("tern-k7qd:2", B, C), link("tern-k7qd:3", C, D)]
    (conflict,) = clients(*ties).conflicts
    assert conflict.kind == "group"
    assert clients(*ties, link("tern-k7qd:4", A, B, C, D)).conflicts == ()
    assert [c.kind for c in clients(link("tern-k7qd:4", A, B, C, D)).conflicts] == ["group"]
    assert clients(*ties[:2]).conflicts == ()


def test_not_the_same_silences_a_guess_for_good() -> None:
    sittings = [(A, B), (C,), (B, A), (C, D)]
    nobody = clients()
    assert rival_codes(sittings, nobody) == ((C, D), (B, A))
    assert rival_codes(sittings, clients(distinct("tern-k7qd:1", B, A))) == ((C, D),)
    assert rival_codes(sittings, clients(link("tern-k7qd:1", B, A))) == ((C, D),)


def session(number: int, *codes: str) -> Session:
    """Return a session under a code, or under several where laptops differ."""
    lines = [
        entry_of("answers", f"tern-k7qd:{number}{at}", what="client", is_=code)
        for at, code in enumerate(codes, 1)
    ]
    return Session(SESSION[:-1] + str(number), frozenset(lines))


@pytest.mark.parametrize("also", [(), (distinct("dunlin-m4ex:9", A, B),)])
def test_sessions_under_the_persons_other_codes_are_found_even_while_it_is_disputed(
    also: tuple[Entry, ...],
) -> None:
    own, again, other, third = session(1, A), session(2, A), session(3, B), session(4, C)
    known = by_code([other, third, own, again])
    people = clients(link("tern-k7qd:1", A, B), *also)
    assert linked_sessions(own, people, known) == (again, other)
    assert linked_sessions(other, people, known) == (own, again)
    assert linked_sessions(third, people, known) == ()
    assert linked_sessions(own, clients(*also), known) == (again,)


def test_a_session_that_may_be_of_two_codes_counts_for_both_and_is_held_by_both() -> None:
    both, own, other = session(1, A, C), session(2, A), session(3, B)
    people = clients(link("tern-k7qd:1", A, B))
    assert linked_sessions(both, people, by_code([own, other])) == (own, other)
    assert linked_sessions(other, people, by_code([both, own])) == (both, own)


def test_a_session_not_begun_yet_is_of_the_code_it_is_begun_with() -> None:
    new, other = session(1), session(3, B)
    people = clients(link("tern-k7qd:1", A, B))
    assert linked_sessions(new, people, by_code([other]), A) == (other,)
    assert linked_sessions(new, people, by_code([other])) == ()


def test_the_other_sessions_of_the_same_code_need_no_link() -> None:
    own, again, other, nobodys = session(1, A), session(2, A), session(3, B), session(4)
    known = by_code([nobodys, other, again, own])
    assert linked_sessions(own, None, known) == (again,)
    assert linked_sessions(own, clients(), known) == (again,)
    assert linked_sessions(session(5), None, known, A) == (own, again)


def test_sessions_without_a_code_are_nobodys_and_never_one_persons() -> None:
    known = by_code([session(1), session(2, ""), session(3)])
    assert known == {}
    assert linked_sessions(session(4), clients(), known) == ()


def test_two_copies_of_a_linked_session_are_joined() -> None:
    other, more = session(3, B), session(3, B)
    more = more.with_entries(entry_of("remarks", "tern-k7qd:99", text="seen again"))
    people = clients(link("tern-k7qd:1", A, B))
    for known in ([other, more], [more, other]):
        assert linked_sessions(session(1, A), people, by_code(known)) == (more,)


@pytest.mark.parametrize(
    ("codes", "why"), [([A], "x"), ([A, A], "x"), ([A, " "], "x"), ([A, B], "")]
)
def test_a_link_needs_two_codes_and_a_reason(codes: list[str], why: str) -> None:
    with pytest.raises(ReadingError):
        draft_link(clients(), codes, who="C-02", why=why, at=AT)


def test_a_line_with_one_code_or_something_else_says_nothing() -> None:
    odd = [
        link("tern-k7qd:1", A),
        entry_of("links", "tern-k7qd:2", codes="both"),
        entry_of("links", "tern-k7qd:3"),
    ]
    assert clients(*odd).groups == ()
