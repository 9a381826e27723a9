"""A capture is read exactly as the card, outside programs agree, and no byte can be changed."""

from __future__ import annotations

import hashlib
import random
import subprocess
import tempfile
import tracemalloc
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import CaptureBrokenError, CardprepError, ReadFailedError, ShortReadError
from cardprep.medium.capture import CaptureSectors
from cardprep.medium.capture_index import Stretch
from cardprep.medium.capture_zip import TAIL_LENGTH
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Identity, MediumKind, read
from tests.captures import capture, card_of, index_of, opened_capture, parts_of
from tests.cards import KIB, MIB, MemorySectors, run

# Where the content of a card begins and ends is of interest at the borders of blocks.
SIZES = st.sampled_from(
    (1, 511, 512, 4096, MIB - 512, MIB, MIB + 1, 2 * MIB, 3 * MIB + 512, 5 * MIB)
)
PIECE = st.tuples(
    st.floats(0, 1), st.integers(1, 200 * KIB), st.sampled_from((0, 0xFF, 0x41, None))
)


def sparse(size: int, pieces: list[tuple[float, int, int | None]]) -> bytes:
    """Return a card of zeros with pieces of one byte, or of random ones, here and there."""
    data = bytearray(size)
    for share, length, byte in pieces:
        at = int(share * (size - 1))
        content = random.Random(at).randbytes(length) if byte is None else bytes([byte]) * length
        data[at : at + length] = content
    return bytes(data[:size])


@pytest.mark.oracle
@settings(max_examples=40, deadline=None)
@given(
    size=SIZES,
    pieces=st.lists(PIECE, max_size=6),
    asked=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 3 * MIB)), max_size=6),
)
def test_what_goes_in_comes_out(
    size: int, pieces: list[tuple[float, int, int | None]], asked: list[tuple[float, int]]
) -> None:
    data = sparse(size, pieces)
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "capture.zip"
        found = capture(MemorySectors(data), path)
        assert found.index.sha256 == hashlib.sha256(data).hexdigest()
        assert found.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
        assert card_of(path) == data
        with opened_capture(path) as sectors:
            assert sectors.size == size
            assert read(sectors, 0, size) == data
            for share, length in asked:
                at = int(share * size)
                taken = min(length, size - at)
                assert read(sectors, at, taken) == data[at : at + taken]
            with pytest.raises(ShortReadError):
                read(sectors, 1, size)


@pytest.mark.oracle
def test_outside_programs_take_it_apart(tmp_path: Path) -> None:
    data = sparse(3 * MIB + 512, [(0.4, 3000, None), (0.9, 5000, 0x41)])
    path = tmp_path / "capture.zip"
    capture(MemorySectors(data), path)
    assert "No errors detected" in run("unzip", "-t", path)
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        assert archive.comment == b"cardprep capture 1"
    out = tmp_path / "out"
    run("unzip", "-q", path, "-d", out)
    summed = subprocess.run(
        ["sha256sum", "-c", "--strict", "SHA256SUMS"],
        cwd=out,
        capture_output=True,
        text=True,
        check=True,
    )
    assert summed.stdout.splitlines() == ["CAPTURE.txt: OK", "card.img: OK", "index.json: OK"]
    # Each row of the index is what the note says.
    index = index_of(path)
    size, content = index["block_size"], (out / "card.img").read_bytes()
    assert content == data
    digests = [row[3] for row in index["blocks"] for _ in range(row[0])]
    blocks = [content[at : at + size] for at in range(0, len(content), size)]
    assert [hashlib.sha256(block).hexdigest() for block in blocks] == digests


def test_blocks_that_are_the_same_cost_nearly_nothing(tmp_path: Path) -> None:
    found = capture(MemorySectors(bytes(8 * MIB) + b"\xff" * 8 * MIB), tmp_path / "c.zip")
    assert [run.count for run in found.index.runs] == [8, 8]
    assert found.length < 16 * 1100 + 4000


