"""Starting the program on a screen and ending it with the terminal whole, whatever happened."""

from __future__ import annotations

import codecs
import os
import signal
import sys
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING

from fitcore.disk.data_folder import is_named
from fitcore.problems import FitError, ProfileError
from fitcore.words import say
from tui.app import EXIT_FAULT, AnklefirstApp
from tui.faults import tell, tell_fault

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fitcore.disk.surroundings import Surroundings


def run_app(data: Path | None, demo: bool) -> int:  # noqa: FBT001 - the command line's own flag
    """Run the program on the screen.

    Args:
        data: the data folder; None for the user's own.
        demo: whether to open a throw-away copy of the sample sessions.

    Returns:
        The exit code: 0 fine, 2 could not start or an unexpected fault, 3 ended by a signal.
    """
    from fitcore.disk.surroundings import default_data_folder, real_surroundings

    # The framework draws on stderr, on Windows on stdout.
    drawn_on = sys.stdout if sys.platform == "win32" else sys.stderr
    if not (sys.stdin.isatty() and drawn_on.isatty()) or os.environ.get("TERM") == "dumb":
        tell(say("anklefirst needs a terminal to draw on. See anklefirst --help for commands."))
        return 2
    surroundings = real_surroundings()
    if demo:
        from tui.demo import demo_copy

        with demo_copy() as copy:
            return _run(copy, surroundings, demo=True)
    code = _run(data or default_data_folder(), surroundings, demo=False)
    if code == _demo_wanted():
        return run_app(None, demo=True)
    return code


def _demo_wanted() -> int:
    from tui.screens.first_run import DEMO_WANTED

    return DEMO_WANTED


def _run(data: Path, surroundings: Surroundings, *, demo: bool) -> int:
    app = AnklefirstApp(data, surroundings, demo=demo)
    try:
        if demo:
            app.open_folder(label="demo", measurer="N-17")
        elif is_named(data):
            app.open_folder()
        _read_keys_of_any_encoding()
        with _signals_end(app):
            result = app.run(mouse=False)
    except FitError as error:
        tell(str(error.problem))
        return 2
    finally:
        app.close_folder()
    if isinstance(app.fault, ProfileError):  # names a file of the service's and what to mend
        tell(str(app.fault.problem))
        return EXIT_FAULT
    if app.fault is not None:
        tell_fault(app.fault)
        return EXIT_FAULT
    return result if result is not None else (app.return_code or 0)


def _read_keys_of_any_encoding() -> None:
    """Let a key from a terminal of another encoding be one odd character, not the end.

    The framework's input thread decodes strictly and would end the program on the first umlaut of
    a Latin-1 terminal.
    """
    if sys.platform == "win32":
        return
    from textual.drivers import linux_driver

    decoder = codecs.getincrementaldecoder("utf-8")
    replacing = partial(decoder, errors="replace")
    setattr(linux_driver, "getincrementaldecoder", lambda _name: replacing)  # noqa: B010 - theirs


@contextmanager
def _signals_end(app: AnklefirstApp) -> Iterator[None]:
    """End through the same door when the window closes, from before the first frame on."""
    names = ("SIGTERM", "SIGHUP", "SIGINT")
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before = {number: signal.signal(number, lambda *_: app.ask_to_end()) for number in numbers}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
