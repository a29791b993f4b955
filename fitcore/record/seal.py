"""The seal under a file's data lines: an unkeyed 128-bit digest against accident, not intent.

It covers every line that is neither blank nor a comment, without indentation and trailing blanks,
up to the `[seal]` heading. Headings for people may be worded anew without touching it.
"""

from __future__ import annotations

from hashlib import blake2b
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def digest_lines(data_lines: Iterable[str]) -> str:
    """Return the digest of stripped data lines, joined by line feeds, as 32 hex digits."""
    return blake2b("\n".join(data_lines).encode(), digest_size=16).hexdigest()


def seal_lines(data_lines: Iterable[str], entries: int) -> list[str]:
    """Return the lines of the `[seal]` table."""
    return ["[seal]", f"lines = {entries}", f'blake2b = "{digest_lines(data_lines)}"']
