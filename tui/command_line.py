"""The command line: reads the words, runs one command, and shows what came of it.

The one place where a fault becomes words or JSON, and where output is made safe to show. Loads no
screen and no chart reader before a command asks for them.
"""

from __future__ import annotations

import io
import json
import signal
import sys
import threading
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from fitcore.clean_text import visible
from fitcore.problems import FitError, Problem
from fitcore.words import say
from tui.commands import ExitCode, Outcome, wrong_use
from tui.verbs import HelpAsked, main_parser, verb_parser

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Sequence
    from types import FrameType, TracebackType

    from fitcore.disk.surroundings import Surroundings
    from tui.commands import Command


_LONGEST_NAME = 1_000
"""Characters of a file's name that a fault quotes; ours. A longer one is a text gone astray."""


class _EndedBySignal(BaseException):
    """The system asked the program to end; passes every handler of errors."""


def run(argv: Sequence[str], surroundings: Surroundings | None = None) -> int:
    """Run one command line and show its outcome.

    Args:
        argv: the words after the program's name.
        surroundings: clock, chance and folders; None takes the machine's own.

    Returns:
        The exit code.
    """
    words = list(argv)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a console that cannot show a letter still works
            stream.reconfigure(errors="backslashreplace")
    try:
        outcome = _outcome(words, surroundings)
        if isinstance(outcome, Outcome):
            _show(outcome, as_json=_asks_json(words))
        sys.stdout.flush()
    except BrokenPipeError:  # whoever read along is gone; elsewhere a signal says the same
        return int(ExitCode.BY_SIGNAL)
    except OSError as error:
        text = say("The output could not be written: {error}.", error=error.strerror)
        mend = say("What was stored is on disk. Look at where the output goes.")
        sys.stderr.write(f"{Problem(code='not_written', text=text, mend=mend)}\n")
        return int(ExitCode.NOT_DONE)
    return int(outcome.code if isinstance(outcome, Outcome) else outcome)


def _outcome(words: list[str], surroundings: Surroundings | None) -> Outcome | int:
    try:
        with _signals_end_the_run():
            return _run(words, surroundings)
    except HelpAsked as asked:
        return Outcome(ExitCode.FINE, {"help": asked.text}, [asked.text.rstrip("\n")])
    except FitError as error:
        return _fault(_for_a_command(error.problem))
    except (_EndedBySignal, KeyboardInterrupt):
        text = say("Ended by a signal.")
        mend = say("What was stored is on disk. Start again where you left off.")
        return _fault(Problem(code="ended_by_signal", text=text, mend=mend), ExitCode.BY_SIGNAL)
    except OSError as error:
        path = str(error.filename)[:_LONGEST_NAME] if error.filename else None
        text = f"{error.strerror or type(error).__name__}."
        mend = say("Check the name, the disk and the permissions.")
        return _fault(Problem(code="not_accessible", text=text, mend=mend, path=path))
    except Exception as error:  # noqa: BLE001 - the last resort: nobody may ever see a traceback
        return _fault(_unexpected(error))


def _run(words: list[str], surroundings: Surroundings | None) -> Outcome | int:
    at = _find_verb(words)
    if at is None:
        arguments = main_parser().parse_args(words)
        return _without_verb(arguments)
    verb, rest = words[at], words[:at] + words[at + 1 :]
    if verb == "chart":
        from tui.commands.charts import read_words

        arguments = read_words(rest, _find_verb(rest))
        command: Command = arguments.run
    else:
        arguments = verb_parser(verb).parse_intermixed_args(rest)
        command = _command(verb)
    if surroundings is None:
        from fitcore.disk.surroundings import real_surroundings

        surroundings = real_surroundings()
    return command(arguments, _data_folder(arguments), surroundings)


def _without_verb(arguments: argparse.Namespace) -> Outcome | int:
    if arguments.version:
        from tui.commands.places import version

        return version()
    if arguments.json:
        raise wrong_use(
            say("--json needs a command; the screen has no other form."),
            say("Name a command, such as fit or check."),
            key="--json",
        )
    data = _named_folder(arguments)
    if data is not None and not arguments.demo:
        from tui.commands.archive_folder import require_no_stick

        require_no_stick(data)
    from tui.running import run_app

    return run_app(data, bool(arguments.demo))


