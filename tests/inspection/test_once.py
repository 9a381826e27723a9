"""One inspection reads each sector of a card once, and no more of it than is used."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.inspection.card import Watched, inspect_card
from cardprep.inspection.forward import Forwarding
from cardprep.inspection.once import KEPT_MOST, Once
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Comparison
from cardprep.medium.image_file import open_image_file
from cardprep.medium.protocol import Sectors, read
from cardprep.terms import SECTOR
from tests.cards import KIB, MIB, FatImage, MemorySectors, make_volume, run
from tests.stages import laid_out_bytes, make_stage
from tests.volume.guid_card import GuidCard, entry
from tests.volumes import BITS, FILES, OPTIONS, SIZES, START, card_of, partition, table

DATA = random.Random(5).randbytes(20 * KIB + 100)
TYPES = {12: 0x01, 16: 0x0E, 32: 0x0C}


class Counting(Forwarding):
    """The same sectors, with a count of how often each one was read."""

    def __init__(self, sectors: Sectors) -> None:
        super().__init__(sectors)
        self.counts: Counter[int] = Counter()

    def read_into(self, offset: int, buffer: memoryview) -> None:
        self.counts.update(range(offset // SECTOR, -(-(offset + len(buffer)) // SECTOR)))
        self._sectors.read_into(offset, buffer)

    def twice(self) -> list[int]:
        return sorted(sector for sector, count in self.counts.items() if count > 1)


def inspected(data: bytes | bytearray) -> Counting:
    counting = Counting(MemorySectors(data))
    inspection = inspect_card(counting)
    assert all(file.digests is not None for file in inspection.files)
    assert len(inspection.files) == len(FILES)
    return counting


@pytest.fixture(scope="module")
def volumes(tmp_path_factory: pytest.TempPathFactory) -> dict[int, bytes]:
    """Volumes by bits of an entry that say they begin where partitions usually do."""
    folder = tmp_path_factory.mktemp("once")
    for name, data in FILES.items():
        (folder / "files" / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / "files" / name).write_bytes(data)
    made = {}
    for bits in (12, 16, 32):
        options = (*OPTIONS[bits], "-h", str(START // SECTOR), "-n", "GANNET")
        make_volume(folder / "volume", SIZES[bits], *options, files=folder / "files")
        made[bits] = (folder / "volume").read_bytes()
    return made


@pytest.mark.parametrize("bits", BITS)
@pytest.mark.parametrize("how", ["bare", "MBR", "logical", "GPT"])
def test_no_sector_of_an_ordinary_card_is_read_twice(
    volumes: dict[int, bytes], bits: int, how: str
) -> None:
    volume = volumes[bits]
    count = len(volume) // SECTOR
    if how == "bare":
        card = volume
    elif how == "MBR":
        card = card_of(table(partition(TYPES[bits], START // SECTOR, count)), volume)
    elif how == "logical":
        first = table(partition(0x0F, START // SECTOR, count + 2048))
        chain = table(partition(TYPES[bits], 2048, count))
        card = card_of(first, card_of(chain, volume, 2048 * SECTOR))
    else:
        size = START + len(volume) + MIB
        made = GuidCard(entry(1, START // SECTOR, START // SECTOR + count - 1), size=size)
        made.data[START : START + len(volume)] = volume
        card = bytes(made.data)
    assert not inspected(card).twice()


@pytest.mark.parametrize("bits", BITS)
def test_scattered_files_and_folders_are_read_once_too(
    volumes: dict[int, bytes], bits: int
) -> None:
    image = FatImage(volumes[bits])
    clusters = image.chain(image.first_cluster("TWO     BIN"))
    free = next(n for n in range(clusters[-1] + 200, image.clusters) if image.entry(n) == 0)
    # The second cluster of the file moves to a place of its own.
    at, to = image.cluster(clusters[1]), image.cluster(free)
    image.data[to : to + image.cluster_size] = image.data[at : at + image.cluster_size]
    following = image.entry(clusters[1])
    image.set_entry(clusters[0], free)
    image.set_entry(free, following)
    image.set_entry(clusters[1], 0)
    assert not inspected(image.data).twice()


def test_a_card_that_is_held_against_its_stage_is_read_once() -> None:
    generator = random.Random(11)
    files = [((f"FILE{n}.BIN",), generator.randbytes(300_001)) for n in range(3)]
    stage, source = make_stage(files, volume_size=64 * MIB, file_systems=("fat16",))
    layout = lay_out(stage)
    comparison = Comparison(layout)
    data = laid_out_bytes(layout, source).ljust(layout.card_size, b"\0")
    counting = Counting(MemorySectors(data))
    keep = layout.first_file_offset
    inspect_card(counting, watched=Watched(witness=comparison, length=layout.length, keep=keep))
    assert comparison.result().complete
    assert not counting.twice()


@pytest.mark.oracle
def test_of_a_large_card_no_more_is_read_than_is_used(tmp_path: Path) -> None:
    files = tmp_path / "files"
    (files / "MANY").mkdir(parents=True)
    generator = random.Random(13)
    for number in range(2):
        (files / f"LARGE{number}.BIN").write_bytes(generator.randbytes(95 * MIB))
    for number in range(100):
        (files / "MANY" / f"a small file {number}.bin").write_bytes(generator.randbytes(100_000))
    size = 32_000_000_000 // MIB * MIB
    image = tmp_path / "card.img"
    with image.open("wb") as new:
        new.truncate(size)
    sectors = (size - START) // SECTOR
    place = ("-h", str(START // SECTOR), "--offset", str(START // SECTOR))
    run("mkfs.fat", "--invariant", "-F", "32", *place, image, str(sectors // 2))
    with image.open("r+b") as card:
        card.write(table(partition(0x0C, START // SECTOR, sectors)))
    run("mcopy", "-s", "-i", f"{image}@@{START}", *sorted(files.iterdir()), "::/")
    with open_image_file(image) as opened:
        counting = Counting(opened)
        inspection = inspect_card(counting)
        boot = FatImage(read(opened, START, SECTOR))
    assert len(inspection.files) == 102
    assert all(file.digests is not None for file in inspection.files)
    assert not counting.twice()
    used = sum(file.size for file in inspection.files)
    assert used == 200 * MIB - 10 * MIB + 10_000_000
    tables = boot.copies * boot.fat_sectors * SECTOR
    folders = 2 * boot.cluster_size
    got = sum(counting.counts.values()) * SECTOR
    assert used + tables <= got <= (used + tables + folders) * 1.05


READS = st.lists(
    st.tuples(st.integers(0, 39), st.integers(0, 5000), st.sampled_from((1, SECTOR))).map(
        lambda given: (given[0] * SECTOR // given[2] * given[2], given[1])
    ),
    max_size=30,
)


@settings(deadline=None)
@given(READS)
def test_what_is_remembered_is_what_is_on_the_card(reads: list[tuple[int, int]]) -> None:
    once = Once(MemorySectors(DATA))
    for offset, wanted in reads:
        length = min(wanted, len(DATA) - offset)
        assert read(once, offset, length) == DATA[offset : offset + length]


def test_what_is_remembered_is_not_asked_for_again() -> None:
    medium = MemorySectors(DATA)
    once = Once(medium)
    for offset, length in ((0, 512), (0, 512), (0, 100), (512, 1024), (0, 2048), (1024, 4096)):
        read(once, offset, length)
    assert medium.reads == [(0, 512), (512, 1536), (1536, 2048), (2048, 5120)]


def test_the_rest_of_a_sector_is_not_asked_for_again() -> None:
    medium = MemorySectors(DATA)
    once = Once(medium)
    for offset, length in ((512, 5000), (5512, 7000), (12512, 5000), (0, len(DATA))):
        assert read(once, offset, length) == DATA[offset : offset + length]
    assert medium.reads[:5] == [
        (512, 5120),
        (5120, 5632),
        (5632, 12288),
        (12288, 12800),
        (12800, 17408),
    ]


def test_no_more_is_remembered_than_fits() -> None:
    medium = MemorySectors(bytes((KEPT_MOST + 8) * SECTOR))
    once = Once(medium)
    for sector in (*range(KEPT_MOST + 1), KEPT_MOST, 0):
        read(once, sector * SECTOR, SECTOR)
    assert medium.reads[-3:] == [
        (n * SECTOR, (n + 1) * SECTOR) for n in (KEPT_MOST - 1, KEPT_MOST, 0)
    ]
