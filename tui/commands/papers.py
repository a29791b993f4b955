"""Papers of one session: `note`, the referral note, and `pressure`, an illustration."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fitcore.clean_text import visible
from fitcore.disk.atomic import write_durably
from fitcore.disk.links import read_links
from fitcore.disk.profile_files import load_profiles
from fitcore.disk.session_files import session_path
from fitcore.fit import fit_session
from fitcore.papers.leg_profile import garment_words, leg_profile
from fitcore.papers.referral import referral_lines
from fitcore.pressures.pressure_drawing import draw_profile, draw_profile_svg
from fitcore.problems import FileFault
from fitcore.record.last_time import sessions_before
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use
from tui.commands.finding import find_session
from tui.commands.session_reading import ReadSessions, read_all, read_linked

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Sequence

    from fitcore.disk.profile_files import Profiles
    from fitcore.disk.surroundings import Surroundings
    from fitcore.fit import SessionFit
    from fitcore.record.session import Session


def note(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Write the referral note of one session; nothing in the session is changed."""
    paper = _read_one(arguments.file, data, surroundings)
    lines = referral_lines(paper.fit, made_at=surroundings.now())
    said = lines
    if arguments.out is not None:
        said = [_write(Path(arguments.out), "\n".join(lines) + "\n")]
    return Outcome(
        ExitCode.FINE,
        {
            "session": paper.fit.session.id,
            "client": paper.fit.client,
            "urgency": paper.fit.clearance.result.urgency.value,
            "text": lines,
        },
        said,
        paper.notes,
    )


def pressure(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:
    """Illustrate the pressure of a garment up one leg: never a measurement or a choice of size."""
    paper = _read_one(arguments.file, data, surroundings)
    leg = next((leg for leg in paper.fit.legs if leg.side.value == arguments.side), None)
    if leg is None:
        raise wrong_use(
            say("Nothing was read at that leg."), say("Name the leg: left or right."), key="SIDE"
        )
    charts = {chart.id: chart for chart in paper.profiles.charts}
    chart = charts.get(arguments.chart)
    if chart is None:
        names = ", ".join(charts)
        raise wrong_use(
            say("There is no chart '{name}'.", name=visible(arguments.chart)[:60]),
            say("Charts: {names}.", names=names),
            key="--chart",
        )
    profile = leg_profile(leg, chart, paper.profiles.illustration, paper.profiles.standards)
    if profile is None:
        raise wrong_use(
            say("This garment prints no pressure, so there is nothing to illustrate."),
            say("Choose a chart with a pressure."),
            key="--chart",
        )
    words = garment_words(chart)
    lines = draw_profile(profile, side=leg.side, garment=words)
    said = lines
    if arguments.out is not None:
        svg = draw_profile_svg(profile, side=leg.side, garment=words)
        said = [_write(Path(arguments.out), svg)]
    document = {"session": paper.fit.session.id, "side": leg.side.value, "chart": chart.id}
    return Outcome(ExitCode.FINE, {**document, "text": lines}, said, paper.notes)


@dataclass(frozen=True, slots=True)
class _Paper:
    """One session, judged, with the profiles of its data folder."""

    fit: SessionFit
    profiles: Profiles
    notes: Sequence[str]


def _read_one(named: str, data: Path, surroundings: Surroundings) -> _Paper:
    read = read_all([_session_file(named, data)], data)
    session = _the_one(read)
    owner = read.owners[session.id]
    profiles = load_profiles(own=owner)
    links, unlinked = read_links([owner])
    linked, unreadable = read_linked(owner, session, links)
    earlier = sessions_before(session, session.text("client"), linked)
    today = surroundings.now().date()
    fit = fit_session(session, profiles.charts, profiles.rules, earlier, on=today, linked=linked)
    problems = dict.fromkeys((*read.problems, *unlinked, *unreadable, *profiles.problems))
    return _Paper(fit, profiles, [str(problem) for problem in problems])


def _write(out: Path, text: str) -> str:
    """Write a new file; one that is there already is never written over."""
    if out.exists() or out.is_symlink():
        raise wrong_use(
            say("{path} is there already.", path=visible(str(out))),
            say("Name another file; nothing was written."),
            key="--out",
        )
    write_durably(out, text.encode(), expected=None)
    return say("Written to {path}.", path=visible(str(out)))


def _session_file(named: str, data: Path) -> Path:
    """Return the file a call names: by its path, or by the session's id in the data folder."""
    path = Path(named)
    if path.exists():
        return path
    return session_path(data, find_session(data, named))


def _the_one(read: ReadSessions) -> Session:
    sessions = list(read.sessions.values())
    if len(sessions) == 1:
        return sessions[0]
    if not sessions and read.problems:
        raise FileFault(read.problems[0])
    raise wrong_use(
        say("A note is made of one session; {count} were found.", count=len(sessions)),
        say("Name one session file, or the first 8 characters of a session's id."),
        key="FILE",
    )