def _command(verb: str) -> Command:
    """Load the one command that is asked for."""
    if verb == "where":
        from tui.commands.places import where

        return where
    if verb == "import":
        from tui.commands.importing import import_sheet

        return import_sheet
    if verb == "fit":
        from tui.commands.fitting import fit

        return fit
    if verb == "screen":
        from tui.commands.screening import screen_answers

        return screen_answers
    if verb == "classes":
        from tui.commands.classes import classes

        return classes
    if verb in ("note", "pressure"):
        from tui.commands import papers

        return papers.note if verb == "note" else papers.pressure
    if verb == "quality":
        from tui.commands.quality import quality

        return quality
    if verb == "check":
        from tui.commands.checking import check

        return check
    if verb in ("merge", "verify", "carry-back"):
        from tui.commands import merging

        return {"merge": merging.merge, "verify": merging.verify}.get(verb, merging.carry_back)
    if verb in ("conflicts", "decide"):
        from tui.commands import deciding

        return deciding.conflicts if verb == "conflicts" else deciding.decide
    if verb in ("link", "unlink", "distinct"):
        from tui.commands import linking

        return {"link": linking.link, "unlink": linking.unlink}.get(verb, linking.distinct)
    from tui.commands import editing

    commands: dict[str, Command] = {
        "new": editing.new,
        "set": editing.set_answer,
        "record": editing.record,
        "correct": editing.correct,
        "withdraw": editing.withdraw,
        "remark": editing.remark,
    }
    return commands[verb]


def _find_verb(words: Sequence[str]) -> int | None:
    """Return where the verb stands: the first word that is no option and no folder of `--data`."""
    folder_next = False
    for index, word in enumerate(words):
        if not folder_next and not word.startswith("-"):
            return index
        folder_next = word == "--data" and not folder_next
    return None


def _named_folder(arguments: argparse.Namespace) -> Path | None:
    if arguments.data == "":
        raise wrong_use(say("--data names no folder."), say("Give a folder."), key="--data")
    return None if arguments.data is None else Path(arguments.data)


def _data_folder(arguments: argparse.Namespace) -> Path:
    named = _named_folder(arguments)
    if named is not None:
        return named
    from fitcore.disk.surroundings import default_data_folder

    return default_data_folder()


def _asks_json(words: Sequence[str]) -> bool:
    end = words.index("--") if "--" in words else len(words)
    return "--json" in words[:end]


@contextmanager
def _signals_end_the_run() -> Iterator[None]:
    """Let a request to end close files and locks on its way out; the screen installs its own."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(_number: int, _frame: FrameType | None) -> NoReturn:
        raise _EndedBySignal

    names = ("SIGTERM", "SIGHUP")
    found = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.signal(number, end) for number in found}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _fault(problem: Problem, code: ExitCode = ExitCode.NOT_DONE) -> Outcome:
    said = problem.text if problem.code == "unexpected" else str(problem)
    return Outcome(code, {"problems": [problem.as_json()]}, [], [said])


def _for_a_command(problem: Problem) -> Problem:
    """Return a problem with a mend that fits a command: there is no field to press Enter in."""
    if problem.code != "not_saved":
        return problem
    mend = say(
        "Look whether this disk is full or read-only, mend that, then give the same command again."
    )
    return replace(problem, mend=mend)


def _unexpected(error: Exception) -> Problem:
    """Tell an error nobody foresaw: its type and place, never its words, which may hold a name."""
    trace: TracebackType | None = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    file = "?" if trace is None else "/".join(Path(trace.tb_frame.f_code.co_filename).parts[-2:])
    line = 0 if trace is None else trace.tb_lineno
    return Problem(
        code="unexpected",
        text=say(
            "Nothing more was done, because of an unexpected {kind} in {file}, line {line}.",
            kind=type(error).__name__,
            file=file,
            line=line,
        ),
        mend=say("Report this sentence; it holds nothing of a client."),
    )


def _show(outcome: Outcome, *, as_json: bool) -> None:
    for note in outcome.notes:
        sys.stderr.write(f"{_shown(note)}\n")
    if as_json:
        sys.stdout.write(json.dumps(_shown_all(outcome.document)) + "\n")
        return
    for line in outcome.lines:
        sys.stdout.write(f"{_shown(line)}\n")


def _shown(text: str) -> str:
    """Return text that cannot steer a terminal, whatever file it came from."""
    return "\n".join(visible(line) for line in text.split("\n"))


def _shown_all(value: object) -> object:
    """Return a document in which every text is safe to show, as readers of JSON print it too."""
    if isinstance(value, str):
        return _shown(value)
    if isinstance(value, dict):
        return {key: _shown_all(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_shown_all(item) for item in value]
    return value
