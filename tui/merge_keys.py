"""What the screens of the merge desk can do, by which keys: their lines of the register."""

from __future__ import annotations

from dataclasses import replace

from fitcore.words import mark
from tui.action import Action

_UP = Action("up", ("up",), mark("up"), mark("go up"), shown=False)
_DOWN = Action("down", ("down",), mark("down"), mark("go down"), shown=False)
_HELP = Action("help", ("f1",), mark("help"), mark("show what the keys do"))
"""Not by `?`, which may be typed here."""
_CLOSE = Action(
    "quit",
    ("f10", "ctrl+q"),
    mark("close"),
    mark("close; every answer is saved already"),
    shown=False,
)
_MARK = Action("mark", ("space",), mark("mark"), mark("mark the line, or take its mark away"))
_LOOK_AGAIN = Action(
    "look_again", ("f5",), mark("look again"), mark("look for sticks plugged in since")
)

MERGE_KEYS: dict[str, tuple[Action, ...]] = {
    "merge_sticks": (
        Action(
            "accept",
            ("enter",),
            mark("merge"),
            mark("merge the marked sticks; where a folder is typed, take it into the list"),
        ),
        _MARK,
        _LOOK_AGAIN,
        Action(
            "questions",
            ("f6",),
            mark("open questions"),
            mark("go on with what is open already, without merging"),
        ),
        _DOWN,
        _UP,
        Action(
            "leave",
            ("escape",),
            mark("back"),
            mark("stop a merge that runs; else back to the start"),
        ),
        _HELP,
        _CLOSE,
    ),
    "merge_summary": (
        Action("accept", ("enter",), mark("go on"), mark("go through what is open, one by one")),
        Action("whole", ("f5",), mark("all of it"), mark("show every line")),
        Action("sticks", ("f2",), mark("more sticks"), mark("merge other sticks")),
        Action("end", ("f6",), mark("to the end"), mark("see what was decided, and carry back")),
        Action("leave", ("escape",), mark("back"), mark("back to the start; nothing is lost")),
        _HELP,
        _CLOSE,
    ),
    "merge_questions": (
        Action(
            "accept",
            ("enter",),
            mark("answer"),
            mark("answer with the marked value; asks why, and saves at once"),
        ),
        Action("right", ("right",), mark("value"), mark("mark the next value")),
        Action("left", ("left",), mark("value"), mark("mark the value before"), shown=False),
        Action(
            "number",
            ("1", "2", "3", "4", "5", "6"),
            mark("value"),
            mark("mark the value of that number"),
            shown=False,
        ),
        Action(
            "down",
            ("down",),
            mark("next"),
            mark("go to the next without answering"),
            shown=False,
        ),
        Action("up", ("up",), mark("before"), mark("go to the one before"), shown=False),
        Action("later", ("f2",), mark("later"), mark("put it off; it stays open")),
        Action(
            "alike",
            ("f3",),
            mark("alike"),
            mark("answer all questions of the same field and values alike; shows them first"),
        ),
        Action(
            "undo",
            ("f4",),
            mark("undo"),
            mark("take the last answer back; both lines are kept, the question is open again"),
        ),
        Action("whole", ("f5",), mark("all of it"), mark("show every line"), shown=False),
        Action("end", ("f6",), mark("end"), mark("see what was decided, and carry back")),
        Action("summary", ("f7",), mark("summary"), mark("show the summary again"), shown=False),
        Action("who", ("f8",), mark("who"), mark("say who answers from now on"), shown=False),
        Action(
            "other",
            ("f9",),
            mark("other value"),
            mark("answer with a value nobody brought"),
            shown=False,
        ),
        Action("leave", ("escape",), mark("back"), mark("back to the start; nothing is lost")),
        _HELP,
        _CLOSE,
    ),
    "merge_end": (
        Action(
            "accept",
            ("enter",),
            mark("carry back"),
            mark("write the archive to the marked sticks and read it back"),
        ),
        _MARK,
        replace(_LOOK_AGAIN, shown=False),
        Action(
            "undo",
            ("f4",),
            mark("undo"),
            mark("take the last answer back; both lines are kept, the question is open again"),
        ),
        Action("whole", ("f6",), mark("all"), mark("show everything that was decided today")),
        Action("questions", ("f7",), mark("questions"), mark("go back to what is open")),
        _DOWN,
        _UP,
        Action("leave", ("escape",), mark("back"), mark("stop what runs; else back to the start")),
        _HELP,
        _CLOSE,
    ),
}
"""Screen name to its actions, in the order the footer shows them."""
