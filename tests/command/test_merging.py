"""A coordinator's day's end on the command line: laptops, sticks, questions, answers, back again.

Only the verbs are used, on real folders. What a verb acknowledged must be there at the end, and
nothing may be there that no verb wrote.
"""

from __future__ import annotations

import shlex
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from command.conftest import REPOSITORY

from fitcore.disk.data_folder import DataFolder
from fitcore.disk.session_files import find_session_files, read_session_file

if TYPE_CHECKING:
    from command.conftest import Anklefirst, Ran

WHO = ("--who", "C-02", "--why", "phoned N-17")
CALF = ("left", "C", "girth")


@pytest.fixture
def dunlin(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    return replace(anklefirst, data=tmp_path / "dunlin")


@pytest.fixture
def curlew(anklefirst: Anklefirst, tmp_path: Path) -> Anklefirst:
    """Give the coordinator's machine; its folder is the archive."""
    return replace(anklefirst, data=tmp_path / "curlew")


def merge(laptop: Anklefirst, *sticks: Path | Anklefirst, code: int | None = None) -> Any:
    """Merge into a machine's own folder and return the report."""
    paths = [stick if isinstance(stick, Path) else stick.data for stick in sticks]
    ran = laptop.bare("merge", laptop.data, *paths, "--json")
    assert ran.code == code if code is not None else ran.code in (0, 1), ran
    assert list(ran.json) == [
        "added", "updated", "unchanged", "proposals", "conflicts_open", "conflicts_settled",
        "set_aside", "gaps", "clones", "new_lines", "late_stops", "copies",
    ]  # fmt: skip
    return ran.json


def questions(laptop: Anklefirst) -> list[dict[str, Any]]:
    ran = laptop("conflicts", "--json")
    found: list[dict[str, Any]] = ran.json["conflicts"]
    assert ran.code == (1 if found or ran.json["proposals"] else 0)
    return found


def lines_of(*laptops: Anklefirst) -> set[tuple[str, str]]:
    """Return every line of every session: what somebody was told is saved."""
    found = set()
    for laptop in laptops:
        for path in find_session_files(laptop.data):
            session = read_session_file(path).session
            if session is not None:
                found |= {(session.id, entry.line) for entry in session.entries}
    return found


def share_a_session(one: Anklefirst, other: Anklefirst) -> str:
    """Begin a session on one laptop and carry it to the other."""
    session = one.new("SK-07")
    one("set", session, "posture", "standing")
    one.record(session, *CALF, "36.1")
    merge(other, one, code=0)
    return session


def differ(one: Anklefirst, other: Anklefirst, session: str) -> None:
    """Let both put the posture right, differently."""
    assert one("set", session, "posture", "sitting").code == 0
    assert other("set", session, "posture", "lying").code == 0


# --- the whole way -----------------------------------------------------------------------------


def test_a_question_is_asked_once_answered_and_carried_back(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    tern = anklefirst
    session = share_a_session(tern, dunlin)
    differ(tern, dunlin, session)
    dunlin.new("SK-08")
    acknowledged = lines_of(tern, dunlin)

    report = merge(curlew, tern, dunlin, code=1)
    assert (report["added"], report["conflicts_open"], report["gaps"]) == (2, 1, [])
    (asked,) = questions(curlew)
    assert (asked["field"], asked["client"], asked["session"]) == ("posture", "SK-07", session)
    assert {value["choose"] for value in asked["values"]} == {"sitting", "lying"}
    origins = [origin for value in asked["values"] for origin in value["from"]]
    assert len({origin["laptop"] for origin in origins}) == 2
    assert all(len(origin["had_seen"]) == 1 for origin in origins)
    assert "had seen" in curlew("conflicts").out

    decided = curlew("decide", asked["id"][:6], "sitting", *WHO, "--json")
    assert decided.code == 0, decided
    assert questions(curlew) == []
    stick = tmp_path / "stick"
    stick.mkdir()
    carried = curlew("carry-back", stick)
    assert carried.code == 0, carried
    assert "You may pull the stick now" in carried.out
    for laptop in (tern, dunlin):
        merge(laptop, stick, code=0)
        assert questions(laptop) == []
    again = merge(curlew, tern, dunlin, stick, code=0)
    assert (again["added"], again["updated"], again["unchanged"]) == (0, 0, 2)
    assert curlew.bare("verify", curlew.data).code == 0

    final = lines_of(curlew)
    (decision,) = decided.json["decided"][0]["entries"]
    assert acknowledged - final == set()
    assert {line for _, line in final - acknowledged if f'"{decision}"' not in line} == set()
    assert lines_of(tern) == lines_of(dunlin) == final


def test_two_corrections_of_one_reading_are_asked_and_the_answer_can_be_taken_back(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    session = share_a_session(anklefirst, dunlin)
    reading = next(line.split('"')[1] for _, line in lines_of(anklefirst) if 'point = "C"' in line)
    anklefirst("correct", reading, "36.3", "--why", "read again")
    dunlin("correct", reading, "36.8", "--why", "tape slipped")
    merge(curlew, anklefirst, dunlin, code=1)
    (asked,) = questions(curlew)
    assert (asked["kind"], asked["field"]) == ("corrections", "left C girth")
    assert [(v["choose"], v["value_mm"]) for v in asked["values"]] == [
        ("36.3 cm", "363"),
        ("36.8 cm", "368"),
    ]
    refused = curlew("decide", asked["id"], "36.5", *WHO)
    assert refused.code == 2
    assert "36.3 cm, 36.8 cm" in refused.err
    decided = curlew("decide", asked["id"], "36.3", *WHO, "--json").json["decided"][0]
    assert questions(curlew) == []
    assert curlew("withdraw", decided["entries"][0], "--why", "wrong leg").code == 0
    assert [found["id"] for found in questions(curlew)] == [asked["id"]]
    assert decided["session"] == session


def test_an_entrys_name_chooses_and_another_answer_may_be_given(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    session = share_a_session(anklefirst, dunlin)
    differ(anklefirst, dunlin, session)
    merge(curlew, anklefirst, dunlin, code=1)
    (asked,) = questions(curlew)
    by = asked["values"][0]["from"][0]["entry"]
    shutil.copytree(curlew.data, curlew.data.parent / "other")
    other = replace(curlew, data=curlew.data.parent / "other")
    assert curlew("decide", asked["id"], by, *WHO).code == 0
    assert curlew("decide", asked["id"], by, *WHO).code == 2  # answered already
    assert other("decide", asked["id"], "standing", *WHO).code == 0
    assert other("decide", asked["id"], "flying", *WHO).code == 2
    # Two coordinators decided differently: that is asked again, and shown as decisions.
    merge(curlew, other, code=1)
    (again,) = questions(curlew)
    assert again["id"] != asked["id"]
    assert all(origin["decision"] for value in again["values"] for origin in value["from"])


def test_the_same_answer_for_all_alike_is_shown_before_it_is_given(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    sessions = [share_a_session(anklefirst, dunlin) for _ in range(3)]
    for session in sessions:
        differ(anklefirst, dunlin, session)
    anklefirst("set", sessions[0], "zone", "Europe/London")
    merge(curlew, anklefirst, dunlin, code=1)
    asked = questions(curlew)
    assert len(asked) == 3
    shown = curlew("decide", asked[0]["id"], "sitting", "--all-like", *WHO, "--json")
    assert (shown.code, shown.json["decided"]) == (1, [])
    assert sorted(shown.json["would_decide"]) == sorted(found["id"] for found in asked)
    assert len(questions(curlew)) == 3
    done = curlew("decide", asked[0]["id"], "sitting", "--all-like", "--yes", *WHO, "--json")
    assert len(done.json["decided"]) == 3
    assert questions(curlew) == []


def test_several_questions_take_one_answer(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    sessions = [share_a_session(anklefirst, dunlin) for _ in range(2)]
    for session in sessions:
        differ(anklefirst, dunlin, session)
    merge(curlew, anklefirst, dunlin, code=1)
    ids = [found["id"] for found in questions(curlew)]
    assert curlew("decide", *ids, "lying", *WHO).code == 0
    assert questions(curlew) == []
    assert merge(curlew, anklefirst, dunlin, code=0)["conflicts_open"] == 0


def test_a_safety_answer_in_question_comes_first_and_is_decided_in_its_own_words(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    session = share_a_session(anklefirst, dunlin)
    differ(anklefirst, dunlin, session)
    for laptop, answer in ((anklefirst, "yes"), (dunlin, "no")):
        assert laptop("set", session, "screen.diabetes", answer).code == 0
    merge(curlew, anklefirst, dunlin, code=1)
    first, second = questions(curlew)
    assert (first["field"], first["safety"]) == ("screen.diabetes", True)
    assert (second["field"], second["safety"]) == ("posture", False)
    assert curlew("decide", first["id"], "perhaps", *WHO).code == 2
    assert curlew("decide", first["id"], "unknown", *WHO).code == 0
    assert [found["field"] for found in questions(curlew)] == ["posture"]


def test_a_line_changed_in_an_editor_is_asked_and_can_be_taken_over(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    session = anklefirst.new("SK-07")
    anklefirst.record(session, *CALF, "36.1")
    merge(curlew, anklefirst, code=0)
    path = anklefirst.session_file(session)
    path.write_bytes(path.read_bytes().replace(b'typed = "36.1"', b'typed = "38.1"'))
    report = merge(curlew, anklefirst, code=1)
    assert (report["proposals"], report["updated"]) == (1, 0)
    (proposal,) = curlew("conflicts", "--json").json["proposals"]
    assert (proposal["change"], proposal["about"]) == ("changed", session)
    assert '"38.1"' in curlew("conflicts").out
    assert curlew("decide", proposal["id"], "taken", *WHO).code == 2
    assert curlew("decide", proposal["id"], "refused", *WHO).code == 0
    assert curlew("conflicts").code == 0
    assert merge(curlew, anklefirst, code=0)["proposals"] == 0


def test_a_line_nothing_sealed_vouches_for_is_filed_once_it_is_taken_over(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    session = anklefirst.new("SK-07")
    merge(curlew, anklefirst, code=0)
    name = anklefirst.record(session, *CALF, "36.1")
    path = anklefirst.session_file(session)
    path.write_bytes(path.read_bytes().replace(b"blake2b", b"#blake2b"))
    assert merge(curlew, anklefirst, code=1)["proposals"] == 1
    (proposal,) = curlew("conflicts", "--json").json["proposals"]
    assert curlew("decide", proposal["id"], "taken", *WHO).code == 0
    assert f'"{name}"' in curlew.session_file(session).read_text()
    assert curlew.bare("verify", curlew.data).code == 0


# --- codes of one person -----------------------------------------------------------------------


def test_codes_are_linked_kept_apart_and_let_go_again(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    anklefirst.new("SK-07")
    dunlin.new("KES-1")
    merge(curlew, anklefirst, dunlin, code=0)
    linked = curlew("link", "SK-07", "KES-1", *WHO, "--json")
    assert (linked.code, linked.json["person"]) == (0, ["KES-1", "SK-07"])
    # Another coordinator says they are two people, without having seen that.
    other = replace(curlew, data=tmp_path / "whimbrel")
    merge(other, anklefirst, dunlin, code=0)
    assert other("distinct", "SK-07", "KES-1", *WHO).code == 0
    assert merge(curlew, other, code=1)["conflicts_open"] == 1
    (asked,) = questions(curlew)
    assert {value["choose"] for value in asked["values"]} == {"linked", "distinct"}
    assert curlew("decide", asked["id"], "perhaps", *WHO).code == 2
    assert curlew("decide", asked["id"], "linked", *WHO).code == 0
    assert questions(curlew) == []
    apart = curlew("unlink", "SK-07", "KES-1", *WHO, "--json")
    assert (apart.code, apart.json["person"], apart.json["questions"]) == (0, ["SK-07"], [])
    assert curlew("link", "SK-07", *WHO).code == 2
    assert curlew("unlink", "SK-07", "KES-9", *WHO).code == 2
    assert "KES-9" in curlew("link", "SK-07", "KES-9", *WHO).err


def test_of_three_codes_only_linked_is_one_answer(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    """Which two of the three are different people, one word does not say."""
    anklefirst.new("SK-07")
    merge(curlew, anklefirst, code=0)
    assert curlew("link", "SK-07", "KES-1", "KES-2", "--to-come", *WHO).code == 0
    other = replace(curlew, data=tmp_path / "whimbrel")
    merge(other, anklefirst, code=0)
    assert other("distinct", "SK-07", "KES-1", "--to-come", *WHO).code == 0
    merge(curlew, other, code=1)
    (asked,) = questions(curlew)
    assert [value["choose"] for value in asked["values"]] == ["linked", None]
    assert "unlink and distinct, two at a time" in curlew("conflicts").out


def test_what_was_linked_is_unlinked_and_reads_as_before(
    anklefirst: Anklefirst, curlew: Anklefirst
) -> None:
    anklefirst.new("SK-07")
    merge(curlew, anklefirst, code=0)
    anklefirst.new("SK-08")
    merge(curlew, anklefirst, code=0)
    assert curlew("link", "SK-07", "SK-08", *WHO, "--json").json["person"] == ["SK-07", "SK-08"]
    ran = curlew("unlink", "SK-07", "SK-08", *WHO, "--json")
    assert (ran.code, ran.json["person"]) == (0, ["SK-07"])


# --- sticks as they come -----------------------------------------------------------------------


def test_a_stick_with_everything_wrong_loses_nothing_that_can_be_read(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    """Truncated, BOM, CRLF, UTF-16, trailing spaces, a newer format: each has its own answer."""
    spoilt = {
        "cut": lambda raw: raw[: len(raw) // 2],
        "bom": lambda raw: b"\xef\xbb\xbf" + raw,
        "crlf": lambda raw: raw.replace(b"\n", b"\r\n"),
        "utf16": lambda raw: raw.decode().encode("utf-16"),
        "blanks": lambda raw: raw.replace(b"\n", b"   \n"),
        "newer": lambda raw: raw.replace(b"format = 1", b"format = 2"),
    }
    sessions = {}
    for name in spoilt:
        sessions[name] = anklefirst.new(f"SK-{name}")
        anklefirst.record(sessions[name], *CALF, "36.1")
    acknowledged = lines_of(anklefirst)
    stick = tmp_path / "stick"
    shutil.copytree(anklefirst.data, stick)
    originals = {}
    for name, spoil in spoilt.items():
        path = next(stick.glob(f"sessions/*/{sessions[name]}.toml"))
        path.write_bytes(spoil(path.read_bytes()))
        originals[path] = path.read_bytes()
    report = merge(curlew, stick, code=1)
    assert report["added"] == 4
    assert sorted(file["reason"] for file in report["set_aside"]) == ["not_toml", "utf16"]
    assert {path: path.read_bytes() for path in originals} == originals
    gone = [sessions[name] for name in ("cut", "utf16")]
    assert {session for session, _ in acknowledged - lines_of(curlew)} == {*gone, sessions["newer"]}
    assert report["gaps"] != []
    # The laptop's own folder mends it all: nothing is missing any more.
    report = merge(curlew, anklefirst, code=1)
    assert (report["added"], report["gaps"]) == (2, [])
    assert [file["reason"] for file in report["set_aside"]] == ["newer_format"]
    assert merge(curlew, anklefirst, code=0)["set_aside"] == []
    assert acknowledged - lines_of(curlew) == set()
    assert lines_of(curlew) - acknowledged == set()


def test_an_emptied_stick_changes_nothing_and_is_fine(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    anklefirst.new()
    merge(curlew, anklefirst, code=0)
    before = lines_of(curlew)
    empty = tmp_path / "empty"
    empty.mkdir()
    ran = curlew.bare("merge", curlew.data, empty)
    assert ran.code == 0
    assert "nothing of ours" in ran.err
    assert lines_of(curlew) == before
    for path in (tmp_path / "pulled", anklefirst.session_file(next(iter(before))[0])):
        assert curlew.bare("merge", curlew.data, path).code == 2


def test_what_is_missing_of_a_laptop_is_named_until_it_comes(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path
) -> None:
    lost = anklefirst.new("SK-01")
    anklefirst.new("SK-02")
    stick = tmp_path / "stick"
    shutil.copytree(anklefirst.data, stick)
    next(stick.glob(f"sessions/*/{lost}.toml")).unlink()
    (gap,) = merge(curlew, stick, code=1)["gaps"]
    assert gap["from"] == 1
    assert (
        f"{gap['laptop']}: entries 1 to {gap['to']} are missing"
        in curlew.bare("merge", curlew.data, stick).out
    )
    assert curlew.bare("verify", curlew.data).code == 1
    assert merge(curlew, anklefirst, code=0)["gaps"] == []


def test_a_copied_disk_is_noticed_and_both_lines_are_kept(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path, world: Any
) -> None:
    """Only a copy whose laptop forgot nothing can write under one name twice: the memory, too."""
    anklefirst.new("SK-01")
    copy = replace(anklefirst, data=tmp_path / "copy")
    shutil.copytree(anklefirst.data, copy.data)
    shutil.copytree(world.state, tmp_path / "state2")
    anklefirst.new("SK-02")
    for marker in (tmp_path / "state2").rglob("*.toml"):
        marker.write_text(marker.read_text().replace(str(anklefirst.data), str(copy.data)))
    world.state = tmp_path / "state2"
    copy.new("SK-03")
    report = merge(curlew, anklefirst, copy, code=1)
    assert report["clones"] != []
    assert all(len(clone["found_in"]) == 2 for clone in report["clones"])
    assert lines_of(anklefirst, copy) == lines_of(curlew)


def test_a_laptop_restored_with_all_its_memory_takes_a_new_name_when_its_own_entries_come_back(
    anklefirst: Anklefirst, curlew: Anklefirst, tmp_path: Path, world: Any
) -> None:
    """Disk and memory were put back to the morning: only the merged files know of the afternoon."""
    session = anklefirst.new("SK-01")
    for folder in (anklefirst.data, world.state):
        shutil.copytree(folder, tmp_path / "morning" / folder.name)
    afternoon = anklefirst.record(session, *CALF, "36.1")
    merge(curlew, anklefirst, code=0)
    for folder in (anklefirst.data, world.state):
        shutil.rmtree(folder)
        shutil.copytree(tmp_path / "morning" / folder.name, folder)
    ran = anklefirst.bare("merge", anklefirst.data, curlew.data)
    assert ran.code == 1
    assert "is a copy of" in ran.err
    assert f'"{afternoon}"' in anklefirst.session_file(session).read_text()
    later = anklefirst.record(session, "left", "B", "girth", "22.4")
    assert later.split(":")[0] != afternoon.split(":")[0]
    assert merge(curlew, anklefirst, code=0)["clones"] == []
    assert anklefirst.bare("verify", anklefirst.data).code == 0


# --- two at once, trying out, progress ---------------------------------------------------------


def test_a_folder_somebody_has_open_is_refused(
    anklefirst: Anklefirst, curlew: Anklefirst, world: Any
) -> None:
    session = anklefirst.new()
    merge(curlew, anklefirst, code=0)
    before = lines_of(curlew)
    with DataFolder(curlew.data, world.surroundings()):
        for words in (
            ("merge", curlew.data, anklefirst.data),
            ("--data", curlew.data, "decide", "abcd", "sitting", *WHO),
            ("--data", curlew.data, "link", "SK-1", "SK-2", *WHO),
            ("--data", curlew.data, "carry-back", curlew.data.parent),
            ("--data", curlew.data, "set", session, "posture", "lying"),
        ):
            ran: Ran = curlew.bare(*words, "--json")
            assert ran.code == 2, words
            assert ran.json["problems"][0]["code"] == "folder_in_use"
        # Merging from a folder in which somebody measures only reads it.
        assert anklefirst.bare("merge", anklefirst.data, curlew.data).code == 0
    assert lines_of(curlew) == before


def test_trying_out_tells_the_same_and_writes_nothing(
    anklefirst: Anklefirst, dunlin: Anklefirst, curlew: Anklefirst
) -> None:
    differ(anklefirst, dunlin, share_a_session(anklefirst, dunlin))
    words = ("merge", curlew.data, anklefirst.data, dunlin.data)
    tried = curlew.bare(*words, "--dry-run", "--json")
    assert not curlew.data.exists()
    assert "nothing was written" in curlew.bare(*words, "--dry-run").out
    done = curlew.bare(*words, "--json")
    assert (tried.code, tried.json) == (done.code, done.json)


def test_progress_is_shown_on_a_terminal_only(
    anklefirst: Anklefirst, curlew: Anklefirst, monkeypatch: pytest.MonkeyPatch
) -> None:
    anklefirst.new()
    assert curlew.bare("merge", curlew.data, anklefirst.data).err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    shown: list[str] = []
    monkeypatch.setattr(sys.stderr, "write", shown.append)
    ran = curlew.bare("merge", curlew.data, anklefirst.data, "--json")
    assert ran.json["unchanged"] == 1
    assert shown == ["\rmerging: 100 %", "\n"]


def test_verify_names_the_file_that_is_gone(anklefirst: Anklefirst, curlew: Anklefirst) -> None:
    session = anklefirst.new()
    merge(curlew, anklefirst, code=0)
    curlew.session_file(session).unlink()
    ran = curlew.bare("verify", curlew.data, "--json")
    assert ran.code == 1
    (problem,) = ran.json["problems"]
    assert (problem["code"], Path(problem["path"]).stem) == ("file_missing", session)
    assert curlew.bare("verify", curlew.data.parent / "none").code == 2


# --- as the README prints it -------------------------------------------------------------------


def printed_commands() -> list[list[str]]:
    """Return the commands of the README's six steps."""
    text = (REPOSITORY / "README.md").read_text(encoding="utf-8")
    section = text.split("## A coordinator's day's end in six steps")[1].split("\n## ")[0]
    blocks = section.split("```sh")[1:]
    return [
        shlex.split(line)
        for block in blocks
        for line in block.split("```")[0].splitlines()
        if line.strip()
    ]


def test_the_six_steps_of_the_readme_run_as_printed(
    curlew: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(REPOSITORY / "sample_sessions", tmp_path / "sample_sessions")
    monkeypatch.chdir(tmp_path)
    codes = []
    for program, *words in printed_commands():
        if program == "mkdir":
            Path(words[0]).mkdir()
        elif program == "cp":
            shutil.copytree(words[1], words[2])
        else:
            assert program == ".venv/bin/anklefirst"
            codes.append(curlew.bare(*words).code)
    # Looked at and merged: a person is needed; after the answers nothing is open any more.
    assert codes == [1, 1, 1, 0, 0, 0, 0, 0]
    archive = replace(curlew, data=tmp_path / "archive")
    assert questions(archive) == []
    laptops = [tmp_path / "sample_sessions" / name for name in ("tern", "dunlin", "petrel")]
    assert merge(archive, *laptops, code=0)["conflicts_open"] == 0
