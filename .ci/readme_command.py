"""Print the one command line under a heading of README.md, so that CI runs what people read."""

from __future__ import annotations

import re
import sys
from pathlib import Path


def readme_command(heading: str) -> str:
    """Return the single command line of the first `sh` block under a heading.

    Raises:
        SystemExit: there is no such block, or it holds more than one command line.
    """
    readme = Path(__file__).parent.parent.joinpath("README.md").read_text(encoding="utf-8")
    block = re.search(rf"^## {heading}\n.*?^```sh\n(.*?)^```", readme, re.DOTALL | re.MULTILINE)
    lines = [line for line in (block[1] if block else "").splitlines() if line.strip()]
    if len(lines) != 1:
        sys.exit(f"README.md: '## {heading}' holds {len(lines)} command lines, wants one")
    return lines[0]


if __name__ == "__main__":
    print(readme_command(sys.argv[1]))
