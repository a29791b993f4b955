"""The only reader of `profiles/`: charts, protocols and rules, shipped or the service's own.

A file of the service's own with the id of a shipped one takes its place. A file that cannot be
used is told as problems and left out; the others are still there. Of charts nothing is guessed: two
with one id are both left out, and a shipped chart does not stand in for an own one that is broken.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from fitcore.certainty.certainty_model import CertaintyRules
from fitcore.charts.chart import Chart
from fitcore.charts.favourites_model import Favourites
from fitcore.disk.chart_files import named_id
from fitcore.disk.favourites import FAVOURITES_ID, FOLDER
from fitcore.disk.profile_reading import read_profile, toml_files, unreadable
from fitcore.disk.screening_files import load_screening
from fitcore.moment.swelling_model import SwellingModel
from fitcore.moment.time_rules import TimeRules
from fitcore.pressures.pressure_model import IllustrationRules, PressureStandard
from fitcore.problems import Problem, ProfileError
from fitcore.profile_models import ProfileModel, Protocol, Ranges
from fitcore.quality.quality_rules import QualityRules
from fitcore.rules import Rules
from fitcore.safety.linked_model import LinkedRules
from fitcore.words import say

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from fitcore.safety.screening_book import ScreeningBook

Model = TypeVar("Model", bound=ProfileModel)

RANGES_ID = "adults"
TIME_RULES_ID = "time-of-day"
SWELLING_ID = "day-swelling"
QUALITY_ID = "repeat-error"
ILLUSTRATION_ID = "pressure-profile"
CERTAINTY_ID = "size-certainty"
LINKED_ID = "linked-codes"


@dataclass(frozen=True)
class Profiles:
    """Everything the trade's data says, as loaded for one run."""

    charts: tuple[Chart, ...]
    """Sorted by id."""
    protocols: dict[str, Protocol]
    ranges: Ranges
    time_rules: TimeRules
    swelling: SwellingModel
    screening: ScreeningBook
    standards: tuple[PressureStandard, ...]
    """Standards of pressure classes, sorted by id."""
    illustration: IllustrationRules
    certainty: CertaintyRules
    linked: LinkedRules
    favourites: frozenset[str] = frozenset()
    """Ids of the charts the service uses most."""
    own_charts: frozenset[str] = frozenset()
    """Ids of the charts that lie in the data folder, or in the folder named instead."""
    problems: tuple[Problem, ...] = ()

    @property
    def rules(self) -> Rules:
        """What sessions are judged by."""
        return Rules(
            self.ranges,
            self.time_rules,
            self.protocols,
            self.swelling,
            self.screening,
            self.standards,
            self.certainty,
            self.linked,
            self.favourites,
            self.own_charts,
        )

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
        own: a data folder that may hold `charts/`, `protocols/`, `rules/`, `ranges/`,
            `swelling/`, `screening/`, `pressure/`, `illustration/`, `certainty/`, `linked/` and
            `favourites/` of its own.
        charts: a folder of chart files to use instead of all others.

    Raises:
        ProfileError: a shipped file every run needs cannot be used.
    """
    problems: list[Problem] = []

    def load(folder: str, model: type[Model]) -> dict[str, Model]:
        return _load_both(folder, model, own, problems)

    if charts is None:
        shipped = _load_folder(files("profiles") / "charts", Chart, problems)
        own_charts = {} if own is None else _load_own_charts(own / "charts", shipped, problems)
    else:
        shipped, own_charts = {}, _load_own_charts(charts, {}, problems)
    chart_files = shipped | own_charts
    protocols = load("protocols", Protocol)
    ranges = load("ranges", Ranges).get(RANGES_ID)
    rules = load("rules", TimeRules).get(TIME_RULES_ID)
    swelling = load("swelling", SwellingModel).get(SWELLING_ID)
    standards = load("pressure", PressureStandard)
    illustration = load("illustration", IllustrationRules).get(ILLUSTRATION_ID)
    certainty = load("certainty", CertaintyRules).get(CERTAINTY_ID)
    linked = load("linked", LinkedRules).get(LINKED_ID)
    favourites = load(FOLDER, Favourites).get(FAVOURITES_ID)
    screening, screening_problems = load_screening(own)
    problems += screening_problems
    if ranges is None or rules is None or swelling is None:
        raise _incomplete(problems)
    if illustration is None or certainty is None or linked is None or not standards:
        raise _incomplete(problems)
    return Profiles(
        tuple(chart_files[key] for key in sorted(chart_files)),
        protocols,
        ranges,
        rules,
        swelling,
        screening,
        tuple(standards[key] for key in sorted(standards)),
        illustration,
        certainty,
        linked,
        frozenset(favourites.charts if favourites is not None else ()),
        frozenset(own_charts),
        tuple(problems),
    )


def load_standards(own: Path | None = None) -> tuple[PressureStandard, ...]:
    """Load the standards of pressure classes, sorted by id; what cannot be used is left out.

    Args:
        own: a data folder that may hold a `pressure/` of its own.
    """
    found = _load_both("pressure", PressureStandard, own, [])
    return tuple(found[key] for key in sorted(found))


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
    for file in toml_files(folder):
        try:
            loaded = read_profile(file.read_bytes(), model, str(file))
        except OSError as error:
            loaded = (unreadable(str(file), error),)
        if isinstance(loaded, tuple):
            problems += loaded
        else:
            found[getattr(loaded, "id", file.name)] = loaded
    return found


def _load_own_charts(
    folder: Path, shipped: dict[str, Chart], problems: list[Problem]
) -> dict[str, Chart]:
    """Load a service's own charts; none is guessed at where files contradict or are damaged.

    Args:
        folder: where they lie.
        shipped: the charts of the program; those are taken out whose place a file was to take that
            cannot be used: the service has a reason for its own figures.
        problems: takes up what is wrong.
    """
    found: dict[str, Chart] = {}
    named: dict[str, str] = {}
    unusable: dict[str, str] = {}
    unclear: dict[str, str] = {}
    for file in toml_files(folder):
        path, raw = str(file), b""
        try:
            raw = file.read_bytes()
            loaded = read_profile(raw, Chart, path)
        except OSError as error:
            loaded = (unreadable(path, error),)
        name = named_id(raw)
        if isinstance(loaded, tuple):
            problems += loaded
            unusable[name or file.name.removesuffix(".toml")] = path
        else:
            found[loaded.id] = loaded
        if name is not None and name in named:
            problems.append(_twin(name, named[name], path))
            unclear[name] = path
        elif name is not None:
            named[name] = path
    for name, path in (unusable | unclear).items():
        if shipped.pop(name, None) is not None and (name in unclear or name not in found):
            problems.append(_kept_out(name, path))
    return {name: chart for name, chart in found.items() if name not in unclear}


def _twin(name: str, first: str, path: str) -> Problem:
    return Problem(
        code="same_id",
        text=say("{path} has the id '{name}' too: neither is used.", path=first, name=name),
        mend=say("Give each its own id, or take one of the files away."),
        path=path,
        key="id",
    )


def _kept_out(name: str, path: str) -> Problem:
    return Problem(
        code="shipped_chart_not_used",
        text=say(
            "The chart '{name}' that comes with the program is not used: this file was to take "
            "its place.",
            name=name,
        ),
        mend=say("Mend this file, or take it away to have the program's chart back."),
        path=path,
    )
