"""The register of lint's codes against the modules that make remarks, read as syntax trees."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import pytest

import fitcore.lint
from fitcore.lint.chart_remark import ChartRemark, RemarkPlace
from fitcore.lint.lint_codes import IN_OTHER_UNIT, LINT_CODES, OF_PRESSURE, LintName
from fitcore.problems import ProblemLevel

if TYPE_CHECKING:
    from collections.abc import Iterator

LINT = Path(fitcore.lint.__file__).parent


def trees() -> Iterator[ast.Module]:
    for path in sorted(LINT.glob("lint_*.py")):
        if path.name != "lint_codes.py":
            yield ast.parse(path.read_text("utf-8"))


def remarks() -> Iterator[tuple[ast.expr, ast.expr, ast.expr]]:
    """Key, level and code of every remark that is made, as they are written."""
    for tree in trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "ChartRemark":
                yield node.args[0], node.args[1], node.args[2]


def levels_in(node: ast.expr) -> set[ProblemLevel]:
    return {
        ProblemLevel[each.attr]
        for each in ast.walk(node)
        if isinstance(each, ast.Attribute) and ast.unparse(each.value) == "ProblemLevel"
    }


def texts_in(node: ast.AST) -> set[str]:
    return {
        each.value
        for each in ast.walk(node)
        if isinstance(each, ast.Constant) and isinstance(each.value, str)
    }


def test_the_register_holds_every_name_once() -> None:
    assert set(LINT_CODES) == set(get_args(LintName))
    assert len(get_args(LintName)) == len(set(get_args(LintName)))
    assert set(LINT_CODES) >= OF_PRESSURE | IN_OTHER_UNIT


def test_every_code_of_the_register_is_made_somewhere_and_no_other() -> None:
    written = set().union(*map(texts_in, trees()))
    assert set(LINT_CODES) - written == set()
    assert len(list(remarks())) > 30
    for _, _, code in remarks():
        if isinstance(code, ast.Constant):
            assert code.value in LINT_CODES


def test_a_remark_has_the_level_its_code_is_registered_with() -> None:
    told = 0
    for _, level, code in remarks():
        if isinstance(code, ast.Constant) and (found := levels_in(level)):
            told += 1
            assert found == LINT_CODES[code.value].levels, code.value
    assert told > 30


def test_what_is_about_the_head_is_never_told_of_a_table_alone() -> None:
    for key, _, code in remarks():
        if isinstance(code, ast.Constant) and isinstance(key, ast.Constant):
            of_table = str(key.value).split(".")[0] in ("sizes", "dimensions")
            assert of_table or LINT_CODES[code.value].needs_head, code.value


@pytest.mark.parametrize(
    ("key", "place"),
    [
        ("sizes.2.ankle", RemarkPlace("sizes", 2, "ankle")),
        ("sizes.2", RemarkPlace("sizes", 2)),
        ("sizes", RemarkPlace("sizes")),
        ("dimensions.0.step", RemarkPlace("dimensions", 0, "step")),
        ("pressure.mmhg", RemarkPlace("pressure")),
        ("valid_until", RemarkPlace("valid_until")),
    ],
)
def test_a_remarks_key_is_taken_apart_in_one_place(key: str, place: RemarkPlace) -> None:
    assert ChartRemark(key, ProblemLevel.NOTE, "gap", "", "").place == place
