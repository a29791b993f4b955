"""What the merge desk and the verbs say alike: of clocks, codes and changed lines."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from strategies import AT, SESSION, entry_of

from fitcore.disk.archive_parts import Questions
from fitcore.disk.known_sessions import KnownSessions
from fitcore.identity import EntryId
from fitcore.merge.clients import DISTINCT, LINKED, Clients
from fitcore.merge.clock_notes import draft_clock_note
from fitcore.merge.conflicts import origin_of
from fitcore.merge.found import FileKind, Key
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.merge.proposals import Change, ChangedFile, Proposal
from fitcore.record.session import Session
from tui.commands.question_lines import origin_words
from tui.merge_facts import gather_facts
from tui.merge_items import clock_badge
from tui.wording.changed_lines import unsealed_codes
from tui.wording.codes import codes_words

if TYPE_CHECKING:
    from fitcore.record.entries import Entry

TERN, DUNLIN, DESK = "tern-k7qd", "dunlin-m4ex", "curlew-w2fs"
CLIENT = entry_of("answers", f"{TERN}:1", what="client", is_="SK-07")
POSTURE = entry_of("answers", f"{TERN}:2", what="posture", is_="sitting")
WRONG = entry_of("answers", f"{TERN}:3", what="clock", is_="wrong")


def note(number: int, seconds: int) -> Entry:
    draft = draft_clock_note(TERN, (1, 3), seconds, who="C-02", why="watch", at=AT)
    return draft.entry(EntryId(DESK, number))


@pytest.mark.parametrize(
    ("lines", "notes", "badge", "told", "hours"),
    [
        ((), (), "clock not in doubt", "", 0),
        ((WRONG,), (), "! clock was wrong", " (clock was wrong)", 0),
        ((WRONG,), (note(1, 3600),), "clock set right by note", " (clock set right by note)", 1),
        ((), (note(1, 60), note(2, 7200)), "! clock notes differ", " (clock notes differ)", 0),
    ],
)
def test_desk_and_verbs_tell_alike_how_far_a_time_can_be_relied_on(
    lines: tuple[Entry, ...], notes: tuple[Entry, ...], badge: str, told: str, hours: int
) -> None:
    session = Session(SESSION, frozenset([CLIENT, POSTURE, *lines]))
    clients = Clients(LedgerLines(frozenset(notes)))
    facts = gather_facts(Questions((), (), clients, {}), KnownSessions.of([session]), (), None)
    assert clock_badge(facts, POSTURE) == badge
    at = AT + timedelta(hours=hours)
    words = origin_words(origin_of(session.entries, POSTURE), facts.known_clocks)
    assert words.endswith(f", {at:%Y-%m-%d %H:%M} by the clock of {TERN}{told}")


def test_codes_of_one_person_are_joined_and_others_listed() -> None:
    assert codes_words(["SK-1", "SK-2"], LINKED) == "SK-1 = SK-2: one person"
    assert codes_words(["SK-1", "SK-2", "SK-3"], DISTINCT) == "SK-1, SK-2, SK-3: not one person"


def test_lines_without_a_sealed_original_are_of_the_sessions_client_before_their_own() -> None:
    """What the archive holds is vouched for; what the lines say of themselves is not."""
    about = Key(FileKind.SESSION, SESSION)
    line = entry_of("answers", f"{DUNLIN}:4", what="client", is_="SK-09")
    found = Proposal("p4", about, Change.ADDED, line.by, (), line, ("stick/b.toml",))
    file = ChangedFile("f1", about, (found,))
    assert unsealed_codes(file, Session(SESSION, frozenset([CLIENT]))) == "SK-07"
    assert unsealed_codes(file, Session(SESSION, frozenset([POSTURE]))) == "SK-09"
    assert unsealed_codes(file, None) == "SK-09"
    assert unsealed_codes(ChangedFile("f1", about, ()), None) == ""
