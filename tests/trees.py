"""Random cards that are honest: formatted by mkfs.fat, filled and fragmented by mtools.

Everything follows from a seed. Names beyond the Basic Multilingual Plane are left
out, since mtools loses them.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

from tests.cards import KIB, MIB, run

SECTORS = (512, 1024, 2048, 4096)
CLUSTERS = tuple(512 << n for n in range(8))

# Each once plain, once in capitals and so on by chance; {n} keeps them apart.
_NAMES = (
    "STAGE{n}.BIN",
    "stage{n}.bin",
    "stage{n}.BIN",
    "Stage{n}.Bin",
    "NOEXT{n}",
    "noext{n}",
    ".hidden{n}",
    "dots.in.name{n}.tar.gz",
    "A long name with spaces ({n}).update.bin",
    "plus+comma,and;brackets[{n}]=.cfg",
    "Prüfung für Gerät {n}.txt",
    "ümlaut{n}.bin",
    "ÕUN{n}.BIN",
    "Ενημέρωση λογισμικού {n}.bin",
    "更新{n}.dat",
    "decomposed e\u0301{n}.bin",
    "x" * 13 + "{n:0>13}",
    "m{n}" + "w" * 120 + ".bin",
)
# mtools cannot put a name into a folder if that takes two more clusters.
_LONGEST = "n{n}" + "y" * 240 + ".bin"


@dataclass(frozen=True)
class Geometry:
    """How a card is formatted. Sizes in bytes.

    start  where the partition begins, or None without a partition table
    """

    bits: int
    sector: int
    cluster: int
    clusters: int
    start: int | None
    copies: int = 2

    @property
    def volume_size(self) -> int:
        """Bytes of a volume with room for about so many clusters."""
        fat = -(-self.clusters * self.bits // 8 // self.sector) * self.sector
        size = 40 * self.sector + self.copies * fat + self.clusters * self.cluster
        return -(-size // 4096) * 4096


def geometry(rng: random.Random, sector: int, cluster: int, turn: int) -> Geometry:
    """Return one of twelve formats: three sizes of entry, with and without a partition table."""
    bits = (12, 16, 32)[turn % 3]
    most = {12: (400, 4000), 16: (4200, 40000), 32: (65600, 70000)}[bits]
    start = None if turn // 3 % 2 else rng.choice((1, 3, 4)) * MIB
    copies = 1 if turn == 9 else 2
    return Geometry(bits, sector, cluster, rng.randint(*most), start, copies)


@dataclass
class HonestCard:
    """A card with its source files.

    expected  path parts -> modified time in seconds, content
    """

    image: Path
    geometry: Geometry
    expected: dict[tuple[str, ...], tuple[int, bytes]] = field(default_factory=dict)
    folders: set[tuple[str, ...]] = field(default_factory=set)

    @property
    def drive(self) -> str:
        """The image as mtools wants it named."""
        return f"{self.image}@@{self.geometry.start or 0}"


def build(folder: Path, geometry: Geometry, rng: random.Random) -> HonestCard:
    """Make a card in `folder`: format, fill, delete some files, fill the holes."""
    card = HonestCard(folder / "card.img", geometry)
    _format(card)
    first, second = folder / "first", folder / "second"
    numbers = count()
    _tree(card, first, rng, numbers)
    run("mcopy", "-s", "-m", "-Q", "-i", card.drive, *sorted(first.iterdir()), "::/")
    files = sorted(path for path in card.expected if len(path) == 1)
    gone = rng.sample(files, len(files) // 2)
    if gone:
        run("mdel", "-i", card.drive, *(f"::/{_quoted(path[0])}" for path in gone))
    for path in gone:
        del card.expected[path]
    _files(card, second, rng, numbers, (), 4)
    run("mcopy", "-s", "-m", "-Q", "-i", card.drive, *sorted(second.iterdir()), "::/")
    return card


def _format(card: HonestCard) -> None:
    shape = card.geometry
    start = shape.start or 0
    with card.image.open("wb") as new:
        new.truncate(start + shape.volume_size)
    if start:
        kind = {12: "1", 16: "e", 32: "c"}[shape.bits]
        table = f"label: dos\nstart={start // 512}, type={kind}\n"
        run("sfdisk", "-q", "--no-reread", "--no-tell-kernel", card.image, given=table)
    run(
        *("mkfs.fat", "-S", str(shape.sector), "-s", str(shape.cluster // shape.sector)),
        *("-F", str(shape.bits), "-f", str(shape.copies), "-n", "STAGE 1", "--invariant"),
        *("--offset", str(start // shape.sector), "-h", str(start // shape.sector)),
        *(card.image, str(shape.volume_size // KIB)),
    )


def _tree(card: HonestCard, top: Path, rng: random.Random, numbers: Iterator[int]) -> None:
    """Make files in the root and in folders up to four deep, one of them empty."""
    _files(card, top, rng, numbers, (), 6)
    parts: tuple[str, ...] = ()
    for _ in range(rng.randint(1, 4)):
        parts = (*parts, _name(card, rng, numbers))
        card.folders.add(parts)
        _files(card, top, rng, numbers, parts, 2)
    parts = (_name(card, rng, numbers),)
    card.folders.add(parts)
    top.joinpath(*parts).mkdir()


def _files(
    card: HonestCard,
    top: Path,
    rng: random.Random,
    numbers: Iterator[int],
    parts: tuple[str, ...],
    most: int,
) -> None:
    top.joinpath(*parts).mkdir(parents=True)
    cluster = card.geometry.cluster
    sizes = (0, 1, cluster - 1, cluster, cluster + 1, 2 * cluster, 3 * cluster + 7, 9 * cluster)
    for _ in range(most):
        path = (*parts, _name(card, rng, numbers))
        data = rng.randbytes(min(rng.choice(sizes), 200 * KIB))
        modified = _modified(rng)
        place = top.joinpath(*path)
        place.write_bytes(data)
        os.utime(place, (modified, modified))
        card.expected[path] = (modified, data)


def _name(card: HonestCard, rng: random.Random, numbers: Iterator[int]) -> str:
    names = _NAMES if card.geometry.cluster == 512 else (*_NAMES, _LONGEST)
    return rng.choice(names).format(n=next(numbers))


def _quoted(name: str) -> str:
    """Return a name of which mtools takes every character for itself."""
    return "".join(f"\\{c}" if c in "*?[]\\" else c for c in name)


def _modified(rng: random.Random) -> int:
    # From 1980-01-02 to 2037: this far every file system of the bench keeps times.
    return rng.randrange(315_619_200, 2_114_380_800)
