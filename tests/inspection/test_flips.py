"""Any one byte of a laid-out card that changes is seen, from the card and the stage alone."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import pytest

from cardprep.findings import Finding, Verdict
from cardprep.inspection.card import Watched, inspect_card
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Comparison
from cardprep.layout.model import Layout, Region
from cardprep.manifest.model import Manifest
from cardprep.rules.context import Context
from cardprep.rules.judge import Judgement, judge
from cardprep.terms import MIB
from tests.cards import MemorySectors
from tests.manifests import manifest_for
from tests.stages import laid_out_bytes, make_stage


@dataclass
class Bench:
    """A laid-out card in memory, and how it is judged.

    some  how many bytes of each region are flipped besides its borders
    """

    layout: Layout
    data: bytearray
    manifest: Manifest
    some: int

    def judged(self) -> tuple[Judgement, Judgement]:
        """Return the judgement from card and stage alone, and with the manifest too."""
        comparison = Comparison(self.layout)
        watched = Watched(
            witness=comparison, length=self.layout.length, keep=self.layout.first_file_offset
        )
        inspection = inspect_card(MemorySectors(self.data), watched=watched)
        compared = comparison.result()
        assert compared.complete
        alone = Context(inspection=inspection, stage=self.layout.stage, compared=compared)
        known = Context(
            inspection=inspection,
            manifest=self.manifest,
            stage=self.layout.stage,
            compared=compared,
        )
        return judge(alone), judge(known)

    @contextmanager
    def flipped(self, at: int) -> Iterator[None]:
        """Keep one byte otherwise than it was laid out."""
        self.data[at] ^= 0xFF
        try:
            yield
        finally:
            self.data[at] ^= 0xFF


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(("fat16", "mbr", 20), id="FAT16"),
        pytest.param(("fat32", "mbr", 12), id="FAT32"),
        pytest.param(("fat16", "none", 10), id="FAT16 without a table"),
        pytest.param(("fat32", "none", 4), id="FAT32 without a table"),
    ],
)
def bench(request: pytest.FixtureRequest) -> Bench:
    file_system, table, some = request.param
    generator = random.Random(7)
    files = [
        (("UPDATE", "firmware-image.bin"), generator.randbytes(150_001)),
        (("UPDATE", "SECOND.BIN"), generator.randbytes(3000)),
    ]
    stage, source = make_stage(
        files, volume_size=64 * MIB, file_systems=(file_system,), partition_table=table
    )
    layout = lay_out(stage)
    data = bytearray(layout.card_size)
    data[: layout.length] = laid_out_bytes(layout, source)
    return Bench(layout, data, manifest_for(stage, source), some)


def places(region: Region, generator: random.Random, some: int) -> set[int]:
    """Return bytes of a region to flip: its borders, the end of what is written, and some more."""
    written = len(region.content)
    wanted = {0, region.length - 1, max(0, written - 1), min(written, region.length - 1)}
    wanted |= {generator.randrange(region.length) for _ in range(some)}
    if written:
        wanted |= {generator.randrange(written) for _ in range(some)}
    return {region.offset + at for at in wanted}


def test_the_card_as_laid_out_is_good(bench: Bench) -> None:
    alone, known = bench.judged()
    assert known.verdict is Verdict.USE, known.findings
    # Without a manifest nothing says what the files are.
    assert alone.verdict is Verdict.CANNOT_SAY


def test_every_kind_of_structure_is_there(bench: Bench) -> None:
    found = {region.structure for region in bench.layout.regions}
    wanted = {"boot sector", "FAT 1", "FAT 2", "directory", "slack", "file content"}
    if bench.layout.geometry.start:
        wanted |= {"MBR", "gap"}
    if bench.layout.geometry.bits == 32:
        wanted |= {"gap", "FSInfo", "backup boot sector", "backup FSInfo"}
    assert found == wanted


def names(finding: Finding, region: Region) -> bool:
    # With a manifest an altered image is said once, by its name.
    slugs = {"differs-from-stage"}
    if region.file is not None:
        slugs = {"content-differs-from-stage", "altered"}
    place = (finding.structure, finding.path)
    return finding.slug in slugs and place == (region.structure, region.path)


def test_one_flipped_byte_anywhere_is_seen_and_its_structure_named(bench: Bench) -> None:
    generator = random.Random(8)
    count = 0
    for region in bench.layout.regions:
        for at in sorted(places(region, generator, bench.some)):
            with bench.flipped(at):
                judgements = bench.judged()
            count += 1
            for judgement in judgements:
                assert judgement.verdict is not Verdict.USE, (region, at)
                assert any(names(finding, region) for finding in judgement.findings), (
                    region.structure,
                    at - region.offset,
                    judgement.findings,
                )
                # No other structure is blamed by the comparison.
                blamed = [
                    finding
                    for finding in judgement.findings
                    if finding.slug.endswith("differs-from-stage")
                ]
                said_by_name = any(f.slug == "altered" for f in judgement.findings)
                assert len(blamed) == (0 if said_by_name else 1)
    assert count > (200 if bench.layout.geometry.start else 60)
