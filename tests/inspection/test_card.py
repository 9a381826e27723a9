"""The single pass: everything once, what cannot be read said, stopped when asked."""

from __future__ import annotations

import hashlib
import random
from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.errors import StoppedError
from cardprep.images.report import Soundness
from cardprep.inspection.card import Watched, inspect_card
from cardprep.inspection.model import Inspection
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Comparison
from cardprep.layout.model import Layout
from cardprep.medium.image_file import open_image_file
from cardprep.progress import Cancel
from cardprep.terms import MIB
from tests.cards import MemorySectors, make_volume
from tests.stages import Files, Memory, laid_out_bytes, make_stage, write_image


def made_card(files: Files) -> tuple[Layout, Memory, bytearray]:
    stage, source = make_stage(files, volume_size=64 * MIB)
    layout = lay_out(stage)
    data = bytearray(layout.card_size)
    data[: layout.length] = laid_out_bytes(layout, source)
    return layout, source, data


FILES: Files = [
    (("LARGE.BIN",), random.Random(1).randbytes(9 * MIB + 5)),
    (("d", "small.bin"), b"small"),
    (("d", "EMPTY.BIN"), b""),
    (("d", "e", "MIDDLE.BIN"), random.Random(2).randbytes(70_000)),
]


@pytest.fixture(scope="module")
def card() -> tuple[Layout, Memory, bytearray]:
    return made_card(FILES)


def digests(inspection: Inspection) -> dict[tuple[str, ...], str | None]:
    return {
        file.path: None if file.digests is None else file.digests.sha256
        for file in inspection.files
    }


WANTED = {path: hashlib.sha256(content).hexdigest() for path, content in FILES}


def test_every_file_is_digested(card: tuple[Layout, Memory, bytearray]) -> None:
    inspection = inspect_card(MemorySectors(card[2]))
    assert digests(inspection) == WANTED
    assert inspection.findings == ()
    assert set(inspection.folders) == {("d",), ("d", "e")}
    assert [volume.label for volume in inspection.volumes] == ["B238-1 APPL"]
    assert len(inspection.partitions) == 1
    assert all(
        file.container is not None and file.container.soundness is Soundness.UNCHECKED
        for file in inspection.files
    )
    assert {file.modified for file in inspection.files} == {"2026-02-14 13:37:42"}


def counted(reads: list[tuple[int, int]]) -> tuple[int, int]:
    """Return the bytes read, and the bytes that were read more than once."""
    reads = sorted(reads)
    total = sum(end - start for start, end in reads)
    covered = at = 0
    for start, end in reads:
        covered += max(0, end - max(at, start))
        at = max(at, end)
    return total, total - covered


def test_each_used_sector_is_read_once(card: tuple[Layout, Memory, bytearray]) -> None:
    layout, _, data = card
    sectors = MemorySectors(data)
    inspection = inspect_card(sectors)
    total, again = counted(sectors.reads)
    assert again == 0
    assert inspection.bytes_read == total
    used = sum(file.size for file in inspection.files)
    tables = 2 * layout.geometry.sectors_per_fat * 512 + 512 * 32
    folders = 3 * layout.geometry.cluster_size
    assert total <= used + tables + folders + 8 * 512


def test_with_a_witness_each_byte_is_read_once_too(
    card: tuple[Layout, Memory, bytearray],
) -> None:
    layout, _, data = card
    sectors = MemorySectors(data)
    comparison = Comparison(layout)
    watched = Watched(witness=comparison, length=layout.length, keep=layout.first_file_offset)
    inspection = inspect_card(sectors, watched=watched)
    compared = comparison.result()
    assert compared.complete
    assert compared.differences == ()
    assert compared.sha256 == hashlib.sha256(data[: layout.length]).hexdigest()
    assert digests(inspection) == WANTED
    total, again = counted(sectors.reads)
    assert again == 0
    assert total == layout.length


def test_a_card_by_others_is_read_once(tmp_path: Path) -> None:
    tree = tmp_path / "tree"
    (tree / "folder").mkdir(parents=True)
    for n in range(20):
        (tree / "folder" / f"file number {n}.bin").write_bytes(bytes([n]) * (n * 3000))
    image = tmp_path / "card.img"
    make_volume(image, 32 * MIB, "-F", "16", files=tree)
    sectors = MemorySectors(image.read_bytes())
    inspection = inspect_card(sectors)
    assert len(inspection.files) == 20
    assert counted(sectors.reads)[1] <= 4 * 512


def test_past_the_cache_and_through_it_the_same_is_seen(
    card: tuple[Layout, Memory, bytearray], tmp_path: Path
) -> None:
    layout, source, _ = card
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    seen = []
    for direct in (False, True):
        with open_image_file(path, direct=direct) as sectors:
            inspection = inspect_card(sectors)
        seen.append(replace(inspection, past_the_cache=False))
    assert seen[0] == seen[1]


@pytest.mark.parametrize(
    ("structure", "path"),
    [
        pytest.param("file content", "d/e/MIDDLE.BIN", id="a file"),
        pytest.param("directory", "d", id="a folder"),
    ],
)
def test_what_cannot_be_read_is_said_and_the_rest_is_looked_at(
    card: tuple[Layout, Memory, bytearray], structure: str, path: str
) -> None:
    layout, _, data = card
    region = next(r for r in layout.regions if (r.structure, r.path) == (structure, path))
    bad = [(region.offset, region.offset + 512)]
    inspection = inspect_card(MemorySectors(data, bad=bad))
    assert "read-error" in {finding.slug for finding in inspection.findings}
    found = digests(inspection)
    assert found["LARGE.BIN",] == WANTED["LARGE.BIN",]
    if structure == "file content":
        assert found["d", "e", "MIDDLE.BIN"] is None
        assert found["d", "small.bin"] == WANTED["d", "small.bin"]


@pytest.mark.parametrize("structure", ["MBR", "boot sector", "FAT 1", "FAT 2"])
def test_tables_that_cannot_be_read_leave_no_card_good(
    card: tuple[Layout, Memory, bytearray], structure: str
) -> None:
    layout, _, data = card
    region = next(r for r in layout.regions if r.structure == structure)
    bad = [(region.offset, region.offset + 512)]
    comparison = Comparison(layout)
    watched = Watched(witness=comparison, length=layout.length, keep=layout.first_file_offset)
    inspection = inspect_card(MemorySectors(data, bad=bad), watched=watched)
    assert any(finding.undecided for finding in inspection.findings)
    assert not comparison.result().complete


def test_progress_goes_up_and_ends_at_the_total(
    card: tuple[Layout, Memory, bytearray],
) -> None:
    told: list[tuple[int, int]] = []
    inspect_card(MemorySectors(card[2]), progress=lambda done, total: told.append((done, total)))
    assert told == sorted(told)
    total = sum(len(content) for _, content in FILES)
    assert told[-1] == (total, total)
    assert len(told) > 9


def test_it_stops_at_the_next_block(card: tuple[Layout, Memory, bytearray]) -> None:
    cancel = Cancel()
    sectors = MemorySectors(card[2])

    def stop(done: int, total: int, /) -> None:
        del done, total
        cancel.ask()

    with pytest.raises(StoppedError):
        inspect_card(sectors, progress=stop, cancel=cancel)
    # The tables, one block, and the one that was on its way.
    large = [end - start for start, end in sectors.reads if end - start == MIB]
    assert len(large) <= 2


def test_an_empty_card_file() -> None:
    inspection = inspect_card(MemorySectors(b""))
    assert [finding.slug for finding in inspection.findings] == ["no-volume"]
