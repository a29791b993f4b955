"""The only reader of `profiles/`: charts, protocols and rules, shipped or the service's own.

A file of the service's own with the id of a shipped one takes its place. A file that cannot be
used is told as problems and left out; the others are still there.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from pydantic import ValidationError

from fitcore.chart import Chart
from fitcore.problems import Problem, ProfileError
from fitcore.profile_models import (
    ProfileModel,
    Protocol,
    Ranges,
    TimeRules,
    validation_problems,
)
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from importlib.resources.abc import Traversable

Model = TypeVar("Model", bound=ProfileModel)

RANGES_ID = "adults"
TIME_RULES_ID = "time-of-day"


@dataclass(frozen=True)
class Profiles:
    """Everything the trade's data says, as loaded for one run."""

    charts: tuple[Chart, ...]
    """Sorted by id."""
    protocols: dict[str, Protocol]
    ranges: Ranges
    time_rules: TimeRules
    problems: tuple[Problem, ...] = ()

    def protocol(self, protocol_id: str) -> Protocol:
        """Look up a protocol.

        Raises:
            ProfileError: there is none with this id.
        """
        try:
            return self.protocols[protocol_id]
        except KeyError as error:
            raise ProfileError(
                Problem(
                    code="unknown_protocol",
                    text=say("There is no protocol '{name}'.", name=protocol_id[:60]),
                    mend=say("Protocols: {names}.", names=", ".join(sorted(self.protocols))),
                    key="protocol",
                )
            ) from error


def load_profiles(own: Path | None = None, charts: Path | None = None) -> Profiles:
    """Load the shipped profiles and a service's own beside them.

    Args:
        own: a data folder that may hold `charts/`, `protocols/` and `rules/` of its own.
        charts: a folder of chart files to use instead of all others.

    Raises:
        ProfileError: a shipped file every run needs cannot be used.
    """
    shipped = files("profiles")
    problems: list[Problem] = []

    def load(folder: str, model: type[Model]) -> dict[str, Model]:
        places: list[Traversable] = [shipped / folder]
        if own is not None:
            places.append(own / folder)
        found: dict[str, Model] = {}
        for place in places:
            found |= _load_folder(place, model, problems)
        return found

    chart_files = load("charts", Chart) if charts is None else _load_folder(charts, Chart, problems)
    protocols = load("protocols", Protocol)
    ranges = load("ranges", Ranges).get(RANGES_ID)
    rules = load("rules", TimeRules).get(TIME_RULES_ID)
    if ranges is None or rules is None:
        raise ProfileError(
            problems[0]
            if problems
            else Problem(
                code="profiles_missing",
                text=say("The program's own profiles are not complete."),
                mend=say("Install anklefirst again."),
                path=str(shipped),
            )
        )
    in_order = tuple(chart_files[key] for key in sorted(chart_files))
    return Profiles(in_order, protocols, ranges, rules, tuple(problems))


def read_profile(raw: bytes, model: type[Model], path: str) -> Model | tuple[Problem, ...]:
    """Read one profile file.

    Returns:
        The model, or every problem found with file, line where it can be told, key and mend.
    """
    try:
        text = raw.decode("utf-8-sig")
        values = tomllib.loads(text, parse_float=Decimal)
    except UnicodeDecodeError:
        return (_not_toml(path, None, say("The file holds bytes that are not text.")),)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        place = re.search(r"line (\d+)", str(error))
        return (_not_toml(path, int(place[1]) if place else None, f"{error}."),)
    try:
        return model.model_validate(values)
    except ValidationError as error:
        return tuple(
            problem.at(path=path, line=locate(text, problem.key))
            for problem in validation_problems(error)
        )


def locate(text: str, key: str | None) -> int | None:
    """Return the line of a key such as `source.status` or `sizes.2.ankle`; None where unsure."""
    parts = (key or "").split(".")
    lines = text.splitlines()
    start = 0
    for depth, part in enumerate(parts):
        if part.isdigit():
            heading = f"[[{parts[depth - 1]}]]"
            found = [n for n, line in enumerate(lines) if line.strip() == heading]
            if int(part) >= len(found):
                return None
            start = found[int(part)]
            continue
        if depth + 1 < len(parts):
            heading = f"[{part}]"
            start = next((n for n, line in enumerate(lines) if line.strip() == heading), start)
            continue
        pattern = re.compile(rf"\s*{re.escape(part)}\s*=")
        for number in range(start, len(lines)):
            if number > start and lines[number].lstrip().startswith("["):
                break
            if pattern.match(lines[number]):
                return number + 1
        return None
    return start + 1


def demo_folder() -> Path | None:
    """Return the sample sessions: inside the installed package, or beside it in a checkout."""
    package = Path(str(files("profiles")))
    for place in (package / "sample_sessions", package.parent / "sample_sessions"):
        if place.is_dir():
            return place
    return None


def _load_folder(
    folder: Traversable, model: type[Model], problems: list[Problem]
) -> dict[str, Model]:
    found: dict[str, Model] = {}
    for file in _toml_files(folder):
        try:
            loaded = read_profile(file.read_bytes(), model, str(file))
        except OSError as error:
            loaded = (_unreadable(str(file), error),)
        if isinstance(loaded, tuple):
            problems += loaded
        else:
            found[getattr(loaded, "id", file.name)] = loaded
    return found


def _toml_files(folder: Traversable) -> Iterable[Traversable]:
    if not folder.is_dir():
        return ()
    named = (entry for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return sorted(named, key=lambda entry: entry.name)


def _unreadable(path: str, error: OSError) -> Problem:
    return Problem(
        code="unreadable_io",
        text=say("The file cannot be read: {error}.", error=error.strerror),
        mend=say("Copy it here again, or remove it."),
        path=path,
    )


def _not_toml(path: str, line: int | None, text: str) -> Problem:
    return Problem(
        code="not_toml",
        text=text,
        mend=say("Correct the line; a text stands in double quotes, a list in [ ]."),
        path=path,
        line=line,
    )
