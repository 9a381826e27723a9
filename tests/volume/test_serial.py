"""The serial number from two sectors, compared with mlabel's and with the whole reading."""

from __future__ import annotations

import struct

import pytest

from cardprep.errors import NotFatError, NotPartitionTableError, ReadFailedError, ShortReadError
from cardprep.volume.card import read_card
from cardprep.volume.serial import volume_serial
from tests.cards import MIB, MemorySectors, make_volume, run
from tests.exfat import ExfatImage, empty

START = 1 * MIB


@pytest.fixture(scope="module")
def volume(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    image = tmp_path_factory.mktemp("serial") / "volume"
    make_volume(image, 2 * MIB, "-F", "12", "-i", "B2381234")
    assert "Volume Serial Number is B238-1234" in run("mdir", "-i", image, "::")
    return image.read_bytes()


def in_partition(volume: bytes) -> bytes:
    entry = struct.pack("<B3xB3xII", 0, 1, START // 512, len(volume) // 512)
    table = (bytes(446 + 16) + entry).ljust(510, b"\0") + b"\x55\xaa"
    return table.ljust(START, b"\0") + volume


def test_with_and_without_a_partition_table(volume: bytes) -> None:
    for data in (volume, in_partition(volume)):
        medium = MemorySectors(data)
        assert volume_serial(medium) == "B238-1234"
        assert len(medium.reads) <= 2
        assert volume_serial(medium) == read_card(medium).volumes[0].facts.serial


def test_a_volume_without_one(volume: bytes) -> None:
    assert volume_serial(MemorySectors(volume[:38] + b"\0" + volume[39:])) is None


@pytest.mark.parametrize(
    ("data", "refusal"),
    [
        pytest.param(b"", ShortReadError, id="nothing"),
        pytest.param(bytes(MIB), NotPartitionTableError, id="blank"),
        pytest.param(in_partition(bytes(MIB)), NotFatError, id="no volume in the partition"),
        pytest.param(in_partition(bytes(MIB))[:START], ShortReadError, id="cut short"),
    ],
)
def test_cards_without_a_volume(data: bytes, refusal: type[Exception]) -> None:
    with pytest.raises(refusal):
        volume_serial(MemorySectors(data))


def test_an_exfat_volume() -> None:
    image = ExfatImage(empty())
    expected = f"{int.from_bytes(image.data[100:104], 'little'):08X}"
    for data in (bytes(image.data), in_partition(bytes(image.data))):
        medium = MemorySectors(data)
        assert volume_serial(medium) == f"{expected[:4]}-{expected[4:]}"
        assert volume_serial(medium) == read_card(medium).volumes[0].facts.serial


def test_an_exfat_volume_that_cannot_be_right() -> None:
    image = ExfatImage(empty())
    image.data[108] = 0xFE
    for data in (bytes(image.data), in_partition(bytes(image.data))):
        with pytest.raises(NotFatError):
            volume_serial(MemorySectors(data))


def test_a_sector_that_cannot_be_read(volume: bytes) -> None:
    with pytest.raises(ReadFailedError):
        volume_serial(MemorySectors(volume, bad=[(0, 512)]))
