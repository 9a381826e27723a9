"""Canonical JSON: the restricted form is RFC 8785, and nothing else is read."""

from __future__ import annotations

import enum
import hashlib
import json
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep import canonical
from cardprep.canonical import DEPTH_LIMIT, INTEGER_LIMIT, Json
from cardprep.errors import CanonicalError
from cardprep.texts.catalogue import refusal

LIMIT = INTEGER_LIMIT - 1
NAMES = st.text(st.characters(max_codepoint=0x7F), max_size=8)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
SCALARS = st.none() | st.booleans() | st.integers(-LIMIT, LIMIT) | TEXTS
VALUES: st.SearchStrategy[Any] = st.recursive(
    SCALARS, lambda inner: st.lists(inner) | st.dictionaries(NAMES, inner), max_leaves=12
)
EASY = settings(deadline=None, max_examples=200)


def reason_of(value: object) -> str:
    with pytest.raises(CanonicalError) as caught:
        canonical.dumps(value)  # type: ignore[arg-type]
    assert "(" not in refusal(caught.value).message.replace("(RFC 8785)", "")
    return caught.value.reason


def refused(data: bytes) -> str:
    with pytest.raises(CanonicalError) as caught:
        canonical.loads(data)
    return caught.value.reason


# Source: cyberphone/json-canonicalization, commit 19d51d7f, testdata/input, the three of
# six files that hold neither fractions nor names beyond ASCII; SHA-256 of testdata/output.
@pytest.mark.parametrize(
    ("value", "digest"),
    [
        pytest.param(
            [56, {"d": True, "10": None, "1": []}],
            "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42",
            id="arrays",
        ),
        pytest.param(
            {
                "1": {"f": {"f": "hi", "F": 5}, "\n": 56},
                "10": {},
                "": "empty",
                "a": {},
                "111": [{"e": "yes", "E": "no"}],
                "A": {},
            },
            "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
            id="structures",
        ),
        pytest.param(
            {"Unnormalized Unicode": "A\u030a"},
            "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
            id="unicode",
        ),
    ],
)
def test_published_outputs(value: Json, digest: str) -> None:
    data = canonical.dumps(value)
    assert hashlib.sha256(data).hexdigest() == digest
    assert canonical.loads(data) == value


# Source: RFC 8785 section 3.2.3, the sample without its fractions.
def test_the_sample_of_the_rfc() -> None:
    text = "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"\u002f"
    data = canonical.dumps({"string": text, "literals": [None, True, False]})
    written = rb'''"\u000f\nA'B\"\\\\\"/"'''
    expected = b'{"literals":[null,true,false],"string":"\xe2\x82\xac$' + written[1:] + b"}"
    assert data == expected


# Source: RFC 8785 section 3.2.2.2: two-character escapes, the others as \u00xx in small letters.
def test_control_characters() -> None:
    text = "".join(map(chr, range(0x20))) + "\x7f\u2028"
    assert canonical.dumps(text) == (
        rb'"\u0000\u0001\u0002\u0003\u0004\u0005\u0006\u0007\b\t\n\u000b\f\r\u000e\u000f'
        rb"\u0010\u0011\u0012\u0013\u0014\u0015\u0016\u0017\u0018\u0019\u001a\u001b\u001c\u001d"
        rb"\u001e\u001f" + b'\x7f\xe2\x80\xa8"'
    )


@given(VALUES)
@EASY
def test_the_form_is_that_of_rfc8785(value: Json) -> None:
    data = canonical.dumps(value)
    assert data == rfc8785.dumps(value)
    assert canonical.loads(data) == value


@given(st.binary(max_size=60) | TEXTS.map(str.encode))
@EASY
def test_any_bytes_are_read_in_one_spelling_or_refused(data: bytes) -> None:
    try:
        value = canonical.loads(data)
    except CanonicalError:
        return
    assert canonical.dumps(value) == data


@given(VALUES)
@EASY
def test_another_spelling_is_refused(value: Json) -> None:
    data = canonical.dumps(value)
    for other in (data + b"\n", b" " + data, json.dumps(value, indent=1).encode()):
        if other != data:
            assert refused(other) == "canonical.other-spelling"


