"""The one register of actions: what each screen can do, by which keys, in which words.

Footer, help and key handling are all drawn from this table, so none of them can say something
else than another. Only keys that every terminal sends are used.
"""

from __future__ import annotations

from fitcore.words import mark, say
from tui.action import Action
from tui.chart_keys import CHART_KEYS
from tui.merge_keys import MERGE_KEYS
from tui.start_keys import START
from tui.try_out_keys import TRY_OUT

_HELP = Action("help", ("f1", "question_mark"), mark("help"), mark("show what the keys do"))
_QUIT = Action("quit", ("f10", "ctrl+q"), mark("close"), mark("close; everything is saved already"))
_UP = Action("up", ("up",), mark("up"), mark("go up"), shown=False)
_PAUSE_AND_QUIT = Action(
    "quit",
    ("f10", "ctrl+q"),
    mark("close"),
    mark("pause and close; everything is saved"),
    shown=False,
)
_DOWN = Action("down", ("down",), mark("down"), mark("go down"), shown=False)

ACTIONS: dict[str, tuple[Action, ...]] = {
    "first_run": (
        Action("accept", ("enter",), mark("next"), mark("accept the line and go on")),
        Action("demo", ("f2",), mark("demo"), mark("try it on invented clients; nothing is kept")),
        _UP,
        _DOWN,
        _HELP,
        _QUIT,
    ),
    "start": (*START, _UP, _DOWN, _HELP, _QUIT),
    "first_page": (
        Action(
            "accept",
            ("enter",),
            mark("go on"),
            mark("go on once every line is answered; it never answers a line itself"),
        ),
        Action("yes", ("y",), mark("yes"), mark("answer the line with yes")),
        Action("no", ("n",), mark("no"), mark("answer the line with no")),
        Action("unknown", ("question_mark",), mark("unknown"), mark("nobody knows")),
        Action(
            "all_none",
            ("N",),
            mark("none"),
            mark("on the first page: every open line was asked, none of it holds"),
        ),
        Action("down", ("down",), mark("line"), mark("go to the line below")),
        _UP,
        Action(
            "leave",
            ("escape",),
            mark("back"),
            mark("leave; what was answered line by line is kept"),
        ),
        Action("help", ("f1",), mark("help"), mark("show what the keys do")),
        _PAUSE_AND_QUIT,
    ),
    "questions": (
        Action(
            "accept",
            ("enter",),
            mark("go on"),
            mark("go on once every line is answered; it never answers a line itself"),
        ),
        Action("yes", ("y",), mark("yes"), mark("answer the line with yes")),
        Action("no", ("n",), mark("no"), mark("answer the line with no")),
        Action("unknown", ("question_mark",), mark("unknown"), mark("nobody knows")),
        Action("down", ("down",), mark("line"), mark("go to the line below")),
        _UP,
        Action(
            "leave",
            ("escape",),
            mark("back"),
            mark("leave; what was answered line by line is kept"),
        ),
        Action("help", ("f1",), mark("help"), mark("show what the keys do")),
        _PAUSE_AND_QUIT,
    ),
    "clearance": (
        Action("accept", ("enter",), mark("on"), mark("go on with questions or measuring")),
        Action("up", ("up",), mark("rule"), mark("mark the rule above"), shown=False),
        _DOWN,
        Action("decision", ("f2",), mark("decide"), mark("record a prescriber's decision")),
        Action("note", ("f3",), mark("note"), mark("show the referral note")),
        Action(
            "assessment",
            ("f4",),
            mark("assess"),
            mark("record a new assessment of what the marked HOLD rests on"),
        ),
        Action("pressures", ("f5",), mark("ABPI"), mark("blood pressures at arms and ankles")),
        Action("told", ("f6",), mark("told"), mark("record who was told")),
        Action(
            "questions",
            ("f7",),
            mark("answers"),
            mark("go back to the questions; a later answer never loses the earlier one"),
            shown=False,
        ),
        Action(
            "measure",
            ("f8",),
            mark("measure"),
            mark("measure all the same: after a stop only what the referral needs"),
            shown=False,
        ),
        Action("leave", ("escape",), mark("pause"), mark("stop here and come back later")),
        _HELP,
        _PAUSE_AND_QUIT,
    ),
    "setup": (
        Action(
            "accept",
            ("enter",),
            mark("accept"),
            mark("accept the line and go to the next; after the last open line, start measuring"),
        ),
        Action("next_choice", ("right",), mark("change"), mark("take the next answer")),
        Action(
            "last_choice", ("left",), mark("change"), mark("take the answer before"), shown=False
        ),
        Action("down", ("down",), mark("other lines"), mark("go to the line below")),
        _UP,
        Action(
            "clearance",
            ("f7",),
            mark("fit?"),
            mark("show whether compression may be fitted, and the answers behind it"),
        ),
        Action(
            "measure",
            ("f8",),
            mark("measure"),
            mark("back to measuring with all lines as they stand, once it has begun"),
            shown=False,
        ),
        Action(
            "leave", ("escape",), mark("back"), mark("back to the start; accepted lines are kept")
        ),
        _HELP,
        _QUIT,
    ),
    "measure": (
        Action(
            "accept",
            ("enter",),
            mark("save"),
            mark(
                "save the reading and go to the next "
                "field; on a field that has one, a new value is a correction"
            ),
        ),
        Action("up", ("up",), mark("back"), mark("go to the field before")),
        Action("down", ("down",), mark("on"), mark("go to the field after"), shown=False),
        Action(
            "not_taken", ("f2",), mark("not taken"), mark("this reading cannot be taken; say why")
        ),
        Action(
            "strike_out",
            ("f3",),
            mark("strike"),
            mark("the reading shown is wrong; it is kept, struck out, with the reason"),
        ),
        Action(
            "other_leg",
            ("f4",),
            mark("other leg"),
            mark("these readings were taken on the other leg: move them"),
        ),
        Action("remark", ("f5",), mark("remark"), mark("note something"), shown=False),
        Action(
            "result",
            ("f6",),
            mark("result"),
            mark("show the result with what there is"),
            shown=False,
        ),
        Action(
            "questions",
            ("f7",),
            mark("questions"),
            mark("go back to the questions before measuring"),
            shown=False,
        ),
        Action(
            "skip_repeats",
            ("f8",),
            mark("no repeats"),
            mark("leave the repeats out, with the reason; again: take them up"),
            shown=False,
        ),
        Action(
            "next_doubt", ("f9",), mark("doubt"), mark("go to the next field in doubt"), shown=False
        ),
        Action(
            "leave", ("escape",), mark("pause"), mark("stop here and come back to this field later")
        ),
        _HELP,
        _PAUSE_AND_QUIT,
    ),
    "review": (
        Action("accept", ("enter",), mark("go there"), mark("go where the doubt is mended")),
        Action("up", ("up",), mark("doubt"), mark("mark the doubt above")),
        _DOWN,
        Action("measure", ("f2",), mark("measure"), mark("go back to the readings")),
        Action("result", ("f6",), mark("result"), mark("show the result all the same")),
        Action(
            "shape", ("f8",), mark("shape"), mark("say what the legs' shape is, which no tape sees")
        ),
        Action("leave", ("escape",), mark("pause"), mark("stop here; the session is not finished")),
        _HELP,
        _PAUSE_AND_QUIT,
    ),
    "result": (
        Action(
            "finish",
            ("enter",),
            mark("finish"),
            mark("mark the session finished and go to the start"),
        ),
        Action("up", ("up",), mark("chart"), mark("show the chart above")),
        _DOWN,
        Action(
            "other_side",
            ("right", "left", "tab"),
            mark("leg"),
            mark("show the reasons for the other leg"),
        ),
        Action("measure", ("f2",), mark("measure"), mark("go back to the readings")),
        Action(
            "notes",
            ("f3",),
            mark("notes"),
            mark("show the values used, every note and every remark"),
        ),
        Action(
            "picture",
            ("f5",),
            mark("pressure"),
            mark("illustrate how the garment may press up this leg; never a choice of size"),
            shown=False,
        ),
        Action(
            "try_out",
            ("f7",),
            mark("try out"),
            mark("see what other values would come to; nothing is saved"),
            shown=False,
        ),
        Action(
            "clearance",
            ("f4",),
            mark("fit?"),
            mark("show whether compression may be fitted, and the answers behind it"),
        ),
        Action(
            "favourite",
            ("f9",),
            mark("favourite"),
            mark("take the marked chart among those shown first, or out of them"),
            shown=False,
        ),
        Action(
            "shape",
            ("f8",),
            mark("shape"),
            mark("say what the legs' shape is, which no tape sees"),
            shown=False,
        ),
        Action("leave", ("escape",), mark("pause"), mark("back to the start, not finished yet")),
        _HELP,
        Action(
            "quit",
            ("f10", "ctrl+q"),
            mark("close"),
            mark("close; everything is saved already"),
            shown=False,
        ),
    ),
    "try_out": (*TRY_OUT, _HELP),
    "reason": (
        Action("accept", ("enter",), mark("accept"), mark("accept the reason")),
        Action("down", ("down",), mark("choose"), mark("mark the answer below")),
        _UP,
        Action("leave", ("escape",), mark("back"), mark("back; nothing is recorded")),
        _QUIT,
    ),
    "confirm": (
        Action("accept", ("enter",), mark("yes"), mark("do it")),
        Action("leave", ("escape",), mark("no"), mark("back; nothing is recorded")),
        _QUIT,
    ),
    "text": (
        Action("leave", ("escape", "enter", "f1"), mark("back"), mark("back")),
        Action("down", ("down", "pagedown"), mark("more"), mark("go down")),
        Action("up", ("up", "pageup"), mark("up"), mark("go up"), shown=False),
        _QUIT,
    ),
    **CHART_KEYS,
    **MERGE_KEYS,
}
"""Screen name to its actions, in the order the footer shows them."""

