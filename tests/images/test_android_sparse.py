"""Android sparse images: what img2simg wrote, cut short and contradicting."""

from __future__ import annotations

import struct

import pytest

from cardprep.images import android_sparse
from cardprep.images.report import Problem, Soundness
from tests.images.fed import broken_at, reasons, report_of, whole_from

# Source: img2simg (libsparse 29.0.6) over 4096 times "A", 12288 zeros, 16 times all bytes.
STRUCTURE = bytes.fromhex(
    "3aff26ed010000001c000c0000100000050000000300000000000000"
    "c2ca0000010000001000000041414141"
    "c2ca0000030000001000000000000000"
    "c1ca0000010000000c100000"
)
SAMPLE = STRUCTURE + bytes(range(256)) * 16


def chunk(kind: int, blocks: int, length: int, data: bytes = b"") -> bytes:
    return struct.pack("<2H2I", kind, 0, blocks, length) + data


def image(*chunks: bytes, blocks: int, block_size: int = 8) -> bytes:
    head = struct.pack("<I4H4I", 0xED26FF3A, 1, 0, 28, 12, block_size, blocks, len(chunks), 0)
    return head + b"".join(chunks)


def test_what_img2simg_wrote() -> None:
    report = report_of(SAMPLE)
    assert (report.format, report.soundness) == ("android-sparse", Soundness.UNCHECKED)
    assert report.problems == ()
    assert report.facts == {
        "size": 4168,
        "block_size": 4096,
        "blocks": 5,
        "chunks": 3,
        "unpacked_bytes": 20480,
        "trailing_bytes": 0,
    }


def test_every_kind_of_chunk() -> None:
    kinds = [chunk(0xCAC1, 1, 20, b"8 bytes."), chunk(0xCAC3, 5, 12), chunk(0xCAC4, 0, 16, b"crc.")]
    assert reasons(image(*kinds, blocks=6)) == []


def test_no_beginning_goes_for_the_whole() -> None:
    made = image(chunk(0xCAC1, 1, 20, b"8 bytes."), chunk(0xCAC2, 3, 16, b"fill"), blocks=4)
    assert whole_from(made, "android-sparse") == len(made)
    assert report_of(SAMPLE[:-1]).problems == (
        Problem("sparse.cut-short", {"chunk": 3, "offset": 4167}),
    )
    assert reasons(SAMPLE[:20]) == ["sparse.header-cut-short"]
    assert reasons(SAMPLE[:30]) == ["sparse.cut-short"]


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        pytest.param(image(blocks=0, block_size=0), "sparse.block-size", id="no block size"),
        pytest.param(image(blocks=0, block_size=7), "sparse.block-size", id="odd block size"),
        pytest.param(image(blocks=1), "sparse.blocks", id="blocks of no chunk"),
        pytest.param(image(chunk(0xCAC3, 2, 12), blocks=1), "sparse.blocks", id="too many"),
        pytest.param(image(chunk(0xCAC5, 1, 12), blocks=1), "sparse.chunk", id="unknown kind"),
        pytest.param(image(chunk(0xCAC3, 1, 13), blocks=1), "sparse.chunk", id="wrong length"),
        pytest.param(
            image(chunk(0xCAC1, 1, 16, b"data"), blocks=1), "sparse.chunk", id="two lengths"
        ),
        pytest.param(image(blocks=0) + b"x", "sparse.trailing", id="something behind"),
    ],
)
def test_what_contradicts_is_named(data: bytes, reason: str) -> None:
    assert reasons(data) == [reason]


def test_any_byte_may_be_turned_round() -> None:
    assert set(range(12, 24)) | set(range(32, 40)) <= broken_at(SAMPLE[:200] + SAMPLE[-100:])


def test_chunks_without_end_are_left_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(android_sparse, "CHUNK_LIMIT", 3)
    empty = [chunk(0xCAC3, 0, 12)] * 4
    assert reasons(image(*empty, blocks=0)) == ["sparse.many-chunks"]
