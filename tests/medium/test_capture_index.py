"""The index of a capture: one spelling, and nothing hostile in it is believed."""

from __future__ import annotations

import json
import time
import tracemalloc
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.errors import CaptureBrokenError
from cardprep.medium.capture_index import (
    BLOCKS_MOST,
    CARD_LARGEST,
    INDEX_LARGEST,
    STRETCHES_MOST,
    Index,
    Run,
    Stretch,
    block_size_for,
    most_packed,
    parse_index,
)
from cardprep.medium.protocol import Identity, MediumKind
from cardprep.terms import GIB, MIB

SHA = "ab" * 32
INDEX = Index(
    card=Identity(
        name="/dev/sdb",
        kind=MediumKind.BLOCK_DEVICE,
        size=3 * MIB + 512,
        sector_size=512,
        disk_sequence=3,
        cid=None,
        serial="0123",
    ),
    direct=True,
    begun="2026-11-25T20:01:00Z",
    ended="2026-11-25T20:02:00Z",
    tool="0",
    block_size=MIB,
    crc=7,
    sha256=SHA,
    runs=(
        Run(count=2, packed=1037, crc=1, sha256=SHA),
        Run(count=1, packed=MIB + 90, crc=2**32 - 1, sha256=SHA),
        Run(count=1, packed=20, crc=0, sha256=SHA),
    ),
    unreadable=(
        Stretch(offset=512, length=512, cause="EIO", tried=True),
        Stretch(offset=1024, length=3 * MIB - 512, cause="short", tried=False),
    ),
)


def test_there_and_back() -> None:
    data = INDEX.to_bytes()
    assert data.isascii()
    assert data.endswith(b"\n")
    assert parse_index(data, "c") == INDEX
    assert INDEX.packed == 2 * 1037 + MIB + 90 + 20