# Source: RFC 8785 sections 3.2.2.2, 3.2.2.3 and appendix B (integers beyond 2**53, NaN,
# Infinity, surrogates); the rest is our own restriction.
@pytest.mark.parametrize(
    ("value", "reason"),
    [
        pytest.param(float("nan"), "canonical.kind", id="NaN"),
        pytest.param(float("inf"), "canonical.kind", id="Infinity"),
        pytest.param(1.0, "canonical.kind", id="a float without fraction"),
        pytest.param(2**53, "canonical.integer", id="2**53"),
        pytest.param(-(2**53), "canonical.integer", id="-2**53"),
        pytest.param("\ud800", "canonical.unicode", id="high surrogate"),
        pytest.param(["\udc80"], "canonical.unicode", id="low surrogate in a list"),
        pytest.param({"\u00e9": 1}, "canonical.key", id="key beyond ASCII"),
        pytest.param({"\ud800": 1}, "canonical.key", id="key with a surrogate"),
        pytest.param({1: 1}, "canonical.key", id="key that is a number"),
        pytest.param(b"bytes", "canonical.kind", id="bytes"),
        pytest.param(bytearray(b"x"), "canonical.kind", id="bytearray"),
        pytest.param({1, 2}, "canonical.kind", id="set"),
        pytest.param(object(), "canonical.kind", id="object"),
    ],
)
def test_must_refuse(value: object, reason: str) -> None:
    assert reason_of(value) == reason


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        pytest.param(b"", "canonical.not-json", id="nothing"),
        pytest.param(b"\xef\xbb\xbf1", "canonical.not-json", id="byte order mark"),
        pytest.param(b'"\xff"', "canonical.not-json", id="not UTF-8"),
        pytest.param('"\ud800"'.encode(errors="surrogatepass"), "canonical.not-json", id="CESU"),
        pytest.param(b'"\\ud800"', "canonical.unicode", id="escaped surrogate"),
        pytest.param(b"NaN", "canonical.float", id="NaN"),
        pytest.param(b"[-Infinity]", "canonical.float", id="-Infinity"),
        pytest.param(b'{"a":1,"a":1}', "canonical.twice", id="key twice"),
        pytest.param(b'{"b":1,"a":1}', "canonical.other-spelling", id="unsorted"),
        pytest.param(b'{"a": 1}', "canonical.other-spelling", id="space"),
        pytest.param(b'"\\u0041"', "canonical.other-spelling", id="escape without need"),
        pytest.param(b'"\\/"', "canonical.other-spelling", id="escaped slash"),
        pytest.param(b'"\\u000F"', "canonical.other-spelling", id="capital hex"),
        pytest.param(b"-0", "canonical.other-spelling", id="minus zero"),
        pytest.param(b"9007199254740992", "canonical.integer", id="2**53"),
        pytest.param(b"1" * 5000, "canonical.not-json", id="5000 digits"),
        pytest.param(b"[" * 100_000, "canonical.not-json", id="100,000 deep"),
        pytest.param(b"01", "canonical.not-json", id="leading zero"),
    ],
)
def test_must_not_read(data: bytes, reason: str) -> None:
    assert refused(data) == reason


# Source: RFC 8785 appendix B. Floats are not recorded, so every row is refused but zero.
@pytest.mark.parametrize(
    "text",
    [
        "5e-324",
        "1.7976931348623157e+308",
        "9.999999999999997e+22",
        "1e+23",
        "1e+21",
        "9.999999999999997e-7",
        "0.000001",
        "333333333.3333332",
        "-0.0000033333333333333333",
        "1424953923781206.2",
    ],
)
def test_the_number_table_of_the_rfc_is_refused(text: str) -> None:
    assert refused(text.encode()) == "canonical.float"


@pytest.mark.parametrize("text", ["9007199254740992", "295147905179352830000"])
def test_its_large_integers_are_refused(text: str) -> None:
    assert refused(text.encode()) == "canonical.integer"


@pytest.mark.parametrize("number", [0, 1, -1, LIMIT, -LIMIT])
def test_integers_below_the_limit(number: int) -> None:
    assert canonical.dumps(number) == str(number).encode()
    assert canonical.loads(str(number).encode()) == number


def test_depth_is_bounded() -> None:
    nested: Json = []
    for _ in range(DEPTH_LIMIT):
        nested = [nested]
    assert canonical.loads(canonical.dumps(nested)) == nested
    assert reason_of([nested]) == "canonical.too-deep"
    endless: list[Any] = []
    endless.append(endless)
    assert reason_of(endless) == "canonical.too-deep"
    assert refused(b"[" * 50 + b"]" * 50) == "canonical.too-deep"


def test_numbers_with_a_face_of_their_own_are_numbers() -> None:
    class Level(enum.IntEnum):
        HIGH = 3

    class Word(enum.StrEnum):
        STOP = "stop"

    value: Json = {"level": Level.HIGH, "word": Word.STOP, "pair": (1, 2)}
    assert canonical.dumps(value) == b'{"level":3,"pair":[1,2],"word":"stop"}'
