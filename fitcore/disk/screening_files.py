"""Reads the questions, rules and purposes of screening: shipped, or a service's own.

Every file that takes part leaves its bytes in the digest a session keeps. Which rule file a service
screens by stands in a file of its own, `use.toml`: it only names one, so it is not in the digest.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from fitcore.disk.profile_reading import locate, profile_bytes, read_profile
from fitcore.disk.session_files import read_regular
from fitcore.problems import Problem, ProblemLevel, ProfileError
from fitcore.safety.screening_book import (
    RulesUsed,
    ScreeningBook,
    digest_of,
    purpose_problems,
    resolve_questions,
    resolve_rules,
    rule_problems,
)
from fitcore.safety.screening_model import Purposes, Questions, RulesInUse, ScreeningRules
from fitcore.safety.softened import RULE_KEY, softened_purposes, softened_rules
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.profile_models import ProfileModel

Model = TypeVar("Model", bound="ProfileModel")

FOLDER = "screening"
QUESTIONS_FILE, PURPOSES_FILE = "questions.toml", "purposes.toml"
USE_FILE = "use.toml"
"""In a service's own folder: which rule file it screens by."""
DEFAULT_RULES = "strictest"


@dataclass(frozen=True, slots=True)
class _RuleFile:
    name: str
    raw: bytes
    rules: ScreeningRules


def load_screening(
    own: Path | None = None, chosen: str | None = None, file: Path | None = None
) -> tuple[ScreeningBook, tuple[Problem, ...]]:
    """Load what a person is screened by.

    Args:
        own: a data folder that may hold a `screening/` of its own; a file of the same name takes
            the place of a shipped one.
        chosen: id of the rule file to use; None takes the one the data folder's own
            `screening/use.toml` names, and the strictest where there is no such file.
        file: a rule file to use instead, wherever it lies.

    Returns:
        The book, and what is wrong with files that were left out.

    Raises:
        ProfileError: what was chosen is not there or cannot be used, or it cannot be told what
            the service chose: nobody is screened by half of the rules or by rules nobody chose.
    """
    found, unreadable = profile_bytes(FOLDER, own)
    problems = list(unreadable)
    questions, questions_raw = _one(found, QUESTIONS_FILE, Questions)
    purposes, purposes_raw = _one(found, PURPOSES_FILE, Purposes)
    files = _rule_files(found, problems)
    if file is not None:
        picked = _named_file(file)
    elif chosen is not None:
        picked = _pick(files, chosen, problems)
    else:
        picked = _in_use(found, files, problems)
    base = None if picked.rules.base is None else _pick(files, picked.rules.base, problems)
    if base is not None and base.rules.base is not None:
        raise ProfileError(_no_base(base.rules.id).at(path=picked.name))
    taken = [QUESTIONS_FILE, PURPOSES_FILE, *([picked.name] if file is None else [])]
    _refuse_stand_ins([*taken, *([base.name] if base is not None else [])], unreadable)
    rules = resolve_rules(picked.rules, base.rules if base is not None else None)
    faults = (
        *rule_problems(rules, questions),
        *purpose_problems(purposes, questions, rules),
    )
    serious = [fault for fault in faults if fault.level is ProblemLevel.ERROR]
    if serious:
        raise ProfileError(serious[0].at(path=picked.name))
    problems += [fault.at(path=picked.name) for fault in faults]
    milder = (*_softened_rules(picked, base), *_softened_purposes(purposes, purposes_raw))
    problems += [fault.at(path=picked.name) for fault in milder]
    raws = [picked.raw, *([base.raw] if base is not None else []), questions_raw, purposes_raw]
    used = RulesUsed(rules.id, rules.version, picked.name, digest_of(raws))
    asked = resolve_questions(questions, rules, purposes)
    return ScreeningBook(asked, rules, purposes, used), tuple(problems)


