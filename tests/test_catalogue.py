"""Every refusal and finding in the source has its sentences, with the parameters they name.

The source is read, not run. A slug must be one that can be read there: a constant,
a choice between constants, or a row of a table of constants. A function that passes
a slug of its caller on (`def _say(self, slug, **parameters)`) is followed to its
callers in the same room.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from string import Formatter
from typing import Any

import pytest

from cardprep.errors import refusal_classes
from cardprep.findings import KINDS
from cardprep.texts.catalogue import refusal
from cardprep.texts.refusals import REFUSALS

ROOT = Path(__file__).resolve().parent.parent
REFUSAL_NAMES = frozenset(cls.__name__ for cls in refusal_classes())

# Functions that raise later what another one has kept: where the keeping starts. The key is
# room and function.
KEPT = {("manifest", "refusals"): "add_at"}

# Every finding has these two besides its parameters.
IN_EVERY_FINDING = frozenset({"path", "structure"})


@dataclass(frozen=True)
class Sink:
    """Something that is called with a slug.

    place    where the slug stands among the arguments
    mapping  where a mapping of parameters stands, or None if they are keywords
    own      keywords that are not parameters of the sentence
    added    parameters that it gives itself
    partly   whether it gives more, from a mapping that is made elsewhere
    """

    place: int = 0
    mapping: int | None = None
    own: frozenset[str] = frozenset()
    added: frozenset[str] = frozenset()
    partly: bool = False


@dataclass(frozen=True)
class Use:
    """One slug at one place, with the parameters given there and those added on the way.

    partly  whether more parameters come from a mapping that is made elsewhere;
            that these fit is held where findings are worded (tests/paper)
    """

    where: str
    slug: str
    given: frozenset[str]
    added: frozenset[str]
    partly: bool = False


REFUSING = dict.fromkeys(REFUSAL_NAMES, Sink())
FINDING = {"Finding": Sink(mapping=3, own=IN_EVERY_FINDING | {"slug"})}


class Function:
    """A function as its callers see it, and what is assigned in it."""

    def __init__(self, node: ast.FunctionDef | ast.AsyncFunctionDef, *, is_method: bool) -> None:
        names = [argument.arg for argument in (*node.args.posonlyargs, *node.args.args)]
        is_static = any(getattr(mark, "id", "") == "staticmethod" for mark in node.decorator_list)
        self.name = node.name
        self.names = names[1:] if is_method and not is_static else names
        self.own = frozenset(names) | {argument.arg for argument in node.args.kwonlyargs}
        self.rest = node.args.kwarg.arg if node.args.kwarg else None
        self.assigned = assignments(ast.walk(node))


def assignments(nodes: Iterator[ast.AST]) -> dict[str, list[ast.expr]]:
    found: dict[str, list[ast.expr]] = {}
    for node in nodes:
        targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
        value = getattr(node, "value", None)
        for target in targets:
            if isinstance(target, ast.Name) and value is not None:
                found.setdefault(target.id, []).append(value)
    return found


def placed_calls(
    node: ast.AST, function: Function | None = None, *, in_class: bool = False
) -> Iterator[tuple[ast.Call, Function | None]]:
    """Give each call with the function in which it stands."""
    for child in ast.iter_child_nodes(node):
        inner = function
        if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
            inner = Function(child, is_method=in_class)
        if isinstance(child, ast.Call):
            yield child, function
        yield from placed_calls(child, inner, in_class=isinstance(child, ast.ClassDef))


@dataclass
class Reading:
    """All uses of one sort of slug in one room, and what could not be read."""

    room: str
    sinks: dict[str, Sink]
    uses: list[Use] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def read(self, sources: Mapping[str, str]) -> Reading:
        """Read the room again until no further function is found that passes slugs on."""
        trees = {name: ast.parse(source) for name, source in sources.items()}
        known = -1
        while len(self.sinks) > known:
            known = len(self.sinks)
            self.uses, self.faults = [], []
            for name, tree in trees.items():
                tables = assignments(iter(tree.body))
                for call, function in placed_calls(tree):
                    self._call(f"{name}:{call.lineno}", call, function, tables)
        return self

    def _call(
        self,
        where: str,
        call: ast.Call,
        function: Function | None,
        tables: Mapping[str, list[ast.expr]],
    ) -> None:
        sink = self.sinks.get(getattr(call.func, "attr", getattr(call.func, "id", "")))
        if sink is None or len(call.args) <= sink.place:
            return
        first = call.args[sink.place]
        given, passed = parameters_of(call, sink)
        name = getattr(first, "id", "")
        if function and name in function.names and name not in function.assigned:
            mapping = function.names.index(passed) if passed in function.names else None
            passed = None if passed == function.rest else passed
            partly = sink.partly or (sink.mapping is not None and passed == "?")
            self.sinks[function.name] = Sink(
                function.names.index(name), mapping, function.own, sink.added | given, partly
            )
            readable = partly or passed is None or mapping is not None
        elif function and (self.room, function.name) in KEPT:
            keeper = KEPT[self.room, function.name]
            self.sinks[keeper] = Sink(2, None, frozenset(), sink.added | given)
            readable = True
        else:
            slugs = slugs_of(first, (function.assigned if function else {}), tables)
            partly = sink.partly or (sink.mapping is not None and passed is not None)
            readable = bool(slugs) and (partly or passed is None)
            uses = sorted(slugs or ())
            self.uses += [Use(where, slug, given, sink.added, partly) for slug in uses]
        if not readable:
            self.faults.append(f"{where}: slug or parameters are made up at run time")


def parameters_of(call: ast.Call, sink: Sink) -> tuple[frozenset[str], str | None]:
    """Return the names given, and the name of a mapping that is passed on ("?" if unclear)."""
    keywords = {keyword.arg: keyword.value for keyword in call.keywords}
    if sink.mapping is None:
        rest = keywords.pop(None, None)
        names = frozenset(name for name in keywords if name is not None) - sink.own
        return names, None if rest is None else getattr(rest, "id", "?")
    if len(call.args) > sink.mapping:
        given: ast.expr | None = call.args[sink.mapping]
    else:
        given = keywords.get("parameters")
    if given is None:
        return frozenset(), None
    if not isinstance(given, ast.Dict):
        return frozenset(), getattr(given, "id", "?")
    constant = {key.value for key in given.keys if isinstance(key, ast.Constant)}
    whole = len(constant) == len(given.keys)
    return frozenset(str(name) for name in constant), None if whole else "?"


def slugs_of(
    node: ast.expr, local: Mapping[str, list[ast.expr]], tables: Mapping[str, list[ast.expr]]
) -> set[str] | None:
    """Return all the slugs that an expression can be, or None if they cannot be read."""
    if isinstance(node, ast.Constant):
        return set() if node.value is None else {str(node.value)}
    parts: list[ast.expr] | None = None
    if isinstance(node, ast.IfExp):
        parts = [node.body, node.orelse]
    elif isinstance(node, ast.Name):
        parts = local.get(node.id) or tables.get(node.id)
    elif isinstance(node, ast.Dict):
        parts = node.values
    elif isinstance(node, ast.Subscript):
        parts = [node.value]
    elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "get":
        parts = [node.func.value] if isinstance(node.func, ast.Attribute) else None
    if not parts:
        return None
    # A name that is made from itself would be followed for ever.
    name = getattr(node, "id", "")
    local, tables = ({k: v for k, v in kept.items() if k != name} for kept in (local, tables))
    found = [slugs_of(part, local, tables) for part in parts]
    return None if None in found else {slug for slugs in found if slugs for slug in slugs}


def read_house(sinks: Mapping[str, Sink]) -> Reading:
    """Read every room; rooms do not share the functions that pass slugs on."""
    rooms: dict[str, dict[str, str]] = {}
    for path in sorted((ROOT / "cardprep").rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        room = name.split("/")[1].removesuffix(".py")
        rooms.setdefault(room, {})[name] = path.read_text(encoding="utf-8")
    whole = Reading("", {})
    for room, sources in rooms.items():
        reading = Reading(room, dict(sinks)).read(sources)
        whole.uses += reading.uses
        whole.faults += reading.faults
    return whole


def named_in(*templates: str) -> frozenset[str]:
    return frozenset(
        name for template in templates for _, name, _, _ in Formatter().parse(template) if name
    )


def disagreements(
    uses: list[Use], named: Mapping[str, frozenset[str]], always: frozenset[str] = frozenset()
) -> list[str]:
    """Return where what is given and what the sentences name are not the same."""
    found = []
    # Where one of several slugs is chosen, what is given need only be named by one of them.
    named_there: dict[str, frozenset[str]] = {}
    for use in uses:
        named_there[use.where] = named_there.get(use.where, always) | named.get(use.slug, always)
    for use in uses:
        if use.slug not in named:
            found.append(f"{use.where}: {use.slug} has no sentences")
            continue
        lacking = named[use.slug] - use.given - use.added - always
        if use.partly:
            continue
        found += [f"{use.where}: {use.slug} wants {name}" for name in sorted(lacking)]
        # What a function adds for all its callers need not be named by each of them.
        idle = use.given - named_there[use.where]
        found += [f"{use.where}: {use.slug} does not name {name}" for name in sorted(idle)]
    return found


def nothing_in(faults: list[str]) -> None:
    """Fail with one fault to a line."""
    assert not faults, "\n".join(["", *faults])


def test_every_refusal_has_its_sentences() -> None:
    reading = read_house(REFUSING)
    named = {slug: named_in(text.message, text.remedy) for slug, text in REFUSALS.items()}
    assert reading.uses
    nothing_in(reading.faults + disagreements(reading.uses, named))


def test_every_sentence_of_a_refusal_is_used() -> None:
    nothing_in(sorted(REFUSALS.keys() - {use.slug for use in read_house(REFUSING).uses}))


def finding_texts() -> Mapping[str, Any]:
    texts: Mapping[str, Any] = import_module("cardprep.texts.findings").FINDINGS
    return texts


def test_every_kind_of_finding_has_its_sentences_and_no_other() -> None:
    nothing_in(sorted(finding_texts().keys() ^ KINDS.keys()))


def test_every_finding_gives_what_its_sentences_name() -> None:
    reading = read_house(FINDING)
    named = {
        slug: named_in(text.seen, text.why, text.remedy) for slug, text in finding_texts().items()
    }
    assert reading.uses
    nothing_in(reading.faults + disagreements(reading.uses, named, IN_EVERY_FINDING))


def test_every_kind_of_finding_can_be_found() -> None:
    nothing_in(sorted(KINDS.keys() - {use.slug for use in read_house(FINDING).uses}))


@pytest.mark.parametrize("reason", list(REFUSALS))
def test_the_form_of_a_refusal(reason: str) -> None:
    text = REFUSALS[reason]
    assert text.message[0].islower() or text.message[0] == "{"
    assert not text.message.endswith((".", "!", " "))
    assert text.remedy.endswith(".")
    assert text.remedy[0].isupper() or text.remedy[0] == "{"
    for template in (text.message, text.remedy):
        for _, name, form, conversion in Formatter().parse(template):
            # A parameter that is missing shows as its name, which no number format could show.
            assert name is None or (name.isidentifier() and not form and not conversion)


@pytest.mark.parametrize("reason", list(REFUSALS))
def test_a_refusal_can_be_worded(reason: str) -> None:
    names = named_in(REFUSALS[reason].message, REFUSALS[reason].remedy)
    error = refusal_classes()[0](reason, **dict.fromkeys(names, "<here>"))
    worded = refusal(error)
    assert "{" not in worded.message + worded.remedy
    assert ("<here>" in worded.message + worded.remedy) == bool(names)
    # Without its parameters it can still be read.
    assert refusal(refusal_classes()[0](reason)).message


SAMPLE = """
TABLE = {1: "a.one", 2: "a.two"}
class Room:
    def _say(self, slug: str, where: str, **parameters: str) -> None:
        raise NotFatError(slug, offset=0, **parameters)
    def look(self, kind: int) -> None:
        self._say("a.said", "boot", found=1)
        raise NotFatError(TABLE[kind], found=2)
