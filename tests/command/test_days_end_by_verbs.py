"""What a coordinator must be told at a day's end by the verbs alone, without the merge desk."""

from __future__ import annotations

import errno
import os
import shutil
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from linked_visits import file_visit

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.several_laptops import sessions_of_several
from fitcore.record.edits import draft_answer

if TYPE_CHECKING:
    from pathlib import Path

    from command.conftest import Anklefirst, Ran

WHO = ("--who", "C-02", "--why", "phoned N-17")
CALF = ("left", "C", "girth")
STOP = {"limb_at_risk": "yes"}
READ_AS_381 = (b'typed = "36.1", unit = "cm", mm = 361', b'typed = "38.1", unit = "cm", mm = 381')


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
    around = laptop.world.surroundings()
    at = laptop.world.instant
    with DataFolder(laptop.data, around, label="tern", measurer="N-17") as folder:
        session_id: str = file_visit(folder, code, at, **(answers or {}))
        if finished:
            session = folder.read(session_id)
            assert session is not None
            draft = draft_answer(session, "finished", True, at)  # noqa: FBT003 - a field's value
            assert draft is not None
            folder.append(session, [draft])
    return session_id


def merged(archive: Anklefirst, *sticks: Anklefirst | Path, dry_run: bool = False) -> Ran:
    paths = [getattr(stick, "data", stick) for stick in sticks]
    return archive.bare("merge", archive.data, *paths, *(["--dry-run"] if dry_run else []))


def report_of(archive: Anklefirst, *sticks: Anklefirst | Path, dry_run: bool = False) -> Any:
    paths = [getattr(stick, "data", stick) for stick in sticks]
    more = ["--dry-run"] if dry_run else []
    return archive.bare("merge", archive.data, *paths, "--json", *more).json


def stick_of(laptop: Anklefirst, path: Path) -> Path:
    shutil.copytree(laptop.data, path)
    return path


# --- a stop after a size was given ---------------------------------------------------------------