def check_rules(raw: bytes, path: Path) -> tuple[Problem, ...]:
    """Return what is wrong between one file of rules or purposes and the questions beside it.

    Args:
        raw: its bytes; that they are a file of rules or purposes was found before.
        path: where it lies: in a data folder's `screening/` the files beside it count.

    Raises:
        ProfileError: the questions beside it cannot be used.
    """
    found = _beside(path)
    questions, _ = _one(found, QUESTIONS_FILE, Questions)
    purposes = read_profile(raw, Purposes, str(path))
    if isinstance(purposes, Purposes):
        faults = [*purpose_problems(purposes, questions), *_softened_purposes(purposes, raw)]
        return _told(faults, raw)
    rules = read_profile(raw, ScreeningRules, str(path))
    if isinstance(rules, tuple):
        return rules
    faults = [*rule_problems(rules, questions), *_base_problems(rules, found)]
    if not faults:
        files = _rule_files(found, [])
        base = None if rules.base is None else _pick(files, rules.base, [])
        faults += _softened_rules(_RuleFile(path.name, raw, rules), base)
    return _told(faults, raw)


def check_use(raw: bytes, path: Path) -> tuple[Problem, ...]:
    """Return what is wrong with a file that says which rules are in use.

    Args:
        raw: its bytes.
        path: where it lies: in a data folder's `screening/` the files beside it count.
    """
    use = read_profile(raw, RulesInUse, str(path))
    if isinstance(use, tuple):
        return use
    files = _rule_files(_beside(path), [])
    return () if use.rules in files else _told([_not_there(use.rules, files, "rules")], raw)


def _beside(path: Path) -> dict[str, tuple[str, bytes]]:
    """Return the files a file is checked against: shipped, and those of the folder it lies in."""
    folder = path.absolute().parent
    return profile_bytes(FOLDER, folder.parent if folder.name == FOLDER else None)[0]


def _base_problems(
    rules: ScreeningRules, found: dict[str, tuple[str, bytes]]
) -> tuple[Problem, ...]:
    if rules.base is None:
        return ()
    try:
        base = _pick(_rule_files(found, []), rules.base, [])
    except ProfileError as error:
        return (error.problem.at(key="base"),)
    return () if base.rules.base is None else (_no_base(rules.base),)


def _softened_rules(picked: _RuleFile, base: _RuleFile | None) -> tuple[Problem, ...]:
    """Return what is milder than in the strictest rules; a shipped guideline says so itself."""
    shipped, _ = profile_bytes(FOLDER)
    raws = {raw for _, raw in shipped.values()}
    strictest = _pick(_rule_files(shipped, []), DEFAULT_RULES, []).rules
    below = [] if base is None or base.raw in raws else [*softened_rules(base.rules, strictest)]
    found = [_placed(fault, base).at(path=base.name) for fault in below if base is not None]
    if picked.raw not in raws:
        whole = resolve_rules(picked.rules, base.rules if base is not None else None)
        own = [fault for fault in softened_rules(whole, strictest) if fault not in below]
        found += [_placed(fault, picked) for fault in own]
    return tuple(found)


def _placed(fault: Problem, file: _RuleFile) -> Problem:
    """Name the place of a milder rule in its file."""
    name = (fault.key or "").removeprefix(RULE_KEY)
    if name == fault.key:
        return fault
    places = [str(place) for place, rule in enumerate(file.rules.rules) if rule.id == name]
    return replace(fault, key=f"rules.{places[0]}.id" if places else None)


def _softened_purposes(purposes: Purposes, raw: bytes) -> tuple[Problem, ...]:
    shipped, _ = profile_bytes(FOLDER)
    usual, usual_raw = _one(shipped, PURPOSES_FILE, Purposes)
    if raw == usual_raw:
        return ()
    strictest = _pick(_rule_files(shipped, []), DEFAULT_RULES, []).rules
    return tuple(replace(f, key=None) for f in softened_purposes(purposes, usual, strictest))


