"""What cannot be laid out is refused with its reason, and the last that can be is laid out."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from cardprep.errors import LayoutError
from cardprep.layout.build import lay_out
from cardprep.layout.geometry import USUAL_SIZES
from cardprep.layout.tree import DEPTH_LIMIT
from cardprep.terms import MIB, SECTOR
from tests.stages import laid_out_bytes, make_stage, stage_file

SMALL = 64 * MIB


@pytest.mark.parametrize(
    ("paths", "settings", "reason"),
    [
        pytest.param([("a", "b"), ("A", "c")], {}, "layout.same-name", id="folders by case"),
        pytest.param([("a",), ("a", "b")], {}, "layout.same-name", id="a file as a folder"),
        pytest.param([("a", "b"), ("a",)], {}, "layout.same-name", id="a folder as a file"),
        pytest.param([("a",), ("a",)], {}, "layout.same-name", id="twice"),
        pytest.param([("d",) * 21], {}, "layout.too-deep", id="too deep"),
        pytest.param([("a*",)], {}, "layout.name-character", id="name"),
        pytest.param([("d*", "a")], {}, "layout.name-character", id="a folder's name"),
        pytest.param([("aux", "a")], {}, "layout.name-device", id="a folder named as a device"),
        pytest.param([("a",), ("d", "..")], {}, "layout.name-empty", id="the folder above"),
        pytest.param(
            [(f"{n:04}".ljust(255, "x"),) for n in range(3121)],
            {"file_systems": ("fat32",)},
            "layout.folder-full",
            id="more entries than a folder may have",
        ),
        pytest.param(
            [(f"{n:03}".ljust(255, "x"),) for n in range(25)],
            {"largest_card": 2 * 10**9},
            "layout.root-full",
            id="root of FAT16 full of long names, and the display takes no FAT32 size",
        ),
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
        pytest.param(
            [("a",)],
            {"volume_size": 1024 * MIB, "largest_card": 1024 * MIB},
            "layout.display-too-small",
            id="the display takes the volume and not the card",
        ),
        pytest.param(
            [("a",)],
            {"file_systems": ("fat16",), "volume_size": 4096 * MIB},
            "layout.no-file-system",
            id="too large for FAT16",
        ),
    ],
)
def test_what_cannot_be_laid_out(
    paths: list[tuple[str, ...]], settings: dict[str, object], reason: str
) -> None:
    stage, _ = make_stage([(path, b"x") for path in paths], **settings)  # type: ignore[arg-type]
    with pytest.raises(LayoutError) as caught:
        lay_out(stage)
    assert caught.value.reason == reason


def test_the_most_that_folders_take() -> None:
    deepest = tuple(f"d{n}" for n in range(DEPTH_LIMIT - 1))
    stage, source = make_stage([((*deepest, "a"), b"x")], volume_size=SMALL)
    assert len(laid_out_bytes(lay_out(stage), source)) > 0
    # 3,120 names of 20 long entries and a short one, and the label.
    names = [(f"{n:04}".ljust(255, "x"),) for n in range(3120)]
    stage, _ = make_stage([(name, b"") for name in names], file_systems=("fat32",))
    root = next(region for region in lay_out(stage).regions if region.structure == "directory")
    assert len(root.content) == (3120 * 21 + 1) * 32


def test_a_volume_is_filled_to_its_last_cluster() -> None:
    for file_system in ("fat16", "fat32"):
        stage, _ = make_stage([(("A.BIN",), b"")], volume_size=SMALL, file_systems=(file_system,))
        geometry = lay_out(stage).geometry
        # FAT32's root folder takes one cluster.
        free = geometry.cluster_count - (geometry.bits == 32)
        for more, fits in ((0, True), (1, False)):
            size = free * geometry.cluster_size + more
            full = replace(stage, files=(replace(stage.files[0], size=size),))
            if fits:
                layout = lay_out(full)
                assert layout.card_size - geometry.cluster_size < layout.length
                assert layout.length <= layout.card_size
                continue
            with pytest.raises(LayoutError) as caught:
                lay_out(full)
            assert caught.value.reason == "layout.too-large"
            said = caught.value.parameters
            assert int(said["needed"]) > int(said["room"])


def test_the_smallest_of_the_usual_sizes_is_taken() -> None:
    stage, _ = make_stage([(("A.BIN",), b"")])
    for below, above in pairwise(USUAL_SIZES):
        if above > 5 * 10**9:
            # No file is larger than 4 GB.
            break
        file = replace(stage.files[0], size=below)
        layout = lay_out(replace(stage, files=(file,)))
        assert layout.geometry.total_sectors * SECTOR == above


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
    "released",
    [
        "1979-12-31T23:59:59Z",
        "2108-01-01T00:00:00Z",
        "2026-02-30T00:00:00Z",
        "2026-13-01T00:00:00Z",
        "2026-02-14T24:00:00Z",
        "2026-02-14T23:60:00Z",
        "2026-02-14T23:59:60Z",
    ],
)
def test_times_that_fat_cannot_keep(released: str) -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")])
    with pytest.raises(LayoutError) as caught:
        lay_out(replace(stage, files=(stage_file(("A.BIN",), b"x", released=released),)))
    assert caught.value.reason == "layout.time"


@pytest.mark.parametrize("released", ["1980-01-01T00:00:00Z", "2107-12-31T23:59:59Z"])
def test_the_first_and_the_last_time_that_fat_keeps(released: str) -> None:
    stage, _ = make_stage([(("A.BIN",), b"x")])
    lay_out(replace(stage, files=(stage_file(("A.BIN",), b"x", released=released),)))
