"""What the start screen can do, by which keys: its lines of the register of actions."""

from __future__ import annotations

from fitcore.words import mark
from tui.action import Action

START = (
    Action(
        "open",
        ("enter",),
        mark("open"),
        mark(
            "measure the client marked with >, go on "
            "with a paused session, or look at a finished one"
        ),
    ),
    Action("new_client", ("f2",), mark("new client"), mark("start with a new code of this laptop")),
    Action(
        "again",
        ("f3",),
        mark("new session"),
        mark("start a new session with the client of the marked line"),
        # The client's own line does the same by Enter, so at 80 columns others have the room.
        spared=True,
    ),
    Action("measurer", ("f4",), mark("measurer"), mark("say who holds the tape now")),
    Action(
        "quality",
        ("f6",),
        mark("repeats"),
        mark("show how well readings agree, by measurer and point"),
        shown=False,
    ),
    Action(
        "merge",
        ("f7",),
        mark("merge"),
        mark("merge other laptops' sticks, answer what is open, carry it back"),
    ),
    Action(
        "charts",
        ("f8",),
        mark("charts"),
        mark("look through the size charts, get a new one in, change one"),
    ),
)
"""Without up, down, help and closing, which other screens have too."""
