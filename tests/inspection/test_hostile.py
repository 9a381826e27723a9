"""Cards that are made to cost time or memory, seen through the whole inspection and its judgement.

What of this concerns the reading of volumes alone stands in tests/volume/test_hostile_cards.py.
"""

from __future__ import annotations

import gzip
import io
import itertools
import time
import tracemalloc
import zipfile

import pytest

from cardprep.findings import Verdict
from cardprep.images.report import Soundness
from cardprep.inspection.card import inspect_card
from cardprep.inspection.model import Inspection
from cardprep.paper.card import findings_lines
from cardprep.paper.inspect import inspection_lines
from cardprep.rules.context import Context
from cardprep.rules.judge import judge
from cardprep.volume.fat_found import DEPTH_LIMIT, ENTRY_LIMIT
from tests.cards import GIB, MIB, FatImage
from tests.hostile import (
    HOSTILE_NAMES,
    chain,
    dots,
    fat32,
    file_entry,
    folder,
    named_entries,
)

ALL = 200_000
LINES_MOST = 20_000


def looked_at(image: FatImage) -> Inspection:
    """Inspect and judge a card; it is never good, and little is said of it."""
    inspection = inspect_card(image.medium())
    judgement = judge(Context(inspection=inspection))
    assert judgement.verdict is not Verdict.USE
    said = inspection_lines(inspection, width=80) + findings_lines(judgement.findings, 80)
    assert len(said) < LINES_MOST
    return inspection


def put(image: FatImage, at: int, raw: bytes) -> None:
    image.data[at : at + len(raw)] = raw


def in_root(image: FatImage, entries: bytes) -> None:
    folder(image, range(2, 3), entries)


def put_file(image: FatImage, first: int, content: bytes) -> None:
    chain(image, range(first, first + -(-len(content) // 512)))
    put(image, image.cluster(first), content)


def test_two_hundred_thousand_hostile_names() -> None:
    folders = 14
    each = ALL // folders + 1
    image = fat32(300_000)
    names = (f"{n} {name}" for n, name in enumerate(itertools.cycle(HOSTILE_NAMES)))
    entries = named_entries(itertools.islice(names, each))
    first, above = 10, b""
    for number in range(folders):
        content = dots(first, 0) + entries
        count = -(-len(content) // 512)
        folder(image, range(first, first + count), content)
        above += file_entry(f"DIR{number:05d}   ", first, 0, 0x10)
        first += count
    in_root(image, above)
    started = time.perf_counter()
    inspection = looked_at(image)
    # It takes some ten seconds; machines that build are slower, and busy.
    assert time.perf_counter() - started < 60
    assert ENTRY_LIMIT - each < len(inspection.files) <= ENTRY_LIMIT + each
    assert "too-many-files" in {finding.slug for finding in inspection.findings}
    assert len(inspection.findings) < 4000


def test_folders_deeper_than_any() -> None:
    image = fat32(70_000)
    first, deep = 10, 3 * DEPTH_LIMIT
    in_root(image, file_entry("DEEP       ", first, 0, 0x10))
    for number in range(first, first + deep):
        above = 0 if number == first else number - 1
        below = file_entry("DEEP       ", number + 1, 0, 0x10)
        folder(image, range(number, number + 1), dots(number, above) + below)
    inspection = looked_at(image)
    assert len(inspection.folders) == DEPTH_LIMIT + 1
    found = next(f for f in inspection.findings if f.slug == "too-many-files")
    assert found.undecided


def bomb_in_zip() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for number in range(4):
            file.writestr(f"{number}.bin", bytes(128 * MIB))
    return out.getvalue()


@pytest.mark.parametrize("how", ["zip", "gzip"])
def test_an_archive_bomb_on_a_card(how: str) -> None:
    content = bomb_in_zip() if how == "zip" else gzip.compress(bytes(512 * MIB), mtime=0)
    assert len(content) < MIB
    image = fat32(70_000)
    put_file(image, 100, content)
    in_root(image, file_entry("BOMB    BIN", 100, len(content)))
    tracemalloc.start()
    started = time.perf_counter()
    try:
        inspection = looked_at(image)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert time.perf_counter() - started < 10
    assert peak < 8 * MIB
    (file,) = inspection.files
    assert file.container is not None
    assert file.container.soundness is Soundness.UNCHECKED
    assert {problem.reason for problem in file.container.problems} == {f"{how}.too-large"}


def test_a_file_of_four_gibibytes_in_ten_clusters_is_not_read() -> None:
    image = fat32(70_000)
    chain(image, range(10, 20))
    in_root(image, file_entry("LARGE   BIN", 10, 4 * GIB - 1))
    inspection = looked_at(image)
    assert inspection.bytes_read < 2 * MIB
    (file,) = inspection.files
    assert file.digests is None
    assert "chain-too-short" in {finding.slug for finding in inspection.findings}


def test_files_that_share_one_chain_are_read_once_in_all() -> None:
    image = fat32(70_000)
    content = bytes(range(256)) * 4096
    put_file(image, 2000, content)
    entries = [file_entry(f"{n:08d}BIN", 2000, len(content)) for n in range(10_000)]
    inside = dots(10, 0) + b"".join(entries)
    folder(image, range(10, 10 + -(-len(inside) // 512)), inside)
    in_root(image, file_entry("MANY       ", 10, 0, 0x10))
    inspection = looked_at(image)
    assert len(inspection.files) == 10_000
    assert sum(file.digests is not None for file in inspection.files) <= 1
    assert inspection.bytes_read < 4 * MIB
    assert {"chain-crossed", "chain-shared"} <= {finding.slug for finding in inspection.findings}
