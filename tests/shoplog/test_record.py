"""Records: one meaning has one line, and names that are no Unicode are kept."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.canonical import INTEGER_LIMIT
from cardprep.errors import BadValueError, CanonicalError, CardprepError
from cardprep.shoplog.record import (
    LINE_LIMIT,
    VALUE_LIMIT,
    Record,
    parse_line,
    recorded_name,
)
from cardprep.texts.catalogue import refusal

EASY = settings(deadline=None, max_examples=100)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=10)
BODIES = st.dictionaries(
    st.sampled_from(["card", "note", "files"]),
    TEXTS | st.integers(-100, 100) | st.booleans() | st.none() | st.lists(TEXTS),
)
ENTRIES = st.lists(st.tuples(st.sampled_from(["card", "job"]), TEXTS.filter(bool)), max_size=4).map(
    tuple
)
RECORDS = st.builds(
    Record,
    bench=st.sampled_from("ABZ"),
    sequence=st.integers(0, INTEGER_LIMIT - 1),
    kind=st.from_regex(r"[a-z][a-z0-9]{0,5}(-[a-z0-9]{1,5}){0,2}", fullmatch=True),
    kind_version=st.integers(1, 9),
    time=st.datetimes().map(lambda time: time.strftime("%Y-%m-%dT%H:%M:%SZ").zfill(20)),
    body=BODIES,
    index=ENTRIES,
)


def record(**changed: object) -> Record:
    fields: dict[str, Any] = {
        "bench": "B",
        "sequence": 12,
        "kind": "card-written",
        "kind_version": 1,
        "time": "2026-02-14T13:37:42Z",
        "body": {"vessel": "Saltwhistle", "stage": 1},
        "index": (("job", "B238"), ("card", "17")),
    }
    return Record(**(fields | changed))


def refused(call: Callable[[], object]) -> str:
    with pytest.raises((BadValueError, CanonicalError)) as caught:
        call()
    assert "(" not in refusal(caught.value).message.replace("(RFC 8785)", "")
    return caught.value.reason


LINE = (
    b'{"bench":"B","body":{"stage":1,"vessel":"Saltwhistle"},"format":1,'
    b'"index":{"card":["17"],"job":["B238"]},"kind":"card-written","kind_version":1,'
    b'"sequence":12,"time":"2026-02-14T13:37:42Z"}'
)


def test_the_line_is_as_the_module_says() -> None:
    assert record().to_line() == LINE
    assert parse_line(LINE) == record()


@given(RECORDS)
@EASY
def test_a_record_comes_back(built: Record) -> None:
    line = built.to_line()
    assert b"\n" not in line
    assert parse_line(line) == built
    assert parse_line(line).to_line() == line


@given(st.binary(max_size=100))
@EASY
def test_any_bytes_are_refused(data: bytes) -> None:
    with pytest.raises(CardprepError):
        parse_line(data)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | TEXTS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=4,
)


@given(name=st.sampled_from(sorted(json.loads(LINE))), value=JSON)
@EASY
def test_any_value_in_any_place_is_read_the_same_or_refused(name: str, value: object) -> None:
    fields = json.loads(LINE) | {name: value}
    line = json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    try:
        found = parse_line(line)
    except (BadValueError, CanonicalError):
        return
    assert found.to_line() == line


def test_every_altered_byte_changes_the_record_or_is_refused() -> None:
    for at in range(len(LINE)):
        altered = bytearray(LINE)
        altered[at] ^= 0xFF
        with pytest.raises(CardprepError):
            parse_line(bytes(altered))
        altered[at] ^= 0xFE
        try:
            assert parse_line(bytes(altered)) != record()
        except CardprepError:
            continue


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        pytest.param('"format":1', '"format":2', "record.format", id="newer format"),
        pytest.param('"format":1', '"format":true', "record.number", id="format true"),
        pytest.param('"format":1,', "", "record.keys", id="no format"),
        pytest.param('"format":1', '"extra":1,"format":1', "record.keys", id="one key more"),
        pytest.param('"sequence":12', '"sequence":-1', "record.number", id="negative"),
        pytest.param('"sequence":12', '"sequence":true', "record.number", id="sequence true"),
        pytest.param('"sequence":12', '"sequence":"12"', "record.number", id="sequence text"),
        pytest.param('"kind_version":1', '"kind_version":0', "record.number", id="version 0"),
        pytest.param('"bench":"B"', '"bench":"b"', "record.bench", id="small bench"),
        pytest.param('"bench":"B"', '"bench":"BB"', "record.bench", id="two letters"),
        pytest.param('"bench":"B"', '"bench":1', "record.text", id="bench number"),
        pytest.param("card-written", "Card", "record.kind", id="capital kind"),
        pytest.param("card-written", "a--b", "record.kind", id="two dashes"),
        pytest.param("card-written", "card-", "record.kind", id="dash at the end"),
        pytest.param('{"stage":1,"vessel":"Saltwhistle"}', "[]", "record.body", id="body list"),
        pytest.param('{"card":["17"],"job":["B238"]}', "[]", "record.index", id="index list"),
        pytest.param('["17"]', '"17"', "record.index", id="value without list"),
        pytest.param('["17"]', "[17]", "record.index", id="number"),
        pytest.param('["17"]', "[]", "canonical.other-spelling", id="empty list"),
        pytest.param('["17"]', '["17","17"]', "canonical.other-spelling", id="twice"),
        pytest.param('["17"]', '["2","17"]', "canonical.other-spelling", id="unsorted"),
        pytest.param('["17"]', '[""]', "record.index-value", id="empty value"),
        pytest.param('"card":[', '"Card":[', "record.index-field", id="capital field"),
        pytest.param(LINE.decode(), "[]", "record.keys", id="list"),
        pytest.param(LINE.decode(), "{}", "record.keys", id="empty"),
    ],
)
def test_a_line_that_is_no_record(old: str, new: str, reason: str) -> None:
    assert old in LINE.decode()
    assert refused(lambda: parse_line(LINE.decode().replace(old, new).encode())) == reason


# Source: RFC 3339 section 5.8 for the forms (and our own restriction to one of them).
@pytest.mark.parametrize(
    ("time", "good"),
    [
        pytest.param("1985-04-12T23:20:50Z", True, id="good"),
        pytest.param("2024-02-29T00:00:00Z", True, id="leap day"),
        pytest.param("1985-04-12T23:20:50.52Z", False, id="fraction"),
        pytest.param("1996-12-19T16:39:57-08:00", False, id="offset"),
        pytest.param("1990-12-31T23:59:60Z", False, id="leap second"),
        pytest.param("2026-02-30T00:00:00Z", False, id="30 February"),
        pytest.param("2026-02-14T24:00:00Z", False, id="24 o'clock"),
        pytest.param("2026-02-14T13:37:42", False, id="no offset"),
        pytest.param("20260214T133742Z", False, id="no separators"),
        pytest.param("2026-02-14 13:37:42Z", False, id="space"),
        pytest.param("2026-02-14t13:37:42z", False, id="small letters"),
        pytest.param("2026-02-14T13:37:42Z\n", False, id="line end"),
        pytest.param("0000-01-01T00:00:00Z", False, id="year 0"),
        pytest.param("\u0662026-02-14T13:37:4Z", False, id="other digits"),
    ],
)
def test_times(time: str, good: bool) -> None:
    if good:
        assert parse_line(record(time=time).to_line()).time == time
    else:
        assert refused(lambda: record(time=time)) == "record.time"


def test_a_record_of_an_unknown_kind_is_kept() -> None:
    line = LINE.replace(b"card-written", b"brewed-tea").replace(b'version":1', b'version":7')
    assert parse_line(line).kind == "brewed-tea"
    assert parse_line(line).to_line() == line


def test_what_happens_to_the_body_afterwards_changes_nothing() -> None:
    body = {"files": ["one"]}
    built = record(body=body)
    body["files"].append("two")
    assert built == record(body={"files": ["one"]})


def test_index_entries_are_sorted_and_stand_once() -> None:
    built = record(index=[("job", "B2"), ("card", "9"), ("job", "B10"), ("card", "9")])
    assert built.index == (("card", "9"), ("job", "B10"), ("job", "B2"))


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        pytest.param({"body": ["x"]}, "record.body", id="list"),
        pytest.param({"body": {"x": 1.5}}, "canonical.kind", id="float"),
        pytest.param({"body": {"x": "\udc80"}}, "canonical.unicode", id="surrogate"),
        pytest.param({"sequence": INTEGER_LIMIT}, "record.number", id="too large"),
        pytest.param({"index": (("job", "\udc80"),)}, "canonical.unicode", id="index surrogate"),
        pytest.param({"index": (("job", "x" * (VALUE_LIMIT + 1)),)}, "record.index-value", id="v"),
        pytest.param({"kind": "\x1b[2J"}, "record.kind", id="escape code"),
        pytest.param({"body": {"x": "a" * LINE_LIMIT}}, "record.long", id="too long"),
    ],
)
def test_what_could_not_be_read_back_is_refused(changed: dict[str, object], reason: str) -> None:
    assert refused(lambda: record(**changed)) == reason


def test_a_line_at_the_limit_is_read_and_a_longer_one_is_not() -> None:
    spare = LINE_LIMIT - len(record(body={"x": ""}).to_line())
    line = record(body={"x": "a" * spare}).to_line()
    assert len(line) == LINE_LIMIT
    assert parse_line(line).to_line() == line
    assert refused(lambda: parse_line(line + b" ")) == "record.long"


def test_control_characters_of_a_bad_value_are_spelled_out() -> None:
    with pytest.raises(BadValueError) as caught:
        record(kind="\x1b[2J\u202e")
    assert caught.value.parameters["found"] == "\\x1b[2J\\u202e"


@pytest.mark.parametrize(
    ("name", "recorded"),
    [
        pytest.param("UPDATE.BIN", "UPDATE.BIN", id="plain"),
        pytest.param("K\u00fcste.bin".encode(), "K\u00fcste.bin", id="UTF-8"),
        pytest.param("A\u030a", "A\u030a", id="not normalized"),
        pytest.param(b"", "", id="empty"),
        pytest.param(b"a\xffb", {"escaped": "a\\udcffb", "bytes": "61ff62"}, id="Latin 1"),
        pytest.param("a\udcffb", {"escaped": "a\\udcffb", "bytes": "61ff62"}, id="PEP 383"),
        pytest.param("a\ud800", {"escaped": "a\\ud800", "bytes": "61eda080"}, id="half UTF-16"),
        pytest.param(b"\\\x1b\xff", {"escaped": "\\\\\\x1b\\udcff", "bytes": "5c1bff"}, id="ESC"),
    ],
)
def test_names_of_files(name: bytes | str, recorded: object) -> None:
    assert recorded_name(name) == recorded
    assert parse_line(record(body={"file": recorded_name(name)}).to_line()).body == {
        "file": recorded
    }


@given(st.binary(max_size=20))
@EASY
def test_no_name_is_lost(name: bytes) -> None:
    recorded = recorded_name(name)
    if isinstance(recorded, str):
        assert recorded.encode() == name
    else:
        assert isinstance(recorded, dict)
        assert bytes.fromhex(recorded["bytes"]) == name
