"""Names of sizes as tables print them: `M / long`, `S (wide)`, to the size and its variant."""

from __future__ import annotations

import re

_VARIANTS = frozenset({
    "wide", "x-wide", "extra-wide", "narrow", "short", "long", "x-long", "regular", "normal",
    "standard", "petite", "tall", "plus", "max", "extra", "calf", "width", "length",
})  # fmt: skip
_WHOLE = frozenset({
    "wide", "narrow", "short", "long", "regular", "normal", "standard", "petite", "tall",
    "plus",
})  # fmt: skip
_NEVER_LAST = ("extra",)


def split_size(text: str) -> tuple[str, str]:
    """Part the cell of a size; the words of the variant stay as they are printed."""
    words = [word for word in re.split(r"[\s/,()]+", text) if word]
    for at in range(1, len(words)):
        if words[at - 1].casefold() not in _NEVER_LAST and _are_variant(words[at:]):
            return " ".join(words[:at]), " ".join(words[at:])
    return text, ""


def is_variant(text: str) -> bool:
    """Whether a cell holds nothing but the name of a variant: `extra wide`, `short`."""
    return _are_variant([word for word in re.split(r"[\s/,()]+", text) if word])


def _are_variant(words: list[str]) -> bool:
    folded = [word.casefold() for word in words]
    return (
        bool(folded)
        and set(folded) <= _VARIANTS
        and folded[-1] not in _NEVER_LAST
        and any(word.removeprefix("x-").removeprefix("extra-") in _WHOLE for word in folded)
    )