def test_each_of_equal_blocks_is_looked_at(tmp_path: Path) -> None:
    path = tmp_path / "c.zip"
    found = capture(MemorySectors(bytes(4 * MIB)), path)
    (row,) = found.index.runs
    begin, whole = parts_of(path)[1].data, path.read_bytes()
    for number in range(4):
        altered = bytearray(whole)
        altered[begin + number * row.packed + 500] ^= 0xFF
        (tmp_path / "altered.zip").write_bytes(altered)
        with opened_capture(tmp_path / "altered.zip") as sectors:
            assert read(sectors, (number + 1) % 4 * MIB, MIB) == bytes(MIB)
            with pytest.raises(CaptureBrokenError) as caught:
                read(sectors, number * MIB, 512)
            assert caught.value.parameters["offset"] == number * MIB


# --- unreadable places


def test_unreadable_places_raise_what_the_card_raised(tmp_path: Path) -> None:
    data = random.Random("card").randbytes(2 * MIB)
    bad = [(512 * 9, 512 * 10), (MIB - 512, MIB + 1024)]
    found = capture(MemorySectors(data, bad=bad), tmp_path / "c.zip")
    assert found.index.unreadable == tuple(
        Stretch(offset=start, length=end - start, cause="EIO", tried=True) for start, end in bad
    )
    zeroed = bytearray(data)
    for start, end in bad:
        zeroed[start:end] = bytes(end - start)
    assert card_of(tmp_path / "c.zip") == zeroed
    with opened_capture(tmp_path / "c.zip") as sectors:
        for offset, length in ((512 * 9, 1), (512 * 10 - 1, 600), (MIB, 512), (MIB + 1023, 1)):
            with pytest.raises(ReadFailedError) as caught:
                read(sectors, offset, length)
            assert caught.value.reason == "medium.read-error"
            assert caught.value.parameters["offset"] == offset
            assert caught.value.parameters["cause"] == "EIO"
        with pytest.raises(ReadFailedError) as caught:
            read(sectors, 0, MIB)
        assert caught.value.parameters["offset"] == 512 * 9
        for offset, length in ((0, 512 * 9), (512 * 10, 5000), (MIB + 1024, 1000)):
            assert read(sectors, offset, length) == data[offset : offset + length]


def test_a_reader_that_gave_too_little_is_told_as_such(tmp_path: Path) -> None:
    class Short(MemorySectors):
        def read_into(self, offset: int, buffer: memoryview) -> None:
            if offset + len(buffer) > MIB:
                raise ShortReadError(
                    "medium.short", name="memory", offset=offset, wanted=len(buffer), got=0
                )
            super().read_into(offset, buffer)

    found = capture(Short(b"x" * 2 * MIB), tmp_path / "c.zip")
    assert [(one.offset, one.length, one.cause) for one in found.index.unreadable] == [
        (MIB, MIB, "short")
    ]
    with opened_capture(tmp_path / "c.zip") as sectors, pytest.raises(ShortReadError):
        read(sectors, MIB - 1, 2)


def test_what_tells_the_card_is_kept(tmp_path: Path) -> None:
    class Slot(MemorySectors):
        @property
        def identity(self) -> Identity:
            return Identity(
                name="/dev/mmcblk0",
                kind=MediumKind.BLOCK_DEVICE,
                size=len(self.data),
                sector_size=4096,
                disk_sequence=7,
                cid="aa585951454d552101deadbeef006200",
                serial="0123",
            )

    capture(Slot(bytes(8192), sector_bytes=4096), tmp_path / "c.zip")
    with opened_capture(tmp_path / "c.zip") as sectors:
        identity = sectors.identity
        assert (identity.kind, identity.size, sectors.sector_size) == (
            MediumKind.CAPTURE,
            8192,
            4096,
        )
        assert identity.name == str(tmp_path / "c.zip")
        assert (identity.cid, identity.serial) == ("aa585951454d552101deadbeef006200", "0123")
        assert sectors.index.card.name == "/dev/mmcblk0"
        assert sectors.index.card.disk_sequence == 7
        assert not sectors.past_the_cache
    # A copy of the capture tells of the card too.
    second = capture(tmp_path / "c.zip", tmp_path / "d.zip")
    assert second.index.card.name == "/dev/mmcblk0"
    assert (tmp_path / "c.zip").read_bytes() == (tmp_path / "d.zip").read_bytes()


