"""Any one byte of a laid-out card that changes is seen, from the card and the stage alone."""

from __future__ import annotations

import random
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

PER_REGION = 12


@dataclass
class Bench:
    """A laid-out card in memory, and how it is judged."""

    layout: Layout
    data: bytearray
    manifest: Manifest

    def judged(self, manifest: Manifest | None) -> Judgement:
        comparison = Comparison(self.layout)
        watched = Watched(
            witness=comparison, length=self.layout.length, keep=self.layout.first_file_offset
        )
        inspection = inspect_card(MemorySectors(self.data), watched=watched)
        compared = comparison.result()
        assert compared.complete
        return judge(
            Context(
                inspection=inspection,
                manifest=manifest,
                stage=self.layout.stage,
                compared=compared,
            )
        )


@pytest.fixture(scope="module", params=["fat16", "fat32"])
def bench(request: pytest.FixtureRequest) -> Bench:
    generator = random.Random(7)
    files = [
        (("UPDATE", "firmware-image.bin"), generator.randbytes(150_001)),
        (("UPDATE", "SECOND.BIN"), generator.randbytes(3000)),
    ]
    stage, source = make_stage(files, volume_size=64 * MIB, file_systems=(request.param,))
    layout = lay_out(stage)
    data = bytearray(layout.card_size)
    data[: layout.length] = laid_out_bytes(layout, source)
    return Bench(layout, data, manifest_for(stage, source))


def places(region: Region, generator: random.Random) -> set[int]:
    """Return bytes of a region to flip: its borders, the end of what is written, and some more."""
    written = len(region.content)
    wanted = {0, region.length - 1, max(0, written - 1), min(written, region.length - 1)}
    wanted |= {generator.randrange(region.length) for _ in range(PER_REGION)}
    if written:
        wanted |= {generator.randrange(written) for _ in range(PER_REGION)}
    return {region.offset + at for at in wanted}


def test_the_card_as_laid_out_is_good(bench: Bench) -> None:
    judgement = bench.judged(bench.manifest)
    assert judgement.verdict is Verdict.USE, judgement.findings


def test_every_kind_of_structure_is_there(bench: Bench) -> None:
    found = {region.structure for region in bench.layout.regions}
    wanted = {"MBR", "gap", "boot sector", "FAT 1", "FAT 2", "directory", "slack", "file content"}
    if bench.layout.geometry.bits == 32:
        wanted |= {"FSInfo", "backup boot sector", "backup FSInfo"}
    assert found == wanted


def names(finding: Finding, region: Region) -> bool:
    slug = "content-differs-from-stage" if region.file is not None else "differs-from-stage"
    return (finding.slug, finding.structure, finding.path) == (slug, region.structure, region.path)


def test_one_flipped_byte_anywhere_is_seen_and_its_structure_named(bench: Bench) -> None:
    generator = random.Random(8)
    count = 0
    for region in bench.layout.regions:
        for at in sorted(places(region, generator)):
            bench.data[at] ^= 0xFF
            try:
                # From the card and the stage alone, and with the manifest too.
                alone = bench.judged(None)
                known = bench.judged(bench.manifest)
            finally:
                bench.data[at] ^= 0xFF
            count += 1
            for judgement in (alone, known):
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
                assert len(blamed) == 1
    assert count > 150
