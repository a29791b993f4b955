"""The merge desk must not take more for alike, for one text, for decided or for done than is."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from strategies import AT, SESSION, entry_of

from fitcore.disk.archive_parts import Questions
from fitcore.disk.carrying_back import CarriedBack
from fitcore.disk.known_sessions import KnownSessions
from fitcore.identity import EntryId
from fitcore.merge.clients import Clients
from fitcore.merge.conflicts import find_conflicts, origin_of
from fitcore.merge.found import FileKind, Key
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.merge.proposals import Change, Proposal
from fitcore.problems import Problem, ReadingError
from fitcore.record.session import Session
from tui.answers import Told
from tui.merge_desk import MergeDesk
from tui.merge_facts import DeskFacts, gather_facts, with_ledger_lines, with_session
from tui.merge_words import carried_lines, decided_lines

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fitcore.record.entries import Draft, Entry

TERN, DUNLIN, DESK = "tern-k7qd", "dunlin-m4ex", "curlew-w2fs"
OTHER = "0199c3a2-77aa-7d40-8c1b-3a90b7d4e511"
LEFT = "prescriber.left"


def answer(by: str, what: str, value: object, **more: object) -> Entry:
    return entry_of("answers", by, what=what, is_=value, **more)


def facts_of(
    *sessions: Session, proposals: Sequence[Proposal] = (), ledger: Sequence[Entry] = ()
) -> DeskFacts:
    found = [conflict for session in sessions for conflict in find_conflicts(session)]
    questions = Questions(
        tuple(sorted(found, key=lambda conflict: conflict.order)),
        tuple(proposals),
        Clients(LedgerLines(frozenset(ledger))),
        {session.id: session for session in sessions},
    )
    return gather_facts(questions, KnownSessions.of(sessions), (), None)


def desk_of(facts: DeskFacts) -> MergeDesk:
    desk = MergeDesk(who="C-02")
    desk.show(facts)
    return desk


def marked(desk: MergeDesk, title: str) -> int:
    """Return the number of a value by its words."""
    assert desk.item is not None
    return [choice.title for choice in desk.item.choices].index(title)


def written(draft: Draft | None, number: int) -> Entry:
    assert draft is not None
    return draft.entry(EntryId(DESK, number))


# --- alike ---------------------------------------------------------------------------------------


def asked(name: str, *lines: tuple[str, str, Mapping[str, object]], what: str) -> Session:
    entries = [answer(by, what, value, **more) for by, value, more in lines]
    code = answer(f"{TERN}:{1 if name == SESSION else 2}", "client", f"SK-{name[9:13]}")
    return Session(name, frozenset([code, *entries]))


def test_questions_whose_lines_say_more_than_the_same_value_are_not_alike() -> None:
    def pair(name: str, first: int, noted: str) -> Session:
        one = (f"{TERN}:{first}", "lying", {"noted": noted})
        return asked(name, one, (f"{DUNLIN}:{first}", "sitting", {}), what="posture")

    same = desk_of(facts_of(pair(SESSION, 10, "on the bed"), pair(OTHER, 20, "on the bed")))
    assert len(same.alike()) == 2
    assert same.mark(marked(same, "lying"))
    answers = same.answers("asked", AT, to_all=True)
    assert [given.draft.fields["noted"] for given in answers if given.draft] == ["on the bed"] * 2
    differing = desk_of(facts_of(pair(SESSION, 10, "on the bed"), pair(OTHER, 20, "on a chair")))
    assert [question.session for question in differing.alike()] == [SESSION]
    assert differing.mark(marked(differing, "lying"))
    assert len(differing.answers("asked", AT, to_all=True)) == 1


def decisions(name: str = SESSION, first: int = 10) -> Session:
    """Return a sitting with two prescribers' decisions on one leg, with reasons of their own."""
    more = {"by_whom": "Dr-7", "role": "prescriber", "why": "letter of today"}
    return asked(
        name,
        (f"{TERN}:{first}", "up to 20 mmHg", {**more, "highest_mmhg": 20}),
        (f"{DUNLIN}:{first}", "up to 40 mmHg", {**more, "highest_mmhg": 40}),
        what=LEFT,
    )


def test_what_a_prescriber_decided_is_like_nothing_else() -> None:
    desk = desk_of(facts_of(decisions(), decisions(OTHER, 20)))
    assert len(desk.items) == 2
    assert len(desk.alike()) == 1
    assert desk.mark(0)
    assert len(desk.answers("asked", AT, to_all=True)) == 1


# --- who decided ---------------------------------------------------------------------------------


def test_a_chosen_prescribers_decision_is_told_by_whoever_chose_it_and_why() -> None:
    desk = desk_of(facts_of(decisions()))
    assert desk.mark(marked(desk, "up to 20 mmHg"))
    (given,) = desk.answers("phoned Dr-7", AT)
    line = written(given.draft, 1)
    assert (line.text("why"), line.text("decided_why")) == ("letter of today", "phoned Dr-7")
    chosen = desk.facts.sessions[SESSION].with_entries(line)
    (told,) = decided_lines(with_session(desk.facts, chosen), DESK, AT.date())
    assert told.endswith("up to 20 mmHg (phoned Dr-7)")
    assert " C-02: " in told


def test_a_line_that_keeps_its_own_who_is_told_by_whoever_decided() -> None:
    """Such as a choice that was chosen again: the first one's code stays in the line."""
    line = entry_of(
        "decisions", f"{DESK}:1", what="posture", is_="lying", who="N-17", why="saw it",
        decided_who="C-02", decided_why="asked both",
    )  # fmt: skip
    session = Session(SESSION, frozenset([answer(f"{TERN}:1", "client", "SK-07"), line]))
    assert origin_of(session.entries, line).measurer == "C-02"
    (told,) = decided_lines(facts_of(session), DESK, AT.date())
    assert told == "09:12 C-02: SK-07: Posture: lying (asked both)"


