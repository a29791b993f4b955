"""What was changed outside may tell of a stop or of one person: it counts, and can be closed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from linked_visits import file_visit

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.several_laptops import sessions_of_several
from fitcore.record.edits import draft_answer
from fitcore.record.session import Seal
from tui.merge_desk import Given, MergeDesk
from tui.merge_work import MergeWork

if TYPE_CHECKING:
    from pathlib import Path

    from command.conftest import Anklefirst

CODE = "SK-07"
WHO = ("--who", "C-02", "--why", "phoned N-17")
STOP = {"limb_at_risk": "yes"}


@pytest.fixture
def dunlin(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    return replace(anklefirst, data=tmp_path / "dunlin")


@pytest.fixture
def curlew(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    """Give the coordinator's machine; its folder is the archive."""
    return replace(anklefirst, data=tmp_path / "curlew")


def visited(
    laptop: Anklefirst, code: str, answers: dict[str, str] | None = None, *, finished: bool = False
) -> str:
    """File one screened visit with both legs read; return its session's id."""
    at = laptop.world.instant
    with DataFolder(
        laptop.data, laptop.world.surroundings(), label="tern", measurer="N-17"
    ) as folder:
        session_id: str = file_visit(folder, code, at, **(answers or {}))
        if finished:
            session = folder.read(session_id)
            assert session is not None
            draft = draft_answer(session, "finished", True, at)  # noqa: FBT003 - a field's value
            assert draft is not None
            folder.append(session, [draft])
    return session_id


def report_of(archive: Anklefirst, *sticks: Anklefirst, dry_run: bool = False) -> Any:
    more = ["--dry-run"] if dry_run else []
    sticks_data = [stick.data for stick in sticks] or [archive.data]
    return archive.bare("merge", archive.data, *sticks_data, "--json", *more).json


def merged(archive: Anklefirst, *sticks: Anklefirst) -> str:
    return archive.bare("merge", archive.data, *(stick.data for stick in sticks)).out


def unseal(laptop: Anklefirst, session: str) -> bytes:
    """Change the time of one line, as an editor would; return the file as it was."""
    path = laptop.session_file(session)
    raw = path.read_bytes()
    path.write_bytes(raw.replace(b":40+01:00", b":41+01:00", 1))
    assert path.read_bytes() != raw
    return raw


def told_in(laptop: Anklefirst, session: str) -> bool:
    return 'what = "told"' in laptop.session_file(session).read_text(encoding="utf-8")


# --- a stop in a session that came without a whole seal ------------------------------------------


