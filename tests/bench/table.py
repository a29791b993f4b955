"""What all benchmarks share: rows of ratios, the machine's name, a home folder of their own."""

from __future__ import annotations

import os
import platform
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parents[2]
"""The project's folder."""


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    what: str
    ours: str
    against: str
    ratio: float
    budget: float | None = None

    def line(self) -> str:
        """Write it for people."""
        verdict = "" if self.budget is None else ("ok" if self.ratio <= self.budget else "OVER")
        budget = "" if self.budget is None else f"{self.budget:.1f}"
        return (
            f"{self.what:<46}{self.ours:>12}{self.against:>12}{self.ratio:>8.2f}{budget:>8}"
            f"  {verdict}"
        )


def print_head() -> None:
    """Print the machine's name and the table's head."""
    print(machine())
    print(f"{'':<46}{'ours':>12}{'against':>12}{'ratio':>8}{'budget':>8}", flush=True)


def machine() -> str:
    """Name the machine."""
    cpu = "unknown processor"
    for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
        if line.startswith("model name"):
            cpu = line.partition(":")[2].strip()
            break
    load = os.getloadavg()[0]
    return (
        f"{cpu}, {os.cpu_count()} cores, load {load:.1f} at the start, "
        f"{platform.system()} {platform.release()}, Python {platform.python_version()}"
    )


@contextmanager
def own_home() -> Iterator[Path]:
    """Give a temporary folder, with an empty home in it for this process and its children.

    It lies where `TMPDIR` says: name a folder of the disk that is to be measured.
    """
    with tempfile.TemporaryDirectory(prefix="anklefirst-bench-") as name:
        root = Path(name)
        for variable in ("HOME", "XDG_STATE_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
            os.environ[variable] = str(root / "home")
        # As an installed program: compiled once, and not again at each start.
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(root / "compiled")
        yield root
