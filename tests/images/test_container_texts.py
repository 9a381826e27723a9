"""Every format has a name, and every problem a sentence with the parameters it names."""

from __future__ import annotations

import ast
from pathlib import Path
from string import Formatter

import pytest

from cardprep.images.signatures import SIGNATURES
from cardprep.texts.containers import FORMATS, PROBLEMS

ROOM = Path(__file__).resolve().parents[2] / "cardprep" / "images"
MACHINES = {"intel-hex", "s-record", "uimage", "zip", "gzip", "tar", "opaque", "dfu"}
TELLING = {"broken", "unchecked", "noted"}


def told() -> list[tuple[str, set[str]]]:
    """Return each problem with the parameters given where it is told."""
    found = [("more-problems", {"count"})]
    for path in sorted(ROOM.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
                continue
            if node.func.attr in TELLING and node.args:
                keywords = {keyword.arg or "" for keyword in node.keywords}
                found += [(slug, keywords) for slug in slugs(node.args[0])]
    return found


def faults() -> list[tuple[str, set[str]]]:
    """Return each fault of a line, which is told with the line's number."""
    found = []
    for path in sorted(ROOM.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Return)
                and isinstance(node.value, ast.Tuple)
                and isinstance(node.value.elts[0], ast.Constant)
                and isinstance(node.value.elts[1], ast.Dict)
            ):
                keys = {str(ast.literal_eval(key)) for key in node.value.elts[1].keys if key}
                found.append((str(node.value.elts[0].value), keys | {"line"}))
    return found


def slugs(node: ast.expr) -> list[str]:
    if isinstance(node, ast.Constant):
        return [str(node.value)]
    # The one slug that is chosen beforehand, and the one that is passed on.
    assert isinstance(node, ast.Name)
    assert node.id == "reason"
    return []


CHOSEN = [("zip.no-end", {"offset", "members"}), ("zip.no-structure", {"offset", "members"})]
ALL = [*told(), *faults(), *CHOSEN]


def named(template: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(template) if name}


@pytest.mark.parametrize(("slug", "given"), ALL, ids=[slug for slug, _ in ALL])
def test_a_problem_has_a_sentence_that_names_what_is_given(slug: str, given: set[str]) -> None:
    assert named(PROBLEMS[slug]) <= given


def test_every_sentence_is_used() -> None:
    assert PROBLEMS.keys() == {slug for slug, _ in ALL}


@pytest.mark.parametrize("slug", list(PROBLEMS))
def test_the_form_of_a_sentence(slug: str) -> None:
    sentence = PROBLEMS[slug]
    assert sentence[0].islower() or sentence[0] == "{"
    assert not sentence.endswith((".", "!", " "))
    for _, name, form, conversion in Formatter().parse(sentence):
        assert name is None or (name.isidentifier() and not form and not conversion)


def test_every_format_has_a_name_and_no_other() -> None:
    assert FORMATS.keys() == MACHINES | {row.format for row in SIGNATURES}
