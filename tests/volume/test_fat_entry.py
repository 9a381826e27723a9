"""The two sorts of folder entry: where their fields stand, any 32 bytes."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import NotFatError
from cardprep.volume.fat_entry import (
    ARCHIVE,
    FOLDER,
    LAST_LONG,
    VOLUME_LABEL,
    LongEntry,
    ShortEntry,
    parse_entry,
)

SHORT = ShortEntry(
    name=b"APP     BIN",
    attributes=ARCHIVE,
    case_bits=0x18,
    created=(150, 0x6CB5, 0x5C4E),
    accessed=0x5C4F,
    modified=(0x6CB6, 0x5C50),
    first_cluster=0x0ABC1234,
    size=0xFFFFFFFF,
)
LONG = LongEntry(order=0x42, units=tuple(range(0x100, 0x10D)), checksum=0x07)


# Source: FAT: General Overview of On-Disk Format, v1.03, "FAT Directory Structure". The largest
# size of a file is the largest number of the last field, 2^32 - 1.
@pytest.mark.parametrize(
    ("at", "form", "value"),
    [
        pytest.param(0, "11s", b"APP     BIN", id="DIR_Name"),
        pytest.param(11, "B", 0x20, id="DIR_Attr"),
        pytest.param(12, "B", 0x18, id="DIR_NTRes"),
        pytest.param(13, "B", 150, id="DIR_CrtTimeTenth"),
        pytest.param(14, "<H", 0x6CB5, id="DIR_CrtTime"),
        pytest.param(16, "<H", 0x5C4E, id="DIR_CrtDate"),
        pytest.param(18, "<H", 0x5C4F, id="DIR_LstAccDate"),
        pytest.param(20, "<H", 0x0ABC, id="DIR_FstClusHI"),
        pytest.param(22, "<H", 0x6CB6, id="DIR_WrtTime"),
        pytest.param(24, "<H", 0x5C50, id="DIR_WrtDate"),
        pytest.param(26, "<H", 0x1234, id="DIR_FstClusLO"),
        pytest.param(28, "<I", 4_294_967_295, id="DIR_FileSize"),
    ],
)
def test_where_the_fields_of_a_short_entry_stand(at: int, form: str, value: bytes | int) -> None:
    assert struct.unpack_from(form, SHORT.to_bytes(), at) == (value,)


# Source: FAT: General Overview of On-Disk Format, v1.03, "FAT Long Directory Entries".
@pytest.mark.parametrize(
    ("at", "form", "value"),
    [
        pytest.param(0, "B", (0x42,), id="LDIR_Ord"),
        pytest.param(1, "<5H", (0x100, 0x101, 0x102, 0x103, 0x104), id="LDIR_Name1"),
        pytest.param(11, "B", (0x0F,), id="LDIR_Attr"),
        pytest.param(12, "B", (0,), id="LDIR_Type"),
        pytest.param(13, "B", (0x07,), id="LDIR_Chksum"),
        pytest.param(14, "<6H", (0x105, 0x106, 0x107, 0x108, 0x109, 0x10A), id="LDIR_Name2"),
        pytest.param(26, "<H", (0,), id="LDIR_FstClusLO"),
        pytest.param(28, "<2H", (0x10B, 0x10C), id="LDIR_Name3"),
    ],
)
def test_where_the_fields_of_a_long_entry_stand(at: int, form: str, value: tuple[int, ...]) -> None:
    assert struct.unpack_from(form, LONG.to_bytes(), at) == value


@pytest.mark.parametrize(
    ("attributes", "kind"),
    [
        pytest.param(0x00, ShortEntry, id="no bits"),
        pytest.param(0x20, ShortEntry, id="archive"),
        pytest.param(0x08, ShortEntry, id="label"),
        pytest.param(0x10, ShortEntry, id="folder"),
        pytest.param(0x0F, LongEntry, id="long name"),
        pytest.param(0xCF, LongEntry, id="long name, reserved bits"),
        pytest.param(0x1F, ShortEntry, id="all six bits but one"),
        pytest.param(0x3F, ShortEntry, id="all six bits"),
    ],
)
def test_which_sort_an_entry_is(attributes: int, kind: type[object]) -> None:
    raw = bytes(11) + bytes((attributes,)) + bytes(20)
    assert isinstance(parse_entry(raw), kind)


def test_what_the_bits_say() -> None:
    assert ShortEntry(name=b"B238-1 BOOT", attributes=VOLUME_LABEL).is_label
    assert ShortEntry(name=b"FOLDER     ", attributes=FOLDER).is_folder
    assert not SHORT.is_label
    assert not SHORT.is_folder
    assert (LONG.number, LONG.is_last) == (2, True)
    assert LongEntry(order=LAST_LONG - 1, units=LONG.units, checksum=0).is_last is False


@pytest.mark.parametrize("length", [0, 11, 31, 33])
def test_an_entry_has_32_bytes(length: int) -> None:
    for parse in (ShortEntry.parse, LongEntry.parse, parse_entry):
        with pytest.raises(NotFatError, match=r"fat\.entry-length"):
            parse(bytes(length))


@settings(deadline=None, max_examples=300)
@given(st.binary(min_size=32, max_size=32))
def test_any_entry_is_read_and_laid_out_again(raw: bytes) -> None:
    assert ShortEntry.parse(raw).to_bytes() == raw
    assert LongEntry.parse(raw).to_bytes() == raw
    assert parse_entry(raw).to_bytes() == raw


WORD = st.integers(0, 0xFFFF)


@settings(deadline=None)
@given(
    st.binary(min_size=11, max_size=11),
    st.integers(0, 255),
    st.tuples(st.integers(0, 255), WORD, WORD),
    st.integers(0, 2**32 - 1),
)
def test_building_and_reading_gives_the_same(
    name: bytes, attributes: int, created: tuple[int, int, int], number: int
) -> None:
    short = ShortEntry(
        name=name,
        attributes=attributes,
        created=created,
        modified=created[1:],
        first_cluster=number,
        size=number,
    )
    assert ShortEntry.parse(short.to_bytes()) == short


@settings(deadline=None)
@given(st.integers(0, 255), st.tuples(*[WORD] * 13), st.integers(0, 255), WORD)
def test_building_and_reading_a_piece_of_a_name(
    order: int, units: tuple[int, ...], total: int, cluster: int
) -> None:
    piece = LongEntry(order=order, units=units, checksum=total, first_cluster=cluster)
    assert LongEntry.parse(piece.to_bytes()) == piece
