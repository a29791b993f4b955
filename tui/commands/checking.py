"""`check`: every problem of files and folders, with file, line or key, and the mend. Reads only.

What a file is, its content says; a name or folder helps only where the content is too damaged to
tell. Loads neither the screen nor, for sessions, the reader of charts.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from fitcore.disk.data_folder import LAPTOP_FILE
from fitcore.disk.manifest import MANIFEST, read_manifest
from fitcore.disk.session_files import (
    SESSION_FILE,
    read_regular,
    read_session_file,
    session_path,
)
from fitcore.problems import FileFault, Problem, ProblemLevel, ProfileError
from fitcore.record.document import LARGEST_FILE, Document, read_document
from fitcore.record.ledger import read_laptop, read_ledger
from fitcore.words import say
from tui.commands import ExitCode, Outcome
from tui.commands.entry_checks import KnownEntries, entry_problems
from tui.commands.finding import require_paths, toml_files

if TYPE_CHECKING:
    from argparse import Namespace
    from collections.abc import Mapping
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings
    from fitcore.profile_models import ProfileModel

_BY_CONTENT = {
    "session": re.compile(rb"^\s*session\s*=", re.MULTILINE),
    "ledger": re.compile(rb"^\s*laptop\s*=", re.MULTILINE),
    "chart": re.compile(rb"^\s*(?:\[\[\s*(?:sizes|dimensions)\s*\]\]|sizes\s*=)", re.MULTILINE),
    "protocol": re.compile(rb"^\s*(?:\[\[\s*steps\s*\]\]|steps\s*=)", re.MULTILINE),
    "ranges": re.compile(rb"^\s*(?:\[\[\s*ranges\s*\]\]|ranges\s*=)", re.MULTILINE),
    "rules": re.compile(rb"^\s*late_after_hours\s*=", re.MULTILINE),
    "swelling": re.compile(rb"^\s*\[\s*tau_hours\s*\]", re.MULTILINE),
    "screening": re.compile(rb"^\s*(?:\[without_abpi\]|base\s*=)", re.MULTILINE),
    "questions": re.compile(rb"^\s*\[\[\s*questions\s*\]\]", re.MULTILINE),
    "purposes": re.compile(rb"^\s*\[\[\s*purposes\s*\]\]", re.MULTILINE),
    "quality": re.compile(rb"^\s*least_pairs\s*=", re.MULTILINE),
    "pressure": re.compile(rb"^\s*(?:\[\[\s*classes\s*\]\]|classes\s*=)", re.MULTILINE),
    "illustration": re.compile(rb"^\s*\[\s*least_calf_percent\s*\]", re.MULTILINE),
    "certainty": re.compile(rb"^\s*\[\[\s*errors\s*\]\]", re.MULTILINE),
    "leg_set": re.compile(rb"^\s*synthetic\s*=", re.MULTILINE),
    "favourites": re.compile(rb"^\s*charts\s*=", re.MULTILINE),
    "linked": re.compile(rb"^\s*whole_hours\s*=", re.MULTILINE),
}
_BY_FOLDER = {
    "ledger": "ledger",
    "charts": "chart",
    "protocols": "protocol",
    "ranges": "ranges",
    "rules": "rules",
    "swelling": "swelling",
    "quality": "quality",
    "screening": "screening",
    "pressure": "pressure",
    "illustration": "illustration",
    "certainty": "certainty",
    "sets": "leg_set",
    "favourites": "favourites",
    "linked": "linked",
}
_IN_SCREENING = {
    "use.toml": "rules_in_use",
    "questions.toml": "questions",
    "purposes.toml": "purposes",
}
"""Names in `screening/` that stand for one kind, whatever the file holds."""


def check(arguments: Namespace, data: Path, surroundings: Surroundings) -> Outcome:  # noqa: ARG001
    """Check files and whole folders and tell every problem found."""
    require_paths(arguments.paths)
    checked = _Checked()
    for path in arguments.paths:
        checked.take(path)
    told = checked.problems
    levels = {"error": say("error"), "warning": say("warning"), "note": say("note")}
    lines = [f"{levels[problem.level]}: {problem}" for problem in told]
    return Outcome(
        ExitCode.NEEDS_PERSON
        if any(problem.level is not ProblemLevel.NOTE for problem in told)
        else ExitCode.FINE,
        {"problems": [problem.as_json() for problem in told]},
        lines or [say("Checked: {what}. No problem found.", what=checked.counts_words())],
    )


class _Checked:
    """What was looked at and what was found, in the order it was met."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self._counts: Counter[str] = Counter()
        self._known = KnownEntries()
        self._profile_ids: dict[tuple[Path, str, str], Path] = {}

    def take(self, path: Path) -> None:
        """Check one path named on the command line."""
        if not path.is_dir():
            self._take_file(path, named=True)
            return
        for file in toml_files(path):
            self._take_file(file, named=False)

    def counts_words(self) -> str:
        """Return how many of each kind were looked at."""
        words = {
            "session": say("sessions"),
            "ledger": say("ledgers"),
            "laptop": say("laptop files"),
            "manifest": say("lists of files"),
            "chart": say("charts"),
            "protocol": say("protocols"),
            "ranges": say("files of ranges"),
            "rules": say("files of rules"),
            "swelling": say("swelling models"),
            "quality": say("thresholds of repeat error"),
            "screening": say("screening rules"),
            "rules_in_use": say("choices of screening rules"),
            "questions": say("screening questions"),
            "purposes": say("files of purposes"),
            "pressure": say("pressure standards"),
            "illustration": say("rules of the illustrated pressure"),
            "certainty": say("rules on how sure a size is"),
            "leg_set": say("sets of legs"),
            "favourites": say("lists of favourite charts"),
            "linked": say("rules on linked codes"),
        }
        counts = [f"{words[kind]} {self._counts[kind]}" for kind in words if self._counts[kind]]
        return ", ".join(counts) or say("nothing, there is no file of ours")

    def _take_file(self, path: Path, *, named: bool) -> None:
        raw = read_regular(path)
        if isinstance(raw, Problem):
            self.problems.append(raw.at(path=str(path)))
            return
        kind = _kind_of(path, raw)
        if kind is None:
            self.problems.append(_unknown(path, named=named))
            return
        self._counts[kind] += 1
        if kind == "session":
            found = self._session(path)
        elif kind == "ledger":
            found = self._ledger(path, raw)
        elif kind == "laptop":
            found = _laptop(path, raw)
        elif kind == "manifest":  # whether the files are there is what `verify` tells
            listed = read_manifest(path.parent)
            found = [listed] if isinstance(listed, Problem) else []
        elif len(raw) > LARGEST_FILE:
            found = [_too_big(LARGEST_FILE)]
        else:
            found = self._profile(path, raw, kind)
        told = (problem.at(path=str(path)) for problem in found)
        self.problems += sorted(told, key=lambda problem: problem.line or 0)

    def _session(self, path: Path) -> list[Problem]:
        file = read_session_file(path)
        found = list(file.problems)
        if file.session is None:
            return found
        lines = _lines(file.raw)
        found += entry_problems(file.session, lines)
        found += self._known.twins(file.session.entries, path, lines)
        return found + _place_problems(path, file.session.id)

    def _ledger(self, path: Path, raw: bytes) -> list[Problem]:
        ledger, problems = read_ledger(raw)
        found = list(problems)
        if ledger is not None:
            found += self._known.twins(ledger.entries, path, _lines(raw))
        if ledger is not None and ledger.laptop != path.stem:
            found.append(
                Problem(
                    code="name_mismatch",
                    text=say("The file's name is not the laptop it is of."),
                    mend=say("Ask for the file again from the laptop that wrote it."),
                    key="laptop",
                )
            )
        return found

    def _profile(self, path: Path, raw: bytes, kind: str) -> list[Problem]:
        from fitcore.disk.profile_reading import read_profile

        loaded = read_profile(raw, _model_of(kind), str(path))
        if isinstance(loaded, tuple):
            return list(loaded)
        if kind in ("screening", "purposes", "rules_in_use"):
            faults = _screening_faults(raw, path, kind)
            if faults:
                return list(faults)
        name = str(getattr(loaded, "id", ""))
        first = self._profile_ids.setdefault((path.parent.absolute(), kind, name), path)
        if first.absolute() == path.absolute():
            return []
        told = (
            say("{path} has the id '{name}' too: neither is used.", path=first, name=name)
            if kind == "chart"
            else say("{path} has the id '{name}' too: one hides the other.", path=first, name=name)
        )
        return [
            Problem(
                code="same_id",
                text=told,
                mend=say("Give each its own id."),
                key="id",
                level=ProblemLevel.WARNING,
            )
        ]


