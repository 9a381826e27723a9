"""The strict door: every key is needed, of its kind, no other is there; mistakes name places."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep import canonical
from cardprep.canonical import Json
from cardprep.errors import BadValueError, CardprepError
from cardprep.job.door import Door
from cardprep.job.stage import Stage
from cardprep.job.visit import Display, Job, JobName, Unit, Vessel
from cardprep.terms import MIB, Version
from tests.stages import make_stage

Path = tuple[str | int, ...]

JOB = Job(
    name=JobName("B", 238),
    vessel=Vessel(name="Saltwhistle", mmsi="002111234"),
    display=Display(model="OV-D9", software=Version("9.10")),
    units=(
        Unit(
            model="OV-V40",
            role="main radio",
            serial="V40-00317",
            versions={"application": Version("4.17"), "bootloader": None},
            wanted={"application": Version("4.30")},
        ),
    ),
)
STAGE = make_stage([(("UPDATE", "APP_430.BIN"), b"app")], volume_size=64 * MIB, largest_card=10**9)[
    0
]
DOORS: dict[str, tuple[Callable[[Json], Any], bytes]] = {
    "job": (Job.from_record, canonical.dumps(JOB.to_record())),
    "stage": (Stage.from_record, canonical.dumps(STAGE.to_record())),
}


def places(record: Any, path: Path = ()) -> list[Path]:  # noqa: ANN401 - whatever JSON holds
    """Return the paths of all keys of an object, those of objects inside included."""
    found: list[Path] = []
    for key, value in record.items() if isinstance(record, dict) else enumerate(record):
        if isinstance(record, dict):
            found.append((*path, key))
        if isinstance(value, dict | list):
            found += places(value, (*path, key))
    return found


def at(record: Any, path: Path) -> Any:  # noqa: ANN401
    for key in path:
        record = record[key]
    return record


# The words of image types are free, and none of them is needed.
FREE = {"versions", "wanted"}
PLACES = [
    (name, path) for name, (_, line) in DOORS.items() for path in places(canonical.loads(line))
]
NEEDED = [(name, path) for name, path in PLACES if not FREE & set(path[:-1])]
OBJECTS = sorted({(name, path[:-1]) for name, path in PLACES if not FREE & set(path[:-1])}, key=str)


def refused(name: str, record: Any) -> BadValueError:  # noqa: ANN401
    with pytest.raises(BadValueError) as caught:
        DOORS[name][0](record)
    return caught.value


def where(name: str, path: Path) -> str:
    return ".".join(map(str, (name, *path)))


@pytest.mark.parametrize(("name", "path"), NEEDED, ids=str)
def test_a_missing_key_is_named_with_its_place(name: str, path: Path) -> None:
    record: Any = canonical.loads(DOORS[name][1])
    del at(record, path[:-1])[path[-1]]
    error = refused(name, record)
    assert error.reason == "value.missing"
    assert error.parameters == {"where": where(name, path[:-1]), "key": path[-1]}


@pytest.mark.parametrize(("name", "path"), OBJECTS, ids=str)
def test_a_key_too_many_is_named_with_its_place(name: str, path: Path) -> None:
    record: Any = canonical.loads(DOORS[name][1])
    at(record, path)["colour\u202e"] = "red"
    error = refused(name, record)
    assert error.reason == "value.unknown-key"
    assert error.parameters == {"where": where(name, path), "key": r"'colour\u202e'"}


WRONG: list[Json] = [True, {"An": {}}, ["a", 1], -1, 2**60]


@pytest.mark.parametrize(("name", "path"), PLACES, ids=str)
@pytest.mark.parametrize("wrong", WRONG, ids=str)
def test_a_value_of_a_wrong_kind_is_named_with_its_place(
    name: str, path: Path, wrong: Json
) -> None:
    record: Any = canonical.loads(DOORS[name][1])
    at(record, path[:-1])[path[-1]] = wrong
    error = refused(name, record)
    # What is itself an object or a list is refused inside.
    assert error.reason in {"value.kind", "value.not-an-object", "value.missing"}
    named = str(error.parameters["where"])
    if error.reason == "value.kind":
        named += f".{error.parameters['key']}"
    assert named.startswith(where(name, path))


@pytest.mark.parametrize(
    ("name", "path", "value"),
    [
        pytest.param("job", ("name",), "b238", id="small letters"),
        pytest.param("job", ("name",), "B238 ", id="a space"),
        pytest.param("job", ("display", "software"), "9,1", id="software"),
        pytest.param("job", ("units", 0, "versions", "application"), "4 17", id="a version it has"),
        pytest.param("job", ("units", 0, "wanted", "application"), "", id="no version at all"),
        pytest.param("job", ("units", 0, "wanted", "application"), None, id="null wanted"),
        pytest.param("stage", ("job",), "B0238", id="leading zero"),
        pytest.param("stage", ("files", 0, "version"), "4\n30", id="a line break"),
        pytest.param("stage", ("number",), 100, id="stage 100"),
        pytest.param("stage", ("layout",), 2, id="a later layout"),
    ],
)
def test_what_reads_as_a_value_only_for_a_person(name: str, path: Path, value: Json) -> None:
    record: Any = canonical.loads(DOORS[name][1])
    at(record, path[:-1])[path[-1]] = value
    error = refused(name, record)
    assert error.reason == "value.kind"
    assert where(name, path).startswith(f"{error.parameters['where']}.{error.parameters['key']}")


# A name that a terminal, a label or a sheet would show otherwise than it is.
BREAKING = ["", " ", "a\nb", "a\rb", "a\tb", "a\x1b[2Jb", "a\u202eb", "a\u2028b", "a\u00adb"]
SHOWN: list[tuple[str, Path]] = [
    ("job", ("vessel", "name")),
    ("job", ("display", "model")),
    ("job", ("units", 0, "model")),
    ("job", ("units", 0, "role")),
    ("job", ("units", 0, "serial")),
    ("stage", ("display",)),
    ("stage", ("files", 0, "models", 0)),
]


@pytest.mark.parametrize(("name", "path"), SHOWN, ids=str)
@pytest.mark.parametrize("text", BREAKING, ids=ascii)
def test_names_that_could_break_a_sheet(name: str, path: Path, text: str) -> None:
    record: Any = canonical.loads(DOORS[name][1])
    at(record, path[:-1])[path[-1]] = text
    error = refused(name, record)
    assert error.reason == "job.line"
    assert "\n" not in str(error.parameters["found"])


@pytest.mark.parametrize("word", ["", "Application", "a\nb", "a" * 25, "chart  data"])
def test_words_that_no_image_type_has(word: str) -> None:
    for made in ({"versions": {word: None}}, {"wanted": {word: Version("1")}}):
        with pytest.raises(BadValueError) as caught:
            Unit(model="OV-V40", role="main radio", **made)
        assert caught.value.reason == "image-type.word"


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(max_size=10),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(max_codepoint=127), max_size=8), inner)
    ),
    max_leaves=12,
)


@given(JSON, st.sampled_from(PLACES))
def test_any_value_in_any_place_gives_itself_or_a_refusal(
    value: Json,
    place: Any,  # noqa: ANN401 - a name and a path
) -> None:
    name, path = place
    record: Any = canonical.loads(DOORS[name][1])
    at(record, path[:-1])[path[-1]] = value
    try:
        made = DOORS[name][0](record)
    except CardprepError as error:
        assert isinstance(error, BadValueError)  # noqa: PT017 - nothing else may come out
        return
    # One meaning has one spelling: what is taken in is what is given out.
    assert canonical.dumps(made.to_record()) == canonical.dumps(record)


@given(JSON)
def test_any_value_for_the_whole_is_a_refusal(value: Json) -> None:
    for read, _ in DOORS.values():
        with pytest.raises(BadValueError):
            read(value)


@pytest.mark.parametrize(
    ("ask", "value"),
    [
        pytest.param(lambda door: door.text("k"), 1, id="text"),
        pytest.param(lambda door: door.text("k", most=2), "abc", id="long text"),
        pytest.param(lambda door: door.integer("k", 0, 5), True, id="a truth value"),
        pytest.param(lambda door: door.integer("k", 0, 5), 6, id="too high"),
        pytest.param(lambda door: door.integer("k", 0, 5), -1, id="too low"),
        pytest.param(lambda door: door.texts("k"), "abc", id="text for a list"),
        pytest.param(lambda door: door.texts("k"), ["a", 1], id="not all texts"),
        pytest.param(lambda door: door.parsed("k", Version, "version"), ",", id="not to be read"),
        pytest.param(lambda door: door.parsed_map("k", Version, "version"), [], id="list for map"),
        pytest.param(
            lambda door: door.full_parsed_map("k", Version, "version"), {"a": None}, id="a hole"
        ),
        pytest.param(lambda door: door.many("k", lambda item, _: item), "abc", id="text for many"),
    ],
)
def test_the_door_names_key_and_place(ask: Callable[[Door], object], value: Json) -> None:
    with pytest.raises(BadValueError) as caught:
        ask(Door({"k": value}, "record"))
    assert caught.value.parameters["where"] == "record"
    assert caught.value.parameters["key"] == "k"


def test_borders_are_taken() -> None:
    door = Door({"low": 0, "high": 5, "text": "ab", "none": None}, "record")
    assert (door.integer("low", 0, 5), door.integer("high", 0, 5)) == (0, 5)
    assert door.text("text", most=2) == "ab"
    assert door.optional_integer("none", 0, 5) is None
    door.optional_text("none")
    door.close()
