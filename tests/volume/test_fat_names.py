"""Names: the checksum that ties long to short, case bits, units, what cannot be a name."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cardprep.volume.fat_names import (
    LOWER_BASE,
    LOWER_EXTENSION,
    checksum,
    from_units,
    long_is_possible,
    plain_short,
    short_is_possible,
    short_name,
    to_units,
    units,
    upper_case,
)
from tests.cards import MIB, FatImage, make_volume

# Source: FAT: General Overview of On-Disk Format, v1.03, "FAT Long Directory Entries"; the
# first row is the sample of the same document. All were seen in cards written by mtools.
CHECKSUMS = [
    pytest.param("THEQUI~1FOX", 0x07, id="The quick brown.fox"),
    pytest.param("UPDATE~1BIN", 0xFE, id="update (1).bin"),
    pytest.param("FIRMWA~1BIN", 0x17, id="firmware-image.bin"),
    pytest.param("SYSTEM~1   ", 0x72, id="System Volume Information"),
    pytest.param("_APP~1  BIN", 0x35, id="._APP.BIN"),
    pytest.param("APP     BIN", 0x13, id="APP.BIN"),
]


@pytest.mark.parametrize(("short", "total"), CHECKSUMS)
def test_checksums(short: str, total: int) -> None:
    assert checksum(short.encode("ascii")) == total


@pytest.mark.oracle
def test_checksums_as_mtools_stores_them(tmp_path: Path) -> None:
    image, files = tmp_path / "volume", tmp_path / "files"
    files.mkdir()
    for name in ("The quick brown.fox", "firmware-image.bin", "System Volume Information"):
        (files / name).write_bytes(b"x")
    make_volume(image, 2 * MIB, "-F", "12", files=files)
    volume = FatImage(image.read_bytes())
    for short in ("THEQUI~1FOX", "FIRMWA~1BIN", "SYSTEM~1   "):
        at = volume.folder_entry(short)
        # The piece before the short entry is number 1 and carries the checksum at byte 13.
        assert volume.data[at - 32] & 0x3F == 1
        assert volume.data[at - 32 + 13] == checksum(short.encode("ascii"))


# Case bits: common practice, no published source; seen in cards written by mtools.
@pytest.mark.parametrize(
    ("raw", "bits", "shown"),
    [
        pytest.param(b"LOWER   BIN", 0x00, "LOWER.BIN", id="no bits"),
        pytest.param(b"LOWER   BIN", 0x08, "lower.BIN", id="base"),
        pytest.param(b"LOWER   BIN", 0x10, "LOWER.bin", id="extension"),
        pytest.param(b"LOWER   BIN", 0x18, "lower.bin", id="both"),
        pytest.param(b"LOWER   BIN", 0xE7, "LOWER.BIN", id="other bits mean nothing"),
        pytest.param(b"NOEXT      ", 0x18, "noext", id="no extension"),
        pytest.param(b"IN SIDE BIN", 0x00, "IN SIDE.BIN", id="space inside"),
        pytest.param(b"\x05UN     BIN", 0x00, "ÕUN.BIN", id="05 stands for E5"),
        pytest.param(b"A\x05      BIN", 0x00, "A\x05.BIN", id="only in the first place"),
        pytest.param(b"\x9aMLAUT  BIN", 0x00, "ÜMLAUT.BIN", id="page 850"),
        pytest.param(b"\x9aMLAUT  BIN", 0x08, "ümlaut.BIN", id="page 850 in lower case"),
    ],
)
def test_short_names(raw: bytes, bits: int, shown: str) -> None:
    assert short_name(raw, bits) == shown


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("name", "short", "bits"),
    [
        pytest.param("lower.bin", "LOWER   BIN", 0x18, id="all lower"),
        pytest.param("LOWER.BIN", "LOWER   BIN", 0x00, id="all upper"),
        pytest.param("lower.BIN", "LOWER   BIN", 0x08, id="base lower"),
        pytest.param("LOWER.bin", "LOWER   BIN", 0x10, id="extension lower"),
    ],
)
def test_case_bits_as_mtools_stores_them(tmp_path: Path, name: str, short: str, bits: int) -> None:
    image, files = tmp_path / "volume", tmp_path / "files"
    files.mkdir()
    (files / name).write_bytes(b"x")
    make_volume(image, 2 * MIB, "-F", "12", files=files)
    volume = FatImage(image.read_bytes())
    at = volume.folder_entry(short)
    assert volume.data[at + 12] == bits
    assert short_name(bytes(volume.data[at : at + 11]), bits) == name
    assert plain_short(name) == (short.encode("ascii"), bits)


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("Lower.bin", id="two cases in the base"),
        pytest.param("lower.Bin", id="two cases in the extension"),
        pytest.param("nine-long.bin", id="nine before the dot"),
        pytest.param("a.bin4", id="four after the dot"),
        pytest.param("a.b.c", id="two dots"),
        pytest.param("a.", id="nothing after the dot"),
        pytest.param(".a", id="nothing before the dot"),
        pytest.param("", id="empty"),
        pytest.param("a b.bin", id="space"),
        pytest.param("a+b.bin", id="plus"),
        pytest.param("ü.bin", id="beyond ASCII"),
    ],
)
def test_names_that_need_a_long_entry(name: str) -> None:
    assert plain_short(name) is None


@given(st.text(alphabet="ABZabz09_~.$ ü", max_size=14))
def test_a_plain_short_name_is_shown_as_it_was(name: str) -> None:
    plain = plain_short(name)
    assume(plain is not None)
    assert plain is not None
    raw, bits = plain
    assert len(raw) == 11
    assert bits & ~(LOWER_BASE | LOWER_EXTENSION) == 0
    assert short_is_possible(raw)
    assert short_name(raw, bits) == name


# Source: FAT: General Overview of On-Disk Format, v1.03, DIR_Name.
@pytest.mark.parametrize(
    ("raw", "possible"),
    [
        pytest.param(b"APP     BIN", True, id="plain"),
        pytest.param(b"$%'-_@~`!()", True, id="signs"),
        pytest.param(b"\x05UN     BIN", True, id="05 in the first place"),
        pytest.param(b"\x80\xff     BIN", True, id="above ASCII"),
        pytest.param(b" PP     BIN", False, id="space first"),
        pytest.param(b"\x00PP     BIN", False, id="zero first"),
        pytest.param(b"A\x05P     BIN", False, id="05 elsewhere"),
        pytest.param(b"A\x1fP     BIN", False, id="control character"),
        pytest.param(b"A\x7fP     BIN", False, id="delete"),
        *(
            pytest.param(b"A" + bytes((sign,)) + b"P     BIN", False, id=f"with {chr(sign)}")
            for sign in b'"*+,./:;<=>?[\\]|'
        ),
    ],
)
def test_what_can_be_a_short_name(raw: bytes, possible: bool) -> None:
    assert short_is_possible(raw) == possible


# Source: FAT: General Overview of On-Disk Format, v1.03, "Name Limits and Character Sets".
@pytest.mark.parametrize(
    ("name", "possible"),
    [
        pytest.param("A name (1).bin", True, id="ordinary"),
        pytest.param(".hidden", True, id="dot first"),
        pytest.param("a+b,c;d=[e].bin", True, id="signs for long names only"),
        pytest.param("更新.bin", True, id="not Latin"),
        pytest.param("a.", False, id="dot last"),
        pytest.param("a ", False, id="space last"),
        pytest.param(".", False, id="the folder itself"),
        pytest.param("..", False, id="the folder above"),
        pytest.param("a/b", False, id="slash"),
        pytest.param("a\x1fb", False, id="control character"),
        *(pytest.param(f"a{sign}b", False, id=f"with {sign}") for sign in '"*:<>?\\|'),
    ],
)
def test_what_can_be_a_long_name(name: str, possible: bool) -> None:
    assert long_is_possible(name) == possible


@pytest.mark.parametrize(
    ("name", "upper"),
    [
        pytest.param("abc", "ABC", id="ASCII"),
        pytest.param("grün.bin", "GRÜN.BIN", id="accent"),
        pytest.param("\u03b5\u03bd", "\u0395\u039d", id="Greek"),
        # Source: Microsoft exFAT specification, recommended up-case table: this letter is itself.
        pytest.param("straße", "STRAßE", id="no single capital"),
    ],
)
def test_names_are_compared_in_upper_case(name: str, upper: str) -> None:
    assert upper_case(name) == upper


# Source: FAT: General Overview of On-Disk Format, v1.03, "FAT Long Directory Entries".
def test_the_sample_of_the_standard() -> None:
    first, second = to_units("The quick brown.fox")
    assert "".join(map(chr, first)) == "The quick bro"
    assert second == (*map(ord, "wn.fox"), 0, *(0xFFFF,) * 6)


@pytest.mark.parametrize(
    ("length", "pieces", "padding"),
    [
        pytest.param(1, 1, 12, id="one unit"),
        pytest.param(12, 1, 1, id="only the end mark"),
        pytest.param(13, 1, 0, id="full piece without an end mark"),
        pytest.param(14, 2, 12, id="one unit more"),
        pytest.param(255, 20, 5, id="longest name"),
    ],
)
def test_how_many_pieces_a_name_takes(length: int, pieces: int, padding: int) -> None:
    stored = to_units("n" * length)
    assert len(stored) == pieces
    flat = [unit for piece in stored for unit in piece]
    assert flat[length:] == ([0] + [0xFFFF] * (padding - 1) if padding else [])
    assert from_units(tuple(flat)) == "n" * length


FILL = 0xFFFF


@pytest.mark.parametrize(
    "stored",
    [
        pytest.param((), id="nothing"),
        pytest.param((0, *(FILL,) * 12), id="empty name"),
        pytest.param((65, 0, 66, *(FILL,) * 10), id="more behind the end mark"),
        pytest.param((65, 0, 0, *(FILL,) * 10), id="two end marks"),
        pytest.param((*(65,) * 12, 0, *(FILL,) * 13), id="a piece of nothing but filling"),
        pytest.param((65,) * 256, id="256 units"),
    ],
)
def test_units_that_are_no_name(stored: tuple[int, ...]) -> None:
    assert from_units(stored) is None


def test_a_lone_surrogate_is_kept() -> None:
    assert from_units((0xD83D, 65, 0, *(FILL,) * 10)) == "\ud83dA"
    assert units("\ud83dA") == (0xD83D, 65)


@settings(deadline=None)
@given(st.text(st.characters(exclude_characters="\0"), min_size=1, max_size=127))
def test_a_name_survives_storing(name: str) -> None:
    flat = tuple(unit for piece in to_units(name) for unit in piece)
    assert len(flat) % 13 == 0
    assert from_units(flat) == name


@settings(deadline=None, max_examples=300)
@given(st.lists(st.integers(0, 0xFFFF), max_size=70).map(tuple))
def test_any_units_are_a_name_or_none(stored: tuple[int, ...]) -> None:
    name = from_units(stored)
    if name is not None:
        assert units(name) == stored[: len(units(name))]


@given(st.binary(min_size=11, max_size=11), st.integers(0, 255))
def test_any_eleven_bytes_can_be_shown(raw: bytes, bits: int) -> None:
    assert isinstance(short_name(raw, bits), str)
    assert short_is_possible(raw) in (True, False)
