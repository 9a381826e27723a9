"""One volume as a whole: its labels, and what of it cannot be read.

Judge of labels: mlabel (mtools).
"""

from __future__ import annotations

import itertools
import struct
from pathlib import Path

import pytest

from cardprep.errors import NotFatError
from cardprep.findings import Finding
from cardprep.volume.fat_volume import read_fat_volume
from cardprep.volume.model import Volume
from tests.cards import MIB, FatImage, MemorySectors, run
from tests.volumes import FILES, FOLDERS, SIZES


def volume_of(image: FatImage, room: int | None = None) -> Volume:
    return read_fat_volume(image.medium(), 0, len(image.data) if room is None else room)


def said(volume: Volume) -> list[tuple[str, str | None]]:
    return [(finding.slug, finding.structure) for finding in volume.findings]


def only(volume: Volume) -> Finding:
    (finding,) = volume.findings
    return finding


# --- labels


@pytest.mark.oracle
def test_a_label_that_mlabel_sets(originals: dict[int, bytes], tmp_path: Path) -> None:
    image = tmp_path / "volume"
    image.write_bytes(originals[16])
    run("mlabel", "-i", image, "::B238-2 APPL")
    volume = volume_of(FatImage(image.read_bytes()))
    assert (volume.facts.label, volume.facts.boot_label) == ("B238-2 APPL", "B238-2 APPL")
    assert volume.findings == ()


def test_labels_that_differ_are_shown_in_harmless_spelling(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    image.data[43:54] = b"\x1b[31mRED   "
    finding = only(volume_of(image))
    assert (finding.slug, finding.structure) == ("labels-differ", "boot sector")
    assert finding.parameters == {"root": "B238-1 BOOT", "boot": "\\x1b[31mRED"}


def label_entry(name: bytes, cluster: int = 0) -> bytes:
    return struct.pack("<11sB14xHI", name, 0x08, cluster, 0)


def test_two_labels(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    at = image.folder_entry("EMPTY   BIN")
    image.data[at : at + 32] = label_entry(b"OTHER      ")
    finding = only(volume_of(image))
    assert (finding.slug, finding.structure) == ("labels-differ", "directory")
    assert finding.parameters == {"root": "B238-1 BOOT", "boot": "OTHER"}


@pytest.mark.parametrize("label", [b"NO NAME    ", b"           "])
def test_no_label_in_the_boot_sector(originals: dict[int, bytes], label: bytes) -> None:
    image = FatImage(originals[16])
    image.data[43:54] = label
    volume = volume_of(image)
    assert (volume.findings, volume.facts.boot_label) == ((), None)


def test_a_boot_sector_without_the_later_fields(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    image.data[38] = 0x28
    facts = volume_of(image).facts
    assert (facts.serial, facts.boot_label) == (None, None)


def test_a_volume_without_a_label(originals: dict[int, bytes]) -> None:
    image = FatImage(originals[16])
    image.data[image.folder_entry("B238-1 BOOT")] = 0xE5
    volume = volume_of(image)
    assert (volume.facts.label, volume.facts.boot_label) == (None, "B238-1 BOOT")
    assert volume.findings == ()


# --- what cannot be read


def test_a_boot_area_that_cannot_be_read(originals: dict[int, bytes]) -> None:
    medium = MemorySectors(originals[32], bad=[(512, 1024), (6 * 512, 7 * 512)])
    volume = read_fat_volume(medium, 0, SIZES[32])
    assert [(f.slug, f.structure, f.parameters) for f in volume.findings] == [
        ("read-error", "boot area", {"offset": 6 * 512}),
        ("read-error", "boot area", {"offset": 512}),
    ]
    assert len(volume.entries) == len(FILES) + len(FOLDERS)


@pytest.mark.parametrize("copy", [0, 1])
def test_one_fat_that_cannot_be_read(originals: dict[int, bytes], copy: int) -> None:
    image = FatImage(originals[16])
    at = image.fat_at[copy]
    volume = read_fat_volume(MemorySectors(image.data, bad=[(at, at + 512)]), 0, SIZES[16])
    finding = only(volume)
    assert (finding.slug, finding.structure) == ("read-error", f"FAT {copy + 1}")
    assert finding.parameters == {"offset": at}
    assert all(entry.is_whole for entry in volume.entries)


def test_every_sector_is_read_once(originals: dict[int, bytes]) -> None:
    for bits in (12, 16, 32):
        medium = MemorySectors(originals[bits])
        read_fat_volume(medium, 0, SIZES[bits])
        ordered = sorted(medium.reads)
        assert all(one[1] <= two[0] for one, two in itertools.pairwise(ordered))


def test_no_volume() -> None:
    with pytest.raises(NotFatError):
        read_fat_volume(MemorySectors(bytes(MIB)), 0, MIB)
