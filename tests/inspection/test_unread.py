"""Places that a reader cannot read: said, and all the rest is looked at and told of."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Callable

import pytest

from cardprep.errors import StoppedError
from cardprep.findings import Finding, Verdict
from cardprep.inspection.card import Watched, inspect_card
from cardprep.inspection.model import Inspection
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Compared, Comparison
from cardprep.layout.model import Layout, Region
from cardprep.progress import Cancel, Progress, silent
from cardprep.rules.context import Context
from cardprep.rules.judge import judge
from cardprep.terms import MIB
from tests.cards import MemorySectors
from tests.manifests import manifest_for
from tests.stages import Files, Memory, laid_out_bytes, make_stage

FILES: Files = [
    (("FIRST.BIN",), random.Random(1).randbytes(3 * MIB + 7)),
    (("d", "SECOND.BIN"), random.Random(2).randbytes(MIB)),
    (("d", "e", "third.bin"), random.Random(3).randbytes(70_000)),
    (("d", "EMPTY.BIN"), b""),
    (("LAST.BIN",), random.Random(4).randbytes(9 * MIB)),
]
WANTED = {path: hashlib.sha256(content).hexdigest() for path, content in FILES}


class Card:
    """A laid-out card in memory, and what an inspection of it gives."""

    def __init__(self, file_system: str) -> None:
        self.stage, self.source = make_stage(
            FILES, volume_size=64 * MIB, file_systems=(file_system,)
        )
        self.layout: Layout = lay_out(self.stage)
        self.data = bytearray(self.layout.card_size)
        self.data[: self.layout.length] = laid_out_bytes(self.layout, self.source)

    def region(self, structure: str, path: str | None = None) -> Region:
        return next(r for r in self.layout.regions if (r.structure, r.path) == (structure, path))

    def inspected(
        self,
        sectors: MemorySectors,
        *,
        watched: bool,
        progress: Progress = silent,
        cancel: Cancel | None = None,
    ) -> tuple[Inspection, Compared]:
        comparison = Comparison(self.layout)
        watch = Watched(
            witness=comparison, length=self.layout.length, keep=self.layout.first_file_offset
        )
        inspection = inspect_card(
            sectors, watched=watch if watched else None, progress=progress, cancel=cancel
        )
        return inspection, comparison.result()


@pytest.fixture(scope="module", params=["fat16", "fat32"])
def card(request: pytest.FixtureRequest) -> Card:
    return Card(request.param)


@pytest.fixture(params=[False, True], ids=["alone", "with a witness"])
def watched(request: pytest.FixtureRequest) -> bool:
    return bool(request.param)


def digests(inspection: Inspection) -> dict[tuple[str, ...], str | None]:
    return {
        file.path: None if file.digests is None else file.digests.sha256
        for file in inspection.files
    }


def read_errors(inspection: Inspection) -> list[Finding]:
    return [finding for finding in inspection.findings if finding.slug == "read-error"]


def middle(region: Region) -> tuple[int, int]:
    """Return a sector in the middle of a region."""
    at = (region.offset + region.length // 2) // 512 * 512
    return at, at + 512


@pytest.mark.parametrize("path", [path for path, content in FILES if content], ids="/".join)
def test_one_unreadable_file_hides_no_other(
    card: Card, watched: bool, path: tuple[str, ...]
) -> None:
    bad = [middle(card.region("file content", "/".join(path)))]
    inspection, compared = card.inspected(MemorySectors(card.data, bad=bad), watched=watched)
    assert digests(inspection) == {**WANTED, path: None}
    assert [(f.path, f.structure) for f in read_errors(inspection)] == [
        ("/".join(path), "file content")
    ]
    assert not compared.complete


@pytest.mark.parametrize("structure", ["FAT 1", "FAT 2"])
def test_one_unreadable_table_hides_no_file(card: Card, watched: bool, structure: str) -> None:
    """A bad sector in the beginning of a copy, where all the chains are, or behind them."""
    region = card.region(structure)
    for at in (region.offset, *middle(region)):
        bad = [(at, at + 512)]
        inspection, compared = card.inspected(MemorySectors(card.data, bad=bad), watched=watched)
        assert digests(inspection) == WANTED
        assert structure in {finding.structure for finding in read_errors(inspection)}
        assert not compared.complete


def test_an_unreadable_folder_hides_only_what_it_holds(card: Card, watched: bool) -> None:
    region = card.region("directory", "d/e")
    bad = [(region.offset, region.offset + 512)]
    inspection, _ = card.inspected(MemorySectors(card.data, bad=bad), watched=watched)
    assert digests(inspection) == {
        path: sha256 for path, sha256 in WANTED.items() if path != ("d", "e", "third.bin")
    }
    assert ("d/e", "directory") in {(f.path, f.structure) for f in read_errors(inspection)}


def test_what_only_the_witness_asks_for_hides_nothing(card: Card, watched: bool) -> None:
    """A bad sector where nothing is: known only to who wants to see all of the card."""
    gap = card.region("gap")
    bad = [(gap.offset + 1024, gap.offset + 1536)]
    inspection, compared = card.inspected(MemorySectors(card.data, bad=bad), watched=watched)
    assert digests(inspection) == WANTED
    assert [f.structure for f in read_errors(inspection)] == (["card"] if watched else [])
    assert not compared.complete


def test_no_card_with_an_unreadable_place_is_good(card: Card) -> None:
    manifest = manifest_for(card.stage, card.source)
    for region in card.layout.regions:
        sectors = MemorySectors(card.data, bad=[middle(region)])
        inspection, compared = card.inspected(sectors, watched=True)
        judgement = judge(
            Context(inspection=inspection, manifest=manifest, stage=card.stage, compared=compared)
        )
        assert judgement.verdict is Verdict.DO_NOT_USE, region.structure
        assert "stage-not-compared" in {finding.slug for finding in judgement.findings}


def test_a_card_that_cannot_be_read_at_all(card: Card, watched: bool) -> None:
    everything = [(0, len(card.data))]
    sectors = MemorySectors(card.data, bad=everything)
    inspection, compared = card.inspected(sectors, watched=watched)
    assert inspection.files == ()
    # It is the same place for both, and said once.
    (error,) = read_errors(inspection)
    assert error.structure == "card"
    assert not compared.complete


def test_a_bad_place_is_asked_for_once_more_at_most(card: Card) -> None:
    """A dying card takes minutes for each attempt."""
    bad = middle(card.region("file content", "FIRST.BIN"))
    sectors = MemorySectors(card.data, bad=[bad])
    card.inspected(sectors, watched=True)
    assert sum(start < bad[1] and bad[0] < end for start, end in sectors.reads) <= 2


# --- how far it is


def told_by(work: Callable[[Progress], object]) -> list[tuple[int, int]]:
    told: list[tuple[int, int]] = []
    work(lambda done, total: told.append((done, total)))
    return told


@pytest.mark.parametrize(
    ("structure", "path"),
    [
        pytest.param(None, None, id="nothing unreadable"),
        pytest.param("file content", "LAST.BIN", id="the last file"),
        pytest.param("file content", "FIRST.BIN", id="the first file"),
        pytest.param("slack", "FIRST.BIN", id="between files"),
        pytest.param("FAT 1", None, id="a table"),
    ],
)
def test_progress_only_grows_and_ends_at_its_total(
    card: Card, watched: bool, structure: str | None, path: str | None
) -> None:
    bad = [] if structure is None else [middle(card.region(structure, path))]
    told = told_by(
        lambda progress: card.inspected(
            MemorySectors(card.data, bad=bad), watched=watched, progress=progress
        )
    )
    assert told == sorted(set(told))
    assert len({total for _, total in told}) == 1
    done, total = told[-1]
    assert done == total
    files = sum(len(content) for _, content in FILES)
    assert total == files if not watched else total >= files


def test_progress_counts_what_is_read_for_the_witness_alone(card: Card) -> None:
    """A partition table that is gone: nothing is inspected, and all is still compared."""
    data = bytearray(card.data)
    data[:512] = bytes(512)
    told = told_by(
        lambda progress: card.inspected(MemorySectors(data), watched=True, progress=progress)
    )
    assert len(told) >= card.layout.length // (4 * MIB)
    assert told[-1][0] == told[-1][1]
    assert card.layout.length - 5 * MIB < told[-1][1] <= card.layout.length


# --- stopped


class StoppingAt(MemorySectors):
    """A card whose owner asks to stop in the middle of one read."""

    cancel = Cancel()
    number = 0

    def read_into(self, offset: int, buffer: memoryview) -> None:
        super().read_into(offset, buffer)
        if len(self.reads) == self.number:
            self.cancel.ask()


def test_it_stops_after_whatever_read_it_is_at(card: Card, watched: bool) -> None:
    """Tables, folders, files, what lies between: no further read follows."""
    counting = MemorySectors(card.data)
    card.inspected(counting, watched=watched)
    count = len(counting.reads)
    assert count > 20
    for number in range(1, count):
        sectors = StoppingAt(card.data)
        sectors.cancel = Cancel()
        sectors.number = number
        with pytest.raises(StoppedError):
            card.inspected(sectors, watched=watched, cancel=sectors.cancel)
        assert len(sectors.reads) == number


def test_it_stops_where_nothing_but_the_comparison_reads(card: Card) -> None:
    data = bytearray(card.data)
    data[:512] = bytes(512)
    sectors = StoppingAt(data)
    sectors.cancel = Cancel()
    # The first sector, and two steps of the comparison.
    sectors.number = 3
    with pytest.raises(StoppedError):
        card.inspected(sectors, watched=True, cancel=sectors.cancel)
    assert len(sectors.reads) == 3


def test_a_card_of_empty_files_is_left_too() -> None:
    stage, source = make_stage([((f"{n}.BIN",), b"") for n in range(50)], volume_size=64 * MIB)
    layout = lay_out(stage)
    data = bytearray(layout.card_size)
    data[: layout.length] = laid_out_bytes(layout, Memory(source.contents))
    cancel = Cancel()
    counting = MemorySectors(data)
    inspect_card(counting)
    sectors = StoppingAt(data)
    sectors.cancel = cancel
    sectors.number = len(counting.reads)
    with pytest.raises(StoppedError):
        inspect_card(sectors, cancel=cancel)