def _kind_of(path: Path, raw: bytes) -> str | None:
    if path.name == LAPTOP_FILE:
        return "laptop"
    if path.name == MANIFEST:
        return "manifest"
    if SESSION_FILE.fullmatch(path.name):
        return "session"
    if path.absolute().parent.name == "screening" and path.name in _IN_SCREENING:
        return _IN_SCREENING[path.name]
    for kind, pattern in _BY_CONTENT.items():
        if pattern.search(raw):
            return kind
    return _BY_FOLDER.get(path.parent.name) or _IN_SCREENING.get(path.name)


def _screening_faults(raw: bytes, path: Path, kind: str) -> tuple[Problem, ...]:
    """Return what is wrong between a file of screening and those beside it."""
    from fitcore.disk.screening_files import check_rules, check_use

    if kind == "rules_in_use":
        return check_use(raw, path)
    try:
        return check_rules(raw, path)
    except ProfileError as error:  # told in full where that file is checked itself
        return (
            Problem(
                code="not_checked",
                text=say("Not checked: {path} cannot be used.", path=error.problem.path),
                mend=say("Mend that file, then check this one again."),
            ),
        )


def _model_of(kind: str) -> type[ProfileModel]:
    if kind == "chart":
        from fitcore.charts.chart import Chart

        return Chart
    from fitcore.certainty.certainty_model import CertaintyRules
    from fitcore.charts.favourites_model import Favourites
    from fitcore.coverage.leg_set import SetNotes
    from fitcore.moment.swelling_model import SwellingModel
    from fitcore.moment.time_rules import TimeRules
    from fitcore.pressures.pressure_model import IllustrationRules, PressureStandard
    from fitcore.profile_models import Protocol, Ranges
    from fitcore.quality.quality_rules import QualityRules
    from fitcore.safety.linked_model import LinkedRules
    from fitcore.safety.screening_model import Purposes, Questions, RulesInUse, ScreeningRules

    models: dict[str, type[ProfileModel]] = {
        "protocol": Protocol,
        "ranges": Ranges,
        "rules": TimeRules,
        "swelling": SwellingModel,
        "quality": QualityRules,
        "screening": ScreeningRules,
        "rules_in_use": RulesInUse,
        "questions": Questions,
        "purposes": Purposes,
        "pressure": PressureStandard,
        "illustration": IllustrationRules,
        "certainty": CertaintyRules,
        "leg_set": SetNotes,
        "favourites": Favourites,
        "linked": LinkedRules,
    }
    return models[kind]


