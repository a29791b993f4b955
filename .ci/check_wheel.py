"""Check that the wheel's top level is exactly our three packages, data files included."""

from __future__ import annotations

import sys
import zipfile

PACKAGES = {"fitcore", "profiles", "tui"}
MUST_HOLD = (
    "tui/app.tcss",
    "profiles/protocols/below-knee-short.toml",
    "profiles/sample_sessions/tern/laptop.toml",
    "profiles/sets/synthetic-adults.csv",
)


def check(path: str) -> None:
    """Say what is wrong with a wheel and exit, or say that it is fine."""
    with zipfile.ZipFile(path) as wheel:
        names = wheel.namelist()
    tops = {name.split("/")[0] for name in names}
    packages = {top for top in tops if not top.endswith(".dist-info")}
    missing = [name for name in MUST_HOLD if name not in names]
    if packages != PACKAGES or missing:
        sys.exit(f"{path}: top level {sorted(packages)}, missing {missing}")
    print(f"wheel is fine: {len(names)} files in {', '.join(sorted(packages))}")


if __name__ == "__main__":
    check(sys.argv[1])
