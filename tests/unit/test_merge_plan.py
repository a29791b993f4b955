"""Whole merges: what is written, kept, asked and reported. Each worked case by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from histories import file_bytes, ledger_key, session_key
from merge_plans import written
from strategies import AT, SESSION, entry_from_line, entry_of

from fitcore.identity import EntryId
from fitcore.merge.clock_notes import draft_clock_note, shown_at
from fitcore.merge.found import Found, Where, digest_bytes, found_unread, read_found
from fitcore.merge.join import Outcome
from fitcore.merge.ledger_lines import draft_erasure
from fitcore.merge.merge import MergePlan, merge
from fitcore.merge.proposals import Change, Proposal, draft_ruling
from fitcore.problems import Problem, ReadingError
from fitcore.record.codec import write_session
from fitcore.record.ledger import Ledger, join_ledgers
from fitcore.record.session import Session, join

if TYPE_CHECKING:
    from fitcore.merge.found import Key
    from fitcore.record.entries import Entry

TERN, DUNLIN, DESK = "tern-k7qd", "dunlin-m4ex", "curlew-w2fs"
OTHER = "0199c3a2-77aa-7d40-8c1b-3a90b7d4e511"
KEY = session_key(SESSION)


def remark(number: int, text: str = "skin intact", laptop: str = TERN) -> Entry:
    return entry_of("remarks", f"{laptop}:{number}", text=text)


def girth(number: int, cm: str) -> Entry:
    place = {"side": "left", "point": "B", "kind": "girth", "round": 1}
    return entry_of(
        "readings", f"{TERN}:{number}", **place, typed=cm, unit="cm", mm=Decimal(cm) * 10
    )


def answer(what: str, value: object) -> Entry:
    return entry_of("answers", f"{TERN}:1", what=what, is_=value)


def read(raw: bytes, stick: str = "stick", key: Key = KEY, where: Where = Where.STICK) -> Found:
    path = f"{stick}/{key.place}.toml"
    return read_found(raw, path=path, name=key.name, kind=key.kind, where=where)


def file(*entries: Entry, stick: str = "stick", key: Key = KEY) -> Found:
    return read(file_bytes(key, entries), stick, key)


def edited(*entries: Entry, old: str, new: str, stick: str = "edited") -> Found:
    text = file_bytes(KEY, entries).decode()
    assert old in text
    return read(text.replace(old, new).encode(), stick)


def held(plan: MergePlan, key: Key = KEY) -> frozenset[Entry]:
    return plan.merged[key].entries


def test_the_report_counts_sessions_and_an_empty_stick_changes_nothing() -> None:
    there = merge((), [file(remark(1)), file(remark(2), key=session_key(OTHER))]).archive()
    new = session_key("0199c3a2-99aa-7d40-8c1b-3a90b7d4e599")
    plan = merge(there, [file(remark(1), remark(3))], [file(remark(4), key=new)])
    assert plan.report.as_json() == {
        "added": 1,
        "updated": 1,
        "unchanged": 1,
        "proposals": 0,
        "conflicts_open": 0,
        "conflicts_settled": 0,
        "set_aside": [],
        "gaps": [],
        "clones": [],
        "new_lines": {"remarks": 2},
    }
    assert [merged.key.name for merged in plan.to_write] == [SESSION, new.name]
    assert not plan.report.needs_person
    empty = merge(there, [])
    assert (empty.to_write, empty.to_keep) == ((), ())
    assert (empty.report.unchanged, empty.report.needs_person) == (2, False)


def test_open_and_settled_questions_are_counted() -> None:
    rivals = [
        entry_of("answers", f"{laptop}:1", what="posture", is_=value)
        for laptop, value in ((TERN, "lying"), (DUNLIN, "sitting"))
    ]
    asked = merge((), [file(*rivals)])
    assert (asked.report.conflicts_open, asked.report.conflicts_settled) == (1, 0)
    assert asked.report.needs_person
    names = [str(entry.by) for entry in rivals]
    decision = entry_of(
        "decisions", f"{DESK}:1", what="posture", is_="lying", instead_of=names, who="C-02", why="?"
    )
    settled = merge(asked.archive(), [file(*rivals, decision)])
    assert (settled.report.conflicts_open, settled.report.conflicts_settled) == (0, 1)


def test_missing_numbers_are_told_by_laptop_and_a_voided_one_is_no_gap() -> None:
    voided = entry_of("voided", f"{TERN}:6", number=3)
    plan = merge((), [file(remark(2), remark(7)), file(voided, key=ledger_key(TERN))])
    assert plan.report.as_json()["gaps"] == [
        {"laptop": TERN, "from": 1, "to": 1},
        {"laptop": TERN, "from": 4, "to": 5},
    ]
    assert plan.report.needs_person


def test_a_number_another_line_names_is_known_to_exist() -> None:
    later = entry_of("withdrawn", f"{TERN}:1", takes_back=[f"{DUNLIN}:2"], why="slipped")
    (gap,) = merge((), [file(later)]).gaps
    assert (gap.laptop, gap.first, gap.last) == (DUNLIN, 1, 2)
    odd = entry_of("withdrawn", f"{TERN}:1", takes_back=["?"], why="slipped")
    assert merge((), [file(odd)]).gaps == ()


def test_one_name_on_two_lines_is_a_copied_disk_and_both_stay() -> None:
    one, two = remark(1, "warm"), remark(1, "cold")
    same_file = merge((), [file(one)], [file(two)])
    assert held(same_file) == {one, two}
    assert same_file.report.as_json()["clones"] == [
        {"laptop": TERN, "number": 1, "found_in": [SESSION]}
    ]
    elsewhere = merge((), [file(one)], [file(two, key=session_key(OTHER))])
    assert [clone.places for clone in elsewhere.clones] == [(SESSION, OTHER)]
    assert elsewhere.report.needs_person
    assert merge((), [file(one)], [file(one, stick="again")]).clones == ()


def test_a_line_changed_in_an_editor_is_asked_and_the_sealed_one_holds() -> None:
    sealed = girth(1, "22.4")
    odd = edited(sealed, old='"22.4", unit = "cm", mm = 224', new='"24.2", unit = "cm", mm = 242')
    plan = merge((), [odd], [file(sealed)])
    assert held(plan) == {sealed}
    (proposal,) = plan.proposals
    assert (proposal.change, proposal.name, proposal.sealed) == (
        Change.CHANGED,
        EntryId(TERN, 1),
        (sealed,),
    )
    assert proposal.proposed is not None
    assert proposal.proposed.fields["mm"] == Decimal("242.0")
    assert proposal.paths == (f"edited/{SESSION}.toml",)
    assert (plan.report.proposals, plan.report.set_aside) == (1, ())
    assert [copy.digest for copy in plan.to_keep] == [odd.digest]


def answered(plan: MergePlan, proposal: Proposal, answer: str) -> MergePlan:
    more, ruling = draft_ruling(proposal, answer, who="C-02", why="phoned N-17", at=AT)
    sources = [file(ruling.entry(EntryId(DESK, 1)), key=ledger_key(DESK))]
    if more is not None:
        sources.append(file(more.entry(EntryId(DESK, 2))))
    return merge(plan.archive(), sources)


def test_a_changed_line_is_corrected_by_the_coordinator_and_not_asked_again() -> None:
    sealed = girth(1, "22.4")
    odd = edited(sealed, old='"22.4", unit = "cm", mm = 224', new='"24.2", unit = "cm", mm = 242')
    plan = merge((), [odd, file(sealed)])
    done = answered(plan, plan.proposals[0], "corrected")
    (correction,) = held(done) - {sealed}
    assert correction.replaces == (f"{TERN}:1",)
    assert correction.text("typed") == "24.2"
    assert correction.text("origin") == "changed_outside"
    assert (done.proposals, done.report.proposals) == ((), 0)
    assert merge(done.archive(), [odd]).proposals == ()


def test_a_refused_line_is_not_asked_again_and_its_bytes_stay() -> None:
    odd = edited(remark(1), old="skin intact", new="skin broken")
    plan = merge((), [odd, file(remark(1))])
    done = answered(plan, plan.proposals[0], "refused")
    assert (held(done), done.proposals) == ({remark(1)}, ())
    assert [copy.digest for copy in done.to_keep] == [odd.digest]
    with pytest.raises(ReadingError):
        draft_ruling(plan.proposals[0], "taken", who="C-02", why="?", at=AT)
    with pytest.raises(ReadingError):
        draft_ruling(plan.proposals[0], "corrected", who="C-02", why="?", at=AT)


@pytest.mark.parametrize(
    ("sealed", "old", "new", "wrong"),
    [
        (girth(1, "55.5"), '"55.5"', '"38.0"', "typed '38.0' is 380 mm, but mm = 555"),
        (girth(1, "55.5"), "mm = 555", "mm = -555", "a length needs 'mm' above zero"),
        (girth(1, "55.5"), 'point = "B"', 'point = "Q"', "'Q' is not a valid Point"),
        (answer("posture", "sitting"), '"sitting"', '"flying"', "'flying' is not an answer"),
        (answer("lately", ["nothing"]), '"nothing"', '"nought"', "'nought' is not an answer"),
    ],
)
def test_a_line_that_could_not_be_used_is_never_taken_in_place_of_a_good_one(
    sealed: Entry, old: str, new: str, wrong: str
) -> None:
    """The good line would be lost to the result: such a line can only be refused."""
    odd = edited(sealed, old=old, new=new)
    # Against its sealed line, and where nothing sealed of that name has come.
    for others, said in (((sealed,), "corrected"), ((remark(2),), "taken")):
        plan = merge((), [odd, file(*others)])
        (proposal,) = plan.proposals
        with pytest.raises(ReadingError) as refused:
            draft_ruling(proposal, said, who="C-02", why="?", at=AT)
        problem = refused.value.problem
        assert problem.code == "line_unusable"
        assert wrong in problem.text
        assert proposal.id in problem.mend
        done = answered(plan, proposal, "refused")
        assert (held(done), done.proposals) == (set(others), ())


def test_an_added_line_is_taken_over_under_its_own_name() -> None:
    more = remark(2, "typed in an editor")
    line = f"  {remark(1).line},"
    odd = edited(remark(1), old=line, new=f"{line}\n  {more.line},")
    plan = merge((), [odd, file(remark(1))])
    (proposal,) = plan.proposals
    assert (proposal.change, proposal.proposed) == (Change.ADDED, more)
    done = answered(plan, proposal, "taken")
    assert (held(done), done.proposals) == ({remark(1), more}, ())
    assert done.report.updated == 1


def test_a_line_cut_out_is_asked_only_where_the_copy_must_have_had_it() -> None:
    lines = [remark(n, f"remark {n}") for n in (1, 2, 3)]
    odd = edited(*lines, old=f"  {lines[1].line},\n", new="")
    plan = merge((), [odd, file(*lines, remark(9))])
    (proposal,) = plan.proposals
    assert (proposal.change, proposal.name.number, proposal.proposed) == (Change.MISSING, 2, None)
    assert held(plan) == {*lines, remark(9)}
    done = answered(plan, proposal, "corrected")
    (struck,) = held(done) - {*lines, remark(9)}
    assert (struck.array, struck.takes_back) == ("withdrawn", (f"{TERN}:2",))
    assert done.proposals == ()


def test_without_a_seal_what_is_missing_may_only_be_a_lost_end() -> None:
    lines = [remark(n, f"remark {n}") for n in (1, 2)]
    text = file_bytes(KEY, [lines[1]]).decode()
    cut = read(text[: text.index("[seal]")].encode(), "cut")
    assert merge((), [cut, file(*lines)]).proposals == ()


def test_windows_line_ends_and_marks_raise_nothing() -> None:
    text = file_bytes(KEY, [remark(1)]).decode()
    windows = read(("\ufeff" + text.replace("\n", " \r\n")).encode(), "windows")
    plan = merge((), [windows, file(remark(1))])
    assert (plan.proposals, plan.to_keep) == ((), ())


def test_a_changed_file_without_a_sealed_copy_is_carried_as_it_is_until_one_comes() -> None:
    odd = edited(remark(1), old="skin intact", new="skin broken")
    plan = merge((), [odd])
    merged = plan.merged[KEY]
    assert (merged.content, merged.carried, merged.outcome) == (None, odd, Outcome.ADDED)
    assert [proposal.change for proposal in plan.proposals] == [Change.ADDED]
    assert plan.gaps == ()
    better = merge(plan.archive(), [file(remark(1))])
    assert held(better) == {remark(1)}
    assert better.merged[KEY].outcome is Outcome.UPDATED
    assert [proposal.change for proposal in better.proposals] == [Change.CHANGED]
    assert [copy.digest for copy in better.to_keep] == [odd.digest]


def test_a_newer_programs_file_is_carried_and_kept_beside_what_we_can_read() -> None:
    raw = file_bytes(KEY, [remark(1)]).replace(b"format = 1", b"format = 7")
    newer = read(raw, "new laptop")
    plan = merge((), [newer])
    assert plan.merged[KEY].carried == newer
    assert (plan.report.added, plan.report.set_aside, plan.to_keep) == (1, (), ())
    both = merge(plan.archive(), [file(remark(1))], [newer])
    assert held(both) == {remark(1)}
    assert [copy.digest for copy in both.to_keep] == [newer.digest]
    assert [told.reason for told in both.report.set_aside] == ["newer_format"]


def test_a_newer_programs_file_is_carried_though_its_entries_cannot_be_read() -> None:
    raw = file_bytes(KEY, [remark(1)]).replace(b"format = 1", b"format = 7")
    raw = raw.replace(b"remarks = [", b"remarks <<")
    newer = read(raw, "new laptop")
    plan = merge((), [newer])
    assert plan.merged[KEY].carried == newer
    assert (plan.report.added, plan.report.set_aside, plan.to_keep) == (1, (), ())
    again = merge(plan.archive(), [newer])
    assert again.merged[KEY].outcome is Outcome.UNCHANGED


def test_a_newer_programs_file_goes_before_one_changed_outside() -> None:
    raw = file_bytes(KEY, [remark(1)]).replace(b"format = 1", b"format = 7")
    newer, odd = read(raw, "new laptop"), edited(remark(1), old="skin intact", new="skin broken")
    assert newer.digest != odd.digest
    for sources in ([newer, odd], [odd, newer]):
        plan = merge((), sources)
        assert plan.merged[KEY].carried == newer
        assert plan.to_keep == (odd,)
        assert len(plan.proposals) == 1


def test_two_changes_of_one_line_are_two_proposals_and_answered_apart() -> None:
    odd = [edited(remark(1), old="skin intact", new=f"skin {word}", stick=word) for word in "ab"]
    plan = merge((), odd, [file(remark(1))])
    one, other = plan.proposals
    assert one.id != other.id
    assert answered(plan, one, "refused").proposals == (other,)


def test_unreadable_files_are_set_aside_once_and_not_told_again_later() -> None:
    bad = [read(b"\xff\xfe1\x002", stick) for stick in ("b", "a")]
    named = read(file_bytes(session_key(OTHER), [remark(1)]), "a")
    link = found_unread(
        Problem(code="not_a_regular_file", text="A link.", mend="Ask."), path="a/x", digest="0" * 32
    )
    plan = merge((), bad, [named, link])
    told = [(file.path, file.reason) for file in plan.report.set_aside]
    assert told == [
        (f"a/{SESSION}.toml", "name_mismatch"),
        (f"a/{SESSION}.toml", "utf16"),
        ("a/x", "not_a_regular_file"),
    ]
    assert len(plan.to_keep) == 3
    assert plan.merged == {}
    later = merge(plan.archive(), [])
    assert later.report.set_aside == ()
    assert len(later.to_keep) == 3


def test_a_damaged_file_in_the_archive_itself_gives_way_to_a_good_copy_and_is_kept() -> None:
    damaged = read(b"format = 1\nansw", "archive", where=Where.ARCHIVE)
    plan = merge([damaged], [file(remark(1))])
    assert held(plan) == {remark(1)}
    assert [copy.digest for copy in plan.to_keep] == [damaged.digest]


def test_erased_content_is_gone_and_no_late_stick_brings_it_back() -> None:
    older, newer = girth(1, "63.1"), entry_of(
        "readings", f"{TERN}:2", side="left", point="B", kind="girth", round=1, typed="36.1",
        unit="cm", mm=Decimal(361), instead_of=[f"{TERN}:1"],
    )  # fmt: skip
    erasure = draft_erasure(SESSION, [f"{TERN}:2"], who="C-02", why="asked for", at=AT)
    ledger = file(erasure.entry(EntryId(DESK, 1)), key=ledger_key(DESK))
    plan = merge((), [file(older, newer)], [ledger])
    content = plan.merged[KEY].content
    assert isinstance(content, Session)
    text = write_session(content)
    assert "36.1" not in text
    assert f'{{ by = "{TERN}:2", erased = true, instead_of = ["{TERN}:1"] }}' in text
    assert content.heads.heads_of("readings") == ()
    late = merge(plan.archive(), [file(older, newer, stick="late")])
    assert late.to_write == ()
    assert late.gaps == ()
    odd = edited(older, newer, old="36.1", new="39.9")
    changed = merge(plan.archive(), [odd])
    assert changed.proposals == ()
    assert [copy.digest for copy in changed.with_erased] == [odd.digest]


def test_a_line_taken_over_and_erased_is_erased_whichever_was_heard_of_first() -> None:
    """No sealed copy has come: the line holds because somebody took it, then its content goes."""
    odd = edited(remark(1), old="skin intact", new="skin broken")
    (proposal,) = merge((), [odd]).proposals
    _, ruling = draft_ruling(proposal, "taken", who="C-02", why="phoned N-17", at=AT)
    taken = file(ruling.entry(EntryId(DESK, 1)), key=ledger_key(DESK))
    erasure = draft_erasure(SESSION, [f"{TERN}:1"], who="C-02", why="asked for", at=AT)
    erased = file(erasure.entry(EntryId(DUNLIN, 1)), key=ledger_key(DUNLIN))
    at_once = merge((), [odd, taken, erased])
    assert held(at_once) == {remark(1).erase()}
    for first, second in ((taken, erased), (erased, taken)):
        later = merge(merge(merge((), [odd]).archive(), [first]).archive(), [second])
        assert (held(later), written(later)) == (held(at_once), written(at_once))


def test_what_is_erased_in_one_copy_of_a_session_is_erased_in_all() -> None:
    whole = Session(SESSION, frozenset({remark(1), remark(2)}))
    erased = Session(SESSION, frozenset({remark(1).erase()}))
    for joined in (join(whole, erased), join(erased, whole)):
        assert joined.entries == {remark(1).erase(), remark(2)}
    assert remark(1).erase().erase() == remark(1).erase()
    assert merge((), [file(remark(1))], [file(remark(1).erase())]).clones == ()


def test_clock_notes_change_the_time_shown_and_nothing_else() -> None:
    lines = [remark(1), remark(2)]
    note = draft_clock_note(TERN, (1, 1), 3600, who="C-02", why="an hour behind", at=AT)
    ledger = file(note.entry(EntryId(DESK, 1)), key=ledger_key(DESK))
    plan = merge((), [file(*lines)], [ledger])
    assert shown_at(lines[0], plan.clock_notes) == (AT + timedelta(hours=1), False)
    assert shown_at(lines[1], plan.clock_notes) == (AT, False)
    other = draft_clock_note(TERN, (1, 5), 60, who="C-03", why="?", at=AT).entry(EntryId(DESK, 2))
    both = merge(plan.archive(), [file(other, key=ledger_key(DESK))])
    assert shown_at(lines[0], both.clock_notes) == (AT, True)
    assert shown_at(lines[1], both.clock_notes) == (AT + timedelta(minutes=1), False)
    far = replace(both.clock_notes[0], add_seconds=10**12)
    assert shown_at(lines[0], [far]) == (AT, True)
    odd = entry_from_line("clock_notes", f'{{ by = "{DESK}:3", laptop = "{TERN}", from = "a" }}')
    assert merge((), [file(odd, key=ledger_key(DESK))]).clock_notes == ()


def test_where_a_line_was_found_is_told() -> None:
    plan = merge((), [file(remark(1), stick="b")], [file(remark(1), remark(2), stick="a")])
    merged = plan.merged[KEY]
    assert merged.found_in(remark(1)) == (f"a/{SESSION}.toml", f"b/{SESSION}.toml")
    assert merged.found_in(remark(2)) == (f"a/{SESSION}.toml",)


def test_a_ledgers_changed_line_may_be_taken_over_and_then_counts() -> None:
    """A ruling in a changed ledger takes nothing over until that line is taken over itself."""
    tie = entry_of("links", f"{TERN}:1", codes=["a", "b"], who="C-02", why="?")
    more = entry_of("links", f"{TERN}:2", codes=["b", "c"], who="C-02", why="?")
    key = ledger_key(TERN)
    text = file_bytes(key, [tie]).decode()
    odd = read(text.replace(f"{tie.line},", f"{tie.line},\n  {more.line},").encode(), "odd", key)
    plan = merge((), [file(tie, key=key), odd])
    assert plan.clients.groups == (("a", "b"),)
    done = answered(plan, plan.proposals[0], "taken")
    assert done.clients.groups == (("a", "b", "c"),)


def test_ledgers_of_two_laptops_are_never_joined() -> None:
    with pytest.raises(ReadingError, match="two laptops"):
        join_ledgers(Ledger(TERN), Ledger(DUNLIN))


def test_a_digest_tells_bytes_apart() -> None:
    assert digest_bytes(b"a") != digest_bytes(b"b")
    assert len(digest_bytes(b"")) == 32
