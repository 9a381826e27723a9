"""Packed blocks: they make one deflate stream, and never unpack to more than was said."""

from __future__ import annotations

import hashlib
import random
import tracemalloc
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.medium.capture_block import Unpacked, pack, unpack
from cardprep.medium.capture_index import most_packed
from cardprep.medium.capture_zip import DEFLATE_END
from cardprep.terms import MIB

BLOCKS = st.one_of(
    st.binary(min_size=1, max_size=5000),
    st.tuples(st.binary(min_size=1, max_size=1), st.integers(1, 70_000)).map(
        lambda pair: pair[0] * pair[1]
    ),
    st.tuples(st.integers(), st.integers(1, 70_000)).map(
        lambda pair: random.Random(pair[0]).randbytes(pair[1])
    ),
)


@given(blocks=st.lists(BLOCKS, min_size=1, max_size=4))
def test_blocks_in_a_row_are_one_stream(blocks: list[bytes]) -> None:
    packed = [pack(block) for block in blocks]
    for block, one in zip(blocks, packed, strict=True):
        assert unpack(one.data, len(block)) == block
        assert one.crc == zlib.crc32(one.data)
        assert one.sha256 == hashlib.sha256(block).hexdigest()
        assert len(one.data) <= most_packed(len(block))
    whole = zlib.decompressobj(-15)
    assert whole.decompress(b"".join(one.data for one in packed) + DEFLATE_END) == b"".join(blocks)
    assert whole.eof


def test_what_does_not_get_shorter_is_not_packed() -> None:
    block = random.Random(0).randbytes(MIB)
    assert len(block) < len(pack(block).data) <= most_packed(len(block))


def test_a_bomb_goes_off_nowhere() -> None:
    bomb = zlib.compressobj(9, zlib.DEFLATED, -15)
    data = bomb.compress(bytes(256 * MIB)) + bomb.flush(zlib.Z_FULL_FLUSH)
    tracemalloc.start()
    try:
        assert unpack(data, MIB) is None
        assert tracemalloc.get_traced_memory()[1] < 4 * MIB
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"", id="nothing"),
        pytest.param(b"\x07", id="a block of no kind"),
        pytest.param(pack(b"x" * 100).data[:-1], id="cut short"),
        pytest.param(pack(b"x" * 99).data, id="too short"),
        pytest.param(pack(b"x" * 101).data, id="too long"),
        pytest.param(pack(b"x" * 100).data + DEFLATE_END, id="with an end"),
        pytest.param(pack(b"x" * 100).data + DEFLATE_END + b"more", id="with more behind an end"),
        pytest.param(pack(b"x" * 100).data + pack(b"y").data, id="with another block"),
    ],
)
def test_what_is_not_the_block_is_none(data: bytes) -> None:
    found = unpack(data, 100)
    assert found is None or data == pack(b"x" * 100).data[:-1]


def test_few_blocks_are_kept() -> None:
    kept = Unpacked(2)
    kept.keep(1, b"1")
    kept.keep(2, b"2")
    assert kept.get(1) == b"1"
    kept.keep(3, b"3")
    assert (kept.get(1), kept.get(2), kept.get(3)) == (b"1", None, b"3")
