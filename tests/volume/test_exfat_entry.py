"""The entries of exFAT folders as stored.

Source: exFAT File System Specification (Microsoft, 2019), sections 6 and 7. The
entry set below was accepted by fsck.exfat 1.2.0.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.errors import NotFatError
from cardprep.volume.exfat_entry import (
    BitmapEntry,
    FileEntry,
    LabelEntry,
    NameEntry,
    StreamEntry,
    UpcaseEntry,
    set_checksum,
)
from cardprep.volume.exfat_time import ExfatTime

SET = bytes.fromhex(
    "850221e220000000b56c4e5cb56c4e5cb56c4e5c000080808000000000000000"
    "c00300073ac00000050000000000000000000000060000000500000000000000"
    "c1004100700070002e00620069006e0000000000000000000000000000000000"
)
SORTS = [FileEntry, StreamEntry, NameEntry, LabelEntry, BitmapEntry, UpcaseEntry]
Sort = type[FileEntry | StreamEntry | NameEntry | LabelEntry | BitmapEntry | UpcaseEntry]


def test_a_set_that_fsck_accepts() -> None:
    file, stream = FileEntry.parse(SET[:32]), StreamEntry.parse(SET[32:64])
    assert (file.secondaries, file.checksum, file.attributes) == (2, 0xE221, 0x20)
    assert not file.is_folder
    stamp = ExfatTime.parse_stamp(file.modified, file.modified_hundredths, file.modified_zone)
    assert str(stamp) == "2026-02-14 13:37:42 +00:00"
    assert (stream.first_cluster, stream.size, stream.valid_length) == (6, 5, 5)
    assert (stream.name_length, stream.name_hash, stream.is_contiguous) == (7, 0xC03A, True)
    assert NameEntry.parse(SET[64:]).units.rstrip(b"\0") == "App.bin".encode("utf-16-le").rstrip(
        b"\0"
    )
    assert set_checksum(SET) == 0xE221


def test_the_checksum_leaves_itself_out_and_nothing_else() -> None:
    for at in range(len(SET)):
        changed = SET[:at] + bytes([SET[at] ^ 0xFF]) + SET[at + 1 :]
        assert (set_checksum(changed) == 0xE221) is (at in (2, 3)), at


@pytest.mark.parametrize("sort", SORTS)
@given(raw=st.binary(min_size=32, max_size=32))
def test_parse_then_format_gives_the_same_bytes(sort: Sort, raw: bytes) -> None:
    assert sort.parse(raw).to_bytes() == raw


@pytest.mark.parametrize("sort", SORTS)
@pytest.mark.parametrize("length", [0, 31, 33])
def test_another_length_is_refused(sort: Sort, length: int) -> None:
    with pytest.raises(NotFatError):
        sort.parse(bytes(length))


@given(st.integers(0, 255), st.binary(min_size=22, max_size=22))
def test_any_label_is_text(count: int, units: bytes) -> None:
    label = LabelEntry(count=count, units=units)
    assert len(label.text) <= 11
    assert label.is_possible is (count <= 11)
