"""Starts anklefirst: `python -m tui`, and the console script."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from tui.command_line import run

if TYPE_CHECKING:
    from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command, or open the screen where none is named.

    Args:
        argv: the words after the program's name; None takes those of this process.

    Returns:
        The exit code: 0 fine, 1 done and a person is needed, 2 wrong use or nothing could be
        done, 3 ended by a signal.
    """
    return run(sys.argv[1:] if argv is None else argv)


if __name__ == "__main__":
    sys.exit(main())
