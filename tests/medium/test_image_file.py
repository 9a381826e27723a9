"""An image file: every offset and length, direct and buffered, and what is refused."""

from __future__ import annotations

import os
import random
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cardprep.errors import NotThereError, ReadFailedError, ShortReadError
from cardprep.medium import access, descriptor
from cardprep.medium.descriptor import ALIGNMENT, DescriptorSectors, aligned_buffer
from cardprep.medium.image_file import open_image_file
from cardprep.medium.protocol import Identity, MediumKind, read

# An odd size: the last sector and the last block of the alignment are both cut short.
DATA = random.Random("image").randbytes(3 * ALIGNMENT * 4 + 777)


@pytest.fixture(scope="module")
def image(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("image") / "card.img"
    path.write_bytes(DATA)
    return path


@pytest.fixture(scope="module")
def direct(image: Path) -> Iterator[DescriptorSectors]:
    with open_image_file(image, direct=True) as sectors:
        yield sectors


@pytest.fixture(scope="module")
def buffered(image: Path) -> Iterator[DescriptorSectors]:
    with open_image_file(image) as sectors:
        yield sectors


def test_what_it_is(image: Path, buffered: DescriptorSectors) -> None:
    assert buffered.identity == Identity(
        name=str(image), kind=MediumKind.IMAGE_FILE, size=len(DATA), sector_size=512
    )
    assert (buffered.size, buffered.sector_size) == (len(DATA), 512)
    assert not buffered.past_the_cache


EDGES = sorted(
    {
        max(0, edge + step)
        for edge in (0, 512, ALIGNMENT, 2 * ALIGNMENT, len(DATA) - 777, len(DATA))
        for step in (-513, -512, -1, 0, 1, 511)
        if edge + step <= len(DATA)
    }
)


def test_all_edges_both_ways(direct: DescriptorSectors, buffered: DescriptorSectors) -> None:
    for start in EDGES:
        for end in EDGES:
            if start <= end:
                assert read(direct, start, end - start) == DATA[start:end]
                assert read(buffered, start, end - start) == DATA[start:end]


def test_pieces_of_more_than_one_bounce(
    direct: DescriptorSectors, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(descriptor, "BOUNCE", 2 * ALIGNMENT)
    monkeypatch.setattr(direct, "_bounce", None)
    for start in (0, 1, 511, ALIGNMENT, ALIGNMENT + 1):
        assert read(direct, start, len(DATA) - start) == DATA[start:]
    monkeypatch.setattr(direct, "_bounce", None)


def test_an_aligned_buffer_is_filled_without_a_copy(direct: DescriptorSectors) -> None:
    buffer = aligned_buffer(2 * ALIGNMENT)
    direct.read_into(ALIGNMENT, buffer)
    assert buffer == DATA[ALIGNMENT : 3 * ALIGNMENT]
    # The same place in memory, one byte on, has to go round.
    odd = aligned_buffer(2 * ALIGNMENT)[1 : ALIGNMENT + 1]
    direct.read_into(ALIGNMENT, odd)
    assert odd == DATA[ALIGNMENT : 2 * ALIGNMENT]


@settings(
    deadline=None, max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.integers(0, len(DATA)), st.integers(0, len(DATA)))
def test_any_stretch_both_ways(
    direct: DescriptorSectors, buffered: DescriptorSectors, one: int, other: int
) -> None:
    start, end = sorted((one, other))
    assert read(direct, start, end - start) == DATA[start:end]
    assert read(buffered, start, end - start) == DATA[start:end]


@pytest.mark.parametrize(
    ("offset", "length"),
    [
        pytest.param(len(DATA), 1, id="at the end"),
        pytest.param(len(DATA) - 1, 2, id="over the end"),
        pytest.param(2**62, 1, id="far beyond"),
        pytest.param(-1, 1, id="before the start"),
    ],
)
def test_nothing_is_read_beyond_the_end(
    direct: DescriptorSectors, buffered: DescriptorSectors, offset: int, length: int
) -> None:
    for sectors in (direct, buffered):
        with pytest.raises(ShortReadError) as caught:
            sectors.read_into(offset, memoryview(bytearray(length)))
        assert caught.value.reason == "medium.past-the-end"
        assert caught.value.parameters["size"] == len(DATA)


def test_a_file_that_became_shorter(tmp_path: Path) -> None:
    path = tmp_path / "card.img"
    path.write_bytes(DATA)
    with open_image_file(path) as sectors:
        os.truncate(path, 1000)
        with pytest.raises(ShortReadError) as caught:
            read(sectors, 0, 2000)
    assert caught.value.reason == "medium.short"
    assert (caught.value.parameters["got"], caught.value.parameters["wanted"]) == (1000, 2000)


@pytest.mark.parametrize("direct", [False, True])
def test_a_reader_that_gives_little_at_a_time(
    image: Path, monkeypatch: pytest.MonkeyPatch, direct: bool
) -> None:
    whole = os.preadv

    def little(number: int, buffers: list[memoryview], offset: int) -> int:
        return whole(number, [buffers[0][: max(ALIGNMENT, 512)]], offset)

    with open_image_file(image, direct=direct) as sectors:
        monkeypatch.setattr(os, "preadv", little)
        assert read(sectors, 0, len(DATA)) == DATA


def test_a_system_without_the_better_calls(image: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(os, "preadv")
    monkeypatch.delattr(os, "readv")
    with open_image_file(image) as sectors:
        assert read(sectors, 513, 5000) == DATA[513:5513]


def test_a_place_that_cannot_be_read(image: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> int:
        raise OSError(5, "Input/output error")

    with open_image_file(image) as sectors:
        monkeypatch.setattr(os, "preadv", broken)
        with pytest.raises(ReadFailedError) as caught:
            read(sectors, 4096, 10)
    assert caught.value.parameters == {"name": str(image), "offset": 4096, "cause": "EIO"}


def test_closing_twice_does_no_harm(image: Path) -> None:
    sectors = open_image_file(image)
    sectors.close()
    sectors.close()
    with pytest.raises(ReadFailedError):
        read(sectors, 0, 1)


def test_a_descriptor_that_belongs_to_another_is_left_open(image: Path) -> None:
    number = os.open(image, os.O_RDONLY)
    try:
        identity = Identity(name="lent", kind=MediumKind.IMAGE_FILE, size=len(DATA))
        with DescriptorSectors(number, identity, direct=False, owned=False) as sectors:
            assert read(sectors, 0, 4) == DATA[:4]
            assert sectors.sector_size == 512
        assert os.fstat(number).st_size == len(DATA)
    finally:
        os.close(number)


def test_a_file_system_without_direct_reads(image: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.open

    def refusing(path: Path, flags: int) -> int:
        if flags & access.DIRECT:
            raise OSError(22, "Invalid argument")
        return real(path, flags)

    monkeypatch.setattr(os, "open", refusing)
    with open_image_file(image, direct=True) as sectors:
        assert not sectors.past_the_cache
        assert read(sectors, 1, 9) == DATA[1:10]


def test_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "card.img").write_bytes(b"")
    with open_image_file(tmp_path / "card.img") as sectors:
        assert sectors.size == 0
        assert read(sectors, 0, 0) == b""


def test_a_pipe_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    started = time.perf_counter()
    with pytest.raises(NotThereError) as caught:
        open_image_file(tmp_path / "pipe")
    assert caught.value.reason == "medium.kind"
    assert time.perf_counter() - started < 5


def test_a_folder_is_no_image_file(tmp_path: Path) -> None:
    before = len(list(Path("/proc/self/fd").iterdir()))
    with pytest.raises(NotThereError, match=r"medium\.kind"):
        open_image_file(tmp_path)
    assert len(list(Path("/proc/self/fd").iterdir())) == before
