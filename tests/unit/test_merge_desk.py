"""The merge desk without a screen: what is asked in which order, what an answer comes to."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from screening_cases import ordinary
from strategies import AT, SESSION, entry_of

from fitcore.clean_text import is_unsafe
from fitcore.disk.archive_parts import Questions
from fitcore.disk.known_sessions import KnownSessions
from fitcore.disk.profile_files import load_profiles
from fitcore.identity import EntryId
from fitcore.merge.clients import Clients
from fitcore.merge.clock_notes import clock_notes, shown_at
from fitcore.merge.conflicts import find_conflicts
from fitcore.merge.found import FileKind, Key
from fitcore.merge.gaps import Gap
from fitcore.merge.late_stops import late_stops
from fitcore.merge.ledger_lines import LedgerLines
from fitcore.merge.proposals import Change, Proposal
from fitcore.merge.report import MergeReport
from fitcore.moment.wrong_clocks import parse_right_time
from fitcore.problems import ReadingError, UnitError
from fitcore.record.edits import draft_withdrawal
from fitcore.record.readings import Readings
from fitcore.record.session import Session
from fitcore.safety.clearance import judge_clearance
from fitcore.safety.stop_signs import StopSigns
from tui.answers import Told
from tui.merge_desk import NOTHING, MergeDesk
from tui.merge_facts import (
    DeskFacts,
    SetAsideFile,
    gather_facts,
    with_ledger_lines,
    with_session,
)
from tui.merge_items import desk_items
from tui.merge_words import decided_lines, left_words, missing_words, summary_lines
from tui.side_by_side import Block, side_by_side
from tui.stick_list import StickList

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitcore.record.entries import Draft, Entry
    from fitcore.safety.clearance import SessionClearance

TERN, DUNLIN, DESK = "tern-k7qd", "dunlin-m4ex", "curlew-w2fs"
OTHER = "0199c3a2-77aa-7d40-8c1b-3a90b7d4e511"
THIRD = "0199c3a2-8888-7d40-8c1b-3a90b7d4e511"
RULES = load_profiles().rules


def judge(session: Session) -> SessionClearance:
    return judge_clearance(session, Readings(session), RULES, on=date(2026, 3, 4))


def answer(by: str, what: str, value: object, *older: str, **more: object) -> Entry:
    seen = {"instead_of": list(older)} if older else {}
    return entry_of("answers", by, what=what, is_=value, **seen, **more)


def sitting(
    laptop: str, code: str, *more: Entry, name: str = SESSION, finished: bool = True, first: int = 1
) -> Session:
    """Return a screened sitting of a healthy client, all lines by one laptop."""
    told = [("client", code), ("measurer", "N-17")]
    told += [(f"screen.{what}", value) for what, value in ordinary().items()]
    lines: list[Entry] = [
        answer(f"{laptop}:{number}", what, value)
        for number, (what, value) in enumerate(told, first)
    ]
    if finished:
        lines.append(answer(f"{laptop}:{first + 90}", "finished", value=True))
    return Session(name, frozenset([*lines, *more]))


def stopped(laptop: str, code: str, *more: Entry, name: str = OTHER) -> Session:
    """Return a sitting in which a limb at risk was found, so nothing may be fitted."""
    before = sitting(laptop, code, name=name, finished=False, first=200)
    (asked,) = before.answer("screen.limb_at_risk").names
    yes = answer(f"{laptop}:299", "screen.limb_at_risk", "yes", asked)
    return before.with_entries(yes, *more)


def facts_of(
    *sessions: Session,
    ledger: Sequence[Entry] = (),
    proposals: Sequence[Proposal] = (),
    files: Sequence[SetAsideFile] = (),
) -> DeskFacts:
    clients = Clients(LedgerLines(frozenset(ledger)))
    found = [*clients.conflicts, *(c for session in sessions for c in find_conflicts(session))]
    questions = Questions(
        tuple(sorted(found, key=lambda conflict: conflict.order)),
        tuple(proposals),
        clients,
        {session.id: session for session in sessions},
    )
    return gather_facts(questions, KnownSessions.of(sessions), files, judge)


def desk_of(facts: DeskFacts) -> MergeDesk:
    desk = MergeDesk(who="C-02")
    desk.show(facts)
    return desk


def written(draft: Draft | None, number: int) -> Entry:
    assert draft is not None
    return draft.entry(EntryId(DESK, number))


def disputed(name: str = SESSION, code: str = "SK-07") -> Session:
    """Return a sitting whose posture two laptops put right differently."""
    return Session(
        name,
        frozenset(
            [
                answer(f"{TERN}:1", "client", code),
                answer(f"{TERN}:2", "measurer", "N-17"),
                answer(f"{TERN}:3", "posture", "standing"),
                answer(f"{TERN}:4", "posture", "sitting", f"{TERN}:3"),
                answer(f"{DUNLIN}:9", "posture", "lying", f"{TERN}:3"),
            ]
        ),
    )


# --- a stop after a size was given ---------------------------------------------------------------


def test_a_stop_of_another_laptop_after_a_size_was_given_heads_the_list() -> None:
    facts = facts_of(sitting(TERN, "SK-07"), stopped(DUNLIN, "SK-07"), disputed(THIRD, "SK-01"))
    first, second = desk_items(facts)
    assert (first.kind, second.kind) == ("stop", "question")
    assert first.title == "STOP after a size was given: SK-07"
    assert any("do not fit" in line for line in first.lines)
    (late,) = facts.stops
    assert (late.found_by, late.given_by) == ((DUNLIN,), (TERN,))
    assert {side.value for side, _ in late.legs} == {"left", "right"}


def test_it_closes_once_somebody_was_told_and_opens_again_if_that_is_taken_back() -> None:
    given, stop = sitting(TERN, "SK-07"), stopped(DUNLIN, "SK-07")
    facts = facts_of(given, stop)
    desk = desk_of(facts)
    assert desk.marked == 0, "there is one way on, and it asks for words"
    (told,) = desk.answers("P-04, by telephone", AT)
    assert told.session == stop.id
    line = written(told.draft, 1)
    assert line.text("is") == "P-04, by telephone"
    assert line.text("who") == "C-02"
    closed = with_session(facts, stop.with_entries(line))
    assert closed.stops == ()
    assert desk_items(closed) == ()
    back = written(draft_withdrawal([str(line.by)], "taken back", AT), 2)
    again = with_session(closed, stop.with_entries(line, back))
    assert [late.id for late in again.stops] == [facts.stops[0].id]


def test_another_rule_makes_another_stop_to_be_told_of() -> None:
    given, stop = sitting(TERN, "SK-07"), stopped(DUNLIN, "SK-07")
    (told,) = desk_of(facts_of(given, stop)).answers("P-04", AT)
    line = written(told.draft, 1)
    (asked,) = stop.answer("screen.emergency").names
    worse = answer(f"{DUNLIN}:301", "screen.emergency", "yes", asked)
    assert facts_of(given, stop.with_entries(line)).stops == ()
    assert len(facts_of(given, stop.with_entries(line, worse)).stops) == 1


def test_a_stop_of_the_laptop_that_gave_the_size_is_known_there() -> None:
    assert facts_of(sitting(TERN, "SK-07"), stopped(TERN, "SK-07")).stops == ()


def test_no_size_given_or_another_client_is_no_late_stop() -> None:
    assert facts_of(sitting(TERN, "SK-07", finished=False), stopped(DUNLIN, "SK-07")).stops == ()
    assert facts_of(sitting(TERN, "SK-08"), stopped(DUNLIN, "SK-07")).stops == ()
    unscreened = Session(
        SESSION,
        frozenset(
            [answer(f"{TERN}:1", "client", "SK-07"), answer(f"{TERN}:2", "finished", value=True)]
        ),
    )
    assert facts_of(unscreened, stopped(DUNLIN, "SK-07")).stops == ()


def test_a_stop_under_a_linked_code_holds_and_a_link_made_at_the_desk_brings_it_up() -> None:
    facts = facts_of(sitting(TERN, "SK-07"), stopped(DUNLIN, "KES-1"))
    assert facts.stops == ()
    link = entry_of("links", f"{DESK}:1", codes=["SK-07", "KES-1"], who="C-02", why="asked")
    linked = with_ledger_lines(facts, [link])
    assert [late.codes for late in linked.stops] == [("KES-1", "SK-07")]
    assert desk_items(linked)[0].kind == "stop"


def test_a_stop_that_another_laptop_wrote_into_the_finished_session_itself_counts() -> None:
    given = sitting(TERN, "SK-07")
    (asked,) = given.answer("screen.limb_at_risk").names
    changed = given.with_entries(answer(f"{DUNLIN}:5", "screen.limb_at_risk", "yes", asked))
    (late,) = facts_of(changed).stops
    assert late.stop.id == late.given.id == SESSION


def test_a_stop_names_who_found_it_and_the_size_who_finished_not_who_opened_the_sessions() -> None:
    later = datetime(2026, 3, 5, 16, 40, tzinfo=UTC)
    opened = sitting(TERN, "SK-07", name=OTHER, finished=False, first=200)
    (asked,) = opened.answer("screen.limb_at_risk").names
    stop = opened.with_entries(
        answer(f"{DUNLIN}:5", "measurer", "N-21"),
        entry_of(
            "answers", f"{DUNLIN}:7", at=later, what="screen.limb_at_risk", is_="yes",
            instead_of=[asked],
        ),
    )  # fmt: skip
    facts = facts_of(sitting(TERN, "SK-07"), stop)
    (late,) = facts.stops
    assert [str(entry.by) for entry in late.rests_on] == [f"{DUNLIN}:7"]
    assert late.found_by == (DUNLIN,)
    (item,) = (item for item in desk_items(facts) if item.kind == "stop")
    assert f"Stop found: SK-07, 2026-03-05 16:40 on {DUNLIN} by N-21" in item.lines
    assert f"Size given: SK-07, 2026-03-04 09:12 on {TERN} by N-17" in item.lines


def test_a_first_look_that_sees_no_sign_spares_the_judging() -> None:
    judged: list[str] = []

    def counting(session: Session) -> SessionClearance:
        judged.append(session.id)
        return judge(session)

    healthy = sitting(DUNLIN, "SK-07", name=OTHER, first=200)
    signs = StopSigns(RULES.screening)
    clients = Clients(LedgerLines())
    assert late_stops([sitting(TERN, "SK-07"), healthy], clients, counting, signs.may_stop) == ()
    assert judged == []
    found = late_stops(
        [sitting(TERN, "SK-07"), stopped(DUNLIN, "SK-07")], clients, counting, signs.may_stop
    )
    assert len(found) == 1


def test_a_safety_question_of_somebody_with_a_size_comes_before_the_others() -> None:
    def asked(name: str, code: str, *, finished: bool) -> Session:
        before = sitting(TERN, code, name=name, finished=finished)
        (line,) = before.answer("screen.skin").names
        return before.with_entries(
            answer(f"{TERN}:150", "screen.skin", "yes", line),
            answer(f"{DUNLIN}:150", "screen.skin", "unknown", line),
        )

    # The one without a size has the smaller session id, so it would come first otherwise.
    facts = facts_of(asked(SESSION, "SK-01", finished=False), asked(OTHER, "SK-02", finished=True))
    questions = [item for item in desk_items(facts) if item.kind == "question"]
    assert [item.title.partition(":")[0] for item in questions] == ["SK-02", "SK-01"]
    assert any("a size may have been given" in line for line in questions[0].lines)
    assert all(any("more careful value rules" in line for line in i.lines) for i in questions)


# --- questions -----------------------------------------------------------------------------------


def test_each_value_stands_with_who_brought_it_when_and_what_they_had_seen() -> None:
    (item,) = desk_items(facts_of(disputed()))
    assert item.title == "SK-07: Posture"
    assert [choice.title for choice in item.choices] == ["lying", "sitting"]
    assert item.choices[1].lines == (
        f"{TERN}:4",
        f"on {TERN}",
        "by N-17",
        "2026-03-04 09:12",
        "clock not in doubt",
        "had seen: standing",
    )


def test_enter_alone_chooses_nothing_and_an_answer_needs_a_reason() -> None:
    desk = desk_of(facts_of(disputed()))
    assert desk.marked == NOTHING
    with pytest.raises(ReadingError, match="No value is marked"):
        desk.answers("phoned", AT)
    assert desk.mark(1)
    assert not desk.mark(2)
    with pytest.raises(ReadingError):
        desk.answers("  ", AT)
    (given,) = desk.answers("phoned N-17", AT)
    assert given.words == "SK-07: Posture: sitting."
    line = written(given.draft, 1)
    closed = with_session(desk.facts, disputed().with_entries(line))
    assert closed.questions.conflicts == ()
    assert closed.sessions[SESSION].value("posture") == "sitting"
    desk.show(closed)
    assert desk.item is None
    assert desk.place == (0, 0)


def test_questions_alike_take_one_answer_and_others_are_left_out() -> None:
    other = Session(
        THIRD,
        frozenset(
            [
                answer(f"{TERN}:21", "client", "SK-09"),
                answer(f"{TERN}:22", "posture", "standing"),
                answer(f"{DUNLIN}:23", "posture", "lying"),
            ]
        ),
    )
    desk = desk_of(facts_of(disputed(), disputed(OTHER, "SK-08"), other))
    assert len(desk.items) == 3
    assert len(desk.alike()) == 2
    assert desk.mark(0)
    answers = desk.answers("asked them", AT, to_all=True)
    assert [given.session for given in answers] == [SESSION, OTHER]
    assert {given.draft.fields["is"] for given in answers if given.draft} == {"lying"}
    assert len(desk.answers("asked", AT)) == 1


def test_a_value_nobody_brought_settles_a_field_and_never_a_reading() -> None:
    desk = desk_of(facts_of(disputed()))
    told = Told.of("C-02", "asked", AT)
    given = desk.other_answer("standing", told)
    line = written(given.draft, 1)
    assert disputed().with_entries(line).value("posture") == "standing"

    place = {"side": "left", "point": "B", "kind": "girth", "round": 1, "unit": "cm"}
    read = [
        entry_of("readings", f"{by}", **place, typed=cm, mm=Decimal(cm) * 10, **more)
        for by, cm, more in (
            (f"{TERN}:10", "22.4", {}),
            (f"{TERN}:11", "22.6", {"instead_of": [f"{TERN}:10"], "why": "read again"}),
            (f"{DUNLIN}:12", "22.9", {"instead_of": [f"{TERN}:10"], "why": "tape slipped"}),
        )
    ]
    desk = desk_of(facts_of(Session(SESSION, frozenset(read))))
    assert desk.item is not None
    assert sorted(choice.title for choice in desk.item.choices) == ["22.6 cm", "22.9 cm"]
    assert any("why: tape slipped" in choice.lines for choice in desk.item.choices)
    with pytest.raises(ReadingError):
        desk.other_answer("22.7", told)


# --- going about ---------------------------------------------------------------------------------


def test_what_is_put_off_stays_open_and_is_passed_over_until_nothing_else_is_left() -> None:
    desk = desk_of(facts_of(disputed(), disputed(OTHER, "SK-08"), disputed(THIRD, "SK-09")))
    first = desk.item
    assert first is not None
    assert desk.place == (1, 3)
    assert desk.put_off_item()
    assert desk.place == (2, 3)
    assert desk.put_off_item()
    assert not desk.put_off_item()
    assert desk.put_off == 3
    assert len(desk.items) == 3
    desk.move(-9)
    assert desk.item == first
    assert desk.is_put_off(first)
    desk.go_to(desk.items[2].id)
    assert desk.place == (3, 3)
    assert desk.put_off == 2


def test_the_mark_never_goes_along_to_another_item() -> None:
    desk = desk_of(facts_of(disputed(), disputed(OTHER, "SK-08")))
    desk.mark_next(1)
    assert desk.marked == 0
    desk.mark_next(5)
    assert desk.marked == 1
    desk.move(1)
    assert desk.marked == NOTHING
    desk.mark_next(-1)
    assert desk.marked == 0


def test_a_file_set_aside_tells_reason_and_mend_and_is_only_seen() -> None:
    file = SetAsideFile(
        "ab" * 16, "The file breaks off.", "Ask for it again.", ("stick/a.toml",), is_copied=True,
        whose=f"client SK-07, laptop {TERN}",
    )  # fmt: skip
    desk = desk_of(facts_of(files=[file]))
    item = desk.item
    assert item is not None
    assert item.title == "Set aside: a.toml"
    assert item.lines[:3] == (
        f"! The file breaks off. (client SK-07, laptop {TERN})",
        "To do: Ask for it again.",
        "Found as stick/a.toml",
    )
    desk.see()
    assert desk.item is None


def test_a_folder_with_a_hostile_name_is_shown_harmlessly() -> None:
    path = "stick\x1b]0;gone\x07/a\u202e.toml"
    file = SetAsideFile("ab" * 16, "It breaks off.", "Ask again.", (path,), is_copied=False)
    (item,) = desk_items(facts_of(files=[file]))
    shown = [item.title, *item.lines, *(line for choice in item.choices for line in choice.lines)]
    assert not any(is_unsafe(sign) for line in shown for sign in line)


# --- codes ---------------------------------------------------------------------------------------


def test_two_codes_given_to_one_sitting_are_asked_about_until_somebody_answers() -> None:
    both = Session(
        SESSION,
        frozenset(
            [answer(f"{TERN}:1", "client", "SK-07"), answer(f"{DUNLIN}:9", "client", "KES-1")]
        ),
    )
    facts = facts_of(both)
    (found,) = facts.suggestions
    assert found.codes == ("KES-1", "SK-07")
    assert found.evidence[0].startswith("Both codes were given to one sitting")
    desk = desk_of(facts)
    desk.go_to(found.id)
    assert desk.mark(1)
    (given,) = desk.answers("asked the client", AT)
    assert given.words == "KES-1, SK-07: not one person."
    apart = with_ledger_lines(facts, [written(given.ruling, 1)])
    assert apart.suggestions == ()
    assert apart.clients.are_distinct("SK-07", "KES-1")


def test_the_code_not_chosen_is_still_asked_about_and_a_slip_put_right_is_not() -> None:
    lines = [answer(f"{TERN}:1", "client", "SK-07"), answer(f"{DUNLIN}:9", "client", "KES-1")]
    decided = entry_of(
        "decisions",
        f"{DESK}:1",
        what="client",
        is_="SK-07",
        instead_of=[f"{TERN}:1", f"{DUNLIN}:9"],
        who="C-02",
        why="list",
    )
    assert len(facts_of(Session(SESSION, frozenset([*lines, decided]))).suggestions) == 1
    slip = [
        answer(f"{TERN}:1", "client", "SK-70"),
        answer(f"{TERN}:2", "client", "SK-07", f"{TERN}:1"),
    ]
    assert facts_of(Session(SESSION, frozenset(slip))).suggestions == ()


def measured(laptop: str, code: str, *cm: str, name: str, at: datetime = AT) -> Session:
    places = [(s, p) for s in ("left", "right") for p in ("B", "C", "G")]
    lines = [
        entry_of(
            "readings", f"{laptop}:{number}", at=at, side=side, point=point, kind="girth",
            round=1, typed=value, unit="cm", mm=Decimal(value) * 10,
        )
        for number, ((side, point), value) in enumerate(zip(places, cm, strict=False), 10)
    ]  # fmt: skip
    return Session(name, frozenset([answer(f"{laptop}:1", "client", code), *lines]))


ONE = ("22.3", "37.0", "55.0", "22.4", "37.1", "55.2")


@pytest.mark.parametrize(
    ("other", "laptop", "days", "asked"),
    [
        (("22.4", "37.0", "55.0", "22.4", "37.1", "55.2"), DUNLIN, 0, 1),
        (("22.5", "37.0", "55.0", "22.4", "37.1", "55.2"), DUNLIN, 0, 0),  # 2 mm apart
        (("22.4", "37.1", "55.1", "22.4", "37.1", "55.2"), DUNLIN, 0, 0),  # 3 the same
        (("22.4", "37.0", "55.0", "22.4"), DUNLIN, 0, 0),  # too few
        (ONE, TERN, 0, 0),  # one laptop gives nobody two codes in a day
        (ONE, DUNLIN, 1, 0),  # another day
    ],
)
def test_codes_with_the_same_numbers_on_one_day_are_asked_about(
    other: tuple[str, ...], laptop: str, days: int, asked: int
) -> None:
    facts = facts_of(
        measured(TERN, "SK-07", *ONE, name=SESSION),
        measured(laptop, "KES-1", *other, name=OTHER, at=AT + timedelta(days=days)),
    )
    assert [found.codes for found in facts.suggestions] == ([("KES-1", "SK-07")] * asked)
    if asked:
        assert facts.suggestions[0].evidence[1].startswith("5 of 6 values are the same")


def test_codes_said_to_be_one_person_and_two_are_asked_with_both_sides() -> None:
    said = {"codes": ["SK-07", "KES-1"], "who": "C-02"}
    ledger = [
        entry_of("links", f"{DESK}:1", **said, why="same list number"),
        entry_of("distincts", f"{DUNLIN}:9", **said, why="two sisters"),
    ]
    (item,) = desk_items(facts_of(ledger=ledger))
    assert [choice.key for choice in item.choices] == ["linked", "distinct"]
    assert "why: two sisters" in item.choices[1].lines


# --- changed lines, clocks -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "rulings"),
    [
        (Change.CHANGED, ["corrected", "refused"]),
        (Change.ADDED, ["taken", "refused"]),
        (Change.MISSING, ["corrected", "refused"]),
    ],
)
def test_only_what_can_be_ruled_of_a_changed_line_is_offered(
    change: Change, rulings: list[str]
) -> None:
    before, now = (
        answer(f"{TERN}:3", "posture", "standing"),
        answer(f"{TERN}:3", "posture", "lying"),
    )
    proposal = Proposal(
        "abc", Key(FileKind.SESSION, SESSION), change, before.by,
        () if change is Change.ADDED else (before,),
        None if change is Change.MISSING else now, ("stick/a.toml",),
    )  # fmt: skip
    desk = desk_of(facts_of(disputed(), proposals=[proposal]))
    desk.go_to("abc")
    item = desk.item
    assert item is not None
    assert [choice.key for choice in item.choices] == rulings
    if change is Change.CHANGED:
        assert item.choices[0].lines[:2] == ("now:", "is: lying")
        assert item.choices[1].lines[:2] == ("sealed:", "is: standing")
    assert desk.mark(len(rulings) - 1)
    (given,) = desk.answers("nobody knows", AT)
    assert (given.draft, given.session) == (None, "")
    assert with_ledger_lines(desk.facts, [written(given.ruling, 1)]).questions.proposals == ()


def test_a_clock_said_to_be_wrong_is_noted_by_the_time_it_really_was() -> None:
    wrong = datetime(1970, 1, 1, 1, 20, 16, tzinfo=UTC)
    session = Session(
        SESSION,
        frozenset(
            [
                entry_of("answers", f"{TERN}:7", at=wrong, what="client", is_="SK-07"),
                entry_of(
                    "answers", f"{TERN}:9", at=wrong + timedelta(minutes=5), what="clock",
                    is_="wrong",
                ),
            ]
        ),
    )  # fmt: skip
    facts = facts_of(session)
    desk = desk_of(facts)
    assert desk.item is not None
    assert "the clock showed 1970-01-01 01:20" in desk.item.lines[2]
    now = datetime(2026, 3, 18, 17, 0, tzinfo=UTC)
    with pytest.raises(UnitError):
        desk.answers("asked", now, time="yesterday")
    with pytest.raises(ReadingError):
        desk.answers(" ", now, time="2026-03-18 15:10")  # like every answer it needs a reason
    (given,) = desk.answers("asked", now, time="2026-03-18 15:10:16+00:00")
    note = written(given.ruling, 1)
    assert note.text("why").startswith("asked: at ")
    assert (note.fields["from"], note.fields["to"]) == (7, 9)
    noted = with_ledger_lines(facts, [note])
    assert noted.clocks == ()
    (entry,) = (e for e in session.entries if e.by.number == 9)
    notes = clock_notes(noted.clients.ledgers)
    assert shown_at(entry, notes) == (datetime(2026, 3, 18, 15, 15, 16, tzinfo=UTC), False)


@pytest.mark.parametrize("typed", ["2026-03-18", "20260318", "2026-W12-3"])
def test_a_right_time_without_an_hour_is_asked_again(typed: str) -> None:
    with pytest.raises(UnitError, match="a day without an hour"):
        parse_right_time(typed, datetime(2026, 3, 18, 17, 0, tzinfo=UTC))


@pytest.mark.parametrize("typed", ["2026-03-19 00:10", "2031-03-18 15:10", "9999-12-31 23:59"])
def test_a_right_time_of_a_day_to_come_is_refused(typed: str) -> None:
    with pytest.raises(UnitError, match="is later than today"):
        parse_right_time(typed, datetime(2026, 3, 18, 17, 0, tzinfo=UTC))


def test_a_right_time_of_today_is_taken_whatever_this_laptops_hour() -> None:
    now = datetime(2026, 3, 18, 17, 0, tzinfo=UTC)
    right = datetime(2026, 3, 18, 23, 0, tzinfo=UTC)
    assert parse_right_time("2026-03-18 23:00", now) == right


def added(number: int, what: str, value: str, *, name: str = OTHER) -> Proposal:
    line = answer(f"{DUNLIN}:{number}", what, value)
    key = Key(FileKind.SESSION, name)
    return Proposal(f"p{number}", key, Change.ADDED, line.by, (), line, ("stick/b.toml",))


def test_lines_of_one_file_whose_sealed_original_is_not_here_are_one_item() -> None:
    lines = [added(1, "client", "SK-09"), added(2, "posture", "lying")]
    alone = added(7, "posture", "sitting", name=SESSION)
    desk = desk_of(facts_of(disputed(), proposals=[*lines, alone]))
    kinds = [item.kind for item in desk.items]
    assert sorted(kinds) == ["changed", "lines", "question"]
    together = next(item for item in desk.items if item.kind == "lines")
    assert together.title == (
        f"2 lines of {OTHER}.toml came without their sealed original: "
        "fetch that laptop's newest folder first"
    )
    assert any("for SK-09." in line for line in together.lines)
    assert [choice.key for choice in together.choices] == ["later", "refused", "taken"]
    assert together.choices[2].lines == (
        f"{DUNLIN}:1: Client: SK-09",
        f"{DUNLIN}:2: Posture: lying",
    )
    desk.go_to(together.id)
    assert desk.marked == NOTHING
    assert desk.mark(1)
    answers = desk.answers("that laptop is lost", AT)
    assert [given.id for given in answers] == ["p1", "p2"]
    left = with_ledger_lines(
        desk.facts, [written(given.ruling, n) for n, given in enumerate(answers, 1)]
    )
    assert [proposal.id for proposal in left.questions.proposals] == ["p7"]


# --- words ---------------------------------------------------------------------------------------


def test_a_ruling_of_a_changed_line_is_told_with_client_and_line() -> None:
    desk = desk_of(facts_of(disputed(), proposals=[added(7, "posture", "sitting", name=SESSION)]))
    desk.go_to("p7")
    assert desk.mark(1)
    (given,) = desk.answers("nobody knows", AT)
    facts = with_ledger_lines(desk.facts, [written(given.ruling, 1)])
    (told,) = decided_lines(facts, DESK, AT.date())
    assert told == (f"09:12 C-02: SK-07: line {DUNLIN}:7 changed outside: refused (nobody knows)")


def test_what_is_missing_is_told_until_it_has_come_though_nothing_asks_for_an_answer() -> None:
    file = SetAsideFile("ab" * 16, "It breaks off.", "Ask again.", ("a.toml",), is_copied=True)
    gaps = tuple(Gap(TERN, first, first + 1) for first in (4, 14, 24, 34))
    report = MergeReport(0, 0, 1, 0, 0, 0, (), gaps, ())
    facts = replace(facts_of(files=[file]), report=report)
    missing = (
        f"entries {TERN} 4-5, {TERN} 14-15, {TERN} 24-25, and 1 more; what the file set aside held"
    )
    assert missing_words(facts) == missing
    assert left_words(facts, 0) == f"Nothing to answer; still missing: {missing}."
    assert left_words(facts, 2) == f"Still open: 2 (F7). Still missing: {missing}."
    desk = MergeDesk(who="C-02")
    desk.show(facts)
    desk.see()
    assert desk.items == ()
    later = MergeDesk(who="C-02", seen=desk.seen)
    later.show(facts)
    assert later.items == (), "what was seen is not shown again"
    lines = summary_lines(None, facts, later.seen)
    assert "Files set aside: 1, seen: 1." in lines
    assert sum("are missing. Merge that laptop's newest folder." in line for line in lines) == 4
    assert left_words(replace(facts, report=replace(report, gaps=()), files=()), 0) == (
        "Nothing is open."
    )


def test_what_was_decided_is_read_from_the_lines_taken_back_ones_too() -> None:
    desk = desk_of(facts_of(disputed()))
    assert desk.mark(1)
    (given,) = desk.answers("phoned N-17", AT)
    line = written(given.draft, 1)
    facts = with_session(desk.facts, disputed().with_entries(line))
    assert decided_lines(facts, DESK, AT.date()) == [
        "09:12 C-02: SK-07: Posture: sitting (phoned N-17)"
    ]
    assert decided_lines(facts, DESK, AT.date() + timedelta(days=1)) == []
    assert decided_lines(facts, TERN, AT.date()) == []
    back = written(draft_withdrawal([str(line.by)], "mistaken", AT), 2)
    facts = with_session(facts, disputed().with_entries(line, back))
    (told,) = decided_lines(facts, DESK, AT.date())
    assert told.startswith("Taken back: ")


def test_the_summary_counts_what_is_open_and_says_when_stops_were_not_looked_for() -> None:
    facts = facts_of(sitting(TERN, "SK-07"), stopped(DUNLIN, "SK-07"), disputed(THIRD, "SK-01"))
    lines = summary_lines(None, facts)
    assert "Stops where a size was given: 1." in lines
    assert "Questions open: 1, about safety: 0." in lines
    assert not any("Nobody could look for stops" in line for line in lines)
    assert any(
        "Nobody could look for stops" in line
        for line in summary_lines(None, replace(facts, judge=None))
    )


# --- rows and lists ------------------------------------------------------------------------------


def test_values_stand_side_by_side_and_only_the_marked_heading_is_marked() -> None:
    blocks = [Block("lying", ("a", "b")), Block("sitting", ("c",))]
    rows, is_cut = side_by_side(blocks, 1, 78, 10)
    assert not is_cut
    assert [row.text.split() for row in rows] == [
        ["1", "lying", ">", "2", "sitting"],
        ["a", "c"],
        ["b"],
    ]
    assert [row.marked for row in rows] == [(40, 78), None, None]
    assert all(len(row.text) == 78 for row in rows)


def test_what_finds_no_room_is_announced_and_the_marked_value_is_always_seen() -> None:
    blocks = [Block(f"value {number}", ("x",) * 9) for number in range(5)]
    rows, is_cut = side_by_side(blocks, 4, 78, 6)
    assert is_cut
    assert len(rows) == 6
    assert "> 5 value 4" in rows[0].text
    assert "2 more values" in rows[-1].text
    assert "F5 shows all of it" in rows[-1].text
    assert "1 value 0" in side_by_side(blocks, NOTHING, 78, 6)[0][0].text


def test_a_pulled_stick_is_not_offered_or_marked_any_more_and_a_typed_folder_stays() -> None:
    sticks = StickList()
    one, two, typed = Path("/media/a"), Path("/media/b"), Path("/home/c")
    sticks.offer({one: ["from-tern-k7qd"], two: []})
    sticks.toggle(0)
    sticks.toggle(1)
    assert sticks.add(typed, ["."]) == 2
    assert sticks.rows() == [
        "[x] /media/a  (from-tern-k7qd)",
        "[x] /media/b  (nothing of ours yet)",
        "[x] /home/c  (a data folder)",
    ]
    sticks.offer({two: []}, {typed: []})
    assert sticks.folders == [two, typed]
    assert sticks.marked == [two, typed]
    assert sticks.rows()[1] == "[x] /home/c  (nothing of ours yet)", "looked at anew"
    sticks.toggle(0)
    sticks.toggle(7)
    assert sticks.marked == [typed]
    sticks.offer({two: []}, {})
    assert sticks.folders == [two], "a typed folder that is gone is not offered"
    assert sticks.marked == []
