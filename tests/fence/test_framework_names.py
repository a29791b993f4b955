"""Names of the framework the program leans on although nobody promised them: one test each.

The framework is pinned exactly; a new version that renames one fails here, and not in a bedroom.
"""

from __future__ import annotations

import ast
import inspect
import tomllib
from importlib.metadata import version

import pytest
from fence.source import ROOT, modules
from textual.app import App
from textual.content import Content
from textual.widgets import Input, Static

PRIVATE = ("_handle_exception", "_fatal_error", "_close_messages_no_wait", "_exception_event")


@pytest.mark.parametrize("name", PRIVATE)
def test_the_application_still_has(name: str) -> None:
    assert name in vars(App) or any(name in vars(base) for base in App.__mro__)


def test_an_error_is_still_handled_by_one_method_with_the_error() -> None:
    assert list(inspect.signature(App._handle_exception).parameters) == ["self", "error"]
    assert list(inspect.signature(App._fatal_error).parameters) == ["self"]
    assert list(inspect.signature(App._close_messages_no_wait).parameters) == ["self"]


def test_the_first_error_and_the_exit_code_are_still_kept_where_we_look() -> None:
    source = inspect.getsource(App.__init__)
    assert "self._exception:" in source
    assert "self._return_code:" in source


def test_the_input_thread_still_reports_through_panic_and_decodes_by_a_name_we_replace() -> None:
    """A key of another encoding must be one odd character, neither the end nor a traceback."""
    linux_driver = pytest.importorskip("textual.drivers.linux_driver")
    source = inspect.getsource(linux_driver.LinuxDriver)
    assert "self._app.panic" in source
    assert 'getincrementaldecoder("utf-8")()' in source
    assert hasattr(linux_driver, "getincrementaldecoder")


def test_everything_private_that_the_application_uses_is_in_this_list() -> None:
    """Whoever leans on another private name adds a test for it."""
    (app,) = [module for module in modules("tui") if module.name == "tui.app"]
    used = {node.attr for node in ast.walk(app.tree) if isinstance(node, ast.Attribute)}
    made = {
        node.name
        for node in ast.walk(app.tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    }
    set_by_framework = inspect.getsource(App.__init__)
    theirs = {
        name
        for name in used | made
        if name.startswith("_")
        and not name.startswith("__")
        and (hasattr(App, name) or f"self.{name}" in set_by_framework)
    }
    assert theirs - {*PRIVATE, "_exception", "_return_code"} == set()


@pytest.mark.parametrize("name", ["styled", "assemble"])
def test_content_still_takes_text_as_it_stands(name: str) -> None:
    text = "O'Neil [left] [/] $x"
    made = getattr(Content, name)(text)
    assert made.plain == text
    assert Content(text).plain == text


def test_a_static_still_reads_a_plain_string_as_markup() -> None:
    """Why everything shown is wrapped in Content; if this changes, the fence may go."""
    assert "markup" in inspect.signature(Static.__init__).parameters
    assert inspect.signature(Static.__init__).parameters["markup"].default is True


@pytest.mark.parametrize(
    "name", ["action_delete_left", "action_cursor_left", "insert_text_at_cursor"]
)
def test_a_typed_line_still_has(name: str) -> None:
    assert hasattr(Input, name)


def test_the_framework_is_the_one_that_is_pinned() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    (pin,) = [line for line in project["dependencies"] if line.startswith("textual")]
    assert pin == f"textual=={version('textual')}"
