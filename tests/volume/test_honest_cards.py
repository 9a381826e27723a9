"""Cards that outside programs wrote, read by us, compared with their sources and with mtools.

Judges: mkfs.fat and fsck.fat (dosfstools), sfdisk (util-linux), mtools.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from cardprep.findings import Severity
from cardprep.medium.image_file import open_image_file
from cardprep.volume.card import CardContent, read_card
from cardprep.volume.fat_time import FatTime
from tests.cards import content, digest, run, slugs
from tests.trees import CLUSTERS, SECTORS, HonestCard, build, geometry

pytestmark = pytest.mark.oracle

TREES = 12
Row = tuple[int, str, str]


def seconds(stamp: FatTime | None) -> str:
    assert stamp is not None
    return str(stamp)


def stamp(modified: float) -> str:
    """Return a time as FAT keeps it: whole steps of two seconds."""
    return datetime.fromtimestamp(int(modified) // 2 * 2, UTC).strftime("%Y-%m-%d %H:%M:%S")


def as_read(card: HonestCard) -> tuple[CardContent, dict[tuple[str, ...], Row]]:
    with open_image_file(card.image) as sectors:
        found = read_card(sectors)
        (volume,) = found.volumes
        rows = {}
        for entry in volume.entries:
            assert entry.is_whole, entry
            if not entry.is_folder:
                data = content(sectors, entry)
                rows[entry.path] = (entry.size, seconds(entry.modified), digest(data))
                assert len(data) == entry.size
    return found, rows


def as_written(card: HonestCard) -> dict[tuple[str, ...], Row]:
    return {
        path: (len(data), stamp(modified), digest(data))
        for path, (modified, data) in card.expected.items()
    }


def as_mtools_reads(card: HonestCard, out: Path) -> dict[tuple[str, ...], Row]:
    out.mkdir()
    run("mcopy", "-s", "-m", "-n", "-i", card.drive, "::*", out)
    return {
        path.relative_to(out).parts: (
            path.stat().st_size,
            stamp(path.stat().st_mtime),
            digest(path.read_bytes()),
        )
        for path in files_below(out)
    }


def files_below(folder: Path) -> Iterator[Path]:
    return (path for path in folder.rglob("*") if path.is_file())


def folded(rows: dict[tuple[str, ...], Row]) -> dict[tuple[str, ...], Row]:
    # mtools shows a short name such as ümlaut.bin with its first letter still a capital.
    return {tuple(part.upper() for part in path): row for path, row in rows.items()}


@pytest.mark.parametrize(
    ("sector", "cluster"),
    [
        pytest.param(sector, cluster, id=f"sectors of {sector}, clusters of {cluster}")
        for sector in SECTORS
        for cluster in CLUSTERS
        if sector <= cluster <= 128 * sector
    ],
)
def test_honest_cards_are_read_as_they_were_written(
    tmp_path: Path, sector: int, cluster: int
) -> None:
    pieces = 0
    for turn in range(TREES):
        rng = random.Random(f"{sector} {cluster} {turn}")
        folder = tmp_path / str(turn)
        folder.mkdir()
        card = build(folder, geometry(rng, sector, cluster, turn), rng)
        found, rows = as_read(card)
        assert rows == as_written(card)
        assert folded(rows) == folded(as_mtools_reads(card, folder / "out"))
        (volume,) = found.volumes
        assert {e.path for e in volume.entries if e.is_folder} == card.folders
        assert volume.facts.file_system == f"FAT{card.geometry.bits}"
        assert volume.facts.cluster_size == cluster
        assert volume.facts.sector_size == sector
        assert volume.facts.label == "STAGE 1"
        judge_findings(card, found)
        pieces += sum(len(entry.extents) > 1 for entry in volume.entries)
    # The files that were copied into the holes lie in several pieces.
    assert pieces


def judge_findings(card: HonestCard, found: CardContent) -> None:
    loud = [finding for finding in found.findings if finding.severity is not Severity.NOTE]
    assert loud == []
    expected = {"no-partition-table"} if card.geometry.start is None else set()
    assert slugs(found) == expected
    if card.geometry.start is None:
        run("fsck.fat", "-n", card.image)
