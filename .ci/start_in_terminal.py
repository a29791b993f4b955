"""Start a program in a pseudo-terminal, wait until it shows its name, close it by its own key."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import sys
import termios
import time

DEADLINE_SECONDS = 60
CLOSE_KEY = b"\x11"  # Ctrl+Q
START_WORDS = b"new client"


def start(command: list[str]) -> None:
    """Start the command, look for the word on its screen, and close it.

    Raises:
        SystemExit: the word never came, or the program did not end with 0.
    """
    process, terminal = pty.fork()
    if process == 0:
        os.environ["TERM"] = "xterm-256color"
        os.execvp(command[0], command)  # noqa: S606 - the wheel's own program
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    shown, closed, deadline = b"", False, time.monotonic() + DEADLINE_SECONDS
    while time.monotonic() < deadline:
        if not select.select([terminal], [], [], 0.2)[0]:
            continue
        try:
            part = os.read(terminal, 65_536)
        except OSError:
            break
        if not part:
            break
        shown += part
        if not closed and START_WORDS in shown and b"tern-" in shown:
            os.write(terminal, CLOSE_KEY)
            closed = True
    _, status = os.waitpid(process, 0 if closed else os.WNOHANG)
    if not closed or os.waitstatus_to_exitcode(status) != 0 or b"anklefirst" not in shown:
        sys.exit(f"{command[0]} did not start and end as it should: {shown[-400:]!r}")
    print("started in a terminal, showed its start screen, ended with 0")


if __name__ == "__main__":
    start(sys.argv[1:])
