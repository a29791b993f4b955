"""The program as a process: what it loads, what it leaves on a broken pipe or a signal."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from conftest import Anklefirst

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_sessions"
CHART = ROOT / "profiles" / "charts" / "mill-four-low-tide.toml"

LIST_MODULES = """
import sys
from tui.__main__ import main
code = main(sys.argv[1:])
print(*sorted({name.partition(".")[0] for name in sys.modules}), file=sys.stderr)
sys.exit(code)
"""


def start(*words: str | Path, code: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run the program in a fresh interpreter."""
    begin = ["-m", "tui"] if code is None else ["-c", code]
    return subprocess.run(
        [sys.executable, *begin, *map(str, words)],
        cwd=ROOT,
        capture_output=True,
        encoding=os.environ.get("PYTHONIOENCODING", "utf-8"),
        check=False,
        timeout=60,
    )


def modules_after(*words: str | Path) -> set[str]:
    ran = start(*words, code=LIST_MODULES)
    assert ran.returncode in (0, 1), ran  # 1: done, and a person is needed
    return set(ran.stderr.split())


def test_the_list_of_modules_would_show_them() -> None:
    loaded = modules_after("fit", SAMPLES / "tern", "--json")
    assert {"pydantic", "pint", "fitcore"} <= loaded
    assert "textual" not in loaded


@pytest.mark.parametrize("words", [["--version"], ["--version", "--json"], ["--help"]])
def test_version_and_help_load_nothing_heavy(words: list[str]) -> None:
    loaded = modules_after(*words)
    assert loaded.isdisjoint(
        {"textual", "rich", "pint", "pydantic", "asyncio", "tomli_w", "tzlocal"}
    )


@pytest.mark.parametrize(
    ("path", "also"),
    [
        (SAMPLES, {"pydantic"}),  # sessions only, inch readings among them
        (SAMPLES / "tern" / "laptop.toml", {"pydantic"}),
        (CHART, set()),
        (ROOT / "profiles" / "protocols", set()),
        (ROOT / "profiles" / "rules", set()),
    ],
    ids=["sessions", "laptop", "chart", "protocols", "rules"],
)
def test_check_loads_neither_screen_nor_pint(path: Path, also: set[str]) -> None:
    assert modules_after("check", path).isdisjoint({"textual", "rich", "pint", *also})


def test_editing_loads_no_screen(tmp_path: Path) -> None:
    loaded = modules_after("--data", tmp_path / "tern", "new", "--client", "SK-07")
    assert loaded.isdisjoint({"textual", "rich"})


def test_a_whole_visit_by_processes(tmp_path: Path) -> None:
    data: list[str | Path] = ["--data", tmp_path / "tern"]
    made = start("new", "--client", "SK-07", *data)
    assert (made.returncode, made.stderr) == (0, "")
    session = made.stdout.strip()
    ran = start("record", session, "left", "B", "girth", "22,4", "--json", *data)
    assert ran.returncode == 0
    entry = json.loads(ran.stdout)["entries"][0]
    assert start(*data, "correct", entry, "8.7", "--why", "misread", "--json").returncode == 1
    fitted = start("fit", tmp_path / "tern", "--json", *data)
    assert fitted.returncode == 1
    assert json.loads(fitted.stdout)["sessions"][0]["session"] == session
    wrong = start("fit", tmp_path / "nowhere", "--json")
    assert (wrong.returncode, wrong.stderr.count("\n")) == (2, 1)
    assert json.loads(wrong.stdout)["problems"][0]["key"] == "PATH"


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_console_that_cannot_show_a_letter_still_works(
    encoding: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONIOENCODING", encoding)
    ran = start("--data", tmp_path / "tern", "new", "--client", "Skerrø-漢", "--json")
    assert ran.returncode == 0
    session = json.loads(ran.stdout)["session"]
    shown = start("fit", tmp_path / "tern")
    assert (shown.returncode, session in shown.stdout) == (0, True)
    assert "\\u6f22" in shown.stdout
    assert ("ø" in shown.stdout) == (encoding == "cp1252")


def start_into(out: int, *words: str | Path) -> subprocess.CompletedProcess[str]:
    """Run the program with stdout going to an open descriptor; it is closed afterwards."""
    with os.fdopen(out, "wb") as stdout:
        return subprocess.run(
            [sys.executable, "-m", "tui", *map(str, words)],
            cwd=ROOT,
            stdout=stdout,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
        )


LONG_AND_SHORT: list[list[str | Path]] = [
    ["fit", SAMPLES],
    ["fit", SAMPLES, "--json"],
    ["--version"],
]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such pipes and signals")
@pytest.mark.parametrize("words", LONG_AND_SHORT, ids=["text", "json", "short"])
def test_a_reader_that_goes_away_leaves_no_traceback(words: list[str | Path]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    ran = start_into(writing, *words)
    assert (ran.returncode, ran.stderr) == (3, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a device always full")
@pytest.mark.parametrize("words", LONG_AND_SHORT, ids=["text", "json", "short"])
def test_an_output_that_cannot_be_written_is_one_sentence(words: list[str | Path]) -> None:
    ran = start_into(os.open("/dev/full", os.O_WRONLY), *words)
    assert ran.returncode == 2
    assert ran.stderr.startswith("The output could not be written: No space left on device.")
    assert ran.stderr.count("\n") == 1


STOP_INSIDE = """
import os, signal, sys
import fitcore.disk.data_folder as folder
from tui.__main__ import main

# A shell's background job is started with SIGINT ignored, and so would this be.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

def stop(*_):
    os.kill(os.getpid(), getattr(signal, sys.argv[1]))

folder.write_session = stop
sys.exit(main(sys.argv[2:]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such pipes and signals")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_signal_ends_with_3_and_frees_the_folder(name: str, anklefirst: Anklefirst) -> None:
    words: list[str | Path] = ["--data", anklefirst.data, "new", "--client", "SK-07", "--json"]
    ran = start(name, *words, code=STOP_INSIDE)
    assert ran.returncode == 3
    assert json.loads(ran.stdout)["problems"][0]["code"] == "ended_by_signal"
    assert "Traceback" not in ran.stderr
    assert not (anklefirst.data / "in-use.txt").exists()
    assert anklefirst("new", "--client", "SK-07").code == 0
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL, "handlers are put back"
