"""exFAT volumes with bytes changed at random: whatever is called whole is whole, or it is said."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import CardprepError
from cardprep.volume.exfat_volume import read_exfat_volume
from cardprep.volume.model import Extent
from tests.cards import MemorySectors
from tests.exfat import FILES, INNER, LONG, ONE, SUB, TWO, ExfatImage, built, by_path, content


def metadata(image: ExfatImage) -> list[int]:
    """Return the bytes that are no file's content and not empty for good."""
    begin = image.fat * image.sector
    stretches = [(0, 24 * image.sector), (begin, 4 * 100)]
    stretches += [(image.system_file(0x81), image.clusters // 8), (image.system_file(0x82), 5836)]
    stretches += [(image.root, 1024), (image.cluster(SUB[0]), 512)]
    return [at for start, length in stretches for at in range(start, start + length)]


@pytest.mark.parametrize("seed", range(200))
def test_two_hundred_bytes_changed(seed: int) -> None:
    image = built()
    draw = random.Random(seed)
    places = metadata(image)
    # Most damage would end in the boot sector; the folders get as much as all the rest.
    folders = places[-1536:]
    for at in draw.sample(places[:-1536], 100) + draw.sample(folders, 100):
        image.data[at] ^= draw.randrange(1, 256)
    hold(image)


@pytest.mark.parametrize("seed", range(300))
def test_one_byte_changed(seed: int) -> None:
    image = built()
    draw = random.Random(seed)
    folders = draw.random() < 0.6
    places = metadata(image)
    image.data[draw.choice(places[-1536:] if folders else places)] ^= draw.randrange(1, 256)
    hold(image)


@pytest.mark.parametrize("part", range(12))
def test_every_byte_of_the_folders(part: int) -> None:
    original = built()
    draw = random.Random(part)
    label = range(original.system_entry(0x83), original.system_entry(0x83) + 32)
    expected = original.read()
    for at in metadata(original)[-1536:][part::12]:
        # The label has no checksum, so that nothing can tell another one.
        if at in label:
            continue
        for mask in (0xFF, 0x80, 1 << draw.randrange(8)):
            image = ExfatImage(original.data)
            image.data[at] ^= mask
            volume = image.read()
            assert volume.entries == expected.entries or volume.findings, (at, mask)


def hold(image: ExfatImage) -> None:
    """See that no file is called whole whose bytes differ, unless there is a finding."""
    try:
        volume = image.read()
    except CardprepError:
        return
    for path, entry in by_path(volume).items():
        if entry.is_whole and not entry.is_folder:
            try:
                same = content(image, entry) == FILES.get(path)
            except CardprepError:
                same = False
            assert same or volume.findings, path
    missing = set(FILES) - set(by_path(volume))
    assert not missing or volume.findings


def test_the_clusters_of_the_volume_are_as_this_file_thinks() -> None:
    image = built()
    assert max(*ONE, *TWO, *INNER, *LONG, *SUB) < 98
    places = metadata(image)
    assert len(places) == len(set(places))
    assert image.find("ONE.BIN") in places[-1536:]


@given(st.binary(max_size=40_000))
@settings(max_examples=60)
def test_any_bytes_are_a_volume_or_refused(data: bytes) -> None:
    try:
        read_exfat_volume(MemorySectors(data), Extent(0, len(data)))
    except CardprepError:
        return


@given(
    st.lists(st.tuples(st.integers(0, 4 * 2**20 - 1), st.integers(0, 255)), min_size=1, max_size=9)
)
@settings(max_examples=100, deadline=None)
def test_any_bytes_in_any_places_are_a_volume_or_refused(changes: list[tuple[int, int]]) -> None:
    image = built()
    for at, value in changes:
        image.data[at] = value
    try:
        image.read()
    except CardprepError:
        return


@given(st.binary(min_size=12, max_size=390), st.integers(0, 120), st.binary(max_size=64))
@settings(max_examples=100, deadline=None)
def test_any_root_folder_is_a_volume(entries: bytes, at: int, more: bytes) -> None:
    image = built()
    image.data[image.root + at : image.root + at + len(entries)] = entries
    image.data[image.cluster(SUB[0]) + at : image.cluster(SUB[0]) + at + len(more)] = more
    image.read()
