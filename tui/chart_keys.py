"""What the screens of size charts can do, by which keys: their lines of the register of actions."""

from __future__ import annotations

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
    mark("close; what is typed is kept as unfinished"),
    shown=False,
)

CHART_KEYS: dict[str, tuple[Action, ...]] = {
    "charts": (
        Action(
            "edit",
            ("enter",),
            mark("open"),
            mark("go on with what is not finished, change an own chart, or copy a shipped one"),
        ),
        Action("new_chart", ("f2",), mark("new"), mark("type or paste a maker's table")),
        Action("preview", ("f3",), mark("fits"), mark("show which legs get which size")),
        Action(
            "discard",
            ("f4",),
            mark("discard"),
            mark("throw an unfinished chart away"),
            shown=False,
        ),
        Action(
            "favourite",
            ("f9",),
            mark("favourite"),
            mark("take the marked chart among those shown first, or out of them"),
        ),
        _DOWN,
        _UP,
        Action("leave", ("escape",), mark("back"), mark("show all again; else back to the start")),
        _HELP,
        _CLOSE,
    ),
    "chart_editor": (
        Action(
            "accept",
            ("enter",),
            mark("next"),
            mark("take the cell and go on: across, then to the next size"),
        ),
        Action(
            "head", ("f2",), mark("leaflet"), mark("say what the leaflet says beside the table")
        ),
        Action(
            "preview",
            ("f3",),
            mark("fits"),
            mark("show which legs get which size, in the chart as it stands"),
        ),
        Action("delete_row", ("f4",), mark("row out"), mark("take this row out"), shown=False),
        Action(
            "delete_column", ("f5",), mark("column out"), mark("take this column out"), shown=False
        ),
        Action(
            "save", ("f6",), mark("save"), mark("write the chart; asks before it takes a place")
        ),
        Action("undo", ("f7",), mark("undo"), mark("take the last change back")),
        Action("insert_row", ("f8",), mark("row in"), mark("put a row above this"), shown=False),
        Action(
            "next_remark",
            ("f9",),
            mark("remark"),
            mark("go to the cell of the remark on top, then to the next; ask again what is open"),
        ),
        Action("across", ("tab", "right"), mark("cell"), mark("go one cell on"), shown=False),
        Action("back", ("left",), mark("cell"), mark("go one cell back"), shown=False),
        _UP,
        _DOWN,
        Action(
            "leave",
            ("escape",),
            mark("back"),
            mark("put the cell back; else leave: what is typed is kept as unfinished"),
        ),
        _HELP,
        _CLOSE,
    ),
    "chart_errors": (
        Action("accept", ("enter",), mark("first error"), mark("go back to the first error")),
        Action("save", ("S",), mark("save so"), mark("save the chart with its errors")),
        Action("leave", ("escape",), mark("back"), mark("go back to the table"), shown=False),
        _HELP,
        _CLOSE,
    ),
    "chart_head": (
        Action("accept", ("enter",), mark("go on"), mark("go to the next line that is open")),
        Action(
            "done",
            ("f6",),
            mark("done"),
            mark("go on with the table: lines that may stay open are left so"),
        ),
        Action("down", ("down",), mark("line"), mark("go to the line below")),
        _UP,
        Action("leave", ("escape",), mark("back"), mark("back to the table; answers are kept")),
        _HELP,
        _CLOSE,
    ),
}
"""Screen name to its actions, in the order the footer shows them."""