def _lines(raw: bytes) -> Mapping[str, int]:
    document = read_document(raw)
    return document.lines if isinstance(document, Document) else {}


def _laptop(path: Path, raw: bytes) -> list[Problem]:
    try:
        read_laptop(raw)
    except FileFault as fault:
        return [replace(fault.problem, path=str(path))]
    return []


def _place_problems(path: Path, session_id: str) -> list[Problem]:
    """Tell a session that stands in a data folder where no command looks for it."""
    if path.parent.parent.name != "sessions":
        return []
    root = path.parent.parent.parent
    try:
        wanted = session_path(root, session_id)
    except FileFault as fault:
        return [fault.problem]
    if (wanted.parent.name, wanted.name) == (path.parent.name, path.name):
        return []
    return [
        Problem(
            code="misfiled",
            text=say("No command looks for this session here."),
            mend=say("Move it to {path}.", path=f"{wanted.parent.name}/{wanted.name}"),
            level=ProblemLevel.WARNING,
        )
    ]


def _unknown(path: Path, *, named: bool) -> Problem:
    return Problem(
        code="unknown_file",
        text=say("No session, chart, protocol, ranges, rules, ledger or laptop.toml."),
        mend=say("Nothing in it was checked; look at the name.")
        if named
        else say("It was passed over."),
        path=str(path),
        level=ProblemLevel.ERROR if named else ProblemLevel.NOTE,
    )


def _too_big(most: int) -> Problem:
    return Problem(
        code="too_big",
        text=say("The file has more than {most} bytes; no file of ours has.", most=most),
        mend=say("Look where it came from."),
    )