def test_a_stop_without_a_whole_seal_is_told_and_closed_in_the_session_with_the_size(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    given = visited(anklefirst, CODE, finished=True)
    stop = visited(dunlin, CODE, STOP)
    sealed = unseal(dunlin, stop)
    assert report_of(curlew, anklefirst, dunlin, dry_run=True)["late_stops"] == 1
    assert "STOP after a size was given: SK-07" in merged(curlew, anklefirst, dunlin)
    assert report_of(curlew)["late_stops"] == 1
    sessions, _ = sessions_of_several(curlew.data)
    assert {one.id: one.seal for one in sessions} == {given: Seal.WHOLE, stop: Seal.BROKEN}

    (late,) = curlew("conflicts", "--json").json["late_stops"]
    assert (late["stop"], late["given"]) == (stop, given)
    told = curlew("decide", late["id"], "told", *WHO, "--json")
    assert (told.code, told.json["decided"][0]["session"]) == (0, given)
    assert (told_in(curlew, given), told_in(curlew, stop)) == (True, False)
    assert curlew("conflicts", "--json").json["late_stops"] == []

    # Once the sealed file has come it is the same stop, and stays closed.
    dunlin.session_file(stop).write_bytes(sealed)
    assert report_of(curlew, dunlin)["late_stops"] == 0
    assert {one.seal for one in sessions_of_several(curlew.data)[0]} == {Seal.WHOLE}


def test_the_desk_finds_the_same_stop_and_closes_it(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    given = visited(anklefirst, CODE, finished=True)
    stop = visited(dunlin, CODE, STOP)
    unseal(dunlin, stop)
    merged(curlew, anklefirst, dunlin)
    (by_verb,) = curlew("conflicts", "--json").json["late_stops"]
    with DataFolder(curlew.data, curlew.world.surroundings()) as folder:
        work = MergeWork(folder, curlew.world.surroundings(), load_profiles().rules)
        desk = MergeDesk(who="C-02")
        desk.show(work.look_through())
        (item,) = desk.stops
        assert item.id == by_verb["id"]
        desk.go_to(item.id)
        answers = desk.answers("P-04, by telephone", curlew.world.instant)
        assert [answer.session for answer in answers] == [given]
        desk.show(work.store(answers, desk.facts, Given((), "C-02", "", ())))
        assert desk.stops == ()
        desk.show(work.look_through())
        assert desk.stops == ()
    assert told_in(curlew, given)


def test_a_size_given_in_a_session_without_a_whole_seal_counts_too(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    given = visited(anklefirst, CODE, finished=True)
    stop = visited(dunlin, CODE, STOP)
    unseal(anklefirst, given)
    assert report_of(curlew, anklefirst, dunlin)["late_stops"] == 1
    (late,) = curlew("conflicts", "--json").json["late_stops"]
    assert (
        curlew("decide", late["id"], "told", *WHO, "--json").json["decided"][0]["session"] == stop
    )
    assert report_of(curlew)["late_stops"] == 0


# --- a ledger changed outside --------------------------------------------------------------------


def test_one_changed_byte_in_a_ledger_loses_no_stop_under_a_linked_code(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    visited(anklefirst, CODE, finished=True)
    stop = visited(dunlin, "KES-1", STOP)
    merged(curlew, anklefirst, dunlin)
    assert curlew("link", CODE, "KES-1", *WHO).code == 0
    assert report_of(curlew)["late_stops"] == 1
    (ledger,) = [p for p in (curlew.data / "ledger").glob("*.toml") if b"links" in p.read_bytes()]
    ledger.write_bytes(ledger.read_bytes().replace(b"phoned N-17", b"phoned N-71"))

    assert report_of(curlew)["late_stops"] == 1
    shown = curlew("conflicts", "--json").json
    assert [late["stop"] for late in shown["late_stops"]] == [stop]
    assert shown["links"] == [["KES-1", CODE]]
    assert shown["proposals"], "the changed ledger is asked about as well"
    with DataFolder(curlew.data, curlew.world.surroundings()) as folder:
        work = MergeWork(folder, curlew.world.surroundings(), load_profiles().rules)
        facts = work.look_through()
    assert [late.stop.id for late in facts.stops] == [stop]
    (late,) = shown["late_stops"]
    assert curlew("decide", late["id"], "told", *WHO).code == 0
    assert report_of(curlew)["late_stops"] == 0


def test_what_a_changed_ledger_parts_does_not_count_and_a_refused_link_no_longer_does(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    visited(anklefirst, CODE, finished=True)
    visited(dunlin, "KES-1", STOP)
    whimbrel = replace(curlew, data=tmp_path / "whimbrel")
    merged(whimbrel, anklefirst, dunlin)
    assert whimbrel("link", CODE, "KES-1", *WHO).code == 0
    assert whimbrel("unlink", CODE, "KES-1", *WHO).code == 0
    (ledger,) = (whimbrel.data / "ledger").glob("*.toml")
    ledger.write_bytes(ledger.read_bytes().replace(b"phoned N-17", b"phoned N-71"))
    # Its taking back is as doubtful as its link: the more careful of both holds.
    assert report_of(curlew, whimbrel)["late_stops"] == 1
    (file,) = curlew("conflicts", "--json").json["changed_files"]
    assert curlew("decide", file["id"], "refused", *WHO).code == 0
    assert report_of(curlew)["late_stops"] == 0
