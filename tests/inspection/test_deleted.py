"""What lies where deleted files may have lain: read on request, within bounds, once a place."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from cardprep.errors import StoppedError
from cardprep.inspection.card import Watched, inspect_card
from cardprep.inspection.deleted import AskedDeleted, to_read
from cardprep.inspection.model import Inspection
from cardprep.layout.build import lay_out
from cardprep.layout.compare import Comparison
from cardprep.progress import Cancel
from cardprep.terms import KIB, MIB
from cardprep.volume.model import DeletedEntry, Extent, Left
from tests.cards import FatImage, MemorySectors, make_volume, run
from tests.stages import laid_out_bytes, make_stage

ONE, TWO = b"1" * 70_000, b"2" * 5000
ASKED = AskedDeleted()


@pytest.fixture
def image(tmp_path: Path) -> FatImage:
    """Return a volume on which ONE.BIN and SUB with TWO.BIN were deleted, and KEPT.BIN was not."""
    files = tmp_path / "files"
    (files / "SUB").mkdir(parents=True)
    (files / "ONE.BIN").write_bytes(ONE)
    (files / "SUB" / "TWO.BIN").write_bytes(TWO)
    (files / "KEPT.BIN").write_bytes(b"k" * 3000)
    path = tmp_path / "volume"
    make_volume(path, 8 * MIB, "-F", "16", "-s", "1", files=files)
    run("mdel", "-i", path, "::/ONE.BIN")
    run("mdeltree", "-i", path, "::/SUB")
    return FatImage(path.read_bytes())


def contents(inspection: Inspection) -> dict[str, str | None]:
    """Return the digests of what lies in the places of deleted files, by their paths."""
    return {
        inspection.deleted[one.entry].shown: None if one.digests is None else one.digests.sha256
        for one in inspection.deleted_content
    }


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def test_who_does_not_ask_gets_names_only(image: FatImage) -> None:
    sectors = image.medium()
    inspection = inspect_card(sectors)
    assert [entry.shown for entry in inspection.deleted] == ["?NE.BIN", "?UB"]
    assert inspection.deleted_content == ()
    # One place is read for one file, and no place twice.
    begins = {start for start, _ in sectors.reads}
    assert inspection.deleted[0].guesses[0].offset not in begins


def test_who_asks_gets_what_lies_there(image: FatImage) -> None:
    inspection = inspect_card(image.medium(), deleted=ASKED)
    assert contents(inspection) == {"?NE.BIN": sha256(ONE), "?UB/?WO.BIN": sha256(TWO)}
    assert {file.shown for file in inspection.files} == {"KEPT.BIN"}
    assert inspection.folders == ()


def test_a_place_that_cannot_be_read(image: FatImage) -> None:
    where = inspect_card(image.medium()).deleted[0].guesses[0]
    sectors = image.medium()
    sectors.bad = [(where.offset + 5000, where.offset + 5001)]
    inspection = inspect_card(sectors, deleted=ASKED)
    assert contents(inspection) == {"?NE.BIN": None, "?UB/?WO.BIN": sha256(TWO)}
    assert "read-error" not in {finding.slug for finding in inspection.findings}


def test_two_files_that_lay_in_one_place(image: FatImage) -> None:
    entry = image.folder_entry("ÕNE     BIN")
    other = image.folder_entry("ÕUB        ")
    image.data[other : other + 32] = image.data[entry : entry + 32]
    image.data[other + 1] = ord("X")
    sectors = image.medium()
    inspection = inspect_card(sectors, deleted=ASKED)
    assert contents(inspection) == {"?NE.BIN": sha256(ONE), "?XE.BIN": sha256(ONE)}
    start = inspection.deleted[0].guesses[0].offset
    assert [at for at, _ in sectors.reads].count(start) == 1


def test_progress_counts_what_is_read_for_deleted_files(image: FatImage) -> None:
    told: list[tuple[int, int]] = []
    inspect_card(
        image.medium(), deleted=ASKED, progress=lambda done, total: told.append((done, total))
    )
    total = 3000 + len(ONE) + len(TWO)
    assert {of for _, of in told} == {total}
    assert told[-1] == (total, total)
    assert told == sorted(told)


def test_it_can_be_stopped(image: FatImage) -> None:
    cancel = Cancel()

    def stop(done: int, total: int) -> None:
        if done > 3000:
            cancel.ask()
        assert done < total

    with pytest.raises(StoppedError):
        inspect_card(image.medium(), deleted=ASKED, progress=stop, cancel=cancel)


def test_a_witness_sees_the_same_card() -> None:
    stage, source = make_stage([(("A.BIN",), ONE), (("d", "B.BIN"), TWO)], volume_size=64 * MIB)
    layout = lay_out(stage)
    data = bytearray(laid_out_bytes(layout, source).ljust(layout.card_size, b"\0"))
    comparison = Comparison(layout)
    watched = Watched(witness=comparison, length=layout.length, keep=layout.first_file_offset)
    place = data.index(b"A       BIN")
    data[place] = 0xE5
    # Only the mark: the clusters are still in use, and lost.
    inspection = inspect_card(MemorySectors(data), watched=watched, deleted=ASKED)
    assert [entry.left for entry in inspection.deleted] == [Left.IN_USE]
    compared = comparison.result()
    assert compared.complete
    assert compared.sha256 == sha256(bytes(data[: layout.length]))


def gone(size: int, *guesses: Extent) -> DeletedEntry:
    return DeletedEntry(
        folder=(),
        short="?",
        size=size,
        modified=None,
        first_cluster=2,
        left=Left.FREE,
        guesses=guesses,
    )


def test_no_more_is_read_than_a_bound() -> None:
    entries = [gone(100, Extent(at, 100)) for at in (0, 500, 0, 900)]
    chosen = to_read(entries, ASKED, 200)
    assert [number for number, _ in chosen.places] == [0, 1, 2]
    assert (chosen.bytes, chosen.left_out) == (200, (3,))
    # What is too large does not keep smaller ones from being read.
    large = gone(4 * KIB, Extent(0, 4 * KIB))
    chosen = to_read([large, *entries], ASKED, 400)
    assert (chosen.left_out, chosen.bytes) == ((0,), 300)


def test_other_places_are_read_for_files_of_a_size_that_is_asked_for() -> None:
    entry = gone(100, Extent(0, 100), Extent(65_536, 100))
    assert len(to_read([entry], ASKED, 1000).places) == 1
    assert len(to_read([entry], AskedDeleted(sizes=frozenset((100,))), 1000).places) == 2


@pytest.mark.parametrize("claimed", [2**32 - 1, 8 * MIB])
def test_a_card_cannot_claim_more_than_it_has(image: FatImage, claimed: int) -> None:
    for name in ("ÕNE     BIN", "ÕUB        "):
        at = image.folder_entry(name)
        image.data[at + 28 : at + 32] = claimed.to_bytes(4, "little")
    inspection = inspect_card(image.medium(), deleted=ASKED)
    assert sum(one.where.length for one in inspection.deleted_content) <= len(image.data)
    assert inspection.deleted[0].left is Left.PARTLY
