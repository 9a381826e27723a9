"""A stage as bytes: a pure function, the same on every machine, refused where it cannot be."""

from __future__ import annotations

import ast
import hashlib
import os
import random
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from cardprep.errors import LayoutError, ShelfError, StoppedError
from cardprep.layout.build import lay_out
from cardprep.layout.stream import blocks, card_digest
from cardprep.progress import Cancel, silent
from cardprep.terms import MIB
from tests.stages import Memory, laid_out_bytes, make_stage, stage_file, write_image

ROOT = Path(__file__).resolve().parents[2]
SMALL = 64 * MIB

CODE = """
import hashlib, sys
sys.path.insert(0, sys.argv[1])
from tests.stages import laid_out_bytes, make_stage
from cardprep.layout.build import lay_out
greek = ("\\u0395\\u03bb", "n\\u00e4me.bin")
files = [(greek, b"x" * 70000), (("lower.bin",), b"y"), (("d", "E"), b"")]
for settings in ({}, {"file_systems": ("fat32",)}):
    stage, source = make_stage(files, **settings)
    print(hashlib.sha256(laid_out_bytes(lay_out(stage), source)).hexdigest())
"""


def test_the_same_stage_gives_the_same_bytes_on_every_machine(tmp_path: Path) -> None:
    outputs = set()
    for zone, language, seed, mask in (
        ("UTC", "C", "0", 0o022),
        ("Pacific/Kiritimati", "tr_TR.UTF-8", "1", 0o077),
        ("America/St_Johns", "ja_JP.UTF-8", "4294967295", 0o000),
    ):
        environment = {
            "PATH": os.environ["PATH"],
            "TZ": zone,
            "LANG": language,
            "LC_ALL": language,
            "PYTHONHASHSEED": seed,
            "PYTHONUTF8": "1",
        }
        done = subprocess.run(
            [sys.executable, "-c", CODE, str(ROOT)],
            env=environment,
            cwd=tmp_path,
            umask=mask,
            capture_output=True,
            text=True,
            check=True,
        )
        outputs.add(done.stdout)
    assert len(outputs) == 1
    first, second = outputs.pop().split()
    assert first != second


def test_cards_of_different_size_get_the_same_bytes(tmp_path: Path) -> None:
    stage, source = make_stage([(("A.BIN",), b"x" * 5000)])
    layout = lay_out(stage)
    digests = set()
    for number, size in enumerate((layout.card_size, layout.card_size * 3, 8 * 10**9)):
        path = tmp_path / f"{number}.img"
        write_image(path, layout, source, size)
        with path.open("rb") as card:
            digests.add(hashlib.sha256(card.read(layout.length)).hexdigest())
    assert digests == {card_digest(layout, source, silent, Cancel())}


def test_layout_looks_at_nothing_but_the_stage() -> None:
    for path in (ROOT / "cardprep" / "layout").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            assert not {"os", "time", "random", "datetime", "pathlib", "secrets"} & set(names), path


def test_regions_cover_the_card_without_gap_or_overlap() -> None:
    generator = random.Random(2)
    made = [((f"d{n % 3}", f"file {n}.bin"), generator.randbytes(n * 997)) for n in range(30)]
    for file_systems in (("fat16",), ("fat32",)):
        stage, source = make_stage(made, volume_size=SMALL, file_systems=file_systems)
        layout = lay_out(stage)
        at = 0
        for region in layout.regions:
            assert region.offset == at
            assert region.length > 0
            assert len(region.content) <= region.length
            at += region.length
        assert at == layout.length
        data = laid_out_bytes(layout, source)
        assert len(data) == layout.length
        for region in layout.regions:
            if region.file is not None:
                part = data[region.offset : region.offset + region.length]
                assert hashlib.sha256(part).hexdigest() == stage.files[region.file].sha256
        assert layout.first_file_offset == min(
            region.offset for region in layout.regions if region.file is not None
        )


def test_blocks_are_the_same_whatever_their_size() -> None:
    stage, source = make_stage([(("A.BIN",), b"x" * 70001), (("B.BIN",), b"y" * 513)])
    layout = lay_out(stage)
    whole = laid_out_bytes(layout, source)
    for size in (512, 4096, 100_003):
        buffer = memoryview(bytearray(size))
        taken = [(offset, bytes(block)) for offset, block in blocks(layout, source, buffer)]
        assert b"".join(block for _, block in taken) == whole
        assert [offset for offset, _ in taken] == list(range(0, len(whole), size))


