"""Drives the real program in a pseudo-terminal, as a person at a keyboard would.

Nothing here sleeps: every wait is a condition with a deadline, and the program's output is read
all the while, so that it never blocks on a full pipe. Linux and macOS only; import this module
below `pytest.importorskip("termios")`.
"""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
import warnings
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

ROOT = Path(__file__).resolve().parents[2]
DEADLINE_SECONDS = 30.0
"""Generous: two cores, and other tests run at the same time."""
POLL_SECONDS = 0.02

ENTER = "\r"
ESCAPE = "\x1b"
F2 = "\x1bOQ"
F5 = "\x1b[15~"
UP = "\x1b[A"
CTRL_Q = "\x11"

ALTERNATE_SCREEN = b"\x1b[?1049h"
LEFT_ALTERNATE_SCREEN = b"\x1b[?1049l"
CURSOR_HIDDEN = b"\x1b[?25l"
CURSOR_SHOWN = b"\x1b[?25h"

_ESCAPES = re.compile(
    rb"\x1b\[[0-?]*[ -/]*[@-~]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1bP[^\x1b]*\x1b\\|\x1b[@-Z=>]"
)
_CURSOR_LEFT_AT = re.compile(rb"\x1b\[(\d+);(\d+)H\Z")
_DROPPED = ("COLORTERM", "NO_COLOR", "TEXTUAL_THEME", "TEXTUAL_COLOR_SYSTEM", "TEXTUAL")


