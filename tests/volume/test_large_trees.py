"""Trees twenty folders deep with thousands of files: what others put in is what is read.

Judges: exfat-fuse, through which exFAT volumes are filled, fragmented and looked at again;
mtools, which fills FAT volumes and copies all of it out again.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from cardprep.findings import Severity
from cardprep.inspection.card import inspect_card
from cardprep.medium.image_file import open_image_file
from cardprep.terms import KIB, MIB
from tests.cards import digest, make_volume, run
from tests.exfat import make_exfat, mounted

pytestmark = pytest.mark.oracle

DEPTH = 20
NAMES = ("f", "Ümlaut ", "小さい", "x" * 60, "A long name with spaces ")

# Path, size and digest of each file; folders apart.
Rows = dict[tuple[str, ...], tuple[int, str]]


def fill(root: Path, draw: random.Random, count: int, most: int) -> None:
    """Put files into folders of which one branch is as deep as can be, the rest as it comes.

    most  bytes of a file; nearly all are far smaller
    """
    branch = root
    folders = [root]
    for depth in range(DEPTH):
        branch = branch / f"level {depth}"
        branch.mkdir()
        folders.append(branch)
    for number in range(count):
        folder = draw.choice(folders)
        if number % 40 == 0 and len(folder.relative_to(root).parts) < DEPTH:
            folder = folder / f"folder {number}"
            folder.mkdir()
            folders.append(folder)
        size = draw.choice((0, 1, 511, 512, 513, draw.randrange(2000), draw.randrange(most)))
        (folder / f"{draw.choice(NAMES)}{number}.bin").write_bytes(draw.randbytes(size))


def fragment(root: Path, draw: random.Random) -> None:
    """Delete every tenth file and let every tenth grow into the gaps."""
    files = sorted(path for path in root.rglob("*") if path.is_file())
    draw.shuffle(files)
    tenth = len(files) // 10
    for path in files[:tenth]:
        path.unlink()
    for path in files[tenth : 2 * tenth]:
        with path.open("ab") as grown:
            grown.write(draw.randbytes(draw.randrange(20_000)))


def below(root: Path) -> tuple[Rows, set[tuple[str, ...]]]:
    """Return the files and folders of a tree as it is shown."""
    rows, folders = {}, set()
    for path in root.rglob("*"):
        parts = path.relative_to(root).parts
        if path.is_dir():
            folders.add(parts)
        else:
            data = path.read_bytes()
            rows[parts] = (len(data), digest(data))
    return rows, folders


def as_inspected(image: Path) -> tuple[Rows, set[tuple[str, ...]], int]:
    """Return the same as inspection has it, and in how many pieces all files lie."""
    with open_image_file(image) as sectors:
        inspection = inspect_card(sectors)
    assert [f for f in inspection.findings if f.severity is not Severity.NOTE] == []
    rows = {}
    for file in inspection.files:
        assert file.digests is not None, file.path
        rows[file.path] = (file.size, file.digests.sha256)
    pieces = sum(len(file.extents) for file in inspection.files)
    return rows, set(inspection.folders), pieces


@pytest.mark.parametrize(
    ("cluster", "count", "size"),
    [
        pytest.param(512, 5000, 64 * MIB, id="512 bytes"),
        pytest.param(4 * KIB, 5000, 96 * MIB, id="4 KiB"),
        pytest.param(32 * KIB, 5000, 384 * MIB, id="32 KiB"),
        pytest.param(MIB, 400, 1024 * MIB, id="1 MiB"),
    ],
)
def test_exfat(tmp_path: Path, cluster: int, count: int, size: int) -> None:
    image = tmp_path / "volume"
    make_exfat(image, size, "-c", str(cluster))
    draw = random.Random(cluster)
    with mounted(image, tmp_path / "m") as root:
        fill(root, draw, count, 10_000)
    with mounted(image, tmp_path / "m") as root:
        fragment(root, draw)
    with mounted(image, tmp_path / "m") as root:
        rows, folders = below(root)
    found, found_folders, pieces = as_inspected(image)
    assert found == rows
    assert found_folders == folders
    assert max(map(len, folders)) == DEPTH
    # Larger clusters hold nearly each of these files whole.
    assert pieces > len(rows) or cluster > 4 * KIB


@pytest.mark.parametrize(
    ("bits", "count", "size", "options"),
    [
        pytest.param(12, 800, 15 * MIB, ("-s", "8"), id="FAT12"),
        pytest.param(16, 5000, 128 * MIB, ("-s", "4"), id="FAT16"),
        pytest.param(32, 5000, 128 * MIB, ("-s", "1"), id="FAT32"),
    ],
)
def test_fat(tmp_path: Path, bits: int, count: int, size: int, options: tuple[str, ...]) -> None:
    files = tmp_path / "files"
    files.mkdir()
    fill(files, random.Random(bits), count, 10_000)
    rows, folders = below(files)
    image = tmp_path / "volume"
    make_volume(image, size, "-F", str(bits), *options, files=files)
    found, found_folders, _ = as_inspected(image)
    assert found == rows
    assert found_folders == folders
    out = tmp_path / "out"
    out.mkdir()
    run("mcopy", "-s", "-n", "-i", image, "::*", out)
    assert below(out) == (rows, folders)
    run("fsck.fat", "-n", image)
