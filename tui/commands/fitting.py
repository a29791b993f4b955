"""`fit`: sessions against size charts, as one JSON document or a block of text for each leg."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.links import read_links
from fitcore.disk.profile_files import Profiles, load_profiles, load_quality_rules
from fitcore.fit import fit_session
from fitcore.merge.clients import by_code, linked_sessions
from fitcore.problems import Problem, ProblemLevel, ProfileError
from fitcore.quality.quality_report import error_of, report_quality
from fitcore.ranking import rank_charts
from fitcore.record.last_time import sessions_before
from fitcore.words import say
from tui.commands import ExitCode, Outcome, needs_person, wrong_use
from tui.commands.finding import require_paths
from tui.commands.fit_words import fit_lines
from tui.commands.session_reading import read_all, read_beside

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from fitcore.charts.chart import Chart
    from fitcore.disk.surroundings import Surroundings
    from fitcore.record.session import Session


def fit(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Match every session under the paths to every chart; writes nothing."""
    charts_folder: Path | None = arguments.charts
    require_paths([*arguments.paths, *([charts_folder] if charts_folder else [])])
    if charts_folder is not None and not charts_folder.is_dir():
        raise wrong_use(
            say("{path} is not a folder.", path=visible(str(charts_folder))),
            say("Name the folder that holds the charts."),
            key="--charts",
        )
    read = read_all(arguments.paths, data)
    sessions, owners, problems = read.sessions, read.owners, read.problems
    profiles = {
        owner: load_profiles(own=owner, charts=charts_folder)
        for owner in dict.fromkeys([*owners.values(), *([] if owners else [data])])
    }
    problems += [problem for loaded in profiles.values() for problem in loaded.problems]
    charts = _choose_charts(profiles, arguments.chart)
    links, unlinked = read_links(dict.fromkeys(owners.values()))
    beside, unreadable = read_beside(read, links)
    problems += [*unlinked, *unreadable]
    of_client = _by_client(sessions.values())
    known = _by_client([*sessions.values(), *beside])
    known_by_code = by_code([*sessions.values(), *beside])
    quality_rules, _ = load_quality_rules(data)
    quality = report_quality(sessions.values(), quality_rules)
    fits = [
        fit_session(
            session,
            charts[owners[session.id]],
            profiles[owners[session.id]].rules,
            sessions_before(session, client, known[client]),
            on=surroundings.now().date(),
            own_error=error_of(quality, session.text("measurer")),
            linked=linked_sessions(session, links, known_by_code),
        )
        for client, members in of_client.items()
        for session in members
    ]
    fits.sort(key=lambda found: (found.client, found.session.id))
    told = list(dict.fromkeys(problems))
    serious = [problem for problem in told if problem.level is not ProblemLevel.NOTE]
    worried = bool(serious) or any(
        needs_person(found.flags) or found.clearance.needs_person for found in fits
    )
    return Outcome(
        ExitCode.NEEDS_PERSON if worried else ExitCode.FINE,
        {
            "sessions": [
                {**found.as_json(), "ranking": [row.as_json() for row in rank_charts(found)]}
                for found in fits
            ],
            "problems": [problem.as_json() for problem in told],
        },
        fit_lines(fits),
        [str(problem) for problem in told],
    )


def _by_client(sessions: Iterable[Session]) -> dict[str, list[Session]]:
    found: dict[str, list[Session]] = {}
    for session in sessions:
        found.setdefault(session.text("client"), []).append(session)
    return found


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