_KEY_WORDS = {
    "enter": mark("Enter"),
    "escape": mark("Esc"),
    "up": "↑",
    "down": "↓",
    "left": "←",
    "right": "→",
    "tab": mark("Tab"),
    "question_mark": "?",
    "pagedown": mark("PgDn"),
    "pageup": mark("PgUp"),
    "space": mark("Space"),
}


def find_action(screen: str, key: str) -> Action | None:
    """Return what a key does on a screen, or None where it does nothing special."""
    return next((action for action in ACTIONS.get(screen, ()) if key in action.keys), None)


def key_words(key: str) -> str:
    """Return a key's name as it stands on the keyboard."""
    if key in _KEY_WORDS:
        return say(_KEY_WORDS[key])
    if len(key) == 1:
        return say("Shift+{key}", key=key) if key.isupper() else key
    return "+".join(part.capitalize() for part in key.split("+"))


def footer_parts(screen: str, columns: int) -> tuple[tuple[str, str], ...]:
    """Return (key, word) of each action the footer of a screen shows.

    Args:
        screen: the screen's name.
        columns: how wide the window is; where not all fit, those that can be spared are left out.
    """
    shown = [action for action in ACTIONS.get(screen, ()) if action.shown]
    parts = [(key_words(action.keys[0]), say(action.label)) for action in shown]
    if len("  ".join(f"{key} {word}" for key, word in parts)) < columns:  # a blank stands before
        return tuple(parts)
    return tuple(part for part, action in zip(parts, shown, strict=True) if not action.spared)


def help_rows(screen: str) -> tuple[tuple[str, str], ...]:
    """Return (keys, what they do) of every action of a screen."""
    return tuple(
        (" ".join(key_words(key) for key in action.keys), say(action.help))
        for action in ACTIONS.get(screen, ())
    )
