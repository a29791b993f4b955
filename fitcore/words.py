"""The one door every sentence for people goes through, so that all of them can be translated.

Messages stay in English where they are used, as the key of a gettext catalogue. This module does
not choose a language: the edge that starts the program installs one.
"""

from gettext import NullTranslations

_catalogues: list[NullTranslations] = [NullTranslations()]


def say(message: str, /, **values: object) -> str:
    """Return a sentence in the language in use, with its values filled in.

    Args:
        message: the English sentence; it is the catalogue key, so it must be a plain literal.
        values: what the braces in the sentence stand for. They are inserted as they are, so a
            brace in a client's code is only a brace.
    """
    sentence = _catalogues[-1].gettext(message)
    return sentence.format(**values) if values else sentence


def mark(message: str) -> str:
    """Return a sentence unchanged: it stands in a table and goes through `say` when shown."""
    return message


def speak(catalogue: NullTranslations) -> None:
    """Use another catalogue from now on (called once, by the edge that starts the program)."""
    _catalogues[-1] = catalogue
