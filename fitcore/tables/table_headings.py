"""What a heading of a maker's table means: trade words to a measuring point, or a question.

Three lengths of the lower leg are never taken for one another, nor the narrowest ankle for the
ankle bones: a heading that leaves the point open is asked about, not guessed. Words: ours, common
practice of the trade; the letters are those of `fitcore.points`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitcore.points import Kind, Point, place_words
from fitcore.problems import Problem
from fitcore.shoes import SHOE_SYSTEMS
from fitcore.tables.table_cells import UNIT_WORDS, without_unsafe_joins
from fitcore.tables.table_meanings import Meaning, Question, shoe_meaning
from fitcore.words import say

if TYPE_CHECKING:
    from fitcore.units import Unit


@dataclass(frozen=True, slots=True)
class Heading:
    """One heading, as far as it says what it means."""

    text: str
    meaning: Meaning | None = None
    unit: Unit | None = None
    question: Question | None = None
    """Set exactly where `meaning` is None."""

    @property
    def about_legs(self) -> int:
        """2 where it is surely about a measure, 1 perhaps (sizes may be called A), 0 not."""
        if self.meaning is not None:
            return 2 if self.meaning.use == "measure" else 0
        code = self.question.problem.code if self.question else "heading_unknown"
        return {"heading_unknown": 0, "girth_or_length": 1, "which_size": 1}.get(code, 2)


_PLACES = {
    "ankle": Point.B, "calf": Point.C, "below knee": Point.D, "under knee": Point.D,
    "just below knee": Point.D, "mid thigh": Point.F, "middle thigh": Point.F,
    "midthigh": Point.F, "thigh": Point.G, "upper thigh": Point.G, "top thigh": Point.G,
    "hip": Point.H, "hips": Point.H, "waist": Point.T, "ball foot": Point.A,
    "heel instep": Point.Y,
}  # fmt: skip
_FILLERS = frozenset({
    "the", "of", "at", "and", "round", "around", "girth", "girths", "circumference", "circ",
    "measurement", "measure", "measured", "length", "lengths", "height", "heights", "floor",
    "to", "from", "point", "widest", "narrowest", "largest", "smallest", "maximum", "minimum",
    "max", "min", "fullest", "part", "your", "leg",
})  # fmt: skip
_UNIT = re.compile(
    r"(?<![a-z])(?:in\s+)?(cms?|centimet(?:re|er)s?|mm|millimet(?:re|er)s?|inch(?:es)?)(?![a-z])"
    r"|[\[(]\s*(ins?|\"|″|”|'')\.?\s*[\])]|[\s,/](ins?)\.?\s*$",
    re.IGNORECASE,
)
_LETTER = re.compile(r"(?<![A-Za-z0-9])(?:([cℓl]) ?)?(B1|[AYBCDEFGKHT])(?![A-Za-z0-9'’])")
_LENGTH = re.compile(r"\b(?:lengths?|heights?|inside leg|inseam|floor to)\b")
_GIRTH = re.compile(r"\b(?:girths?|circumference|circ|round|around)\b")
_OTHER_LEVEL = re.compile(r"\b(?:hollow|popliteal|seated|sitting|back|gluteal|buttocks?|fold)\b")
_BONES = re.compile(r"\b(?:bones?|malleol\w*)\b")
_SHOE = re.compile(r"\b(?:shoes?|mondo(?:point)?)\b")
_SIZE = re.compile(r"(?:(?:garment|sock|stocking|hosiery|sleeve) )?sizes?")
_VARIANTS = frozenset({"variant", "version", "width", "fit"})
_LEG_CHOICES = (
    "B girth",
    "C girth",
    "D girth",
    "F girth",
    "G girth",
    "foot length",
    "size",
    "skip",
)


def read_heading(text: str) -> Heading:
    """Read one heading: `Ankle (cm)`, `Calf in inches`, `cB cm`, `Shoe size EU`."""
    shown = without_unsafe_joins(text)[0]
    found = [next(word for word in match if word) for match in _UNIT.findall(shown)]
    units = sorted({UNIT_WORDS[_plain_sign(word.casefold())] for word in found})
    if len(units) > 1:
        return _ask(
            shown,
            "heading_two_units",
            say("'{heading}' names two units.", heading=shown),
            say("Give each unit a column of its own, and leave out all but one."),
            ("skip",),
        )
    rest = " ".join(_UNIT.sub(" ", shown).split()).strip(" ,:;/-–()[]")
    unit = units[0] if units else None
    meant = _meaning_of(rest, shown)
    if isinstance(meant, Heading):
        return Heading(shown, None, unit, meant.question)
    return Heading(shown, meant, unit)


def _meaning_of(rest: str, shown: str) -> Meaning | Heading:
    words = " ".join(re.findall(r"[a-z0-9]+", rest.casefold()))
    for kind in (Kind.GIRTH, Kind.LENGTH):
        for point in Point:
            if shown.casefold() == place_words(point, kind).casefold().strip():
                return Meaning("measure", point, kind)
    if _SHOE.search(words):
        return _shoe_meaning(words, shown)
    if _SIZE.fullmatch(words):
        return Meaning("size")
    if words in _VARIANTS:
        return Meaning("variant")
    if re.fullmatch(r"(?:eur?|uk|us) sizes?|sizes? (?:eur?|uk|us)|eur?|uk|us", words):
        return _ask(
            shown,
            "which_size",
            say("'{heading}' may be the garment's size or the shoe's.", heading=shown),
            say("Look at the leaflet and say which."),
            ("size", "shoe eu", "shoe uk", "shoe us_men", "shoe us_women", "skip"),
        )
    letter = _LETTER.search(rest)
    if letter is None:
        return _by_words(words, shown)
    without = f"{rest[: letter.start()]} {rest[letter.end() :]}"
    words = " ".join(re.findall(r"[a-z0-9]+", without.casefold()))
    return _by_letter(Point(letter[2]), letter[1], words, shown)


def _by_letter(point: Point, sign: str | None, words: str, shown: str) -> Meaning | Heading:
    length = bool(_LENGTH.search(words)) or sign in ("l", "ℓ")
    girth = bool(_GIRTH.search(words)) or sign == "c"
    said = _PLACES.get(_core(words))
    other_point = said is not None and said is not point
    if other_point or (length and girth) or _OTHER_LEVEL.search(words) or _BONES.search(words):
        return _ask(
            shown,
            "heading_contradicts",
            say("'{heading}': the words and the letter may mean two places.", heading=shown),
            say("Look at the maker's drawing and say which measure is meant."),
            (f"{point} girth", f"{point} length", "skip"),
        )
    if length:
        return Meaning("measure", point, Kind.LENGTH)
    if girth or said is point:
        return Meaning("measure", point, Kind.GIRTH)
    if _core(words):
        return _unknown(shown)
    return _ask(
        shown,
        "girth_or_length",
        say("'{heading}' may be the girth at {point} or its height.", heading=shown, point=point),
        say("Look at the maker's drawing and say which."),
        (f"{point} girth", f"{point} length", "skip"),
    )


def _by_words(words: str, shown: str) -> Meaning | Heading:
    core = _core(words)
    if _LENGTH.search(words):
        if core == "foot":
            return Meaning("measure", Point.FOOT, Kind.LENGTH)
        return _which_length(words, shown)
    if _BONES.search(words):
        return _ask(
            shown,
            "over_the_bones",
            say(
                "'{heading}': over the ankle bones is more than the narrowest ankle (B).",
                heading=shown,
            ),
            say("Say B only where the maker means the narrowest place; no other ankle is read."),
            ("B girth", "skip"),
        )
    if core in _PLACES:
        return Meaning("measure", _PLACES[core], Kind.GIRTH)
    if core == "knee":
        return _ask(
            shown,
            "which_knee",
            say("'{heading}' may be below the knee (D) or round it (E).", heading=shown),
            say("Look at the maker's drawing and say which."),
            ("D girth", "E girth", "skip"),
        )
    if core == "foot":
        return _ask(
            shown,
            "which_foot",
            say("'{heading}' may be its length, its girth, or the shoe size.", heading=shown),
            say("Look at the leaflet and say which."),
            ("foot length", "A girth", "foot girth", "shoe eu", "shoe uk", "skip"),
        )
    return _unknown(shown)


def _which_length(words: str, shown: str) -> Heading:
    if re.search(r"\b(?:thigh|gluteal|buttocks?|inside|inseam|crotch)\b", words):
        return _ask(
            shown,
            "which_long_length",
            say(
                "'{heading}' may end at the top of the thigh (G), the gluteal fold or the crotch "
                "(K): different lengths.",
                heading=shown,
            ),
            say("Look at the maker's drawing. The gluteal fold is not G; no chart holds it yet."),
            ("G length", "K length", "F length", "skip"),
        )
    return _ask(
        shown,
        "which_length",
        say(
            "'{heading}' may be from the floor to just below the knee (D), to the hollow of the "
            "knee, or the height under the knee of someone seated: three different lengths.",
            heading=shown,
        ),
        say(
            "Look at the maker's drawing. Say D only where it ends at D; no chart holds the others."
        ),
        ("D length", "skip"),
    )


def _shoe_meaning(words: str, shown: str) -> Meaning | Heading:
    found = re.findall(r"\b(eur?|uk|us|mondo(?:point)?)\b", words)
    systems = {{"eur": "eu", "mondopoint": "mondo"}.get(word, word) for word in found}
    if systems == {"us"}:
        women = bool(re.search(r"\b(?:women|womens|ladies|w)\b", words))
        men = bool(re.search(r"\b(?:men|mens|m)\b", words))
        if women != men:
            return shoe_meaning("us_women" if women else "us_men")
        return _ask(
            shown,
            "which_us_shoe",
            say("'{heading}': US sizes differ for men and women.", heading=shown),
            say("Look at the leaflet and say which."),
            ("shoe us_men", "shoe us_women", "skip"),
        )
    if len(systems) == 1:
        name = systems.pop()
        return shoe_meaning(next(system for system in SHOE_SYSTEMS if system == name))
    return _ask(
        shown,
        "which_shoe_system",
        say("'{heading}' does not name one shoe system.", heading=shown),
        say("Look at the leaflet and say which: 39 is an EU size, 6 may be UK or US."),
        (*(f"shoe {system}" for system in SHOE_SYSTEMS), "skip"),
    )


def _core(words: str) -> str:
    return " ".join(word for word in words.split() if word not in _FILLERS)


def _unknown(shown: str) -> Heading:
    if not shown:
        text = say("This column has no heading.")
    else:
        text = say("'{heading}' is no measure this program knows.", heading=shown[:60])
    return _ask(
        shown,
        "heading_unknown",
        text,
        say("Say what it measures, or leave the column out if no size depends on it."),
        _LEG_CHOICES,
    )


def _ask(shown: str, code: str, text: str, mend: str, choices: tuple[str, ...]) -> Heading:
    problem = Problem(code=code, text=text, mend=mend)
    return Heading(shown, question=Question(problem, shown, choices))


def _plain_sign(word: str) -> str:
    return '"' if word in ("″", "”") else word
