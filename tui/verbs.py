"""What may stand on the command line: the verbs, their arguments and their help."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from fitcore.words import mark, say
from tui.commands import wrong_use

if TYPE_CHECKING:
    from collections.abc import Sequence

PROGRAM = "anklefirst"

VERBS = {
    "where": mark("tell the folders in use"),
    "new": mark("begin a session for a client and print its id"),
    "set": mark("answer one field of a session"),
    "record": mark("record one reading, or why it was not taken"),
    "correct": mark("replace a reading; the old one is kept"),
    "withdraw": mark("strike an entry out; it is kept"),
    "remark": mark("add a remark to a session"),
    "import": mark("import a measuring sheet in CSV"),
    "chart": mark("get a maker's size table in, and look at charts"),
    "fit": mark("match sessions to size charts"),
    "note": mark("write the referral note of a session"),
    "pressure": mark("illustrate the pressure of a garment up a leg"),
    "classes": mark("tell the pressure class of mmHg, or the mmHg of a class"),
    "screen": mark("tell from a file of answers whether compression may be fitted"),
    "quality": mark("tell the repeat error by measurer and point"),
    "check": mark("check sessions, charts, protocols, rules or whole folders"),
    "merge": mark("merge sticks or laptops' folders into an archive"),
    "conflicts": mark("list what only a person can answer after a merge"),
    "decide": mark("answer questions of a merge; the answer travels"),
    "link": mark("say that clients' codes are one person's"),
    "unlink": mark("take back what was said of clients' codes"),
    "distinct": mark("say that clients' codes are different people's"),
    "verify": mark("check an archive against its seals and its list of files"),
    "carry-back": mark("write the archive to a stick for the laptops"),
}
"""Every verb there is, with what it does."""

_LONGEST_MESSAGE = 300
"""Characters of an argument's fault that are shown; ours, five lines of a small screen."""


