"""What the try-out can do, by which keys: its lines of the register of actions."""

from __future__ import annotations

from fitcore.words import mark
from tui.action import Action

TRY_OUT = (
    Action("accept", ("enter",), mark("try"), mark("try the value typed; nothing is saved")),
    Action(
        "less",
        ("left",),
        mark("less"),
        mark("one mark of the tape less: 1 mm, or 1/8 in; half a shoe size"),
        shown=False,
    ),
    Action("more", ("right",), mark("more"), mark("one mark of the tape more"), shown=False),
    Action("much_more", ("pageup",), mark("more"), mark("1 cm, or 1 in, more"), shown=False),
    Action("much_less", ("pagedown",), mark("less"), mark("1 cm, or 1 in, less"), shown=False),
    Action("much_more", ("shift+right",), mark("more"), mark("as PgUp"), shown=False),
    Action("much_less", ("shift+left",), mark("less"), mark("as PgDn"), shown=False),
    Action("up", ("up",), mark("value"), mark("go to the value above"), shown=False),
    Action("down", ("down",), mark("value"), mark("go to the value below")),
    Action("next_chart", ("tab",), mark("chart"), mark("mark the chart below")),
    Action("last_chart", ("shift+tab",), mark("chart"), mark("mark the chart above"), shown=False),
    Action("put_back", ("f2",), mark("back"), mark("put this value back as it was measured")),
    Action("put_all_back", ("f3",), mark("all back"), mark("put all values back as measured")),
    Action(
        "other_side",
        ("f4",),
        mark("leg"),
        mark("try the other leg; what was tried at this one waits"),
        shown=False,
    ),
    Action("reasons", ("f5",), mark("why"), mark("show all that is said of the marked chart")),
    Action(
        "next_change",
        ("f6",),
        mark("changed"),
        mark("mark the next chart whose answer is another one now"),
        shown=False,
    ),
    Action("leave", ("escape",), mark("end"), mark("back to the result; all is as measured")),
    Action(
        "quit",
        ("f10", "ctrl+q"),
        mark("close"),
        mark("pause and close; what was measured is saved, what was tried is not"),
        shown=False,
    ),
)
"""Without help, which all screens have."""
