"""A reader's device: what the kernel says of it, and that it is read past the cache.

Whoever may make loop devices (root) has one made and read; everyone else sees the same
questions asked of a kernel that is made up. What stands in between is the same code.
"""

from __future__ import annotations

import fcntl
import os
import random
import struct
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from cardprep.errors import NotAllowedError, NotThereError
from cardprep.medium import block_device
from cardprep.medium.block_device import BLKSSZGET, device_identity, open_block_device
from cardprep.medium.descriptor import DescriptorSectors, aligned_buffer
from cardprep.medium.open import open_card
from cardprep.medium.protocol import Identity, MediumKind, read
from tests.cards import ENVIRONMENT, run

# An odd number of sectors: the device ends within a block of the alignment.
DATA = random.Random("device").randbytes(257 * 512)


@pytest.fixture
def disk(tmp_path: Path) -> Path:
    path = tmp_path / "disk"
    path.write_bytes(DATA)
    return path


@pytest.fixture
def kernel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder of attributes for the device of any file, with sectors of 4096 bytes."""

    def ioctl(number: int, request: int, argument: bytes) -> bytes:
        assert (request, len(argument)) == (BLKSSZGET, 4)
        assert os.fstat(number)
        return struct.pack("i", 4096)

    monkeypatch.setattr(fcntl, "ioctl", ioctl)
    sysfs = tmp_path / "sys" / "dev" / "block"
    folder = sysfs / "0:0"
    (folder / "device").mkdir(parents=True)
    monkeypatch.setattr(block_device, "SYSFS", sysfs)
    return folder


def identity_of(path: Path, sysfs: Path) -> Identity:
    number = os.open(path, os.O_RDONLY)
    try:
        return device_identity(path, number, sysfs)
    finally:
        os.close(number)


def test_what_the_kernel_says(disk: Path, kernel: Path) -> None:
    (kernel / "diskseq").write_text("17\n", encoding="ascii")
    (kernel / "device" / "cid").write_text("aa585951454d552101deadbeef006200\n", encoding="ascii")
    assert identity_of(disk, kernel.parent) == Identity(
        name=str(disk),
        kind=MediumKind.BLOCK_DEVICE,
        size=len(DATA),
        sector_size=4096,
        disk_sequence=17,
        cid="aa585951454d552101deadbeef006200",
    )


def test_a_reader_that_says_little(disk: Path, kernel: Path) -> None:
    found = identity_of(disk, kernel.parent)
    assert (found.disk_sequence, found.cid) == (None, None)


@pytest.mark.parametrize("text", ["", "\n", "many", "-1", "\N{SUPERSCRIPT TWO}", "1 2"])
def test_a_sequence_number_that_is_none(disk: Path, kernel: Path, text: str) -> None:
    (kernel / "diskseq").write_text(text, encoding="utf-8")
    assert identity_of(disk, kernel.parent).disk_sequence is None


def test_it_is_read_like_an_image(disk: Path, kernel: Path) -> None:
    assert kernel.is_dir()
    with open_block_device(disk) as sectors:
        assert sectors.identity.kind is MediumKind.BLOCK_DEVICE
        assert sectors.sector_size == 4096
        assert read(sectors, 1, len(DATA) - 1) == DATA[1:]


def open_descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_a_file_is_no_device(disk: Path) -> None:
    before = open_descriptors()
    with pytest.raises(NotThereError) as caught:
        open_block_device(disk)
    assert caught.value.reason == "medium.no-card"
    assert open_descriptors() == before


def test_no_device(tmp_path: Path) -> None:
    with pytest.raises(NotThereError, match=r"medium\.not-there"):
        open_block_device(tmp_path / "none")


def test_a_device_that_this_user_may_not_open(disk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refusing(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refusing)
    with pytest.raises(NotAllowedError, match=r"medium\.not-allowed"):
        open_block_device(disk)


def test_a_reader_without_a_card(disk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def empty(*_: object) -> int:
        raise OSError(123, "No medium found")

    monkeypatch.setattr(os, "open", empty)
    with pytest.raises(NotThereError) as caught:
        open_block_device(disk)
    assert caught.value.reason == "medium.no-card"
    assert caught.value.parameters["cause"] == "No medium found"


# --- a device of the kernel's own, or else the made-up one


def may_make_devices() -> bool:
    if os.geteuid() != 0:
        return False
    asked = subprocess.run(["losetup", "-f"], env=ENVIRONMENT, capture_output=True, check=False)
    return asked.returncode == 0


@contextmanager
def device(disk: Path, *, made_up: bool) -> Iterator[tuple[Path, DescriptorSectors]]:
    """Give a device with sectors of 4096 bytes and the content of a file."""
    if made_up:
        with open_block_device(disk) as sectors:
            yield disk, sectors
        return
    options = ("--read-only", "--sector-size", "4096", "--find", "--show")
    path = Path(run("losetup", *options, disk).strip())
    try:
        card = open_card(path)
        assert isinstance(card, DescriptorSectors)
        with card:
            yield path, card
    finally:
        run("losetup", "--detach", path)


@pytest.mark.parametrize(
    "made_up", [pytest.param(True, id="made up"), pytest.param(False, id="the kernel's own")]
)
def test_a_device_is_read_past_the_cache(
    tmp_path: Path, kernel: Path, monkeypatch: pytest.MonkeyPatch, made_up: bool
) -> None:
    # The kernel gives a device whole sectors of the file behind it; so the end is odd only to
    # the copies that are made on the way.
    disk = tmp_path / "disk"
    disk.write_bytes(DATA[: 16 * 4096])
    (kernel / "diskseq").write_text("3\n", encoding="ascii")
    made_up = made_up or not may_make_devices()
    if not made_up:
        monkeypatch.undo()
    with device(disk, made_up=made_up) as (path, sectors):
        assert sectors.identity.name == str(path)
        assert sectors.identity.kind is MediumKind.BLOCK_DEVICE
        assert (sectors.size, sectors.sector_size) == (16 * 4096, 4096)
        assert isinstance(sectors.identity.disk_sequence, int)
        assert sectors.past_the_cache
        for start, length in ((0, 512), (511, 2), (4095, 4098), (1, 16 * 4096 - 1)):
            assert read(sectors, start, length) == DATA[start : start + length]
        whole = aligned_buffer(16 * 4096)
        sectors.read_into(0, whole)
        assert whole == DATA[: 16 * 4096]


def test_a_device_that_ends_within_a_block(disk: Path, kernel: Path) -> None:
    # Sectors of 512, and an odd number of them: the last block of 4096 is not all there.
    assert kernel.is_dir()
    if may_make_devices():
        path = Path(run("losetup", "--read-only", "--find", "--show", disk).strip())
        try:
            number = os.open(path, os.O_RDONLY | os.O_DIRECT)
            identity = Identity(name=str(path), kind=MediumKind.BLOCK_DEVICE, size=len(DATA))
            with DescriptorSectors(number, identity, direct=True) as sectors:
                assert read(sectors, 0, len(DATA)) == DATA
                assert read(sectors, len(DATA) - 3, 3) == DATA[-3:]
        finally:
            run("losetup", "--detach", path)
    with open_block_device(disk) as sectors:
        assert read(sectors, 0, len(DATA)) == DATA
        assert read(sectors, len(DATA) - 3, 3) == DATA[-3:]
