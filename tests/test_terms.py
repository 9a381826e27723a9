"""The words of the trade: image types, versions and their order, sizes, harmless spelling."""

from __future__ import annotations

import re
import unicodedata

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cardprep.errors import BadValueError
from cardprep.terms import (
    GIB,
    KIB,
    MIB,
    USUAL_TYPES,
    ImageType,
    Version,
    VersionOrder,
    size_in_words,
    spelled_out,
)

DOTTED = VersionOrder()

# Any code point at all, surrogates too: names on a card are anybody's.
any_text = st.text(st.characters(exclude_categories=()), max_size=40)
dotted_numbers = st.lists(st.integers(0, 999_999_999), min_size=1, max_size=3)


# Common practice, no published source.
@pytest.mark.parametrize(
    ("older", "newer"),
    [
        pytest.param("2.9", "2.31", id="numbers, not letters"),
        pytest.param("3.02", "3.10", id="leading zero"),
        pytest.param("4.17", "4.30", id="two digits"),
        pytest.param("9", "10", id="one number"),
        pytest.param("1.0", "1.0.1", id="one number more"),
        pytest.param("1.9.9", "2", id="first number counts first"),
        pytest.param("0.999999999", "1", id="nine digits"),
    ],
)
def test_dotted_numbers_in_order(older: str, newer: str) -> None:
    assert DOTTED.key(Version(older)) < DOTTED.key(Version(newer))
    assert DOTTED.at_least(Version(newer), Version(older))
    assert not DOTTED.at_least(Version(older), Version(newer))
    assert not DOTTED.same(Version(older), Version(newer))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        pytest.param("1.2", "1.2.0", id="trailing zero"),
        pytest.param("1", "1.0.0", id="trailing zeros"),
        pytest.param("0", "0.0", id="nothing but zeros"),
        pytest.param("3.02", "3.2", id="leading zero"),
        pytest.param("4.30", "4.30", id="one spelling"),
    ],
)
def test_two_spellings_of_one_version(one: str, other: str) -> None:
    assert DOTTED.same(Version(one), Version(other))
    assert DOTTED.at_least(Version(one), Version(other))
    assert DOTTED.at_least(Version(other), Version(one))


def test_4_3_is_older_than_4_30() -> None:
    # The zero at the end of a number is no trailing zero: 4.30 is thirty, not three.
    assert not DOTTED.at_least(Version("4.3"), Version("4.30"))


@given(dotted_numbers, dotted_numbers)
@settings(deadline=None)
def test_dotted_order_is_the_order_of_the_numbers(one: list[int], other: list[int]) -> None:
    longest = max(len(one), len(other))
    first, second = ([*n, *[0] * (longest - len(n))] for n in (one, other))
    a, b = (Version(".".join(map(str, numbers))) for numbers in (one, other))
    assert (DOTTED.key(a) < DOTTED.key(b)) == (first < second)
    assert DOTTED.same(a, b) == (first == second)


@pytest.mark.parametrize("text", ["4.30b", "A4", "4..30", "4.", "1234567890", "4-30", "4.30+1"])
def test_a_version_that_is_no_dotted_number_has_no_place(text: str) -> None:
    with pytest.raises(BadValueError) as caught:
        DOTTED.key(Version(text))
    assert (caught.value.reason, caught.value.parameters) == ("version.not-dotted", {"found": text})


def test_a_list_says_the_order() -> None:
    order = VersionOrder(("Spring", "9", "2.31", "Autumn"))
    assert order.at_least(Version("2.31"), Version("9"))
    assert not order.at_least(Version("Spring"), Version("Autumn"))
    assert order.same(Version("9"), Version("9"))
    # On a list 9 and 9.0 are two entries, of which one is not there.
    with pytest.raises(BadValueError, match=r"version\.not-listed"):
        order.same(Version("9"), Version("9.0"))
    with pytest.raises(BadValueError, match=r"version\.not-listed"):
        order.at_least(Version("4.30"), Version("9"))


def test_a_version_that_has_no_place_is_still_itself() -> None:
    assert DOTTED.same(Version("4.30b"), Version("4.30b"))


@pytest.mark.parametrize("text", ["4.30", "0", "v4.30", "4.30-rc1+b_2", "A" * 32])
def test_a_version_is_kept_as_it_is_written(text: str) -> None:
    assert str(Version(text)) == text


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("", id="empty"),
        pytest.param(".4", id="begins with a dot"),
        pytest.param("4 30", id="space"),
        pytest.param("4.30\n", id="line end"),
        pytest.param("A" * 33, id="33 characters"),
        pytest.param("4/30", id="slash"),
        pytest.param("\u0664", id="digit that is not ASCII"),
    ],
)
def test_what_is_no_version(text: str) -> None:
    with pytest.raises(BadValueError) as caught:
        Version(text)
    assert caught.value.reason == "version"
    assert caught.value.parameters == {"found": spelled_out(text)}


