"""check: what is known by its content, and every fault of a session with its place."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from session_lines import SESSION_ID, answer, array, reading, write_session

if TYPE_CHECKING:
    from conftest import Anklefirst

ROOT = Path(__file__).resolve().parents[2]
PROFILES = ROOT / "profiles"


# --- clean things ----------------------------------------------------------------------------


def test_a_clean_folder_is_one_line(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    anklefirst.record(session, "left", "C", "girth", "15 1/8 in")
    for folder in ("charts", "protocols", "rules"):
        shutil.copytree(PROFILES / folder, anklefirst.data / folder)
    charts, protocols = (len(list((PROFILES / f).iterdir())) for f in ("charts", "protocols"))
    ran = anklefirst("check", anklefirst.data)
    assert ran.code == 0
    assert ran.out == (
        f"Checked: sessions 1, laptop files 1, charts {charts}, protocols {protocols}, "
        "files of rules 1. No problem found.\n"
    )
    assert anklefirst("check", anklefirst.data, "--json").json == {"problems": []}


def test_the_shipped_profiles_and_samples_are_clean(anklefirst: Anklefirst) -> None:
    assert anklefirst.found(PROFILES, ROOT / "sample_sessions") == []


def test_one_file_of_each_kind_is_known_by_its_content(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    kinds = {
        "charts/mill-one-haar": "charts 1",
        "protocols/below-knee-full": "protocols 1",
        "ranges/adults": "files of ranges 1",
        "rules/time-of-day": "files of rules 1",
        "swelling/day-swelling": "swelling models 1",
        "quality/repeat-error": "thresholds of repeat error 1",
        **{
            f"pressure/{path.stem}": "pressure standards 1"
            for path in (PROFILES / "pressure").glob("*.toml")
        },
        "illustration/pressure-profile": "rules of the illustrated pressure 1",
    }
    for name, words in kinds.items():
        path = tmp_path / "some.toml"
        shutil.copy(PROFILES / f"{name}.toml", path)
        assert anklefirst("check", path).out == f"Checked: {words}. No problem found.\n"


def test_every_shipped_profile_but_screening_is_known_and_counted(anklefirst: Anklefirst) -> None:
    counted = {
        "charts": "charts",
        "protocols": "protocols",
        "ranges": "files of ranges",
        "rules": "files of rules",
        "swelling": "swelling models",
        "quality": "thresholds of repeat error",
        "pressure": "pressure standards",
        "illustration": "rules of the illustrated pressure",
    }
    ran = anklefirst("check", *(PROFILES / folder for folder in counted))
    words = [
        f"{kind} {len(list((PROFILES / folder).glob('*.toml')))}"
        for folder, kind in counted.items()
    ]
    assert ran.out == f"Checked: {', '.join(words)}. No problem found.\n"
    assert ran.code == 0


def test_an_archives_list_of_files_is_known(anklefirst: Anklefirst, tmp_path: Path) -> None:
    anklefirst.new()
    anklefirst.bare("merge", tmp_path / "archive", anklefirst.data)
    archive, manifest = tmp_path / "archive", tmp_path / "archive" / "manifest.toml"
    said = "Checked: sessions 1, lists of files 1. No problem found.\n"
    assert anklefirst("check", archive).out == said
    assert anklefirst.found(manifest) == []
    manifest.write_bytes(manifest.read_bytes().replace(b"entries = ", b"entries = 9"))
    ran = anklefirst("check", archive, "--json")
    (problem,) = ran.json["problems"]
    assert (problem["code"], problem["path"]) == ("manifest_damaged", str(manifest))
    assert (ran.code, anklefirst("check", manifest).code) == (1, 1)


def test_an_empty_folder_says_so(anklefirst: Anklefirst, tmp_path: Path) -> None:
    assert "nothing" in anklefirst("check", tmp_path).out


def test_the_documented_example_is_clean(anklefirst: Anklefirst, tmp_path: Path) -> None:
    path = write_session(
        tmp_path,
        array("answers", answer(88, "client", '"tern-014-0"'), answer(91, "posture", '"lying"')),
        array("readings", reading(92)),
    )
    assert anklefirst.found(path) == []


# --- sessions --------------------------------------------------------------------------------


def test_a_reading_that_cannot_be_used_names_its_line(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = write_session(
        tmp_path, array("readings", reading(92), reading(93, mm="324.0"), reading(94, mm="0.0"))
    )
    problems = anklefirst.found(path)
    assert [(p["code"], p["line"], p["key"]) for p in problems] == [
        ("bad_reading", 5, "readings.tern-k7qd:93"),
        ("bad_reading", 6, "readings.tern-k7qd:94"),
    ]
    assert "224" in problems[0]["text"]


def test_a_bad_reading_that_was_struck_out_is_settled(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    struck = 'by = "tern-k7qd:95", at = 2026-03-04T09:20:00+01:00, takes_back = ["tern-k7qd:93"]'
    path = write_session(
        tmp_path,
        array("readings", reading(93, mm="324.0")),
        array("withdrawn", struck + ', why = "bad"'),
    )
    assert anklefirst.found(path) == []


def test_twins_in_one_file_and_across_files(anklefirst: Anklefirst, tmp_path: Path) -> None:
    other_id = SESSION_ID.replace("0199", "0198")
    one = write_session(tmp_path, array("readings", reading(92), reading(92, "23", "230.0")))
    [problem] = anklefirst.found(one)
    assert (problem["code"], problem["line"]) == ("twin", 5)
    assert f"{one}:4" in problem["text"]
    two = write_session(tmp_path / "b", array("readings", reading(92)), name=other_id)
    three = write_session(
        tmp_path / "c", array("readings", reading(92, "24", "240.0")), name=SESSION_ID
    )
    assert anklefirst.found(two) == []
    [across] = anklefirst.found(two, three)
    assert (across["code"], across["path"]) == ("twin", str(three))
    assert str(two) in across["text"]


def test_two_copies_of_one_session_are_no_twins(anklefirst: Anklefirst, tmp_path: Path) -> None:
    paths = [write_session(tmp_path / at, array("readings", reading(92))) for at in ("a", "b")]
    assert anklefirst.found(*paths) == []


def test_a_reference_to_nothing_is_a_note(anklefirst: Anklefirst, tmp_path: Path) -> None:
    path = write_session(
        tmp_path, array("readings", reading(92, more=', instead_of = ["dunlin-m4ex:7"]'))
    )
    [problem] = anklefirst.found(path)
    assert (problem["code"], problem["level"], problem["line"]) == ("dangling", "note", 4)
    assert "dunlin-m4ex:7" in problem["text"]


@pytest.mark.parametrize(
    ("what", "value", "code"),
    [
        ("posture", '"hovering"', "bad_answer"),
        ("forms", '["below_knee", "cape"]', "bad_answer"),
        ("rising_at", '"early"', "bad_answer"),
        ("finished", '"yes"', "bad_answer"),
        ("client", '"tern-041-0"', "client_code_mistyped"),
    ],
)
def test_an_answer_that_is_none_is_told(
    what: str, value: str, code: str, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = write_session(tmp_path, array("answers", answer(88, what, value)))
    [problem] = anklefirst.found(path)
    assert (problem["code"], problem["line"]) == (code, 4)


def test_an_answer_of_a_newer_program_is_carried(anklefirst: Anklefirst, tmp_path: Path) -> None:
    path = write_session(tmp_path, array("answers", answer(88, "skin_tone", '"x"')))
    assert anklefirst.found(path) == []


def test_text_that_may_not_be_shown_is_told(anklefirst: Anklefirst, tmp_path: Path) -> None:
    path = write_session(tmp_path, array("answers", answer(88, "client", r'"SK\u001b]0;x\u202e"')))
    [problem] = anklefirst.found(path)
    assert problem["code"] == "unsafe_text"
    assert "U+001B, U+202E" in problem["text"]


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda raw: raw.replace(b"224.0", b"324.0"), "seal_broken"),
        (lambda raw: raw[: raw.index(b"[seal]")], "seal_missing"),
        (lambda raw: raw[: raw.index(b"unit")], "not_toml"),
        (lambda _: b"", "empty"),
        (lambda raw: raw.replace(b"22.4", b"22\xb74"), "not_utf8"),
        (lambda raw: raw.replace(b"format = 1", b"format = 2"), "newer_format"),
        (lambda raw: raw.replace(b"format = 1", b"form = 1"), "wrong_shape"),
        (lambda raw: raw.replace(b"0199", b"0198"), "name_mismatch"),
        (lambda raw: raw + b" " * (1 << 20), "too_big"),
    ],
)
def test_what_is_wrong_with_a_whole_session(
    change: Any, code: str, anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = write_session(tmp_path, array("readings", reading(92)))
    path.write_bytes(change(path.read_bytes()))
    assert code in [problem["code"] for problem in anklefirst.found(path)]


def test_a_session_where_no_command_looks_for_it(anklefirst: Anklefirst, tmp_path: Path) -> None:
    write_session(tmp_path / "sessions" / "2020-01", array("readings", reading(92)))
    [problem] = anklefirst.found(tmp_path)
    assert problem["code"] == "misfiled"
    assert "2025-10/" in problem["mend"]


def test_an_id_beyond_the_calendar_is_told(anklefirst: Anklefirst, tmp_path: Path) -> None:
    name = "ffffffff-ffff-7d40-9b6a-2f8e61d0c9a7"
    write_session(tmp_path / "sessions" / "2020-01", array("readings", reading(92)), name=name)
    assert [p["code"] for p in anklefirst.found(tmp_path)] == ["bad_session_id"]


def test_copies_set_aside_and_hidden_files_are_passed_over(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    for folder in ("set-aside", ".hidden"):
        write_session(tmp_path / folder, array("readings", reading(92, mm="0.0")))
    assert anklefirst.found(tmp_path) == []


def test_problems_of_one_file_stand_in_order_of_its_lines(
    anklefirst: Anklefirst, tmp_path: Path
) -> None:
    path = write_session(
        tmp_path,
        array("answers", answer(99, "posture", '"hovering"')),
        array("readings", reading(92, mm="0.0"), reading(93, mm="0.0")),
        sealed=False,
    )
    lines = [problem["line"] for problem in anklefirst.found(path)]
    assert lines == [None, 4, 7, 8]