def test_a_stop_after_a_size_heads_merge_and_conflicts_until_somebody_was_told(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    visited(anklefirst, "SK-07", finished=True)
    stop = visited(dunlin, "SK-07", STOP)
    tried = report_of(curlew, anklefirst, dunlin, dry_run=True)
    assert tried["late_stops"] == 1
    ran = merged(curlew, anklefirst, dunlin)
    assert ran.code == 1
    assert "STOP after a size was given: SK-07" in ran.out.splitlines()[1]
    assert ran.out.index("STOP after a size") < ran.out.index("Sessions:")
    assert report_of(curlew, anklefirst, dunlin)["late_stops"] == 1

    shown = curlew("conflicts")
    assert shown.code == 1
    assert "STOP after a size was given: SK-07" in shown.out.splitlines()[0]
    (late,) = curlew("conflicts", "--json").json["late_stops"]
    assert (late["codes"], late["stop"]) == (["SK-07"], stop)
    assert {leg["clearance"] for leg in late["legs"]} <= {"stop", "hold"}
    (laptop,) = late["found_by"]
    assert f"Stop found: SK-07, 2026-03-04 09:12 on {laptop} by " in shown.out

    for words in ("sitting", "refused"):
        wrong = curlew("decide", late["id"], words, *WHO)
        assert (wrong.code, "takes the answer told" in wrong.err) == (2, True)
        assert "answered already" not in wrong.err, "it is open"
    unknown = curlew("decide", "ffffffff", "sitting", *WHO)
    assert (unknown.code, "No one open question is called 'ffffffff'" in unknown.err) == (2, True)
    assert curlew("decide", "ffffffff", "told", *WHO).code == 2
    told = curlew("decide", late["id"][:6], "told", *WHO, "--json")
    assert (told.code, told.json["decided"][0]["session"]) == (0, stop)
    line = curlew.session_file(stop).read_text()
    assert 'what = "told", is = "phoned N-17", who = "C-02"' in line
    assert curlew("conflicts").code == 0
    assert report_of(curlew, anklefirst, dunlin)["late_stops"] == 0
    assert merged(curlew, anklefirst, dunlin).code == 0

    # Taken back, it is open again.
    (name,) = told.json["decided"][0]["entries"]
    assert curlew("withdraw", name, "--who", "C-02", "--why", "nobody answered").code == 0
    assert 'who = "C-02"' in curlew.session_file(stop).read_text().partition("withdrawn = [")[2]
    assert curlew("conflicts").code == 1


def test_the_time_of_a_stop_by_a_wrong_clock_is_told_as_doubtful(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    visited(anklefirst, "SK-07", finished=True)
    stop = visited(dunlin, "SK-07", STOP)
    assert dunlin("set", stop, "clock", "wrong").code == 0
    for told in (merged(curlew, anklefirst, dunlin), curlew("conflicts")):
        (given,) = [line for line in told.out.splitlines() if "Size given: " in line]
        (found,) = [line for line in told.out.splitlines() if "Stop found: " in line]
        assert found.endswith(" (clock was wrong)")
        assert "clock" not in given


def test_a_stop_under_a_linked_code_is_told_and_a_stranger_is_not_read(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    given = visited(anklefirst, "SK-07", finished=True)
    visited(anklefirst, "SK-09", finished=True)
    stop = visited(dunlin, "KES-1", STOP)
    assert report_of(curlew, anklefirst, dunlin)["late_stops"] == 0
    assert sessions_of_several(curlew.data)[0] == ()
    assert curlew("link", "SK-07", "KES-1", *WHO).code == 0
    assert {one.id for one in sessions_of_several(curlew.data)[0]} == {given, stop}
    assert report_of(curlew, anklefirst, dunlin)["late_stops"] == 1


def test_where_the_rules_cannot_be_used_it_is_told_that_nobody_looked(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    visited(anklefirst, "SK-07", finished=True)
    visited(dunlin, "SK-07", STOP)
    (curlew.data / "screening").mkdir(parents=True)
    (curlew.data / "screening" / "use.toml").write_text('format = 1\nrules = "nobody-has-these"\n')
    ran = merged(curlew, anklefirst, dunlin)
    assert ran.code == 1
    assert "Nobody could look for stops after a size was given" in ran.out
    assert report_of(curlew, anklefirst, dunlin)["late_stops"] is None
    assert curlew("conflicts").code == 1


# --- what is missing at a laptop's end -----------------------------------------------------------


def test_a_laptops_last_session_that_was_not_copied_is_not_called_complete(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    anklefirst.new("SK-01")
    lost = anklefirst.new("SK-02")
    anklefirst.record(lost, *CALF, "36.1")
    stick = stick_of(anklefirst, tmp_path / "stick")
    next(stick.glob(f"sessions/*/{lost}.toml")).unlink()
    ran = merged(curlew, stick)
    assert ran.code == 1
    (gap,) = report_of(curlew, stick)["gaps"]
    assert gap["not_here_yet"] is True
    words = f"{gap['laptop']}: entries {gap['from']} to {gap['to']} are missing."
    assert words in ran.out
    assert "not here yet" in ran.out
    # The archive alone cannot know, and says so.
    checked = curlew.bare("verify", curlew.data)
    assert "no archive can know" in checked.out
    assert report_of(curlew, anklefirst)["gaps"] == []
    assert merged(curlew, stick).code == 0, "it came another way"


def test_numbers_of_the_ledger_and_numbers_a_crash_burnt_are_not_missing(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    session = anklefirst.new("SK-01")
    anklefirst.new("SK-02")
    assert anklefirst("link", "SK-01", "SK-02", *WHO).code == 0
    assert report_of(curlew, anklefirst)["gaps"] == []
    anklefirst.record(session, *CALF, "36.1")
    before = anklefirst.session_file(session).read_bytes()
    anklefirst.record(session, *CALF, "36.2", "--round", "2")
    anklefirst.session_file(session).write_bytes(before)  # the number was given, the line not saved
    assert report_of(curlew, anklefirst)["gaps"] == []


# --- files renamed, copies, files set aside ------------------------------------------------------


def test_files_an_editor_gave_another_ending_are_set_aside_and_told(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    first, second = anklefirst.new("SK-01"), anklefirst.new("SK-02")
    stick = stick_of(anklefirst, tmp_path / "stick")
    one = next(stick.glob(f"sessions/*/{first}.toml"))
    other = next(stick.glob(f"sessions/*/{second}.toml"))
    one.rename(one.with_name(f"{one.name}.txt"))
    other.rename(stick / "sessions" / "session.txt")
    report = report_of(curlew, stick)
    assert {file["path"].rpartition("/")[2] for file in report["set_aside"]} == {
        f"{first}.toml.txt",
        "session.txt",
    }
    assert {file["reason"] for file in report["set_aside"]} == {"name_mismatch"}
    assert {file["session"] for file in report["set_aside"]} == {first, second}
    ran = merged(curlew, stick)
    assert ran.code == 1
    assert "client SK-01" in ran.out
    checked = curlew.bare("verify", curlew.data)
    assert "2 files are set aside" in checked.out
    assert "client SK-02" in checked.out
    kept = curlew.bare("verify", curlew.data, "--json").json["set_aside"]
    assert [file["nothing_to_do"] for file in kept] == [False, False]


def test_a_copy_of_what_is_whole_in_the_archive_is_no_fault(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    session = anklefirst.new("SK-01")
    stick = stick_of(anklefirst, tmp_path / "stick")
    path = next(stick.glob(f"sessions/*/{session}.toml"))
    shutil.copy(path, path.with_name(f"Copy of {path.name}"))
    tried = report_of(curlew, stick, dry_run=True)
    report = report_of(curlew, stick)
    assert tried == report
    assert (report["set_aside"], len(report["copies"])) == ([], 1)
    ran = merged(curlew, stick)
    assert ran.code == 0
    assert "A copy, nothing to do:" in ran.out
    assert "nothing to do" in curlew.bare("verify", curlew.data).out
    # A line more in it than the archive has: then somebody must look.
    anklefirst.record(session, *CALF, "36.1")
    newer = anklefirst.session_file(session).read_bytes()
    path.with_name(f"Copy of {path.name}").write_bytes(newer)
    assert [file["session"] for file in report_of(curlew, stick)["set_aside"]] == [session]


# --- whose folder is written into ----------------------------------------------------------------


def test_the_first_line_says_whose_folder_is_written_into(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    anklefirst.new("SK-01")
    dunlin.new("SK-02")
    assert merged(curlew, anklefirst).out.splitlines()[0] == f"New archive: {curlew.data}."
    forgotten = dunlin.bare("merge", dunlin.data, anklefirst.data)
    first = forgotten.out.splitlines()[0]
    assert forgotten.code == 0
    assert "own folder" in first
    assert "name the archive before it" in first
    again = dunlin("merge", dunlin.data, anklefirst.data).out.splitlines()[0]
    assert again.startswith(f"Archive: {dunlin.data}, folder of laptop ")


def test_a_stick_or_a_folder_of_letters_is_no_archive(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    anklefirst.new("SK-01")
    merged(curlew, anklefirst)
    stick, letters = tmp_path / "stick", tmp_path / "letters"
    stick.mkdir()
    letters.mkdir()
    (letters / "to the council.odt").write_text("x")
    assert curlew("carry-back", stick).code == 0
    for folder, words in ((stick, "is a stick"), (letters, "nothing of ours")):
        before = sorted(folder.rglob("*"))
        ran = anklefirst.bare("merge", folder, anklefirst.data)
        assert ran.code == 2
        assert words in ran.err
        assert sorted(folder.rglob("*")) == before


def test_carrying_back_nothing_or_into_the_archive_is_refused(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    stick, empty = tmp_path / "stick", tmp_path / "empty"
    stick.mkdir()
    empty.mkdir()
    ran = anklefirst.bare("--data", empty, "carry-back", stick)
    assert ran.code == 2
    assert "pull the stick" not in ran.out
    assert list(stick.iterdir()) == []
    anklefirst.new("SK-01")
    merged(curlew, anklefirst)
    inside = curlew.data / "sessions"
    for place in (curlew.data, inside):
        ran = curlew("carry-back", place)
        assert (ran.code, "pull the stick" in ran.out) == (2, False)
        assert "the archive itself" in ran.err
    assert not (curlew.data / "to-laptops").exists()


def test_a_stick_with_nothing_of_ours_is_told_plainly_and_is_fine(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    anklefirst.new("SK-01")
    stick = tmp_path / "stick"
    stick.mkdir()
    (stick / "photo.jpg").write_bytes(b"x")
    ran = merged(curlew, anklefirst, stick)
    assert ran.code == 0
    assert f"! {stick}: nothing of ours is on it." in ran.err


# --- suggestions, codes --------------------------------------------------------------------------


def test_alike_codes_and_wrong_clocks_are_suggested_and_not_counted(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    visited(anklefirst, "SK-07")
    session = visited(dunlin, "KES-1")
    assert dunlin("set", session, "clock", "wrong").code == 0
    assert merged(curlew, anklefirst, dunlin).code == 0
    shown = curlew("conflicts")
    assert shown.code == 0
    assert "KES-1 and SK-07: may be one person" in shown.out
    assert "anklefirst link KES-1 SK-07" in shown.out
    assert "the clock was wrong, and nobody has noted it." in shown.out
    assert "  Session: KES-1, 2026-03-04 09:12 on " in shown.out
    assert ": date and time are wrong." in shown.out
    assert "Nothing is open." in shown.out
    found = curlew("conflicts", "--json").json
    assert [one["kind"] for one in found["suggestions"]] == ["codes", "clock"]
    assert found["conflicts"] == []
    assert curlew("distinct", "KES-1", "SK-07", *WHO).code == 0
    left = curlew("conflicts", "--json").json["suggestions"]
    assert [one["kind"] for one in left] == ["clock"]


def test_a_code_nobody_has_is_refused_until_it_is_confirmed(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    anklefirst.new("SK-07")
    merged(curlew, anklefirst)
    mistyped = curlew("link", "SK-07", "tern-001-8", "--to-come", *WHO)
    assert mistyped.code == 2
    assert "last character" in mistyped.err
    for verb in ("link", "distinct"):
        unknown = curlew(verb, "SK-07", "KES-9", *WHO, "--json")
        assert (unknown.code, unknown.json["problems"][0]["code"]) == (2, "code_unknown")
    assert curlew("conflicts", "--json").json["links"] == []
    confirmed = curlew("link", "SK-07", "KES-9", "--to-come", *WHO)
    assert confirmed.code == 0
    assert "KES-9" in confirmed.err


def test_what_stays_linked_through_others_is_said_with_the_way_out(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    for code in ("SK-1", "SK-2", "SK-3"):
        anklefirst.new(code)
    merged(curlew, anklefirst)
    for one, other in (("SK-1", "SK-2"), ("SK-2", "SK-3"), ("SK-1", "SK-3")):
        assert curlew("link", one, other, *WHO).code == 0
    listed = curlew("conflicts", "--links")
    assert "SK-1 = SK-2: one person." in listed.out
    ran = curlew("unlink", "SK-1", "SK-2", *WHO)
    assert ran.code == 1
    assert "still one person" in ran.out
    assert "anklefirst unlink SK-1 SK-3" in ran.out
    assert "anklefirst unlink SK-2 SK-3" in ran.out
    last = curlew("unlink", "SK-1", "SK-3", *WHO, "--json")
    assert (last.code, last.json["still_linked_through"]) == (0, [])


# --- one changed file, lines taken up, plain words -----------------------------------------------


def test_a_changed_file_without_its_sealed_original_is_one_item(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    session = anklefirst.new("SK-07")
    anklefirst.record(session, *CALF, "36.1")
    stick = stick_of(anklefirst, tmp_path / "stick")
    path = next(stick.glob(f"sessions/*/{session}.toml"))
    path.write_bytes(path.read_bytes().replace(*READ_AS_381))
    assert merged(curlew, stick).code == 1
    found = curlew("conflicts", "--json").json
    (file,) = found["changed_files"]
    assert file["lines"] == len(found["proposals"]) > 1
    out = curlew("conflicts").out
    told = f"{file['lines']} lines of {session}.toml came without their sealed original"
    assert f"{told} (client SK-07)" in out
    assert "newest folder" in out
    assert out.count("found in") == 1
    # With the laptop's own folder only the line that was changed is left.
    other = replace(curlew, data=tmp_path / "whimbrel")
    merged(other, stick, anklefirst)
    left = other("conflicts", "--json").json
    assert (len(left["proposals"]), left["changed_files"]) == (1, [])
    # Or one answer for all.
    ran = curlew("decide", file["id"], "taken", *WHO, "--json")
    assert (ran.code, len(ran.json["decided"])) == (0, file["lines"])
    assert curlew("conflicts").code == 0


def test_what_was_taken_up_is_counted_by_kind(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    session = anklefirst.new("SK-07")
    anklefirst.new("SK-08")
    merged(curlew, anklefirst)
    assert curlew("set", session, "posture", "sitting").code == 0
    assert curlew("link", "SK-07", "SK-08", *WHO).code == 0
    stick = tmp_path / "stick"
    stick.mkdir()
    assert curlew("carry-back", stick).code == 0
    report = report_of(replace(dunlin, data=anklefirst.data), stick, dry_run=True)
    assert report["new_lines"]["links"] == 1
    assert report["new_lines"]["answers"] == 1
    told = merged(anklefirst, stick).out
    assert "Taken up:" in told
    assert "1 answer, 1 link" in told
    assert "Taken up" not in merged(anklefirst, stick).out


def test_verify_does_not_say_that_no_line_is_left_nor_that_growing_is_a_fault(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    session = anklefirst.new("SK-07")
    merged(curlew, anklefirst)
    path = curlew.session_file(session)
    sound = path.read_bytes()
    assert curlew("set", session, "posture", "lying").code == 0
    grown = curlew.bare("verify", curlew.data)
    assert grown.code == 0
    assert "Not a fault" in grown.out
    assert "Whole: 1 session, " in grown.out
    path.write_bytes(sound.replace(b"SK-07", b"SK-08"))
    broken = curlew.bare("verify", curlew.data)
    assert broken.code == 1
    assert "its seal does not hold" in broken.out
    assert "holds 0" not in broken.out


def test_a_full_stick_is_told_in_words_of_a_command(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    anklefirst.new("SK-07")
    merged(curlew, anklefirst)
    stick = tmp_path / "stick"
    stick.mkdir()
    real = os.write

    def full(descriptor: int, content: bytes) -> int:
        if b"SK-07" in bytes(content):
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(descriptor, content)

    monkeypatch.setattr("fitcore.disk.atomic.os.write", full)
    ran = curlew("carry-back", stick)
    assert ran.code == 2
    assert "No space left on device" in ran.err
    assert "give the same command again" in ran.err
    assert "Enter" not in ran.err


def test_where_every_file_stays_behind_nobody_is_told_to_pull_the_stick(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    session = anklefirst.new("SK-07")
    path = anklefirst.session_file(session)
    path.write_bytes(path.read_bytes().replace(b"SK-07", b"SK-08"))
    merged(curlew, anklefirst)
    stick = tmp_path / "stick"
    stick.mkdir()
    ran = curlew("carry-back", stick)
    assert ran.code == 1
    assert "Nothing could be carried" in ran.out
    assert "pull the stick" not in ran.out
