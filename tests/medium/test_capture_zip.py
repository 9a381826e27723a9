"""The frame of a capture: what Python's own reader of ZIP files finds in it, at any size."""

from __future__ import annotations

import hashlib
import zipfile
from pathlib import Path

import pytest

from cardprep.medium.capture_zip import DEFLATE_END, HEAD_LENGTH, TAIL_LENGTH, Frame, index_place
from cardprep.texts.capture_note import NOTE


@pytest.mark.parametrize("packed", [2, 2**32 - 3000, 2**32 - 1, 2**32, 2**40])
@pytest.mark.parametrize("index", [b"", b"{}\n", b"x" * 100_000])
def test_the_frame_at_any_size(tmp_path: Path, packed: int, index: bytes) -> None:
    frame = Frame(size=2**33 + 1, crc=0x12345678, sha256="ab" * 32, packed=packed, index=index)
    head, tail = frame.head(), frame.tail()
    assert (len(head), len(tail)) == (HEAD_LENGTH, TAIL_LENGTH + len(index))
    whole = len(head) + packed + len(tail)
    offset, length = index_place(tail[-TAIL_LENGTH:], whole) or (0, 0)
    assert length == len(index)
    start = offset - HEAD_LENGTH - packed
    assert tail[start : start + length] == index

    with (tmp_path / "hollow.zip").open("wb") as file:
        file.write(head)
        file.seek(len(head) + packed)
        file.write(tail)
    with zipfile.ZipFile(tmp_path / "hollow.zip") as archive:
        note, card, listed, sums = archive.infolist()
        assert archive.read(note) == NOTE.encode()
        assert (card.filename, card.file_size, card.compress_size) == (
            "card.img",
            2**33 + 1,
            packed,
        )
        assert (card.CRC, card.compress_type) == (0x12345678, zipfile.ZIP_DEFLATED)
        assert archive.read(listed) == index
        assert archive.read(sums).splitlines()[2].split() == [
            hashlib.sha256(index).hexdigest().encode(),
            b"index.json",
        ]


def test_the_format_does_not_change_by_itself() -> None:
    """A change of any of these bytes is another format and needs another number."""
    frame = Frame(size=1, crc=2, sha256="ab" * 32, packed=4, index=b"{}\n")
    whole = frame.head() + DEFLATE_END + frame.tail()
    assert hashlib.sha256(whole).hexdigest() == (
        "4666eec0ad3211cc8948b02396964ff39b31dacac2258c7bea926d2401ae618d"
    )
    assert NOTE.isascii()


def test_an_index_that_cannot_be_there() -> None:
    tail = Frame(size=1, crc=0, sha256="0" * 64, packed=2, index=b"x").tail()[-TAIL_LENGTH:]
    assert index_place(tail, HEAD_LENGTH + 2 + TAIL_LENGTH + 1) is not None
    assert index_place(tail, HEAD_LENGTH + 2 + TAIL_LENGTH) is None