def _told(faults: Iterable[Problem], raw: bytes) -> tuple[Problem, ...]:
    text = raw.decode("utf-8-sig")
    return tuple(fault.at(line=locate(text, fault.key)) for fault in faults)


def _one(found: dict[str, tuple[str, bytes]], name: str, model: type[Model]) -> tuple[Model, bytes]:
    if name not in found:
        raise ProfileError(_missing(name))
    path, raw = found[name]
    loaded = read_profile(raw, model, path)
    if isinstance(loaded, tuple):
        raise ProfileError(loaded[0])
    return loaded, raw


def _rule_files(
    found: dict[str, tuple[str, bytes]], problems: list[Problem]
) -> dict[str, _RuleFile]:
    """Return the rule files that can be used, by id."""
    files: dict[str, _RuleFile] = {}
    for name, (path, raw) in found.items():
        if name in (QUESTIONS_FILE, PURPOSES_FILE, USE_FILE):
            continue
        loaded = read_profile(raw, ScreeningRules, path)
        if isinstance(loaded, tuple):
            problems += loaded
        else:
            files[loaded.id] = _RuleFile(name, raw, loaded)
    return files


def _named_file(file: Path) -> _RuleFile:
    raw = read_regular(file)
    if isinstance(raw, Problem):
        raise ProfileError(raw.at(path=str(file)))
    loaded = read_profile(raw, ScreeningRules, str(file))
    if isinstance(loaded, tuple):
        raise ProfileError(loaded[0])
    return _RuleFile(file.name, raw, loaded)


def _in_use(
    found: dict[str, tuple[str, bytes]], files: dict[str, _RuleFile], problems: list[Problem]
) -> _RuleFile:
    """Return the rule file the service chose, or the strictest where it chose none."""
    unread = _broken(USE_FILE, problems)
    if unread is not None:
        raise ProfileError(unread)
    if USE_FILE not in found:
        return _pick(files, DEFAULT_RULES, problems)
    use, raw = _one(found, USE_FILE, RulesInUse)
    if use.rules in files:
        return files[use.rules]
    broken = _broken(f"{use.rules}.toml", problems)
    if broken is not None:
        raise ProfileError(broken)
    (fault,) = _told([_not_there(use.rules, files, "rules")], raw)
    raise ProfileError(fault.at(path=found[USE_FILE][0]))


def _refuse_stand_ins(names: Iterable[str], unreadable: Iterable[Problem]) -> None:
    """Refuse a shipped file where the service's own of that name is there and cannot be read."""
    unread = [problem for name in names if (problem := _broken(name, unreadable)) is not None]
    if unread:
        raise ProfileError(unread[0])


def _broken(name: str, problems: Iterable[Problem]) -> Problem | None:
    """Return what is wrong with the file of a name; None where nothing was found."""
    return next((p for p in problems if p.path is not None and Path(p.path).name == name), None)


def _pick(files: dict[str, _RuleFile], name: str, problems: list[Problem]) -> _RuleFile:
    if name in files:
        return files[name]
    if problems:  # the file asked for may be the one that could not be used
        raise ProfileError(problems[0])
    raise ProfileError(_not_there(name, files))


def _not_there(name: str, files: Iterable[str], key: str | None = None) -> Problem:
    return Problem(
        code="unknown_rules",
        text=say("There is no rule file '{name}' that can be used.", name=name[:60]),
        mend=say("Rule files: {names}.", names=", ".join(sorted(files))),
        key=key,
    )


def _no_base(name: str) -> Problem:
    return Problem(
        code="base_has_base",
        text=say("'{name}' builds on another file itself, so none can build on it.", name=name),
        mend=say("Name a file that stands alone as the base."),
        key="base",
    )


def _missing(name: str) -> Problem:
    return Problem(
        code="profiles_missing",
        text=say("The program's own profiles are not complete: {name}.", name=name),
        mend=say("Install anklefirst again."),
    )
