"""What a chart's model refuses, in plain words with a mend, and what it cleans. All invented."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, get_args

import pytest

from fitcore.charts.chart import Chart
from fitcore.disk.profile_reading import read_profile
from fitcore.profile_faults import IDENTIFIER, fault_words
from fitcore.profile_models import Form, Identifier

if TYPE_CHECKING:
    from fitcore.problems import Problem

FILE = """\
format = 1
id = "mill-nine-model"
maker = "Invented Mill Nine"
line = "Model"
invented = true
form = "below_knee"
toe = "open"
purposes = ["work"]
unit = "cm"
step_mm = 1
posture = "standing"
valid_from = 2026-01-01
source = { status = "invented", text = "Made up for this test." }

[pressure]
mmhg = [10, 14]
standard = "invented scale"
class = "light"

[[dimensions]]
id = "ankle"
point = "B"
kind = "girth"

[[dimensions]]
id = "shoe"
point = "foot"
kind = "shoe"
system = "eu"

[[sizes]]
size = "S"
variant = "wide"
ankle = [19, 20.9]
shoe = [36, 38]
"""
LIBRARY = re.compile(
    r"input|valid |tuple|pattern|string|instance|decimal|boolean|sys\.|validation|extra|field|dict",
    re.IGNORECASE,
)
"""Words of the library, which help nobody who types a leaflet."""


def load(old: str = "", new: str = "") -> Chart | tuple[Problem, ...]:
    assert old in FILE
    return read_profile(FILE.replace(old, new, 1).encode(), Chart, "ours.toml")


def faults(old: str, new: str) -> list[Problem]:
    judged = load(old, new)
    assert isinstance(judged, tuple), judged
    return list(judged)


def loaded(old: str = "", new: str = "") -> Chart:
    judged = load(old, new)
    assert isinstance(judged, Chart), [str(problem) for problem in judged]
    return judged


# --- in plain words ------------------------------------------------------------------------------

WRONG = {
    "size empty": ('size = "S"', 'size = ""', "sizes.0.size", "nothing that can be seen"),
    "size too long": ('size = "S"', 'size = "SMALLER THAN S"', "sizes.0.size", "longer than 12"),
    "size a number": ('size = "S"', "size = 4", "sizes.0.size", "A text is wanted"),
    "size missing": ('size = "S"\n', "", "sizes.0.size", "missing"),
    "id": ('id = "mill-nine-model"', 'id = "Mill Nine"', "id", "not written as it must be"),
    "column id": ('id = "ankle"', 'id = "Ankle girth"', "dimensions.0.id", "no name of a dim"),
    "point": ('point = "B"', 'point = "Z"', "dimensions.0.point", "'Z' is not allowed"),
    "kind": ('kind = "girth"', 'kind = "width"', "dimensions.0.kind", "'width' is not allowed"),
    "kind a number": ('kind = "girth"', "kind = 4", "dimensions.0.kind", "'4' is not allowed"),
    "gap": ('kind = "girth"', 'kind = "girth"\ngap = "both"', "dimensions.0.gap", "'both' is not"),
    "step below 0": ('system = "eu"', 'system = "eu"\nstep = -1', "dimensions.1.step", "0 or more"),
    "step a text": ("step_mm = 1", 'step_mm = "1"', "step_mm", "A number is wanted"),
    "step yes": ("step_mm = 1", "step_mm = true", "step_mm", "A number is wanted"),
    "form": ('form = "below_knee"', 'form = "boot"', "form", "'boot' is not allowed"),
    "format": ("format = 1", "format = 7", "format", "'7' is not allowed"),
    "no list": ('purposes = ["work"]', 'purposes = "work"', "purposes", "A list is wanted"),
    "empty list": ('purposes = ["work"]', "purposes = []", "purposes", "At least 1"),
    "in a list": ('purposes = ["work"]', 'purposes = ["party"]', "purposes.0", "'party' is not"),
    "flag": ("invented = true", 'invented = "yes"', "invented", "Yes or no"),
    "day": ("valid_from = 2026-01-01", 'valid_from = "2026"', "valid_from", "A day is wanted"),
    "three mmHg": ("mmhg = [10, 14]", "mmhg = [10, 12, 14]", "pressure.mmhg", "Only 2"),
    "one mmHg": ("mmhg = [10, 14]", "mmhg = [10]", "pressure.mmhg.1", "One part of the list"),
    "mmHg no list": ("mmhg = [10, 14]", "mmhg = 10", "pressure.mmhg", "A list is wanted"),
    "no table": ("[pressure]\nmmhg", "pressure = 3\n[x]\nmmhg", "pressure", "A table of keys"),
    "unit": ('unit = "cm"', 'unit = "ell"', "unit", "'ell' is not allowed"),
    "key": ('toe = "open"', 'toe = "open"\ncolour = "sand"', "colour", "means nothing here"),
    "long number": ("step_mm = 1", f"step_mm = 0x{'f' * 9000}", "step_mm", "not a number of any"),
    "long edge": ("19, 20.9", f"19, 0x{'f' * 9000}", "sizes.0.ankle", "is not a number"),
    "edge a list": ("19, 20.9", f"19, [0x{'f' * 9000}]", "sizes.0.ankle", "is not a number"),
    "too long to read": ("step_mm = 1", f"step_mm = {'9' * 9000}", None, "too large to read"),
    "too deep": ("step_mm = 1", f"step_mm = {'[' * 9000}", None, "too deep to read"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "said"), WRONG.values(), ids=WRONG.keys())
def test_a_fault_is_told_in_plain_words_with_its_mend_and_once(
    old: str, new: str, key: str | None, said: str
) -> None:
    told = faults(old, new)
    (problem,) = [p for p in told if p.key == key]
    assert said in problem.text
    assert problem.mend
    assert len(problem.text) < 200
    assert not LIBRARY.search(problem.text + problem.mend.replace("Write it in double", "")), (
        problem
    )
    others = {p.key for p in told} - {key}
    assert others <= {"x"}, "what is wrong elsewhere comes of the same slip"


def test_a_list_that_is_empty_by_itself_is_still_told() -> None:
    head, columns = FILE.split("\n[pressure]")
    columns = f"[pressure]{columns.split('[[sizes]]')[0]}"
    judged = read_profile(f"{head}\nsizes = []\n{columns}".encode(), Chart, "a.toml")
    assert isinstance(judged, tuple)
    assert [(p.key, p.code) for p in judged] == [("sizes", "profile_too_short")]


def test_what_may_stand_there_is_named() -> None:
    (problem,) = faults('form = "below_knee"', 'form = "boot"')
    assert all(form in problem.mend for form in get_args(Form))
    (problem,) = faults('point = "B"', 'point = "Z"')
    assert "B1" in problem.mend


def test_a_fault_nobody_thought_of_is_told_in_general_words() -> None:
    text, mend = fault_words("some_new_kind", {"a": 1}, {})
    assert text == "What stands here is not of the kind wanted here."
    assert mend


def test_the_form_of_an_id_is_told_from_others() -> None:
    (field,) = Identifier.__metadata__  # type: ignore[attr-defined]
    assert any(getattr(m, "pattern", None) == IDENTIFIER for m in field.metadata)
    assert "48" in fault_words("string_pattern_mismatch", "X", {"pattern": IDENTIFIER})[1]
    assert "48" not in fault_words("string_pattern_mismatch", "X", {"pattern": "^x$"})[1]


@pytest.mark.parametrize("name", ["size", "variant", "ranges"])
def test_a_dimension_is_not_called_as_a_key_of_a_row(name: str) -> None:
    (problem,) = faults('id = "ankle"', f'id = "{name}"')
    assert problem.key == "dimensions.0.id"
    assert f"cannot be called '{name}'" in problem.text


def test_a_row_cannot_hand_in_ranges_past_its_unit() -> None:
    (problem,) = faults("ankle = [19, 20.9]", "ranges = { ankle = [19, 20.9] }")
    assert "no dimension is called 'ranges'" in problem.text


# --- what no garment can be ----------------------------------------------------------------------


@pytest.mark.parametrize("edges", ["-5, 40", "0, 40", "-9, -5"])
def test_no_girth_is_0_or_less(edges: str) -> None:
    (problem,) = faults("19, 20.9", edges)
    assert (problem.key, problem.line) == (
        "sizes.0.ankle",
        FILE.split("ankle = [", maxsplit=1)[0].count("\n") + 1,
    )
    assert "0 or less" in problem.text


def test_a_girth_may_be_as_small_as_it_is_printed() -> None:
    assert loaded("19, 20.9", "0.1, 20.9").sizes[0].ranges["ankle"][0] == 1


def test_a_shoe_size_may_be_0() -> None:
    """There is a UK size 0."""
    assert loaded("[36, 38]", "[0, 38]").sizes[0].ranges["shoe"][0] == 0


def test_a_shoe_size_is_of_the_foot() -> None:
    (problem,) = faults('point = "foot"', 'point = "C"')
    assert "of the foot" in problem.text


def test_a_step_may_be_0() -> None:
    assert loaded('system = "eu"', 'system = "eu"\nstep = 0').dimensions[1].step == 0


@pytest.mark.parametrize(("mmhg", "fine"), [("[10, 200]", True), ("[10, 200.1]", False)])
def test_a_pressure_no_garment_has_is_refused(mmhg: str, fine: bool) -> None:  # noqa: FBT001
    assert isinstance(load("[10, 14]", mmhg), Chart) is fine
    if not fine:
        assert "no garment prints more than 200 mmHg" in faults("[10, 14]", mmhg)[0].text


# --- clean ---------------------------------------------------------------------------------------

HOSTILE = '"\\u001b[31m%s\\u202e"'


@pytest.mark.parametrize(
    ("old", "word", "found"),
    [
        ('"Invented Mill Nine"', "Invented Mill Nine", lambda c: c.maker),
        ('"Model"', "Model", lambda c: c.line),
        ('"S"', "S", lambda c: c.sizes[0].size),
        ('"wide"', "wide", lambda c: c.sizes[0].variant),
        ('"invented scale"', "invented scale", lambda c: c.pressure.standard),
        ('"light"', "light", lambda c: c.pressure.grade),
        ('"Made up for this test."', "Made up for this test.", lambda c: c.source.text),
    ],
)
def test_signs_that_steer_a_terminal_are_taken_out_on_load(
    old: str, word: str, found: object
) -> None:
    chart = loaded(old, HOSTILE % word)
    assert found(chart) == f"[31m{word}"  # type: ignore[operator]


@pytest.mark.parametrize("hidden", ["", " ", "\\u202e", "\\u200b\\u001b", "\\t"])
def test_a_name_nobody_can_see_is_refused(hidden: str) -> None:
    for old, key in (('"S"', "sizes.0.size"), ('"Invented Mill Nine"', "maker")):
        (problem,) = faults(old, f'"{hidden}"')
        assert problem.key == key
    assert loaded('"wide"', f'"{hidden}"').sizes[0].variant == ""


def test_two_sizes_that_look_alike_are_told() -> None:
    again = FILE[FILE.index("[[sizes]]") :].replace('"S"', '"S\\u202e"')
    judged = read_profile((FILE + again).encode(), Chart, "a.toml")
    assert isinstance(judged, tuple)
    assert "same name" in judged[0].text
