"""What every test gets: a Hypothesis profile and a home folder of its own."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

# No database: a run depends on nothing an earlier run left behind. No deadline: a slow machine
# is not a fault of the program. In CI the examples are the same each time, so that a change and not
# chance turns it red: `same` for all tests, `ci` for the laws of the merge. `dev` and `deep` look
# for new ones.
_SAME = ("same", "ci")
for _name, _examples in (("dev", 50), ("same", 50), ("ci", 500), ("deep", 20_000)):
    settings.register_profile(
        _name, max_examples=_examples, deadline=None, database=None, derandomize=_name in _SAME
    )
settings.load_profile(os.environ.get("ANKLEFIRST_HYPOTHESIS", "dev"))

_FOLDERS = {
    "HOME": "",
    "USERPROFILE": "",
    "APPDATA": "AppData/Roaming",
    "LOCALAPPDATA": "AppData/Local",
    "XDG_DATA_HOME": ".local/share",
    "XDG_CONFIG_HOME": ".config",
    "XDG_CACHE_HOME": ".cache",
    "XDG_STATE_HOME": ".local/state",
    "XDG_RUNTIME_DIR": ".run",
}


@pytest.fixture(autouse=True)
def home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the test an empty home, so that nothing reads or writes the real one."""
    folder = tmp_path_factory.mktemp("home")
    for variable, below in _FOLDERS.items():
        monkeypatch.setenv(variable, str(folder / below) if below else str(folder))
    return folder


@pytest.fixture
def tell(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Keep a line for the run's summary; it also comes back from a worker process."""
    return lambda line: request.node.user_properties.append(("told", line))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what the tests counted."""
    told = [
        line
        for reports in terminalreporter.stats.values()
        for report in reports
        for name, line in getattr(report, "user_properties", ())
        if name == "told" and report.when == "call"
    ]
    if told:
        terminalreporter.section("counted")
        for line in sorted(told):
            terminalreporter.write_line(line)
