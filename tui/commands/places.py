"""`where` and `--version`: which folders are in use, which program this is. Writes nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.words import say
from tui import VERSION
from tui.commands import ExitCode, Outcome

if TYPE_CHECKING:
    from argparse import Namespace
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.problems import Problem


def where(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:  # noqa: ARG001
    """Tell the folders in use; none of them need exist yet."""
    from importlib.resources import files

    laptop, problem = _laptop_name(data)
    folders = {
        "data": data,
        "charts": data / "charts",
        "protocols": data / "protocols",
        "rules": data / "rules",
        "state": surroundings.state_folder,
        "cache": surroundings.cache_folder,
        "profiles": files("profiles"),
    }
    words = {
        "data": say("Sessions and ledger"),
        "charts": say("Charts of your own"),
        "protocols": say("Protocols of your own"),
        "rules": say("Rules of your own"),
        "state": say("Laptop's memory"),
        "cache": say("What merges remember, and may be deleted"),
        "profiles": say("Shipped with the program"),
    }
    lines = [
        f"{words[name]}: {visible(str(folder))}"
        for name, folder in folders.items()
        if folder is not None
    ]
    lines.append(say("Laptop: {name}", name=laptop or say("not named yet")))
    return Outcome(
        ExitCode.FINE if problem is None else ExitCode.NEEDS_PERSON,
        {
            **{name: str(folder) for name, folder in folders.items() if folder is not None},
            "laptop": laptop,
            "problems": [] if problem is None else [problem.as_json()],
        },
        lines,
        [] if problem is None else [str(problem)],
    )


def version() -> Outcome:
    """Tell the program's version."""
    return Outcome(ExitCode.FINE, {"version": VERSION}, [f"anklefirst {VERSION}"])


def _laptop_name(data: Path) -> tuple[str | None, Problem | None]:
    from fitcore.disk.data_folder import LAPTOP_FILE
    from fitcore.disk.session_files import read_regular
    from fitcore.problems import FileFault
    from fitcore.record.ledger import read_laptop

    path = data / LAPTOP_FILE
    if not path.exists():
        return None, None
    raw = read_regular(path)
    if not isinstance(raw, bytes):
        return None, raw.at(path=str(path))
    try:
        return read_laptop(raw).id, None
    except FileFault as fault:
        return None, fault.problem