class Terminal:
    """One program in one pseudo-terminal of 80 by 24."""

    def __init__(
        self,
        command: Sequence[str],
        *,
        env: Mapping[str, str] | None = None,
        size: tuple[int, int] = (80, 24),
    ) -> None:
        """Start a command with the pseudo-terminal as its controlling terminal."""
        self.output = b""
        self.code: int | None = None
        """Exit code once it has ended; minus the signal's number where one killed it."""
        self.ended_at = 0.0
        self.master, self._slave = pty.openpty()
        columns, rows = size
        fcntl.ioctl(self._slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.modes_before = termios.tcgetattr(self._slave)
        surroundings = {key: value for key, value in os.environ.items() if key not in _DROPPED}
        surroundings |= {"TERM": "xterm-256color", "LC_ALL": "C.UTF-8", "PYTHONPATH": str(ROOT)}
        surroundings |= env or {}
        self.started_at = time.perf_counter()
        with warnings.catch_warnings():
            # The child does nothing but become the program, so other threads do not matter.
            warnings.simplefilter("ignore", DeprecationWarning)
            self.pid = os.fork()
        if not self.pid:
            try:
                os.close(self.master)
                os.login_tty(self._slave)
                os.chdir(ROOT)
                os.execve(command[0], list(command), surroundings)  # noqa: S606 - no shell wanted
            finally:
                os._exit(127)

    # --- what the program shows ----------------------------------------------------------------

    @property
    def text(self) -> str:
        """Everything it has written, without colours and cursor moves."""
        return _ESCAPES.sub(b"", self.output).decode(errors="replace")

    def read(self, seconds: float = POLL_SECONDS) -> bool:
        """Read what is there, waiting at most so long; whether anything came."""
        if self.master < 0:
            return False
        ready, _, _ = select.select([self.master], [], [], seconds)
        if not ready:
            return False
        with suppress(OSError):
            self.output += os.read(self.master, 1 << 16)
        return True

    def until(
        self, condition: Callable[[], object], what: str, seconds: float = DEADLINE_SECONDS
    ) -> None:
        """Read on until a condition holds."""
        deadline = time.monotonic() + seconds
        while not condition():
            if time.monotonic() > deadline:
                raise AssertionError(f"no {what} after {seconds} s; last shown:\n{self.tail()}")
            if not self.read() and self.has_ended():
                self._read_rest()
                if condition():
                    return
                raise AssertionError(f"ended with {self.code} before {what}:\n{self.tail()}")

    def until_shown(self, words: str, *, after: int = 0, seconds: float = DEADLINE_SECONDS) -> None:
        """Read on until words have been written, later than a mark taken from `mark()`."""
        self.until(
            lambda: words in _ESCAPES.sub(b"", self.output[after:]).decode(errors="replace"),
            repr(words),
            seconds,
        )

    def mark(self) -> int:
        """Return where the output has come to."""
        return len(self.output)

    def tail(self) -> str:
        """Return the end of the output for a failure's message."""
        return self.text[-1_500:]

    @property
    def cursor_row(self) -> int:
        """Row the program has left the terminal's cursor in after a paint; 0 while it paints."""
        return self._cursor()[0]

    @property
    def cursor_column(self) -> int:
        """Column it has left the cursor in; 0 while it paints."""
        return self._cursor()[1]

    def _cursor(self) -> tuple[int, int]:
        found = _CURSOR_LEFT_AT.search(self.output)
        return (int(found[1]), int(found[2])) if found else (0, 0)

    # --- what the person does ------------------------------------------------------------------

    def type(self, *keys: str) -> None:
        """Send keys."""
        os.write(self.master, "".join(keys).encode())

    def send(self, number: signal.Signals) -> None:
        """Send the program a signal."""
        os.kill(self.pid, number)

    def hang_up(self) -> None:
        """Take the terminal away, as a closed window does."""
        os.close(self._slave)
        os.close(self.master)
        self._slave = self.master = -1

    # --- its end -------------------------------------------------------------------------------

    def has_ended(self) -> bool:
        """Whether the program has ended."""
        if self.code is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.code = os.waitstatus_to_exitcode(status)
                self.ended_at = time.perf_counter()
        return self.code is not None

    def wait(self, seconds: float = DEADLINE_SECONDS) -> int:
        """Wait for its end and return the exit code."""
        deadline = time.monotonic() + seconds
        while not self.has_ended():
            if time.monotonic() > deadline:
                raise AssertionError(f"still running after {seconds} s:\n{self.tail()}")
            if self.master >= 0:
                self.read()
            else:
                select.select([], [], [], POLL_SECONDS)
        self._read_rest()
        assert self.code is not None
        return self.code

    def kill(self) -> None:
        """Kill it, as a pulled plug would end it: nothing of its own runs any more."""
        self.send(signal.SIGKILL)
        assert self.wait() == -signal.SIGKILL

    def close(self) -> None:
        """End it whatever it does, and give the terminal back."""
        if not self.has_ended():
            with suppress(ProcessLookupError):
                self.send(signal.SIGKILL)
            self.wait()
        for descriptor in (self._slave, self.master):
            if descriptor >= 0:
                os.close(descriptor)
        self._slave = self.master = -1

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def assert_whole(self) -> None:
        """Check that the terminal is left as it was found."""
        entered, left = (
            self.output.rfind(ALTERNATE_SCREEN),
            self.output.rfind(LEFT_ALTERNATE_SCREEN),
        )
        assert entered >= 0, "it never used the alternate screen"
        assert left > entered, "it stayed in the alternate screen"
        hidden, shown = self.output.rfind(CURSOR_HIDDEN), self.output.rfind(CURSOR_SHOWN)
        assert shown > hidden, "the cursor stayed hidden"
        for mode in (b"1000", b"1002", b"1003", b"1006", b"1015", b"2004", b"1004"):
            on, off = self.output.rfind(b"\x1b[?%sh" % mode), self.output.rfind(b"\x1b[?%sl" % mode)
            assert off >= on, f"mode {mode.decode()} stayed on"
        assert termios.tcgetattr(self._slave) == self.modes_before, "the modes were not restored"

    def after_screen(self) -> str:
        """Return what was written once the alternate screen had been left."""
        _, _, rest = self.output.rpartition(LEFT_ALTERNATE_SCREEN)
        return _ESCAPES.sub(b"", rest).decode(errors="replace").strip()

    def _read_rest(self) -> None:
        while self.read(0):
            pass


def program(data: Path, *words: str) -> list[str]:
    """Return the command that starts the program on a data folder."""
    return [sys.executable, "-m", "tui", "--data", str(data), *words]


def patched_program(data: Path, patch: str) -> list[str]:
    """Return the command that starts the program after some lines of Python have run."""
    start = f"from tui.__main__ import main\nraise SystemExit(main(['--data', {str(data)!r}]))"
    return [sys.executable, "-c", f"{patch}\n{start}"]
