"""A measuring point is known everywhere or nowhere: one that is half there would be lost silently.

Whoever adds one to `fitcore.points.Point` is told here where else it belongs; DEVELOPERS.md has
the whole recipe.
"""

from __future__ import annotations

import re

import pytest

from fitcore.charts.size_reasons import dimension_words
from fitcore.doubts.neighbours import HEIGHTS
from fitcore.points import POINT_ORDER, Kind, Point, place_words
from fitcore.pressures.pressure_profile import PROFILE_POINTS, level_words
from fitcore.tables.table_headings import read_heading
from fitcore.tables.table_meanings import Meaning, read_meaning

LETTERS = [point for point in Point if point is not Point.FOOT]
MEASURED = (Kind.GIRTH, Kind.LENGTH)
PLACES = [(point, kind) for point in Point for kind in MEASURED]


@pytest.mark.parametrize(("point", "kind"), PLACES, ids=str)
def test_it_has_words_of_its_own(point: Point, kind: Kind) -> None:
    try:
        words = place_words(point, kind)
    except KeyError:
        pytest.fail(f"fitcore/points.py: place_words has no words for the {kind} of {point}")
    others = {place_words(*other) for other in PLACES if other != (point, kind)}
    assert words not in others, f"fitcore/points.py: '{words}' stands for two measures"
    assert point is Point.FOOT or re.search(rf"\b{point}\b", words), (
        f"fitcore/points.py: '{words}' does not name the letter {point}"
    )


def test_it_has_its_place_up_the_leg() -> None:
    assert list(POINT_ORDER) == list(Point), "fitcore/points.py: POINT_ORDER lacks a point"


@pytest.mark.parametrize(("point", "kind"), PLACES, ids=str)
def test_a_column_of_a_makers_table_can_mean_it(point: Point, kind: Kind) -> None:
    meant = Meaning("measure", point, kind)
    said = read_meaning(f"{point} {kind}")
    assert said == meant, f"fitcore/tables/table_meanings.py: _SPEC cannot say '{point} {kind}'"
    try:
        name = meant.id
    except KeyError:
        pytest.fail(f"fitcore/tables/table_meanings.py: _GIRTH_IDS has no name for {point}")
    assert re.fullmatch(r"[a-z][a-z0-9_]{0,23}", name)
    names = [Meaning("measure", *place).id for place in PLACES]
    assert names.count(name) == 1, f"fitcore/tables/table_meanings.py: two columns are '{name}'"


@pytest.mark.parametrize("point", LETTERS, ids=str)
def test_a_heading_with_its_letter_is_understood(point: Point) -> None:
    for heading, kind in ((f"c{point}", Kind.GIRTH), (f"l{point}", Kind.LENGTH)):
        found = read_heading(heading).meaning
        assert found == Meaning("measure", point, kind), (
            f"fitcore/tables/table_headings.py: _LETTER does not know {point}: "
            f"'{heading}' was taken for {found}"
        )


@pytest.mark.parametrize(("point", "kind"), PLACES, ids=str)
def test_a_heading_with_its_words_is_understood(point: Point, kind: Kind) -> None:
    words = place_words(point, kind)
    assert read_heading(words).meaning == Meaning("measure", point, kind), words


@pytest.mark.parametrize("point", LETTERS, ids=str)
def test_a_column_named_by_its_letter_is_told_in_words(point: Point) -> None:
    assert dimension_words(f"length_{point.lower()}") == place_words(point, Kind.LENGTH)
    assert dimension_words(f"girth_{point.lower()}") == place_words(point, Kind.GIRTH)


def test_levels_up_the_leg_rise_and_have_names() -> None:
    for levels in (HEIGHTS, PROFILE_POINTS):
        assert list(levels) == sorted(levels, key=POINT_ORDER.__getitem__)
    assert len({level_words(point) for point in PROFILE_POINTS}) == len(PROFILE_POINTS)