class HelpAsked(Exception):  # noqa: N818 - no fault: somebody asked
    """Somebody asked for help; carries the text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text


class _Help(argparse.Action):
    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,  # noqa: ARG002 - the signature argparse calls
        values: str | Sequence[object] | None,  # noqa: ARG002
        option_string: str | None = None,  # noqa: ARG002
    ) -> NoReturn:
        raise HelpAsked(parser.format_help())


class Parser(argparse.ArgumentParser):
    """Reads words; a fault is raised as a `FitError`, so that one place tells it."""

    def __init__(self, name: str, description: str) -> None:
        super().__init__(prog=name, description=description, add_help=False, allow_abbrev=False)
        self.add_argument(
            "-h", "--help", action=_Help, nargs=0, help=say("show this help and do nothing else")
        )
        self.add_argument(
            "--data", metavar="DIR", help=say("data folder (default: this user's own)")
        )
        self.add_argument(
            "--json", action="store_true", help=say("print one JSON document instead of text")
        )

    def error(self, message: str) -> NoReturn:
        """Raise what is wrong with the words, with the usage as the mend."""
        usage = " ".join(self.format_usage().split()).removeprefix("usage: ")
        text = f"{message[:1].upper()}{message[1:_LONGEST_MESSAGE]}."
        raise wrong_use(text, say("Write it as: {usage}", usage=usage))


def main_parser() -> Parser:
    """Return the parser of a line without a verb."""
    parser = Parser(
        PROGRAM,
        say(
            "Measure legs for compression hosiery and match them to size charts. "
            "Without a command it opens the screen."
        ),
    )
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    names = [f"  {name:<10} {say(words)}" for name, words in VERBS.items()]
    parser.epilog = "\n".join(
        [
            say("commands ({program} COMMAND --help tells more):", program=PROGRAM),
            *names,
            "",
            say("exit codes: 0 fine; 1 done, a person is needed; 2 wrong use or nothing could be"),
            say("done; 3 ended by a signal"),
        ]
    )
    parser.add_argument("--version", action="store_true", help=say("print the version"))
    parser.add_argument(
        "--demo", action="store_true", help=say("open the screen on a throw-away copy of samples")
    )
    return parser


def verb_parser(verb: str) -> Parser:
    """Return the parser of one verb.

    Raises:
        FitError: there is no such verb.
    """
    if verb not in VERBS:
        raise wrong_use(
            say("There is no command '{verb}'.", verb=verb[:40]),
            say("Commands: {names}.", names=", ".join(VERBS)),
        )
    parser = Parser(f"{PROGRAM} {verb}", say(VERBS[verb]).capitalize() + ".")
    _ADD_ARGUMENTS.get(verb, _add_none)(parser)
    return parser


def _add_none(parser: Parser) -> None:
    """`where` has no arguments of its own; those of `chart` stand with its subcommands."""


def _add_new(parser: Parser) -> None:
    parser.add_argument(
        "--client", required=True, metavar="CODE", help=say("the client's code, never a name")
    )
    parser.add_argument("--protocol", metavar="ID", help=say("what will be measured"))


def _add_set(parser: Parser) -> None:
    _add_session(parser)
    parser.add_argument(
        "what",
        metavar="WHAT",
        help=say("the field, such as posture, screen.heart or pressure.arm_left"),
    )
    parser.add_argument("answer", metavar="IS", help=say("the answer; several parted by commas"))


def _add_record(parser: Parser) -> None:
    _add_session(parser)
    parser.add_argument("side", metavar="SIDE", help=say("left, right, or both for a shoe size"))
    parser.add_argument("point", metavar="POINT", help=say("a letter such as B, or foot"))
    parser.add_argument("kind", metavar="KIND", help=say("girth, length or shoe"))
    parser.add_argument(
        "value", metavar="VALUE", nargs="?", help=say("as read: 22.4 or 22,4 or 8 7/8 in, or EU 39")
    )
    parser.add_argument("--round", type=int, metavar="N", help=say("which time round (1 to 99)"))
    parser.add_argument("--not-taken", metavar="REASON", help=say("why there is no value"))


def _add_correct(parser: Parser) -> None:
    _add_entry(parser)
    parser.add_argument("value", metavar="VALUE", help=say("what the tape shows"))
    _add_why(parser)


def _add_withdraw(parser: Parser) -> None:
    _add_entry(parser)
    parser.add_argument("--who", metavar="CODE", help=say("staff code: who strikes it out"))
    _add_why(parser)


def _add_remark(parser: Parser) -> None:
    _add_session(parser)
    parser.add_argument("text", metavar="TEXT", help=say("the remark; never a name"))


def _add_import(parser: Parser) -> None:
    parser.add_argument("sheet", metavar="CSV", type=Path, help=say("the sheet, UTF-8"))
    parser.add_argument(
        "--zone", metavar="ZONE", help=say("time zone of times without an offset: Europe/Berlin")
    )


def _add_fit(parser: Parser) -> None:
    _add_paths(parser, say("data folders or session files"))
    parser.add_argument(
        "--chart", metavar="ID", action="append", help=say("only this chart; may be repeated")
    )
    parser.add_argument(
        "--charts", metavar="DIR", type=Path, help=say("charts from this folder and no others")
    )


def _add_note(parser: Parser) -> None:
    parser.add_argument("file", metavar="FILE", help=say("session file, or a session's id"))
    parser.add_argument("--out", metavar="FILE", help=say("write it to this new file"))


def _add_pressure(parser: Parser) -> None:
    parser.add_argument("file", metavar="FILE", help=say("session file, or a session's id"))
    parser.add_argument("side", metavar="SIDE", help=say("left or right"))
    parser.add_argument("--chart", metavar="ID", required=True, help=say("the garment's chart"))
    parser.add_argument("--out", metavar="SVG", help=say("draw it as SVG into this new file"))


def _add_classes(parser: Parser) -> None:
    parser.add_argument("amount", metavar="AMOUNT", nargs="?", help=say("a pressure, such as 22"))
    parser.add_argument("--unit", default="mmHg", help=say("mmHg, hPa or kPa"))
    parser.add_argument("--class", dest="of_class", metavar="CLASS", help=say("a class, such as 2"))


def _add_quality(parser: Parser) -> None:
    _add_paths(parser, say("data folders or session files"))


def _add_screen(parser: Parser) -> None:
    parser.add_argument(
        "answers",
        metavar="ANSWERS",
        nargs="?",
        type=Path,
        help=say("TOML file with [answers] and [pressures]"),
    )
    parser.add_argument(
        "--rules",
        metavar="FILE",
        type=Path,
        help=say("rule file to use, or the name of one (default: what screening/use.toml names)"),
    )
    parser.add_argument(
        "--questions", action="store_true", help=say("print the questions and their ids")
    )


def _add_check(parser: Parser) -> None:
    _add_paths(parser, say("files or folders"))


def _add_merge(parser: Parser) -> None:
    _add_archive(parser)
    parser.add_argument(
        "sticks",
        metavar="STICK",
        nargs="+",
        type=Path,
        help=say("sticks or data folders; nothing is written on them"),
    )
    parser.add_argument(
        "--dry-run", action="store_true", help=say("only tell what would come of it")
    )
    parser.add_argument(
        "--engine",
        choices=("plain", "dask"),
        default="plain",
        help=say("where sessions are merged: here, or on a cluster (same result)"),
    )
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help=say("the cluster's scheduler; without it, one on this machine alone"),
    )
    parser.add_argument(
        "--partitions", metavar="N", type=int, help=say("parts for the cluster to merge")
    )


def _add_archive(parser: Parser) -> None:
    parser.add_argument("archive", metavar="ARCHIVE", type=Path, help=say("the data folder"))


def _add_conflicts(parser: Parser) -> None:
    parser.add_argument(
        "archive",
        metavar="ARCHIVE",
        nargs="?",
        type=Path,
        help=say("the data folder (default: the one of --data)"),
    )
    parser.add_argument(
        "--links", action="store_true", help=say("list what was said of clients' codes, too")
    )


def _add_decide(parser: Parser) -> None:
    parser.add_argument(
        "ids", metavar="ID", nargs="+", help=say("a question's id, or its first 4 characters")
    )
    parser.add_argument(
        "value",
        metavar="VALUE",
        help=say(
            "one of the values shown, an entry's name, or another answer; of a stop after a size "
            "was given: told, with whom and how as the reason"
        ),
    )
    _add_who(parser)
    _add_why(parser)
    parser.add_argument(
        "--all-like",
        action="store_true",
        help=say("answer all open questions of the same field and values alike; shows them first"),
    )
    parser.add_argument("--yes", action="store_true", help=say("with --all-like: do it"))


def _add_codes(parser: Parser) -> None:
    parser.add_argument("codes", metavar="CODE", nargs="+", help=say("two clients' codes or more"))
    _add_who(parser)
    _add_why(parser)


def _add_new_codes(parser: Parser) -> None:
    _add_codes(parser)
    parser.add_argument(
        "--to-come",
        action="store_true",
        help=say("a code no session here has yet is right all the same"),
    )


def _add_who(parser: Parser) -> None:
    parser.add_argument("--who", required=True, metavar="CODE", help=say("staff code: who says so"))


def _add_carry_back(parser: Parser) -> None:
    parser.add_argument(
        "stick", metavar="STICK", type=Path, help=say("the stick; to-laptops is written on it")
    )


def _add_session(parser: Parser) -> None:
    parser.add_argument(
        "session", metavar="SESSION", help=say("session id, or its first 8 characters or more")
    )


def _add_entry(parser: Parser) -> None:
    parser.add_argument("entry", metavar="ENTRY", help=say("an entry's name: tern-k7qd:92"))


def _add_why(parser: Parser) -> None:
    parser.add_argument("--why", required=True, metavar="W", help=say("the reason; it is kept"))


def _add_paths(parser: Parser, words: str) -> None:
    parser.add_argument("paths", metavar="PATH", nargs="+", type=Path, help=words)


_ADD_ARGUMENTS = {
    "new": _add_new,
    "set": _add_set,
    "record": _add_record,
    "correct": _add_correct,
    "withdraw": _add_withdraw,
    "remark": _add_remark,
    "import": _add_import,
    "fit": _add_fit,
    "note": _add_note,
    "pressure": _add_pressure,
    "classes": _add_classes,
    "screen": _add_screen,
    "quality": _add_quality,
    "check": _add_check,
    "merge": _add_merge,
    "verify": _add_archive,
    "conflicts": _add_conflicts,
    "decide": _add_decide,
    "link": _add_new_codes,
    "unlink": _add_codes,
    "distinct": _add_new_codes,
    "carry-back": _add_carry_back,
}
