"""Text that people see: never markup, always a sentence that can be translated."""

from __future__ import annotations

import ast
import string
from typing import TYPE_CHECKING

import pytest
from fence.source import PACKAGES, Module, called, calls, imported, module_of, modules

if TYPE_CHECKING:
    from collections.abc import Iterator

SHOWS_TEXT = (
    "Static",
    "Label",
    "Button",
    "Markdown",
    "Option",
    "Tooltip",
    "notify",
    "update",
    "append_text",
)
"""Calls whose first argument the framework reads as markup where it is a plain string."""
CONTENT = ("Content", "Content.assemble", "Content.styled", "Content.empty", "Content.join")
"""What takes text as it stands; `Content.from_markup` is not among them."""


def markup_taken(module: Module, makers: frozenset[str]) -> list[str]:
    """Return where text would be read as markup.

    Args:
        module: what to look at.
        makers: names of functions that return `Content`.
    """
    found = []
    given = _content_attributes(module)
    for call in calls(module):
        if called(call) in SHOWS_TEXT and not _is_dict_update(call):
            shown = [
                *call.args[:1],
                *(k.value for k in call.keywords if k.arg in ("content", "label")),
            ]
            found += [
                f"{module.at(call)}: {ast.unparse(call)[:80]}"
                for argument in shown
                if not _is_content(argument, makers, given)
            ]
        elif called(call) == "from_markup" or any(
            k.arg == "markup" and ast.unparse(k.value) == "True" for k in call.keywords
        ):
            found.append(f"{module.at(call)}: {ast.unparse(call)[:80]}")
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Assign | ast.AugAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names = {t.attr for t in targets if isinstance(t, ast.Attribute)}
            if names & {"border_title", "border_subtitle", "tooltip"} and not _is_content(
                node.value, makers, given
            ):
                found.append(f"{module.at(node)}: {ast.unparse(node)[:80]}")
    return found


def content_makers(module: Module) -> frozenset[str]:
    """Return names of a module's functions that return `Content`."""
    return frozenset(
        node.name
        for node in ast.walk(module.tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.returns is not None
        and ast.unparse(node.returns) == "Content"
    )


def _is_content(argument: ast.expr, makers: frozenset[str], given: frozenset[str]) -> bool:
    if isinstance(argument, ast.Constant) and argument.value == "":
        return True
    if isinstance(argument, ast.IfExp):
        return all(_is_content(part, makers, given) for part in (argument.body, argument.orelse))
    if isinstance(argument, ast.Call):
        return ast.unparse(argument.func) in CONTENT or called(argument) in makers
    return ast.unparse(argument) in given


def _content_attributes(module: Module) -> frozenset[str]:
    """Return names a module annotates as `Content`: parameters, and attributes set from them."""
    names = set()
    for node in ast.walk(module.tree):
        if isinstance(node, ast.arg) and node.annotation is not None:
            if ast.unparse(node.annotation) == "Content":
                names.add(node.arg)
        elif isinstance(node, ast.AnnAssign) and ast.unparse(node.annotation) == "Content":
            names.add(ast.unparse(node.target))
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Assign) and ast.unparse(node.value) in names:
            names |= {ast.unparse(target) for target in node.targets}
    return frozenset(names)


def _is_dict_update(call: ast.Call) -> bool:
    """Whether it is `update` without a widget: no argument, keywords, or a display of pairs."""
    return called(call) == "update" and (
        not call.args or isinstance(call.args[0], ast.Dict | ast.DictComp)
    )


def sentences(module: Module) -> Iterator[tuple[str, ast.Call, ast.expr]]:
    """Yield ("say" or "mark", the call, its first argument)."""
    for call in calls(module):
        if isinstance(call.func, ast.Name) and call.func.id in ("say", "mark") and call.args:
            yield call.func.id, call, call.args[0]


