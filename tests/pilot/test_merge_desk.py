"""A coordinator's day's end on the screen, by keys alone: sticks, questions, answers, back again.

What was answered is read back from the files, never from the program's own state.
"""

from __future__ import annotations

import shutil
import threading
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from command.conftest import Anklefirst, World
from screening_cases import book
from screens import Visit, at_start, build_app, opened, saved_sessions, to_measure, until

from fitcore.disk.archive import merge_into
from fitcore.disk.archive_check import check_archive
from fitcore.disk.data_folder import DataFolder
from fitcore.disk.drives import DriveRoot
from fitcore.problems import FileFault, Problem
from fitcore.record.ledger import read_ledger

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Sequence

    from fitcore.disk.archive_parts import Merging
    from fitcore.record.entries import Entry
    from fitcore.record.session import Session

SAMPLES = Path(__file__).parents[2] / "sample_sessions"
LAPTOPS = ("dunlin", "petrel", "tern")
CALF = ("left", "C", "girth")
READ_AS_381 = (b'typed = "36.1", unit = "cm", mm = 361', b'typed = "38.1", unit = "cm", mm = 381')


@pytest.fixture
def tern(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Anklefirst:
    """Give a laptop that is worked by verbs."""
    return Anklefirst(tmp_path / "tern", World(tmp_path / "state"), capsys)


@pytest.fixture
def dunlin(tern: Anklefirst, tmp_path: Path) -> Anklefirst:
    return replace(tern, data=tmp_path / "dunlin")


@pytest.fixture
def sticks(tmp_path: Path) -> list[Path]:
    """Give the demo day's three laptops as sticks that are plugged in."""
    shutil.copytree(SAMPLES, tmp_path / "sticks")
    return [tmp_path / "sticks" / name for name in LAPTOPS]


@asynccontextmanager
async def desk_on(
    data: Path, plugged: Sequence[Path] = (), size: tuple[int, int] = (80, 24)
) -> AsyncIterator[Visit]:
    """Run the program on the coordinator's folder and open the merge desk."""
    app = build_app(data)
    if not data.exists():
        DataFolder(data, app.surroundings, label="curlew", measurer="C-02").close()
    app.surroundings = replace(app.surroundings, drives=lambda: list(plugged))
    try:
        async with app.run_test(size=size) as pilot:
            visit = Visit(app, pilot)
            await visit.rest()
            await at_start(visit)
            await visit.keys("<f7>")
            await visit.until_screen("merge_sticks")
            yield visit
    finally:
        app.close_folder()


async def merge_all(visit: Visit) -> None:
    """Mark every stick offered, and merge."""
    count = len([row for row in visit.rows if "[ ]" in row])
    await visit.keys("<space><down>" * count + "<enter>")
    await visit.until_screen("merge_summary")


async def to_questions(visit: Visit) -> None:
    await merge_all(visit)
    await visit.keys("<enter>")
    await visit.until_screen("merge_questions")


def lines_of(*folders: Path) -> set[tuple[str, str]]:
    """Return every line of every session."""
    return {(s.id, e.line) for folder in folders for s in saved_sessions(folder) for e in s.entries}


def ledger_lines(data: Path, array: str) -> list[Entry]:
    """Return the lines of one array of all ledgers."""
    found: list[Entry] = []
    for path in sorted((data / "ledger").glob("*.toml")):
        ledger, problems = read_ledger(path.read_bytes())
        assert ledger is not None
        assert problems == ()
        found += [entry for entry in ledger.entries if entry.array == array]
    return sorted(found, key=lambda entry: entry.by)


def session_of(data: Path, client: str) -> Session:
    (session,) = [s for s in saved_sessions(data) if s.text("client") == client]
    return session


def differ(one: Anklefirst, other: Anklefirst, client: str) -> str:
    """Let two laptops put the posture of one sitting right, differently."""
    session = one.new(client)
    one("set", session, "posture", "standing")
    assert other.bare("merge", other.data, one.data).code in (0, 1)  # older questions are open
    assert one("set", session, "posture", "sitting").code == 0
    assert other("set", session, "posture", "lying").code == 0
    return session


# --- the demo day --------------------------------------------------------------------------------


async def test_the_demo_day_is_asked_answered_carried_back_and_not_asked_again(
    data: Path, sticks: list[Path], tmp_path: Path
) -> None:
    stick = tmp_path / "back"
    stick.mkdir()
    brought = lines_of(*sticks)
    before = {path: path.read_bytes() for path in (tmp_path / "sticks").rglob("*.toml")}
    async with desk_on(data, sticks) as visit:
        await merge_all(visit)
        await visit.until("Sessions: 16 new, 0 changed, 0 unchanged.", "Questions open: 1")
        await visit.until("No laptop's entries are missing", "only you can see to: 3")
        assert before == {path: path.read_bytes() for path in before}
        await visit.keys("<enter>")
        await visit.until_screen("merge_questions")

        await visit.until("1 of 3 open", "tern-006-0: Posture", "1 lying", "2 sitting")
        assert visit.text.count("had seen: standing") == 2
        assert "by N-14" in visit.text
        await visit.keys("<enter>")
        await visit.until("Mark a value first")
        await visit.keys("2<enter>")
        await visit.until("tern-006-0: Posture: sitting. Why?")
        await visit.keys("phoned N-14<enter>")
        # It is on disk before the next one is shown.
        await visit.until("Saved: tern-006-0: Posture: sitting.", "1 of 2 open")
        (session,) = [s for s in saved_sessions(data) if s.answer("posture").heads[0].text("who")]
        assert session.value("posture") == "sitting"

        await visit.until("dunlin-006-M and tern-006-0: one person?", "5 of 6 values are the same")
        await visit.keys("<right><enter><down><enter>")
        await visit.until("1 of 1 open", "petrel-qbgt: the clock was wrong")
        (link,) = ledger_lines(data, "links")
        assert (link.names("codes"), link.text("who")) == (("dunlin-006-M", "tern-006-0"), "C-02")
        await note_the_clock(visit, data)
        await visit.keys(f"{stick}<enter>")
        await visit.until("[x]")
        await visit.keys("<enter>")
        await visit.until("All was read back.", "may be pulled: ")
        assert (stick / "to-laptops" / "manifest.toml").exists()

    assert brought - lines_of(data) == set()
    for laptop in sticks:
        async with desk_on(laptop, [stick], (120, 36)) as visit:
            await to_the_end(visit)
        assert lines_of(laptop) == lines_of(data)
    async with desk_on(data, [*sticks, stick], (120, 36)) as visit:
        await merge_all(visit)
        await visit.until("Sessions: 0 new, 0 changed, 16 unchanged.", "Questions open: 0")
        await visit.until("Nothing is open. Enter: carry back.")
    check = check_archive(data, build_app(data).surroundings)
    assert (check.problems, check.report.conflicts_open) == ((), 0)


async def note_the_clock(visit: Visit, data: Path) -> None:
    """Say what time it was, take that back at the end page, and say it again."""
    await visit.until("It is kept beside the times.", "results show the right time")
    await visit.keys("<enter>2026-02-18<enter>")
    await visit.until("! '2026-02-18' is a day without an hour.")
    await visit.keys("<end>" + "<backspace>" * 10 + "2031-03-18 15:10<enter>")
    await visit.until("! 2031-03-18 is later than today by this laptop's clock.")
    await visit.keys("<end>" + "<backspace>" * 16 + "2026-02-18 15:10:16<enter>")
    await visit.until("It was 2026-02-18 15:10:16. How is that known?")
    await visit.keys("rang N-08<enter>")
    await visit.until("Nothing is open any more.")
    (note,) = ledger_lines(data, "clock_notes")
    assert note.text("why").startswith("rang N-08: at ")
    await visit.keys("<enter>")
    await visit.until_screen("merge_end")
    await visit.until("Decided today at this laptop: 3. Nothing is open.")
    await visit.until("C-02: tern-006-0: Posture: sitting (phoned N-14)")
    await visit.keys("<f4>")
    await visit.until("Still open: 1 (F7).", "Taken back; both lines are kept")
    await visit.keys("<f7>")
    await visit.until_screen("merge_questions")
    await visit.keys("<enter>2026-02-18 15:10:16<enter>rang N-08<enter>")
    await visit.until("Nothing is open any more.")
    await visit.keys("<enter>")
    await visit.until_screen("merge_end")


async def to_the_end(visit: Visit) -> None:
    """Merge what comes back on a laptop: nothing is asked there."""
    await merge_all(visit)
    await visit.until("Questions open: 0, about safety: 0.", "may be one person: 0")
    await visit.keys("<enter>")
    await visit.until_screen("merge_end")


# --- answers -------------------------------------------------------------------------------------


async def test_questions_alike_are_shown_first_and_one_undo_opens_them_all_again(
    tern: Anklefirst, dunlin: Anklefirst, data: Path
) -> None:
    for number in range(3):
        differ(tern, dunlin, f"SK-0{number}")
    async with desk_on(data, [tern.data, dunlin.data]) as visit:
        await to_questions(visit)
        await visit.keys("<f3>")
        await visit.until("Mark a value first")
        sitting = "1" if "1 sitting" in visit.text else "2"
        await visit.keys(f"{sitting}<f3>")
        await visit.until("Answer these 3 with: sitting?", "SK-00: Posture", "SK-02: Posture")
        await visit.keys("<escape><f3><enter>")
        await visit.until("sitting, and 2 alike. Why?")
        await visit.keys("asked all three<enter>")
        await visit.until("And 2 alike.", "Nothing is open any more.")
        assert {s.value("posture") for s in saved_sessions(data)} == {"sitting"}
        await visit.keys("<f4>")
        await visit.until("1 of 3 open", "Taken back; all lines are kept", "And 2 alike.")
        assert {s.value("posture") for s in saved_sessions(data)} == {None}
        decisions = [e for s in saved_sessions(data) for e in s.entries if e.array == "decisions"]
        assert len(decisions) == 3, "nothing is deleted"
        await visit.keys("<f4>")
        await visit.until("Nothing was answered since this desk was opened.")


async def test_closing_in_the_middle_loses_nothing_and_asks_only_the_rest(
    tern: Anklefirst, dunlin: Anklefirst, data: Path
) -> None:
    differ(tern, dunlin, "SK-01")
    differ(tern, dunlin, "SK-02")
    tern("set", differ(tern, dunlin, "SK-03"), "zone", "Europe/London")
    async with desk_on(data, [tern.data, dunlin.data]) as visit:
        await to_questions(visit)
        await visit.keys("1<enter>asked<enter>")
        await visit.until("1 of 2 open")
        await visit.keys("1<enter>half a rea")  # not given yet: nothing is stored of it
        await visit.keys("<f10>")
    assert sum(s.value("posture") is not None for s in saved_sessions(data)) == 1
    async with desk_on(data) as visit:
        await visit.keys("<f6>")
        await visit.until_screen("merge_summary")
        await visit.until("Questions open: 2")
        await visit.keys("<f6>")
        await visit.until_screen("merge_end")
        await visit.until("Decided today at this laptop: 1. Still open: 2 (F7).")
        await visit.keys("<f7>")
        await visit.until_screen("merge_questions")
        await visit.keys("<f2>")
        await visit.until("2 of 2 open", "1 put off")
        await visit.keys("<f2>")
        await visit.until("All that is left is put off.")
        await visit.keys("<escape>")
        await at_start(visit)
        await visit.until("Open at the merge desk: 2. F7.")


async def test_an_answer_is_by_somebody_a_wrong_one_is_refused_an_unsaved_one_asked_again(
    tern: Anklefirst, dunlin: Anklefirst, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    differ(tern, dunlin, "SK-01")
    differ(tern, dunlin, "SK-02")
    DataFolder(data, build_app(data).surroundings, label="curlew").close()

    def fail(*_: object) -> None:
        raise FileFault(Problem(code="no_room", text="The disk is full.", mend="Make room."))

    async with desk_on(data, [tern.data, dunlin.data]) as visit:
        await to_questions(visit)
        await visit.until("answers by ?", "SK-01: Posture")
        await visit.keys("1<enter>")
        await visit.until("Who answers? (staff code, never a name)")
        await visit.keys("C-09<enter>")
        await visit.until("Why?")
        with monkeypatch.context() as patched:
            patched.setattr("tui.merge_work.store_answer", fail)
            await visit.keys("asked<enter>")
            await visit.until("! The disk is full. Make room.", "asked")
        assert session_of(data, "SK-01").value("posture") is None
        await visit.keys("<enter>")
        await visit.until("1 of 1 open", "SK-02: Posture")
        (decision,) = [e for e in session_of(data, "SK-01").entries if e.array == "decisions"]
        assert decision.text("who") == "C-09"
        await visit.keys("<f9>flying<enter>")
        await visit.until("Which value is right?", "'flying' is not an answer.")
        await visit.keys("<backspace>" * 6 + "standing<enter>")
        await visit.until("Why?")
        await visit.keys("phoned both<enter>")
        await visit.until("Nothing is open any more.")
        assert session_of(data, "SK-02").value("posture") == "standing"


async def test_codes_are_linked_let_go_by_undo_and_kept_apart(
    data: Path, sticks: list[Path]
) -> None:
    async with desk_on(data, [sticks[0], sticks[2]]) as visit:
        await to_questions(visit)
        await visit.keys("<f2>")
        await visit.until("dunlin-006-M and tern-006-0: one person?")
        await visit.keys("1<enter>asked at the door<enter>")
        await visit.until("Saved: dunlin-006-M = tern-006-0: one person.")
        assert "one person?" not in visit.text
        await visit.keys("<f4>")
        await visit.until("dunlin-006-M and tern-006-0: one person?")
        await visit.keys("2<enter><down><enter>")
        await visit.until("Saved: dunlin-006-M, tern-006-0: not one person.")
    (link,) = ledger_lines(data, "links")
    (apart,) = ledger_lines(data, "distincts")
    (back,) = ledger_lines(data, "withdrawn")
    assert back.takes_back == (str(link.by),)
    assert apart.text("why") == "asked at the door"  # the reason given last is offered first
    async with desk_on(data, [sticks[0], sticks[2]]) as visit:
        await merge_all(visit)
        await visit.until("Codes that may be one person: 0.")


async def test_a_stop_that_comes_after_a_size_heads_the_list_until_somebody_was_told(
    tern: Anklefirst, dunlin: Anklefirst, data: Path
) -> None:
    given = tern.new("SK-07")
    for question in book().questions.first_page:
        assert tern("set", given, f"screen.{question.id}", "no").code == 0
    assert tern("set", given, "finished", "yes").code == 0
    stop = dunlin.new("SK-07")
    for question in book().questions.first_page:
        value = "yes" if question.id == "limb_at_risk" else "no"
        assert dunlin("set", stop, f"screen.{question.id}", value).code == 0
    differ(tern, dunlin, "SK-01")
    async with desk_on(data, [tern.data, dunlin.data]) as visit:
        await merge_all(visit)
        await visit.until("Stops where a size was given: 1.")
        await visit.keys("<enter>")
        await visit.until_screen("merge_questions")
        await visit.until("1 of 2 open", "STOP after a size was given: SK-07", "do not fit")
        assert "Size given: SK-07, " in visit.text
        written = {s.id: {e.by.laptop for e in s.entries} for s in saved_sessions(data)}
        (found_by,), (given_by,) = written[stop], written[given]
        (told,) = [row for row in visit.rows if "Stop found: SK-07, " in row]
        assert f" on {found_by} by " in told
        assert given_by not in told
        await visit.keys("<f2><f6>")
        await visit.until_screen("merge_end")
        await visit.until("! Not passed on yet (F7): STOP after a size was given: SK-07")
        await visit.keys("<f7>")
        await visit.until_screen("merge_questions")
        await visit.keys("<up>")
        await visit.until("STOP after a size was given: SK-07 (put off)")
        await visit.keys("<enter>")
        await visit.until("Who was told, and how?")
        await visit.keys("P-04, by telephone<enter>")
        await visit.until("1 of 1 open", "SK-01: Posture")
        (session,) = [s for s in saved_sessions(data) if s.id == stop]
        (told,) = [e for e in session.entries if e.text("what") == "told"]
        assert (told.text("is"), told.text("who")) == ("P-04, by telephone", "C-02")
        await visit.keys("<f4>")
        await visit.until("1 of 2 open", "STOP after a size was given: SK-07")
        await visit.keys("<escape>")
        await at_start(visit)
        await visit.until("! STOP where a size was given: 1. Open at the merge desk: 2. F7.")
        await visit.until("new session (STOP: F7)")
    async with opened(data) as visit:  # before anybody was at the desk, at the next start
        await at_start(visit)
        await visit.until("! STOP where a size was given: 1. F7.")
        (row,) = [row for row in visit.rows if "(STOP: F7)" in row]
        assert "SK-07" in row


# --- what somebody changed in an editor, what nobody can read ------------------------------------


async def test_a_line_changed_outside_is_accepted_taken_back_and_refused(
    tern: Anklefirst, data: Path
) -> None:
    session = tern.new("SK-07")
    name = tern.record(session, *CALF, "36.1")
    async with desk_on(data, [tern.data]) as visit:
        await merge_all(visit)
    path = tern.session_file(session)
    path.write_bytes(path.read_bytes().replace(*READ_AS_381))
    async with desk_on(data, [tern.data]) as visit:
        await to_questions(visit)
        await visit.until(f"SK-07, {name}: changed outside the program", "1 accept it")
        await visit.until("2 refuse: the sealed line holds", "36.1", "38.1")
        await visit.keys("1<enter>asked N-17<enter>")
        await visit.until("Nothing is open any more.")
        typed = {e.text("typed") for e in session_of(data, "SK-07").heads.heads_of("readings")}
        assert typed == {"38.1"}
        await visit.keys("<f4>")
        await visit.until("1 of 1 open", "1 accept it")
        typed = {e.text("typed") for e in session_of(data, "SK-07").heads.heads_of("readings")}
        assert typed == {"36.1"}
        await visit.keys("2<enter>nobody knows<enter>")
        await visit.until("Nothing is open any more.")
    assert [e.fields["is"] for e in ledger_lines(data, "outside")] == ["corrected", "refused"]
    async with desk_on(data, [tern.data]) as visit:
        await merge_all(visit)
        await visit.until("Lines changed outside: 0.", "Nothing is open.")


async def test_a_changed_line_that_contradicts_itself_can_only_be_refused(
    tern: Anklefirst, data: Path
) -> None:
    session = tern.new("SK-07")
    tern.record(session, *CALF, "36.1")
    async with desk_on(data, [tern.data]) as visit:
        await merge_all(visit)
    path = tern.session_file(session)
    path.write_bytes(path.read_bytes().replace(b'typed = "36.1"', b'typed = "38.1"'))
    async with desk_on(data, [tern.data]) as visit:
        await to_questions(visit)
        await visit.until("typed '38.1' is 381 mm, but mm = 361", "It can only be refused")
        await visit.until("1 refuse: the sealed line holds")
        assert "accept it" not in visit.text
        await visit.keys("1<enter>nobody knows<enter>")
        await visit.until("Nothing is open any more.")
    typed = {e.text("typed") for e in session_of(data, "SK-07").heads.heads_of("readings")}
    assert typed == {"36.1"}


async def test_a_line_taken_over_is_filed_at_once_and_struck_out_by_undo(
    tern: Anklefirst, data: Path
) -> None:
    session = tern.new("SK-07")
    async with desk_on(data, [tern.data]) as visit:
        await merge_all(visit)
    tern.record(session, *CALF, "36.1")
    path = tern.session_file(session)
    path.write_bytes(path.read_bytes().replace(b"blake2b", b"#blake2b"))
    async with desk_on(data, [tern.data]) as visit:
        await to_questions(visit)
        await visit.keys("1<enter>its stick broke<enter>")
        await visit.until("Nothing is open any more.")
        assert len(session_of(data, "SK-07").heads.heads_of("readings")) == 1
        await visit.keys("<f4>")
        await visit.until("Taken back")
        kept = session_of(data, "SK-07")
        assert kept.heads.heads_of("readings") == ()
        assert [e.text("typed") for e in kept.entries if e.array == "readings"] == ["36.1"]


async def test_many_lines_whose_sealed_file_has_not_come_are_asked_about_once(
    tern: Anklefirst, data: Path, tmp_path: Path
) -> None:
    session = tern.new("SK-09")
    tern.record(session, *CALF, "36.1")
    stick = tmp_path / "stick"
    shutil.copytree(tern.data, stick)
    path = next(stick.glob(f"sessions/*/{session}.toml"))
    path.write_bytes(path.read_bytes().replace(b"blake2b", b"#blake2b"))
    async with desk_on(data, [stick]) as visit:
        await to_questions(visit)
        await visit.until("1 of 1 open", "lines of", "came without their sealed original")
        await visit.until("fetch that laptop's newest folder first", "for SK-09.")
        await visit.keys("<enter>")
        await visit.until("Mark a value first")
        await visit.keys("1<enter>")
        await visit.until("All that is left is put off.")
        await visit.keys("3<enter>")
        await visit.until("take all?", "Client: SK-09", "left C girth: 36.1 cm")
        await visit.keys("<enter>that laptop is lost<enter>")
        await visit.until("alike. F4 takes it back.")
        assert len(session_of(data, "SK-09").heads.heads_of("readings")) == 1
        await visit.keys("<f6>")
        await visit.until_screen("merge_end")
        await visit.until("SK-09: line laptop-", "changed outside: taken")


async def test_a_file_set_aside_is_shown_with_its_reason_and_what_to_do(
    tern: Anklefirst, data: Path, tmp_path: Path
) -> None:
    session = tern.new("SK-01")
    tern.new("SK-02")
    stick = tmp_path / "stick"
    shutil.copytree(tern.data, stick)
    path = next(stick.glob(f"sessions/*/{session}.toml"))
    path.write_bytes(path.read_bytes()[:200])
    async with desk_on(data, [stick]) as visit:
        await merge_all(visit)
        await visit.until("Files set aside: 1.", "are missing. Merge that laptop's newest folder.")
        await visit.keys("<enter>")
        await visit.until_screen("merge_questions")
        await visit.until(f"Set aside: {session}.toml", "To do: ", "A copy is kept: set-aside/")
        await visit.keys("<enter>")
        missing = "Nothing to answer; still missing: entries laptop-"
        await visit.until(missing, "what the file set aside held.")
        await visit.keys("<enter>")
        await visit.until_screen("merge_end")
        await visit.until(missing, "what the file set aside held.")
        await visit.keys("<escape>")
        await at_start(visit)
        await visit.keys("<f7>")
        await visit.until_screen("merge_sticks")
        await visit.keys("<f6>")  # without merging: what is missing is told all the same
        await visit.until_screen("merge_summary")
        await visit.until("Files set aside: 1, seen: 1.", "are missing. Merge", missing)
    async with desk_on(data, [tern.data]) as visit:
        await merge_all(visit)
        await visit.until("1 new", "No laptop's entries are missing", "Files set aside: 0.")
        await visit.until("Nothing is open. Enter: carry back.")


# --- sticks, progress, two at once ---------------------------------------------------------------


async def test_only_marked_folders_that_are_none_of_our_own_are_merged(
    tern: Anklefirst, dunlin: Anklefirst, data: Path, tmp_path: Path
) -> None:
    tern.new("SK-01")
    dunlin.new("SK-02")
    async with desk_on(data, [tern.data, data]) as visit:
        assert "curlew" in visit.rows[0]
        assert len([row for row in visit.rows if "[ ]" in row]) == 1, "its own folder is no stick"
        await visit.keys("<enter>")
        await visit.until("! Mark a stick with Space first, or type a folder.")
        await visit.keys(f"{tmp_path}/nowhere<enter>")
        await visit.until("! No folder here:")
        await visit.keys(f"{data}<enter>")  # the refused text does not stand before it
        await visit.until("This is the open data folder itself; it is no stick:")
        await visit.keys(f"{dunlin.data}<enter>")
        await visit.until("[x]", "[ ]")
        await visit.keys("<enter>")
        await visit.until_screen("merge_summary")
    assert {s.text("client") for s in saved_sessions(data)} == {"SK-02"}


async def test_a_stick_that_was_pulled_is_gone_and_neither_empty_nor_made_anew(
    tern: Anklefirst, data: Path, tmp_path: Path
) -> None:
    tern.new("SK-01")
    pulled, back = tmp_path / "p2", tmp_path / "back"
    pulled.mkdir()
    back.mkdir()
    async with desk_on(data) as visit:
        await visit.keys(f"{pulled}<enter>")
        await visit.until("[x]")
        pulled.rmdir()
        await visit.keys("<f5>")
        await visit.until("p2 is gone.")
        assert "[x]" not in visit.text
        pulled.mkdir()
        await visit.keys(f"{pulled}<enter>")
        await visit.until("[x]")
        pulled.rmdir()
        await visit.keys("<enter>")
        await visit.until("p2 is gone, not merged. Plug it in and press F5")
        assert "[x]" not in visit.text
        pulled.mkdir()
        await visit.keys(f"{pulled}<enter>{tern.data}<enter>")
        await visit.until("p2 (nothing of ours yet)", "(a data folder)")
        pulled.rmdir()
        await visit.keys("<enter>")
        await visit.until_screen("merge_summary")
        await visit.until("Sessions: 1 new", "p2 is gone, not merged.")
        assert "nothing of ours is on it" not in visit.text
        await visit.keys("<f6>")
        await visit.until_screen("merge_end")
        pulled.mkdir()
        await visit.keys(f"{pulled}<enter>{back}<enter>")
        pulled.rmdir()
        await visit.keys("<down><space><enter>" if "> [ ] " in visit.text else "<enter>")
        await visit.until(
            "p2: not carried back, see below.", "p2 is gone; nothing was written.", "may be pulled:"
        )
        assert not pulled.exists(), "what is written to no stick fills the hard disk"
        assert (back / "to-laptops" / "manifest.toml").exists()


async def test_the_folder_a_pulled_stick_left_behind_is_not_carried_back_to(
    tern: Anklefirst, data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It lies on the hard disk, empty, where the stick hung."""
    roots = (DriveRoot(tmp_path / "media", 1),)
    monkeypatch.setattr("fitcore.disk.drives.system_roots", lambda: roots)
    tern.new("SK-01")
    left, back = tmp_path / "media" / "P2", tmp_path / "back"
    left.mkdir(parents=True)
    back.mkdir()
    async with desk_on(data, [tern.data], size=(120, 36)) as visit:
        await visit.keys("<space><enter>")
        await visit.until_screen("merge_summary")
        await visit.keys("<f6>")
        await visit.until_screen("merge_end")
        await visit.keys(f"{left}<enter>{back}<enter><enter>")
        await visit.until(
            "No stick is plugged in at",
            "P2; nothing was written. Plug it in, and carry back to the folder where it",
            "back may be pulled: ",
        )
        assert visit.text.count("may be pulled") == 1, visit.text
    assert not list(left.iterdir())
    assert (back / "to-laptops" / "manifest.toml").exists()


async def test_the_folder_a_pulled_stick_left_behind_is_gone_and_not_empty_of_ours(
    tern: Anklefirst, data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    roots = (DriveRoot(tmp_path / "media", 1),)
    monkeypatch.setattr("fitcore.disk.drives.system_roots", lambda: roots)
    tern.new("SK-01")
    left = tmp_path / "media" / "P2"
    left.mkdir(parents=True)
    async with desk_on(data, [left]) as visit:
        await visit.keys("<space><enter>")
        await visit.until("P2 is gone, not merged. Plug it in and press F5")
        await visit.keys(f"{tern.data}<enter><enter>")
        await visit.until_screen("merge_summary")
        await visit.until("Sessions: 1 new", "P2 is gone, not merged.")
        assert "nothing of ours is on it" not in visit.text


async def test_laptops_folders_nobody_named_are_told_of_at_the_end_of_a_merge(
    tern: Anklefirst, data: Path, tmp_path: Path
) -> None:
    tern.new("SK-01")
    shutil.copytree(tern.data, tmp_path / "x" / "tern")
    shutil.copytree(tern.data, tmp_path / "x" / "from-petrel-k7qd")
    async with desk_on(data, [tmp_path / "x"], size=(120, 36)) as visit:
        await merge_all(visit)
        await visit.until("Sessions: 1 new", "x also holds tern, which look like laptops' folders")


async def test_what_became_of_each_stick_is_seen_at_80_columns_whatever_was_left_out(
    tern: Anklefirst, data: Path, tmp_path: Path
) -> None:
    for client in ("SK-01", "SK-02", "SK-03", "SK-04"):
        path = tern.session_file(tern.new(client))
        if client != "SK-04":
            path.write_bytes(path.read_bytes().replace(client.encode(), b"SK-99"))
    sticks = [tmp_path / "one", tmp_path / "two"]
    for stick in sticks:
        stick.mkdir()
    async with desk_on(data, [tern.data]) as visit:
        await merge_all(visit)
        await visit.keys("<f6>")
        await visit.until_screen("merge_end")
        await visit.keys(f"{sticks[0]}<enter>{sticks[1]}<enter><enter>")
        await visit.until(
            "/one may be pulled: ",
            "/two may be pulled: ",
            "On each laptop, open this desk and merge its stick.",
            "! 3 files left out until answered (F7):",
            ".toml and 1 more.",
        )


async def test_the_window_lives_while_merging_and_a_stopped_merge_is_finished_by_the_next(
    tern: Anklefirst, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tern.new("SK-01")
    go_on, begun = threading.Event(), threading.Event()

    def slow(*given: Any) -> Any:
        progress: Callable[[int, int], None] = given[3]
        begun.set()
        progress(1, 4)
        assert go_on.wait(30)
        progress(2, 4)
        return None

    def full(*_: object) -> None:
        raise FileFault(Problem(code="no_room", text="The disk is full.", mend="Make room."))

    async with desk_on(data, [tern.data]) as visit:
        with monkeypatch.context() as patched:
            patched.setattr("tui.merge_work.merge_into", slow)
            await visit.keys("<space><enter>")
            await visit.until("Merging", "25 %")
            assert begun.is_set()
            await visit.keys("<enter>")
            await visit.until("The merge still runs. Esc stops it.")
            await visit.keys("<space>")
            assert "[x]" in visit.text, "what is merged is not changed meanwhile"
            await visit.keys("<f1>")
            await visit.until_screen("text")
            await visit.keys("<escape>")
            await visit.until_screen("merge_sticks")
            await visit.keys("<escape>")
            await visit.until("Stopping at the next step")
            go_on.set()
            await visit.until("! Stopped.", "Do it again to finish it; nothing is lost.")
        with monkeypatch.context() as patched:
            patched.setattr("tui.merge_work.merge_into", full)
            await visit.keys("<enter>")
            await visit.until("! The disk is full. Make room.")
        await visit.keys("<enter>")
        await visit.until_screen("merge_summary")
        await visit.until("Sessions: 1 new")


async def test_closing_the_program_while_it_merges_waits_for_a_safe_place(
    tern: Anklefirst, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tern.new("SK-01")
    ended: list[str] = []
    released = threading.Event()

    def slow(*given: Any) -> Merging:
        progress: Callable[[int, int], None] = given[3]
        assert released.wait(30)
        try:
            progress(1, 2)
        finally:
            ended.append("yes")
        return merge_into(*given)

    monkeypatch.setattr("tui.merge_work.merge_into", slow)
    async with desk_on(data, [tern.data]) as visit:
        await visit.keys("<space><enter>")
        visit.app.ask_to_end()
        released.set()
        await until(None, lambda: visit.app._exit)
        assert ended == ["yes"]
    assert visit.app.return_code == 3


async def test_a_paused_session_is_merged_and_goes_on_where_it_was(
    tern: Anklefirst, data: Path
) -> None:
    app = build_app(data)
    DataFolder(data, app.surroundings, label="curlew", measurer="N-17").close()
    async with desk_on(data) as visit:
        await visit.keys("<escape>")
        await to_measure(visit)
        await visit.keys("22.4<enter>36.")
        await visit.keys("<escape>")
        await at_start(visit)
    (paused,) = saved_sessions(data)
    # Another laptop takes it up and adds something; here it is still paused and half typed.
    assert tern.bare("merge", tern.data, data).code == 0
    assert tern("remark", paused.id, "skin intact").code == 0
    tern.new("SK-01")
    async with desk_on(data, [tern.data]) as visit:
        await merge_all(visit)
        await visit.until("Sessions: 1 new, 1 changed, 0 unchanged.")
        await visit.keys("<escape>")
        await at_start(visit)
        await visit.until("SK-01", "PAUSED: go on ! skin intact")
        await visit.keys("<enter>")
        await visit.until_screen("measure")
        await visit.until("2 of 8", "cm > 36.")
        await visit.keys("2<enter>")
        await visit.until("3 of 8")
    (session,) = [s for s in saved_sessions(data) if s.id == paused.id]
    assert {e.text("typed") for e in session.heads.heads_of("readings")} == {"22.4", "36.2"}
    assert any(e.text("text") == "skin intact" for e in session.entries)


async def test_a_sentence_longer_than_the_window_says_where_the_rest_is(
    data: Path, tern: Anklefirst, tmp_path: Path
) -> None:
    """Evidence and values never push each other off the page."""
    for number in range(30):
        tern.new(f"SK-{number}")
    stick = tmp_path / "stick"
    shutil.copytree(tern.data, stick)
    for path in sorted(stick.glob("sessions/*/*.toml"))[::2]:
        path.unlink()
    async with desk_on(data, [stick]) as visit:
        await merge_all(visit)
        await visit.until("more lines.", "Nothing to answer; still missing: entries laptop-")
        await visit.until("and 12 more. Enter: carry back.")
        await visit.keys("<f5>")
        await visit.until_screen("text")
        await visit.until("are missing. Merge that laptop's newest folder.")
