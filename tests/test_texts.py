"""Every sentence that a person reads stands in the one catalogue, and in no other room.

The source is read, not run: each string outside ``cardprep/texts`` that is no
docstring is looked at. What has four words or more, or ends as a sentence does,
is a sentence. Terms of the trade and of standards ("backup boot sector", "waiting
for application") are values, and shorter. SQL and patterns are for machines.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "cardprep"
FILES = sorted(path for path in PACKAGE.rglob("*.py") if "texts" not in path.parts)

_WORDS = re.compile(r"[^\W\d_]{2,}|\ba\b")
_FOR_MACHINES = re.compile(
    r"(?:SELECT|INSERT|PRAGMA|CREATE|WITH) |.*(?: FROM | WHERE )|.*(?:\[[0-9]|\(\?)"
)
# What only a programmer who breaks a rule of the house ever sees.
_FOR_PROGRAMMERS = {"a TrustedManifest is made by trust() alone"}


def sentences(source: str) -> Iterator[tuple[int, str]]:
    """Give line and text of each string that a person would read as a sentence."""
    tree = ast.parse(source)
    silent = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    parts = {
        id(part): node
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for part in node.values
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            text = "".join(_part(part) for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = "" if id(node) in parts else node.value
        else:
            continue
        if id(node) in silent or text in _FOR_PROGRAMMERS or _FOR_MACHINES.match(text):
            continue
        count = len(_WORDS.findall(text))
        if " " in text.strip() and (count >= 4 or (count >= 2 and text.rstrip().endswith("."))):
            yield node.lineno, text


def _part(part: ast.expr) -> str:
    """Return what stands in an f-string as it is, and a mark for what is filled in."""
    return part.value if isinstance(part, ast.Constant) and isinstance(part.value, str) else "#"


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_other_room_holds_a_sentence(path: Path) -> None:
    assert list(sentences(path.read_text("utf-8"))) == []


def test_help_stands_in_the_catalogue_too() -> None:
    """Typer shows a docstring as help where none is given; so every command gives one."""
    for path in sorted((PACKAGE / "cli").glob("*_command.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            if node.func.attr in ("command", "Option", "Argument"):
                helps = [word.value for word in node.keywords if word.arg == "help"]
                assert len(helps) == 1, (path.name, node.lineno)
                assert isinstance(helps[0], ast.Subscript), (path.name, node.lineno)


@pytest.mark.parametrize(
    "line",
    [
        'print("the card cannot be read")',
        'raise Error(f"the card {name} is not there")',
        'x = "Take another card."',
        'say("one" "two" " three words and four")',
    ],
)
def test_the_test_sees_a_sentence(line: str) -> None:
    assert list(sentences(line))


@pytest.mark.parametrize(
    "line",
    [
        '"""A docstring of several words."""',
        'structure = "backup boot sector"',
        'sql = "SELECT size, text, signature FROM checkpoint"',
        'leaves = "waiting for application"',
        'x = f"{one} {two} {three} {four}"',
    ],
)
def test_the_test_lets_terms_pass(line: str) -> None:
    assert list(sentences(line)) == []