@pytest.mark.parametrize(
    ("word", "code"),
    [
        pytest.param("chart data", "CHRT", id="two words"),
        pytest.param("a", "0000", id="shortest"),
        pytest.param("radio-module firmware", "R2D2", id="hyphen and digits"),
        pytest.param("a" * 24, "AAAA", id="24 characters"),
    ],
)
def test_an_image_type_that_a_shop_may_add(word: str, code: str) -> None:
    assert (ImageType(word, code).word, ImageType(word, code).code) == (word, code)


@pytest.mark.parametrize(
    "word",
    ["", "Chart", "chart  data", " chart", "chart ", "chart-", "2nd", "a" * 25, "charte\u0301"],
)
def test_what_is_no_word_for_an_image_type(word: str) -> None:
    with pytest.raises(BadValueError) as caught:
        ImageType(word, "CHRT")
    assert caught.value.reason == "image-type.word"


@pytest.mark.parametrize("code", ["", "CHR", "CHART", "chrt", "CH T", "CHR\n", "CHR\u00c9"])
def test_what_is_no_code_for_an_image_type(code: str) -> None:
    with pytest.raises(BadValueError) as caught:
        ImageType("chart data", code)
    assert caught.value.reason == "image-type.code"


def test_the_usual_types_are_told_apart_by_word_and_by_code() -> None:
    # Source: design, 'Words'.
    assert [usual.word for usual in USUAL_TYPES] == [
        *("bootloader", "application", "configuration", "chart data")
    ]
    assert len({usual.code for usual in USUAL_TYPES}) == 4


@pytest.mark.parametrize(
    ("size", "words"),
    [
        (0, "0 bytes"),
        (1000, "1000 bytes"),
        (10 * KIB - 1, "10239 bytes"),
        (10 * KIB, "10.0 KiB"),
        (MIB - 100, "1023.9 KiB"),
        (MIB, "1.0 MiB"),
        (3 * MIB // 2, "1.5 MiB"),
        (GIB, "1.0 GiB"),
        (32 * GIB, "32.0 GiB"),
        # A card sold as 32 GB.
        (31_914_983_424, "29.7 GiB"),
    ],
)
def test_a_size_in_words(size: int, words: str) -> None:
    assert size_in_words(size) == words


@pytest.mark.parametrize(
    ("text", "spelled"),
    [
        pytest.param("UPDATE 4.30.BIN", "UPDATE 4.30.BIN", id="ordinary name"),
        pytest.param("Karte \u00e4\u00f6\u00fc \u6d77\u56f3", "Karte äöü 海図", id="letters"),
        pytest.param("\U0001f600", "\U0001f600", id="beyond the BMP"),
        pytest.param("a\\x1b", "a\\\\x1b", id="backslash"),
        pytest.param("\x1b[2J", "\\x1b[2J", id="terminal sequence"),
        pytest.param("\x00\x7f\x9b", "\\x00\\x7f\\x9b", id="control"),
        pytest.param("\t\r\n", "\\x09\\x0d\\x0a", id="line ends"),
        pytest.param("a\u202efdp.exe", "a\\u202efdp.exe", id="right-to-left override"),
        pytest.param("\u2066\u200f\ufeff", "\\u2066\\u200f\\ufeff", id="marks"),
        pytest.param("\u200b\u00ad", "\\u200b\\xad", id="zero width"),
        pytest.param("\u2028\u2029", "\\u2028\\u2029", id="line and paragraph separator"),
        pytest.param("\u00a0\u3000", "\\xa0\\u3000", id="other spaces"),
        pytest.param("\udc80", "\\udc80", id="surrogate"),
        pytest.param("\ue000\U000f0000", "\\ue000\\U000f0000", id="private use"),
        pytest.param("\uffff\U000e0001", "\\uffff\\U000e0001", id="no character, tag"),
    ],
)
def test_harmless_spelling(text: str, spelled: str) -> None:
    assert spelled_out(text) == spelled


def read_back(spelled: str) -> str:
    return re.sub(
        r"\\(?:\\|x([0-9a-f]{2})|u([0-9a-f]{4})|U([0-9a-f]{8}))",
        lambda found: chr(int(found[found.lastindex], 16)) if found.lastindex else "\\",
        spelled,
    )


@given(any_text)
@example("\\x1b")
@example("\x1b\\\x1b")
@settings(deadline=None, max_examples=400)
def test_spelled_out_is_harmless_and_can_be_read_back(text: str) -> None:
    spelled = spelled_out(text)
    harmful = [c for c in spelled if c != " " and unicodedata.category(c)[0] in "CZ"]
    assert harmful == []
    # Valid Unicode, so it can be printed and recorded.
    spelled.encode()
    # What can be read back was not mixed up with anything else: two names never look the same.
    assert read_back(spelled) == text


@given(any_text, any_text)
@settings(deadline=None)
def test_pieces_are_spelled_as_the_whole_is(one: str, other: str) -> None:
    assert spelled_out(one + other) == spelled_out(one) + spelled_out(other)