@pytest.mark.parametrize("who", ["", "  ", "\u200b"])
def test_nobody_decides(who: str) -> None:
    with pytest.raises(ReadingError) as refused:
        Told.of(who, "asked", AT)
    assert refused.value.problem.code == "who_missing"
    desk = desk_of(facts_of(decisions()))
    desk.who = who
    assert desk.mark(0)
    with pytest.raises(ReadingError, match="Nobody is named"):
        desk.answers("asked", AT)


# --- lines without their sealed original ---------------------------------------------------------


def added(number: int, value: str) -> Proposal:
    line = answer(f"{DUNLIN}:{number}", "posture", value)
    key = Key(FileKind.SESSION, OTHER)
    return Proposal(f"{number}{value}", key, Change.ADDED, line.by, (), line, ("stick/b.toml",))


def test_copies_that_contradict_each_other_cannot_all_be_taken() -> None:
    (item,) = desk_of(facts_of(proposals=[added(1, "lying"), added(2, "sitting")])).items
    assert [choice.key for choice in item.choices] == ["later", "refused", "taken"]
    lines = [added(1, "lying"), added(1, "sitting"), added(2, "sitting")]
    (item,) = desk_of(facts_of(proposals=lines)).items
    assert [choice.key for choice in item.choices] == ["later", "refused"]
    assert "Copies of this file differ: not all of the lines can be taken." in item.lines
    assert f"{DUNLIN}:1: Posture: lying" in item.lines
    assert f"{DUNLIN}:1: Posture: sitting" in item.lines


def test_lines_with_one_that_contradicts_itself_cannot_all_be_taken() -> None:
    place = {"side": "left", "point": "C", "kind": "girth", "round": 1}
    odd = entry_of("readings", f"{DUNLIN}:2", **place, typed="38.0", unit="cm", mm=Decimal(555))
    key = Key(FileKind.SESSION, OTHER)
    bad = Proposal("p2", key, Change.ADDED, odd.by, (), odd, ("stick/b.toml",))
    (item,) = desk_of(facts_of(proposals=[added(1, "lying"), bad])).items
    assert [choice.key for choice in item.choices] == ["later", "refused"]
    (why,) = (line for line in item.lines if line.startswith("! "))
    assert "typed '38.0' is 380 mm, but mm = 555" in why
    assert any("anklefirst decide p2 refused" in line for line in item.lines)
    (alone,) = desk_of(facts_of(proposals=[bad])).items
    assert [choice.key for choice in alone.choices] == ["refused"]
    assert why in alone.lines


def test_a_link_of_a_changed_ledger_is_let_go_once_it_was_refused_at_the_desk() -> None:
    link = entry_of("links", f"{DUNLIN}:1", codes=["SK-07", "KES-1"], who="C-03", why="asked")
    key = Key(FileKind.LEDGER, DUNLIN)
    line = Proposal("p1", key, Change.ADDED, link.by, (), link, ("stick/l.toml",))
    desk = desk_of(facts_of(proposals=[line], ledger=[link]))
    assert desk.facts.clients.codes_of("SK-07") == ("KES-1", "SK-07")
    assert desk.mark([choice.key for choice in desk.items[0].choices].index("refused"))
    (given,) = desk.answers("nobody knows of it", AT)
    left = with_ledger_lines(desk.facts, [written(given.ruling, 1)])
    assert left.clients.codes_of("SK-07") == ("SK-07",)


# --- carrying back -------------------------------------------------------------------------------


def left_out(*names: str) -> tuple[Problem, ...]:
    return tuple(Problem("left", "Not sealed.", "See to it.", f"/data/{name}") for name in names)


def came_back(*outcomes: tuple[str, CarriedBack | str]) -> list[str]:
    return carried_lines([(Path(stick), told) for stick, told in outcomes], Path("/data"))


def test_a_stick_on_which_nothing_could_be_written_is_not_said_to_be_ready() -> None:
    nothing = CarriedBack(Path("/stick/to-laptops"), 0, 0, left_out("ledger/tern-k7qd.toml"))
    assert came_back(("/stick", nothing)) == [
        "! /stick: nothing could be carried, see below.",
        "! Left out until its question is answered (F7):",
        "  ledger/tern-k7qd.toml",
    ]
    first, *_ = came_back(("/stick", replace(nothing, unchanged=1)))
    assert first == "/stick may be pulled: 0 written, 1 there already."


def test_what_became_of_each_stick_comes_before_what_was_left_out_and_why() -> None:
    months = [f"sessions/2026-0{month}/{SESSION}.toml" for month in range(1, 6)]
    one = CarriedBack(Path("/media/ann/P1/to-laptops"), 120, 40, left_out(*months))
    far = f"/media/{'ann-of-the-north/' * 4}P2"
    lines = came_back(
        ("/media/ann/P1", one),
        (far, replace(one, folder=Path(far) / "to-laptops", written=9_999, unchanged=9_999)),
        ("/media/ann/P3", "The stick does not give back what was written. Use another."),
    )
    assert lines[0] == "/media/ann/P1 may be pulled: 120 written, 40 there already."
    assert lines[1].startswith("…")
    assert lines[1].endswith("north/P2 may be pulled: 9999 written, 9999 there already.")
    assert lines[2:] == [
        "! /media/ann/P3: not carried back, see below.",
        "All was read back. On each laptop, open this desk and merge its stick.",
        "! P3: The stick does not give back what was written. Use another.",
        "! 5 files left out until answered (F7):",
        f"  {months[0]}",
        f"  {months[1]} and 3 more.",
    ]
    assert max(map(len, lines)) <= 78