# --- altered, cut short, hostile


def whole_reading(path: Path) -> bytes:
    """Read everything that a capture holds."""
    with open_card(path) as opened:
        return b"".join(opened.blocks()) if isinstance(opened, CaptureSectors) else b"an image"


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a capture of a card with all sorts of blocks, one of them with a bad sector."""
    data = sparse(MIB + 3 * KIB, [(0.1, 700, None), (0.995, 1200, 0x41)])
    path = tmp_path_factory.mktemp("small") / "c.zip"
    capture(MemorySectors(data, bad=[(1024, 1536)]), path)
    return path


def test_any_altered_byte_is_found_out(small: Path, tmp_path: Path) -> None:
    whole = small.read_bytes()
    path = tmp_path / "altered.zip"
    for at in range(len(whole)):
        altered = bytearray(whole)
        altered[at] ^= 0xFF
        path.write_bytes(altered)
        with pytest.raises(CaptureBrokenError):
            whole_reading(path)


def test_any_altered_bit_of_a_sample_is_found_out(small: Path, tmp_path: Path) -> None:
    whole = small.read_bytes()
    path = tmp_path / "altered.zip"
    for at in range(0, len(whole), 3):
        altered = bytearray(whole)
        altered[at] ^= 1 << at % 8
        path.write_bytes(altered)
        with pytest.raises(CaptureBrokenError):
            whole_reading(path)


def test_cut_short_anywhere_it_is_no_card(small: Path, tmp_path: Path) -> None:
    whole = small.read_bytes()
    path = tmp_path / "cut.zip"
    parts = parts_of(small)
    borders = {border for part in parts for border in (part.header, part.data, part.end)}
    lengths = {border + step for border in borders for step in (-1, 0, 1)}
    lengths |= {*range(4, len(whole), 7), *range(len(whole) - TAIL_LENGTH, len(whole))}
    for length in sorted(lengths - {-1, 0, 1}):
        path.write_bytes(whole[:length])
        with pytest.raises(CaptureBrokenError):
            whole_reading(path)
        if length > 22:
            path.write_bytes(whole[-length:])
            if length >= 40:
                with pytest.raises(CaptureBrokenError):
                    whole_reading(path)


@pytest.mark.parametrize("more", [b"\0", b"PK", bytes(5000)])
def test_nothing_may_stand_before_between_or_behind(
    small: Path, tmp_path: Path, more: bytes
) -> None:
    whole = small.read_bytes()
    path = tmp_path / "more.zip"
    for at in (0, parts_of(small)[1].header, parts_of(small)[2].header, len(whole)):
        path.write_bytes(whole[:at] + more + whole[at:])
        with pytest.raises(CaptureBrokenError):
            whole_reading(path)


def test_cut_off_while_it_is_read(small: Path, tmp_path: Path) -> None:
    path = tmp_path / "c.zip"
    path.write_bytes(small.read_bytes())
    with opened_capture(path) as sectors:
        with path.open("r+b") as file:
            file.truncate(parts_of(small)[1].data + 10)
        with pytest.raises(CaptureBrokenError):
            read(sectors, 0, 512)


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_rubbish_is_refused_in_bounded_memory(small: Path, data: st.DataObject) -> None:
    original = small.read_bytes()
    whole = bytearray(original)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(whole) - 1))
        piece = data.draw(st.binary(min_size=1, max_size=20))
        whole[at : at + len(piece)] = piece
    if whole == original:
        return
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "c.zip"
        path.write_bytes(whole)
        tracemalloc.start()
        try:
            try:
                read_as = whole_reading(path)
            except CardprepError:
                pass
            else:
                # With both its ends altered nothing says any more that it was a capture.
                assert read_as == b"an image"
                assert whole[:41] != original[:41]
                assert whole[-40:] != original[-40:]
            assert tracemalloc.get_traced_memory()[1] < 32 * MIB
        finally:
            tracemalloc.stop()