def untranslatable(module: Module) -> list[str]:
    """Return sentences that are no plain literals, and so would be in no catalogue.

    One exception: a sentence out of a table, in a module that marks a table's sentences.
    """
    if module.name == "fitcore.words":
        return []
    marks = any(kind == "mark" for kind, _, _ in sentences(module))
    found = []
    for kind, call, sentence in sentences(module):
        literal = isinstance(sentence, ast.Constant) and isinstance(sentence.value, str)
        looked_up = isinstance(sentence, ast.Name | ast.Attribute | ast.Subscript)
        if not literal and not (kind == "say" and marks and looked_up):
            found.append(f"{module.at(call)}: {ast.unparse(call)[:80]}")
    return found


def wrongly_filled(module: Module) -> list[str]:
    """Return sentences whose braces and values do not match."""
    found = []
    for kind, call, sentence in sentences(module):
        if not (isinstance(sentence, ast.Constant) and isinstance(sentence.value, str)):
            continue
        fields = {
            name for _, name, _, _ in string.Formatter().parse(sentence.value) if name is not None
        }
        values = {keyword.arg for keyword in call.keywords}
        if kind == "say" and None not in values and fields != values:
            found.append(f"{module.at(call)}: {ast.unparse(call)[:80]}")
    return found


def test_no_text_is_read_as_markup() -> None:
    makers = frozenset(name for module in modules("tui") for name in content_makers(module))
    assert [found for module in modules("tui") for found in markup_taken(module, makers)] == []


def test_no_markup_is_written_by_hand() -> None:
    users = [
        f"{module.name}: {name}"
        for module in modules("tui")
        for name, _ in imported(module)
        if name.startswith(("rich.markup", "textual.markup", "rich.text", "rich.console"))
    ]
    assert users == []


@pytest.mark.parametrize("package", ["fitcore", "tui"])
def test_every_sentence_is_a_plain_literal(package: str) -> None:
    assert [found for module in modules(package) for found in untranslatable(module)] == []


@pytest.mark.parametrize("package", ["fitcore", "tui"])
def test_every_sentence_gets_the_values_it_names(package: str) -> None:
    assert [found for module in modules(package) for found in wrongly_filled(module)] == []


def test_there_are_sentences_at_all() -> None:
    count = sum(1 for package in PACKAGES for module in modules(package) for _ in sentences(module))
    assert count > 200


@pytest.mark.parametrize(
    "text",
    [
        "Static(f'{client}')",
        "Static(client, id='a')",
        "Static('plain')",
        "Static(content=client)",
        "Label(say('a'))",
        "self.notify(text)",
        "self.query_one('#a', Static).update(text)",
        "self.query_one('#a', Static).update(say('a {b}', b=1))",
        "Static(Content.from_markup(text))",
        "Content.from_markup('[b]$x[/b]', x=client)",
        "self.border_title = client",
        "Static(Content(a) if a else b)",
    ],
)
def test_planted_markup_is_found(text: str) -> None:
    assert markup_taken(module_of(text), frozenset())


@pytest.mark.parametrize(
    "text",
    [
        "Static()",
        "Static(id='a')",
        "Static(Content(client))",
        "Static(Content.assemble((client, 'bold'), '  '))",
        "Static(Content(a) if a else '')",
        "widget.update(self._list_content(step))",
        "def f(content: Content):\n    Static(content)",
        "names.update({'a': 1})",
        "self.border_title = Content(client)",
    ],
)
def test_text_as_it_stands_is_let_through(text: str) -> None:
    assert markup_taken(module_of(text), frozenset({"_list_content"})) == []


@pytest.mark.parametrize(
    "text",
    ["say(f'a {b}')", "say('a' + b)", "say(text)", "mark(text)", "say('a %s' % b)", "say(f())"],
)
def test_a_planted_sentence_that_is_no_literal_is_found(text: str) -> None:
    assert untranslatable(module_of(text))


@pytest.mark.parametrize(
    "text", ["say('a {b}')", "say('a', b=1)", "say('a {b} {c}', b=1)", "say('{}', b=1)"]
)
def test_a_planted_sentence_with_other_values_is_found(text: str) -> None:
    assert wrongly_filled(module_of(text))


def test_a_sentence_out_of_a_marked_table_is_let_through() -> None:
    assert untranslatable(module_of("words = {'a': mark('b')}\nsay(words['a'])")) == []
