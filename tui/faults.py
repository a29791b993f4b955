"""The last resort: what is said when something unexpected ends the program.

Never a message text, a local variable or a line of input: any of them may hold a client's data.
"""

from __future__ import annotations

import sys
import traceback

from fitcore.words import say


def tell_fault(error: BaseException) -> None:
    """Say on stderr that the program ended unexpectedly, with type, file and line only."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if "fitcore" in frame.filename or "tui" in frame.filename]
    place = (own or list(frames))[-1:]
    where = f"{_short(place[0].filename)}:{place[0].lineno}" if place else "?"
    tell(
        say(
            "anklefirst ended unexpectedly ({kind} at {where}). Every accepted reading is saved; "
            "start it again to go on.",
            kind=type(error).__name__,
            where=where,
        )
    )


def tell(text: str) -> None:
    """Say one line on stderr."""
    sys.stderr.write(f"{text}\n")


def _short(path: str) -> str:
    return "/".join(path.replace("\\", "/").split("/")[-2:])