def choose(good: bool) -> None:
    reason = "a.good" if good else "a.bad"
    raise NotFatError(reason, wanted=3)
"""


def test_slugs_are_followed_through_tables_choices_and_functions() -> None:
    reading = Reading("sample", dict(REFUSING)).read({"sample": SAMPLE})
    assert reading.faults == []
    assert {(use.slug, *use.given, *use.added) for use in reading.uses} == {
        ("a.said", "found", "offset"),
        ("a.one", "found"),
        ("a.two", "found"),
        ("a.good", "wanted"),
        ("a.bad", "wanted"),
    }


@pytest.mark.parametrize(
    "source",
    [
        pytest.param("raise NotFatError(f'a.{kind}')", id="put together"),
        pytest.param("raise NotFatError('a.' + kind)", id="added"),
        pytest.param("raise NotFatError(error.reason)", id="taken over"),
        pytest.param("raise NotFatError('a.b', **found)", id="parameters not to be seen"),
        pytest.param("def f(a):\n    a = a.lower()\n    raise NotFatError(a)", id="changed"),
    ],
)
def test_slugs_made_at_run_time_are_seen(source: str) -> None:
    assert Reading("sample", dict(REFUSING)).read({"sample": source}).faults != []


@pytest.mark.parametrize(
    ("source", "fault"),
    [
        pytest.param("Finding('nothing')", "nothing has no sentences", id="unknown"),
        pytest.param("Finding('a')", "a wants size", id="lacking"),
        pytest.param("Finding('a', None, 'FAT', {'sise': 1, 'size': 1})", "name sise", id="idle"),
    ],
)
def test_disagreements_are_seen(source: str, fault: str) -> None:
    reading = Reading("sample", dict(FINDING)).read({"sample": source})
    assert reading.faults == []
    found = disagreements(reading.uses, {"a": frozenset({"size", "path"})}, IN_EVERY_FINDING)
    assert len(found) == 1
    assert found[0].endswith(fault)
