"""`fit`: sessions against size charts, as one JSON document or a block of text for each leg."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.profile_files import Profiles, load_profiles
from fitcore.disk.session_files import read_session_file
from fitcore.fit import SessionFit, fit_session
from fitcore.problems import Problem, ProblemLevel, ProfileError
from fitcore.session import Session, join
from fitcore.words import say
from tui.commands import ExitCode, Outcome, needs_person, wrong_use
from tui.commands.finding import require_paths, session_files_of
from tui.commands.fit_words import fit_lines

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from fitcore.chart import Chart
    from fitcore.disk.surroundings import Surroundings


def fit(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:  # noqa: ARG001
    """Match every session under the paths to every chart; writes nothing."""
    charts_folder: Path | None = arguments.charts
    require_paths([*arguments.paths, *([charts_folder] if charts_folder else [])])
    if charts_folder is not None and not charts_folder.is_dir():
        raise wrong_use(
            say("{path} is not a folder.", path=visible(str(charts_folder))),
            say("Name the folder that holds the charts."),
            key="--charts",
        )
    sessions, owners, problems = _read(arguments.paths, data)
    profiles = {
        owner: load_profiles(own=owner, charts=charts_folder)
        for owner in dict.fromkeys([*owners.values(), *([] if owners else [data])])
    }
    problems += [problem for loaded in profiles.values() for problem in loaded.problems]
    charts = _choose_charts(profiles, arguments.chart)
    fits = [
        _fit(session, profiles[owners[session.id]], charts[owners[session.id]])
        for session in sessions.values()
    ]
    fits.sort(key=lambda found: (found.client, found.session.id))
    told = list(dict.fromkeys(problems))
    serious = [problem for problem in told if problem.level is not ProblemLevel.NOTE]
    worried = bool(serious) or any(needs_person(found.flags) for found in fits)
    return Outcome(
        ExitCode.NEEDS_PERSON if worried else ExitCode.FINE,
        {
            "sessions": [found.as_json() for found in fits],
            "problems": [problem.as_json() for problem in told],
        },
        fit_lines(fits),
        [str(problem) for problem in told],
    )


def _fit(session: Session, profiles: Profiles, charts: Sequence[Chart]) -> SessionFit:
    return fit_session(session, charts, profiles.ranges, profiles.time_rules)


def _read(
    paths: Sequence[Path], data: Path
) -> tuple[dict[str, Session], dict[str, Path], list[Problem]]:
    """Read every session under the paths; two copies of one are joined.

    Returns:
        Sessions by id, the folder whose own charts hold for each, and what could not be read.
    """
    sessions: dict[str, Session] = {}
    owners: dict[str, Path] = {}
    problems: list[Problem] = []
    for path in paths:
        for file in map(read_session_file, session_files_of(path)):
            problems += file.problems
            if file.session is None:
                continue
            known = sessions.get(file.session.id)
            sessions[file.session.id] = join(known, file.session) if known else file.session
            owners.setdefault(file.session.id, _owner(file.path, data))
    return sessions, owners, problems


def _owner(file: Path, data: Path) -> Path:
    """Return the data folder a session file is filed in; a loose one takes the one in use."""
    above = file.absolute().parents
    filed = len(above) > 2 and above[1].name == "sessions"
    return above[2] if filed else data


def _choose_charts(
    profiles: Mapping[Path, Profiles], wanted: Sequence[str] | None
) -> dict[Path, tuple[Chart, ...]]:
    """Return the charts to use for each folder.

    Raises:
        ProfileError: a chart asked for is not there.
    """
    if wanted is None:
        return {owner: loaded.charts for owner, loaded in profiles.items()}
    known = sorted({chart.id for loaded in profiles.values() for chart in loaded.charts})
    for name in wanted:
        if name not in known:
            raise ProfileError(
                Problem(
                    code="unknown_chart",
                    text=say("There is no chart '{name}'.", name=name[:60]),
                    mend=say("Charts: {names}.", names=", ".join(known) or say("none at all")),
                    key="--chart",
                )
            )
    return {
        owner: tuple(chart for chart in loaded.charts if chart.id in wanted)
        for owner, loaded in profiles.items()
    }
