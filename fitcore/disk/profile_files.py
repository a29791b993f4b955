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
from fitcore.pressure_model import IllustrationRules, PressureStandard
from fitcore.problems import Problem, ProfileError
from fitcore.profile_models import (
    ProfileModel,
    Protocol,
    Ranges,
    validation_problems,
)
from fitcore.quality_rules import QualityRules
from fitcore.rules import Rules
from fitcore.swelling_model import SwellingModel
from fitcore.time_rules import TimeRules
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from importlib.resources.abc import Traversable

Model = TypeVar("Model", bound=ProfileModel)

RANGES_ID = "adults"
TIME_RULES_ID = "time-of-day"
SWELLING_ID = "day-swelling"
QUALITY_ID = "repeat-error"
ILLUSTRATION_ID = "pressure-profile"


@dataclass(frozen=True)
class Profiles:
    """Everything the trade's data says, as loaded for one run."""

    charts: tuple[Chart, ...]
    """Sorted by id."""
    protocols: dict[str, Protocol]
    ranges: Ranges
    time_rules: TimeRules
    swelling: SwellingModel
    problems: tuple[Problem, ...] = ()

    @property
    def rules(self) -> Rules:
        """What sessions are judged by."""
        return Rules(self.ranges, self.time_rules, self.protocols, self.swelling)

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
        own: a data folder that may hold `charts/`, `protocols/`, `rules/`, `ranges/` and
            `swelling/` of its own.
        charts: a folder of chart files to use instead of all others.

    Raises:
        ProfileError: a shipped file every run needs cannot be used.
    """
    problems: list[Problem] = []

    def load(folder: str, model: type[Model]) -> dict[str, Model]:
        return _load_both(folder, model, own, problems)

    chart_files = load("charts", Chart) if charts is None else _load_folder(charts, Chart, problems)
    protocols = load("protocols", Protocol)
    ranges = load("ranges", Ranges).get(RANGES_ID)
    rules = load("rules", TimeRules).get(TIME_RULES_ID)
    swelling = load("swelling", SwellingModel).get(SWELLING_ID)
    if ranges is None or rules is None or swelling is None:
        raise _incomplete(problems)
    in_order = tuple(chart_files[key] for key in sorted(chart_files))
    return Profiles(in_order, protocols, ranges, rules, swelling, tuple(problems))


def load_quality_rules(own: Path | None = None) -> tuple[QualityRules, tuple[Problem, ...]]:
    """Load the thresholds of the report on repeat error; no chart is read for it.

    Args:
        own: a data folder that may hold a `quality/` of its own.

    Returns:
        The thresholds, and what is wrong with files of the service's own.

    Raises:
        ProfileError: the shipped file cannot be used.
    """
    problems: list[Problem] = []
    found = _load_both("quality", QualityRules, own, problems).get(QUALITY_ID)
    if found is None:
        raise _incomplete(problems)
    return found, tuple(problems)


def load_pressure(
    own: Path | None = None,
) -> tuple[tuple[PressureStandard, ...], IllustrationRules, tuple[Problem, ...]]:
    """Load the pressure standards and what is said beside the illustrated pressure.

    Args:
        own: a data folder that may hold `pressure/` and `illustration/` of its own.

    Returns:
        The standards sorted by id, the rules, and what is wrong with files of the service's own.

    Raises:
        ProfileError: a shipped file cannot be used.
    """
    problems: list[Problem] = []
    standards = _load_both("pressure", PressureStandard, own, problems)
    rules = _load_both("illustration", IllustrationRules, own, problems).get(ILLUSTRATION_ID)
    if rules is None or not standards:
        raise _incomplete(problems)
    return tuple(standards[key] for key in sorted(standards)), rules, tuple(problems)


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


def _load_both(
    folder: str, model: type[Model], own: Path | None, problems: list[Problem]
) -> dict[str, Model]:
    """Load a folder of the shipped profiles, then the service's own over it."""
    found = _load_folder(files("profiles") / folder, model, problems)
    return found if own is None else found | _load_folder(own / folder, model, problems)


def _incomplete(problems: list[Problem]) -> ProfileError:
    """Return the error for a shipped file that is missing or cannot be used."""
    missing = Problem(
        code="profiles_missing",
        text=say("The program's own profiles are not complete."),
        mend=say("Install anklefirst again."),
        path=str(files("profiles")),
    )
    return ProfileError(problems[0] if problems else missing)


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


def profile_bytes(
    folder: str, own: Path | None = None
) -> tuple[dict[str, tuple[str, bytes]], tuple[Problem, ...]]:
    """Read the raw TOML files of a profile folder, shipped ones and the service's own beside them.

    Args:
        folder: its name, such as `screening`.
        own: a data folder that may hold one of the same name; its files take the place of shipped
            ones of the same file name.

    Returns:
        File name to its whole path and bytes, and what could not be read.
    """
    found: dict[str, tuple[str, bytes]] = {}
    problems: list[Problem] = []
    for place in (files("profiles") / folder, *([own / folder] if own is not None else [])):
        for file in _toml_files(place):
            try:
                found[file.name] = (str(file), file.read_bytes())
            except OSError as error:
                problems.append(_unreadable(str(file), error))
    return found, tuple(problems)