@pytest.mark.parametrize(
    ("size", "block_size"),
    [
        pytest.param(1, MIB, id="smallest"),
        pytest.param(64 * GIB, MIB, id="largest with 1 MiB"),
        pytest.param(64 * GIB + 512, 2 * MIB, id="next"),
        pytest.param(CARD_LARGEST, 16 * MIB, id="largest"),
    ],
)
def test_blocks_are_never_too_many(size: int, block_size: int) -> None:
    assert block_size_for(size) == block_size
    assert -(-size // block_size) <= BLOCKS_MOST


def changed(change: Callable[[dict[str, Any]], None]) -> bytes:
    value = json.loads(INDEX.to_bytes())
    change(value)
    return json.dumps(value, sort_keys=True, separators=(",", ":")).encode() + b"\n"


def put(*path: object) -> Callable[[dict[str, Any]], None]:
    """Return a change that puts the last of `path` where the others lead."""
    *way, key, value = path

    def change(index: Any) -> None:  # noqa: ANN401 - whatever JSON holds
        for step in way:
            index = index[step]
        index[key] = value

    return change


WRONG = [
    put("format", "cardprep-capture-2"),
    put("more", 1),
    put("begun", "yesterday"),
    put("sha256", "AB" * 32),
    put("crc32", 7),
    put("tool", None),
    put("tool", "x" * 5000),
    put("block_size", MIB // 2),
    put("block_size", 32 * MIB),
    put("block_size", 3 * MIB),
    put("block_size", True),
    put("card", []),
    put("card", "size", 0),
    put("card", "size", None),
    put("card", "size", CARD_LARGEST + 1),
    put("card", "size", 5 * MIB),
    put("card", "sector_size", 513),
    put("card", "kind", "mounted folder"),
    put("card", "kind", "x"),
    put("card", "cid", 1),
    put("card", "disk_sequence", "3"),
    put("card", "past_the_cache", 1),
    put("card", "more", 1),
    put("blocks", {}),
    put("blocks", []),
    put("blocks", 0, 0, 3),
    put("blocks", 0, 0, 0),
    put("blocks", 0, 0, -1),
    put("blocks", 0, 0, True),
    put("blocks", 0, 1, 0),
    put("blocks", 0, 1, most_packed(MIB) + 1),
    put("blocks", 2, 1, most_packed(512) + 1),
    put("blocks", 2, 0, 2),
    put("blocks", 0, 2, "1"),
    put("blocks", 0, 3, "x" * 64),
    put("blocks", 0, [1, 1, "00000001"]),
    put("blocks", 0, "abcd"),
    put("unreadable", {}),
    put("unreadable", 0, "offset", -1),
    put("unreadable", 0, "length", 0),
    put("unreadable", 0, "length", 1024),
    put("unreadable", 1, "length", 3 * MIB + 1),
    put("unreadable", 0, "cause", "\x1b[2J"),
    put("unreadable", 0, "cause", ""),
    put("unreadable", 0, "tried", None),
    put("unreadable", 0, "more", 1),
    put("unreadable", 0, []),
    lambda index: index.pop("tool"),
    lambda index: index["card"].pop("cid"),
    lambda index: index["blocks"].append([1, 20, "00000001", SHA]),
    lambda index: index["unreadable"].reverse(),
]


@pytest.mark.parametrize("change", WRONG)
def test_what_cannot_be_right_is_refused(change: Callable[[dict[str, Any]], None]) -> None:
    with pytest.raises(CaptureBrokenError) as caught:
        parse_index(changed(change), "c")
    assert caught.value.reason == "capture.index"


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n",
        b"[]\n",
        b"null\n",
        INDEX.to_bytes()[:-1],
        INDEX.to_bytes() + b"\n",
        INDEX.to_bytes().replace(b",", b", ", 1),
        b"\xff\n",
    ],
)
def test_there_is_one_spelling(data: bytes) -> None:
    with pytest.raises(CaptureBrokenError):
        parse_index(data, "c")


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"[" * INDEX_LARGEST, id="deep"),
        pytest.param(b"[" + b"[]," * (INDEX_LARGEST // 3), id="many lists"),
        pytest.param(b"[" + b"1," * (INDEX_LARGEST // 2) + b"1]\n", id="many numbers"),
        pytest.param(b"1" * (INDEX_LARGEST - 1) + b"\n", id="one number"),
        pytest.param(b'"' + b"x" * (INDEX_LARGEST - 3) + b'"\n', id="one text"),
    ],
)
def test_a_hostile_index_takes_neither_memory_nor_time(data: bytes) -> None:
    begun = time.monotonic()
    tracemalloc.start()
    try:
        with pytest.raises(CaptureBrokenError):
            parse_index(data, "c")
        assert tracemalloc.get_traced_memory()[1] < 8 * INDEX_LARGEST
    finally:
        tracemalloc.stop()
    assert time.monotonic() - begun < 10


def test_the_largest_honest_index_is_read() -> None:
    runs = tuple(
        Run(count=1, packed=most_packed(16 * MIB), crc=2**32 - 1, sha256=SHA)
        for _ in range(BLOCKS_MOST)
    )
    stretches = tuple(
        Stretch(offset=number * 10**8, length=10**7, cause="EREMOTEIO", tried=False)
        for number in range(STRETCHES_MOST)
    )
    card = Identity(name="x", kind=MediumKind.BLOCK_DEVICE, size=CARD_LARGEST, sector_size=512)
    index = Index(
        card=card,
        direct=True,
        begun=INDEX.begun,
        ended=INDEX.ended,
        tool="0",
        block_size=16 * MIB,
        crc=0,
        sha256=SHA,
        runs=runs,
        unreadable=stretches,
    )
    data = index.to_bytes()
    assert len(data) < INDEX_LARGEST
    assert parse_index(data, "c") == index


@given(data=st.binary(max_size=300))
def test_rubbish_is_refused(data: bytes) -> None:
    with pytest.raises(CaptureBrokenError):
        parse_index(data, "c")