def test_an_empty_file_alone_has_a_card_too() -> None:
    stage, source = make_stage([(("EMPTY.BIN",), b"")], volume_size=SMALL)
    layout = lay_out(stage)
    assert layout.first_file_offset == layout.length
    assert len(laid_out_bytes(layout, source)) == layout.length


@pytest.mark.parametrize(
    ("paths", "settings", "reason"),
    [
        pytest.param([("a", "b"), ("A", "c")], {}, "layout.same-name", id="folders by case"),
        pytest.param([("a",), ("a", "b")], {}, "layout.same-name", id="a file as a folder"),
        pytest.param([("a", "b"), ("a",)], {}, "layout.same-name", id="a folder as a file"),
        pytest.param([("a",), ("a",)], {}, "layout.same-name", id="twice"),
        pytest.param([("d",) * 21], {}, "layout.too-deep", id="too deep"),
        pytest.param([("a*",)], {}, "layout.name-character", id="name"),
        pytest.param(
            [(f"file-{n}",) for n in range(600)],
            {"file_systems": ("fat16",)},
            "layout.root-full",
            id="root of FAT16 full",
        ),
        pytest.param(
            [("a",)],
            {"file_systems": ("fat32",), "volume_size": 16 * MIB},
            "layout.no-file-system",
            id="too small for FAT32",
        ),
        pytest.param([("a",)], {"largest_card": MIB}, "layout.display-too-small", id="display"),
    ],
)
def test_what_cannot_be_laid_out(
    paths: list[tuple[str, ...]], settings: dict[str, object], reason: str
) -> None:
    stage, _ = make_stage([(path, b"x") for path in paths], **settings)  # type: ignore[arg-type]
    with pytest.raises(LayoutError) as caught:
        lay_out(stage)
    assert caught.value.reason == reason


def test_a_root_too_full_for_fat16_goes_to_fat32_where_the_display_reads_it() -> None:
    stage, _ = make_stage([((f"file-{n}",), b"x") for n in range(600)])
    assert lay_out(stage).geometry.bits == 32


def test_a_stage_too_large() -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")], volume_size=SMALL)
    file = replace(stage.files[0], size=SMALL)
    with pytest.raises(LayoutError) as caught:
        lay_out(replace(stage, files=(file,)))
    assert caught.value.reason == "layout.too-large"
    with pytest.raises(LayoutError) as caught:
        lay_out(replace(stage, files=(replace(file, size=2**32),)))
    assert caught.value.reason == "layout.file-too-large"
    # Without a wanted size the next larger volume is taken.
    free = replace(stage, files=(replace(file, size=600 * MIB),))
    settings = replace(stage.settings, volume_size=None)
    assert lay_out(replace(free, settings=settings)).card_size > 600 * MIB


@pytest.mark.parametrize(
    "released", ["1979-12-31T23:59:59Z", "2108-01-01T00:00:00Z", "2026-02-30T00:00:00Z"]
)
def test_times_that_fat_cannot_keep(released: str) -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")])
    with pytest.raises(LayoutError) as caught:
        lay_out(replace(stage, files=(stage_file(("A.BIN",), b"x", released=released),)))
    assert caught.value.reason == "layout.time"


def test_an_image_that_is_not_what_the_stage_says() -> None:
    stage, source = make_stage([(("A.BIN",), b"x" * 100)])
    layout = lay_out(stage)
    sha256 = stage.files[0].sha256
    for content, reason in ((b"y" * 100, "shelf.changed"), (b"x" * 99, "shelf.short")):
        with pytest.raises(ShelfError) as caught:
            card_digest(layout, Memory({sha256: content}), silent, Cancel())
        assert caught.value.reason == reason
    assert source.contents[sha256] == b"x" * 100


def test_digesting_can_be_stopped_and_says_how_far_it_is() -> None:
    stage, source = make_stage([(("A.BIN",), b"x" * (9 * MIB))])
    layout = lay_out(stage)
    told: list[tuple[int, int]] = []
    card_digest(layout, source, lambda done, total: told.append((done, total)), Cancel())
    assert told == sorted(told)
    assert told[-1] == (layout.length, layout.length)
    cancel = Cancel()
    cancel.ask()
    with pytest.raises(StoppedError):
        card_digest(layout, source, silent, cancel)
