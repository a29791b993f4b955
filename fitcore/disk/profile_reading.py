"""Reading profile files: bytes to a checked model, or every problem with file, line and mend."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal
from importlib.resources import files
from typing import TYPE_CHECKING, TypeVar

from pydantic import ValidationError

from fitcore.problems import Problem
from fitcore.profile_models import ProfileModel, validation_problems
from fitcore.words import say

if TYPE_CHECKING:
    from collections.abc import Iterable
    from importlib.resources.abc import Traversable
    from pathlib import Path

Model = TypeVar("Model", bound=ProfileModel)


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
    except ArithmeticError:  # what the reader says of a number too large is its own name
        return (_not_toml(path, None, say("A number in the file is too large to read.")),)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"line (\d+)", str(error))
        text = say("The file breaks off or cannot be read as it is written: {error}.", error=error)
        return (_not_toml(path, int(place[1]) if place else None, text),)
    except RecursionError:
        return (_not_toml(path, None, say("Lists stand in lists too deep to read.")),)
    except ValueError:  # neither text nor syntax: a number Python will not read
        return (_not_toml(path, None, say("A number in the file is too large to read.")),)
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
        for file in toml_files(place):
            try:
                found[file.name] = (str(file), file.read_bytes())
            except OSError as error:
                problems.append(unreadable(str(file), error))
    return found, tuple(problems)


def toml_files(folder: Traversable) -> Iterable[Traversable]:
    """Return the TOML files of a folder in order of name; none where there is no such folder."""
    if not folder.is_dir():
        return ()
    named = (entry for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return sorted(named, key=lambda entry: entry.name)


def unreadable(path: str, error: OSError) -> Problem:
    """Return the problem of a file that cannot be read."""
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
