"""Ids computed from content: equal on every machine, so they can be counted, cited and printed."""

from __future__ import annotations

from hashlib import blake2b
from typing import TYPE_CHECKING

from fitcore.record.entries import render_value

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fitcore.record.entries import Entry

_BYTES = 6
"""48 bits: with 100,000 questions two share an id with a chance of 2 in 100,000 (computed)."""


def content_id(*parts: str) -> str:
    """Return twelve hex digits that stand for these texts in this order."""
    # Each length before its text: no two different lists of texts run together to one.
    told = "".join(f"{len(part)}:{part}" for part in parts)
    return blake2b(told.encode(errors="surrogatepass"), digest_size=_BYTES).hexdigest()


def version_names(entries: Iterable[Entry]) -> tuple[str, ...]:
    """Return the names of entries, sorted; of several lines under one name each gets its digest.

    The recorded time is left out of the digest: a clock that is set right changes no id.
    """
    versions: dict[str, set[str]] = {}
    for entry in entries:
        versions.setdefault(str(entry.by), set()).add(_content(entry))
    return tuple(
        sorted(
            name if len(found) == 1 else f"{name}#{content_id(content)}"
            for name, found in versions.items()
            for content in found
        )
    )


def _content(entry: Entry) -> str:
    written = (
        f"{key}={render_value(value)}"
        for key, value in sorted(entry.fields.items())
        if key not in ("by", "at")
    )
    return "\n".join([entry.array, *written])
