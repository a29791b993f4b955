"""What may stand on the line: options anywhere, one JSON document, exit codes, no traceback."""

from __future__ import annotations

import json
import sys
import tomllib
from dataclasses import replace
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import TYPE_CHECKING

import pytest

import tui.commands.places
from tui import VERSION
from tui.__main__ import main
from tui.verbs import VERBS

if TYPE_CHECKING:
    from conftest import Anklefirst

ROOT = Path(__file__).resolve().parents[2]


def test_the_version_is_the_one_of_pyproject(anklefirst: Anklefirst) -> None:
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert declared["project"]["version"] == VERSION
    assert anklefirst.bare("--version").out == f"anklefirst {VERSION}\n"
    assert anklefirst.bare("--version", "--json").json == {"version": VERSION}
    assert anklefirst.bare("--json", "--version").json == {"version": VERSION}


def test_main_takes_the_machines_own_surroundings(
    home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", "--client", "SK-07", "--json"]) == 0
    session = json.loads(capsys.readouterr().out)["session"]
    written = [path for path in home.rglob("*.toml") if path.stem == session]
    assert len(written) == 1


def test_main_without_words_takes_those_of_the_process(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["anklefirst", "--version"])
    assert main() == 0
    assert capsys.readouterr().out == f"anklefirst {VERSION}\n"


@pytest.mark.parametrize(
    "words",
    [
        ["--data", "D", "--json", "new", "--client", "SK-07"],
        ["--json", "new", "--data", "D", "--client", "SK-07"],
        ["new", "--client", "SK-07", "--json", "--data=D"],
        ["--data=D", "new", "--client", "SK-07", "--json"],
        ["--data", "elsewhere", "new", "--json", "--client", "SK-07", "--data", "D"],
    ],
)
def test_data_stands_anywhere(
    words: list[str], anklefirst: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = anklefirst.bare(*words)
    assert ran.code == 0, ran
    assert [p.stem for p in Path("D").glob("sessions/*/*.toml")] == [ran.json["session"]]
    assert not Path("elsewhere").exists()


@pytest.mark.parametrize("at", range(7))
def test_options_stand_between_the_arguments_of_record(anklefirst: Anklefirst, at: int) -> None:
    session = anklefirst.new()
    words = ["record", session, "left", "B", "girth", "22,4", "--json"]
    words[at:at] = ["--round", "2"] if at else ["--json"]
    ran = anklefirst(*words)
    assert ran.code == 0, ran
    text = anklefirst.session_file(session).read_text(encoding="utf-8")
    assert f"round = {2 if at else 1}, " in text
    assert 'typed = "22,4"' in text


def test_a_folder_named_like_a_verb_is_still_a_folder(
    anklefirst: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = anklefirst.bare("--data", "new", "where", "--json")
    assert (ran.code, ran.json["data"]) == (0, "new")


WRONG_USE = [
    ["bogus"],
    ["screen", "answers.toml"],
    ["merge", "a", "b"],
    ["--bogus"],
    ["new"],
    ["new", "--client"],
    ["new", "--client", "SK-07", "more"],
    ["new", "--cli", "SK-07"],
    ["new", "--client", "SK-07", "--protocol", "no-such"],
    ["new", "--client", "tern-014-X"],
    ["new", "--client", ""],
    ["new", "--client", "S" * 41],
    ["set", "short", "posture", "standing"],
    ["set", "0199c3a2-5f1e", "posture", "standing"],
    ["record", "0199c3a2-5f1e", "left", "B", "girth"],
    ["record", "0199c3a2-5f1e", "left", "B", "girth", "22", "--not-taken", "dressing"],
    ["record", "0199c3a2-5f1e", "left", "B", "girth", "22", "--round", "first"],
    ["record", "0199c3a2-5f1e", "both", "B", "girth", "22"],
    ["record", "0199c3a2-5f1e", "left", "B", "shoe", "39"],
    ["record", "0199c3a2-5f1e", "left", "Q", "girth", "22"],
    ["correct", "tern-k7qd:1", "22"],
    ["correct", "tern-k7qd:1", "22", "--why", " "],
    ["correct", "nonsense", "22", "--why", "w"],
    ["withdraw", "tern-k7qd:1", "--why", "w"],
    ["import", "missing.csv"],
    ["fit"],
    ["fit", "missing"],
    ["fit", ".", "--charts", "missing"],
    ["fit", ".", "--chart", "no-such"],
    ["check"],
    ["check", "missing.toml"],
    ["where", "--data", ""],
    ["where", "--demo"],
]


@pytest.mark.parametrize("words", WRONG_USE, ids=" ".join)
def test_wrong_use_ends_with_2_and_says_what_and_how(
    words: list[str], anklefirst: Anklefirst, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    plain = anklefirst(*words)
    assert (plain.code, plain.out) == (2, "")
    assert "Mend: " in plain.err
    assert plain.err.count("\n") == 1
    told = anklefirst(*words, "--json")
    assert told.code == 2
    assert list(told.json) == ["problems"]
    [problem] = told.json["problems"]
    assert set(problem) == {"path", "line", "key", "level", "code", "text", "mend"}
    assert problem["text"] in plain.err
    assert not anklefirst.data.exists(), "nothing may be written where nothing was done"


def test_json_alone_is_wrong_use_and_still_one_document(anklefirst: Anklefirst) -> None:
    ran = anklefirst.bare("--json")
    assert ran.code == 2
    assert ran.json["problems"][0]["key"] == "--json"


def test_json_after_the_end_of_options_is_only_text(anklefirst: Anklefirst) -> None:
    session = anklefirst.new()
    ran = anklefirst("remark", session, "--", "--json")
    assert (ran.code, ran.out.splitlines()[0]) == (0, "The remark is stored.")
    assert 'text = "--json"' in anklefirst.session_file(session).read_text(encoding="utf-8")


@pytest.mark.parametrize("verb", [None, *VERBS])
def test_help_names_the_arguments_and_does_nothing(
    verb: str | None, anklefirst: Anklefirst
) -> None:
    words = [verb, "--help"] if verb else ["-h"]
    plain = anklefirst(*words)
    assert plain.code == 0
    assert plain.out.startswith("usage: anklefirst")
    if verb is None:
        assert [name for name in VERBS if f"\n  {name} " in plain.out] == list(VERBS)
    assert anklefirst(*words, "--json").json == {"help": plain.out}
    assert not anklefirst.data.exists()


@pytest.mark.parametrize(
    ("words", "asked"),
    [
        ([], (None, False)),
        (["--demo"], (None, True)),
        (["--data", "D"], (Path("D"), False)),
        (["--data", "D", "--demo"], (Path("D"), True)),
    ],
)
def test_without_a_verb_the_screen_opens(
    words: list[str],
    asked: tuple[Path | None, bool],
    anklefirst: Anklefirst,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    opened = []
    screen = ModuleType("tui.running")

    def run_app(data: Path | None, demo: bool) -> int:  # noqa: FBT001 - the screen's own form
        opened.append((data, demo))
        return 3

    screen.run_app = run_app  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "tui.running", screen)
    assert anklefirst.bare(*words).code == 3
    assert opened == [asked]


def test_an_unexpected_error_tells_type_and_place_and_no_words(
    anklefirst: Anklefirst, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        words = "Client Marigold"
        raise KeyError(words)

    monkeypatch.setattr(tui.commands.places, "where", broken)
    plain = anklefirst("where")
    assert (plain.code, plain.out) == (2, "")
    assert plain.err.count("\n") == 1
    assert "KeyError in command/test_line.py, line " in plain.err
    assert "Marigold" not in plain.err
    told = anklefirst("where", "--json")
    assert told.code == 2
    assert told.json["problems"][0]["code"] == "unexpected"
    assert "Marigold" not in told.out + told.err


def test_a_fault_of_the_system_names_the_file(
    anklefirst: Anklefirst, monkeypatch: pytest.MonkeyPatch
) -> None:
    def denied(*_: object) -> None:
        raise PermissionError(13, "Permission denied", "/media/stick")

    monkeypatch.setattr(tui.commands.places, "where", denied)
    ran = anklefirst("where")
    assert ran.code == 2
    assert ran.err.startswith("/media/stick: Permission denied. Mend: ")


def test_where_tells_the_folders_and_makes_none(anklefirst: Anklefirst) -> None:
    ran = anklefirst("where", "--json")
    assert ran.code == 0
    assert ran.json["data"] == str(anklefirst.data)
    assert ran.json["state"] == str(anklefirst.world.state)
    assert Path(ran.json["profiles"]) == ROOT / "profiles"
    assert ran.json["laptop"] is None
    assert not anklefirst.data.exists()
    anklefirst.new()
    named = anklefirst("where", "--json").json["laptop"]
    assert f'id = "{named}"' in (anklefirst.data / "laptop.toml").read_text(encoding="utf-8")
    assert f"Laptop: {named}\n" in anklefirst("where").out


def test_where_tells_where_merges_remember(anklefirst: Anklefirst, tmp_path: Path) -> None:
    """Only where something is remembered: the other tests' world has no such folder."""
    assert "cache" not in anklefirst("where", "--json").json
    cache = tmp_path / "cache"
    at_home = replace(anklefirst.world.surroundings(), cache_folder=cache)
    told = replace(anklefirst, world=SimpleNamespace(surroundings=lambda: at_home))
    assert told("where", "--json").json["cache"] == str(cache)
    assert f"What merges remember, and may be deleted: {cache}\n" in told("where").out
    anklefirst.new()
    told("merge", tmp_path / "archive", anklefirst.data)
    assert [path.suffix for path in cache.rglob("*") if path.is_file()] == [".sqlite"]


def test_where_tells_a_damaged_laptop_file(anklefirst: Anklefirst) -> None:
    anklefirst.data.mkdir()
    (anklefirst.data / "laptop.toml").write_text("id = ", encoding="utf-8")
    ran = anklefirst("where", "--json")
    assert (ran.code, ran.json["laptop"]) == (1, None)
    assert ran.json["problems"][0]["code"] == "laptop_file_unusable"
