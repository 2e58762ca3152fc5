"""The page of methods held to the code: what it names is there, and says what it is said to say."""

import ast
import importlib
import inspect
from pathlib import Path
from types import FunctionType

import pytest

from ledger.book.addresses import IN_TIME_TITLE
from ledger.book.blocks import Bullets, Heading
from ledger.book.words import pointer
from ledger.site.methods_page import NO_SOURCE, Method, groups, methods_page

ROOT = Path(__file__).resolve().parents[2] / "ledger"
GROUPS = groups()
METHODS = [method for methods in GROUPS.values() for method in methods]
# Tools of every page, not methods with an answer: converting, rounding, dates, quantiles.
TOOLS = {"distributions", "recurrence", "numbers"}


def named(code: str) -> FunctionType:
    module, function = code.split(".")
    found = getattr(importlib.import_module(f"ledger.compute.{module}"), function)
    assert isinstance(found, FunctionType)
    return found


def used_by(folder: str) -> set[str]:
    """The compute functions that the modules of a folder use, by their name or their module's."""
    found = set()
    for path in (ROOT / folder).rglob("*.py"):
        nodes = [*ast.walk(ast.parse(path.read_text(encoding="utf-8")))]
        imports = [node for node in nodes if isinstance(node, ast.ImportFrom)]
        of_module = {
            alias.asname or alias.name: alias.name
            for node in imports
            if node.module == "ledger.compute"
            for alias in node.names
        }
        used = [
            (of_module[node.value.id], node.attr)
            for node in nodes
            if isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id in of_module
        ]
        used += [
            (str(node.module).removeprefix("ledger.compute."), alias.name)
            for node in imports
            if str(node.module).startswith("ledger.compute.")
            for alias in node.names
        ]
        for name, attribute in used:
            module = importlib.import_module(f"ledger.compute.{name}")
            if isinstance(getattr(module, attribute, None), FunctionType):
                found.add(f"{name}.{attribute}")
    return {name for name in found if name.split(".")[0] not in TOOLS}


def test_every_method_behind_a_page_has_its_section():
    explained = {code for method in METHODS for code in method.code}

    used = used_by("upkeep")
    assert len(used) > 20
    assert used - explained == set()


@pytest.mark.parametrize("method", METHODS, ids=lambda method: method.title)
def test_its_sources_stand_in_the_docstrings_of_its_functions(method: Method):
    said = " ".join(
        " ".join((inspect.getdoc(part) or "").split())
        for code in method.code
        for part in (named(code), inspect.getmodule(named(code)))
    )

    assert method.sources
    for source in method.sources:
        if source != NO_SOURCE:
            assert source in said


def test_no_method_is_told_twice():
    codes = [code for method in METHODS for code in method.code]

    assert len(codes) == len(set(codes))
    assert len({method.title for method in METHODS}) == len(METHODS)


def test_the_page_has_every_method_under_its_group():
    page = methods_page()

    headings = [(block.level, block.text) for block in page.blocks if isinstance(block, Heading)]
    assert headings == [
        line
        for group, methods in GROUPS.items()
        for line in ((2, group), *((3, method.title) for method in methods))
    ]
    assert sum(isinstance(block, Bullets) for block in page.blocks) == len(METHODS)
    assert page.as_of == "", "it changes only when the program does"


def test_every_page_points_to_a_group_that_there_is():
    calls = [
        node
        for path in ROOT.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "words.pointer"
    ]
    groups = {
        ast.literal_eval(ast.unparse(call.args[0]).replace("IN_TIME_TITLE", repr(IN_TIME_TITLE)))
        for call in calls
    }

    assert groups == set(GROUPS)
    assert pointer("Line and cloth").spans[1].to == "methods.md#line-and-cloth"
