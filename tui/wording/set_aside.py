"""A file that is set aside, in words: what is wrong with it, whose it seems to be, what to do."""

from __future__ import annotations

from fitcore.words import say


def wrong_words(text: str, whose: str) -> str:
    """Say what is wrong with a file, and whose it seems to be where its bytes tell.

    Args:
        text: what is wrong, a sentence.
        whose: client and laptop; empty where nothing can be told.
    """
    return say("{text} ({whose})", text=text, whose=whose) if whose else text


def to_do_words(mend: str) -> str:
    """Say what is to be done."""
    return say("To do: {mend}", mend=mend)
