"""A stage as bytes: a pure function, the same on every machine and for every card."""

from __future__ import annotations

import ast
import hashlib
import os
import random
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from cardprep.errors import ShelfError, StoppedError
from cardprep.layout.build import lay_out
from cardprep.layout.model import LAYOUT_VERSION
from cardprep.layout.stream import blocks, card_digest
from cardprep.progress import Cancel, silent
from cardprep.terms import MIB
from tests.stages import Memory, laid_out_bytes, make_stage, write_image

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


def test_a_machine_that_stores_numbers_the_other_way_round_turns_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for file_system, width in (("fat16", 2), ("fat32", 4)):
        stage, _ = make_stage([(("A.BIN",), b"x" * 70_000)], file_systems=(file_system,))
        fat = next(r for r in lay_out(stage).regions if r.structure == "FAT 1").content
        other = "big" if sys.byteorder == "little" else "little"
        with monkeypatch.context() as patch:
            patch.setattr("cardprep.layout.build.sys", SimpleNamespace(byteorder=other))
            turned = next(r for r in lay_out(stage).regions if r.structure == "FAT 1").content
        pieces = [turned[at : at + width][::-1] for at in range(0, len(turned), width)]
        assert b"".join(pieces) == fat


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


# What a pure function may use of the standard library; `sys` for the order of bytes alone.
PURE = {"__future__", "array", "collections", "contextlib", "dataclasses", "hashlib", "typing"}


def impure(source: str) -> list[str]:
    """Return what a source file uses that could differ from one machine or moment to another."""
    found = []
    for node in ast.walk(ast.parse(source)):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or "."]
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            if node.func.id in ("open", "input", "print", "__import__", "hash", "id", "globals"):
                found.append(f"line {node.lineno}: {node.func.id}()")
        elif isinstance(node, ast.Attribute) and getattr(node.value, "id", "") == "sys":
            found += [f"line {node.lineno}: sys.{node.attr}"] * (node.attr != "byteorder")
        found += [name for name in names if name.split(".")[0] not in {*PURE, "cardprep", "sys"}]
        # Of our own rooms those that meet cards, files and people.
        rooms = ("medium", "inspection", "shop", "shoplog", "texts", "bench", "write")
        found += [name for name in names if name.startswith(tuple(f"cardprep.{r}" for r in rooms))]
    return found


def test_layout_looks_at_nothing_but_the_stage() -> None:
    paths = sorted((ROOT / "cardprep" / "layout").glob("*.py"))
    assert len(paths) > 8
    for path in paths:
        assert impure(path.read_text("utf-8")) == [], path
    for faulty in ("import os", "from os.path import join", "import time, array", "open('x')"):
        assert impure(faulty), faulty
    assert impure("import sys\nsys.argv")
    assert not impure("import sys\nsys.byteorder\nfrom array import array")


# From cardprep itself, typed in once: a stage that was laid out today is laid out so for ever.
# A change that gives other bytes needs a layout version of its own, see LAYOUT_VERSION.
@pytest.mark.parametrize(
    ("file_system", "table", "sha256"),
    [
        ("fat16", "mbr", "8977c480e5ec5692adb4206f13ade376b6a21f61eddb369803e4e91bdd1103f5"),
        ("fat32", "mbr", "ccbda0e53251df74fd96a8e245bf6f18ca7d0d70e6136b5ea50b366a9619d083"),
        ("fat16", "none", "da0753da5d83c0b869275f260937e9c6a750deb29ed00d49f552a93d5f47574e"),
        ("fat32", "none", "084af2c437300b99d5e2b651ca18a2d8f9e17eace1048ba73d114fc6b77b0a96"),
    ],
)
def test_layout_version_1_gives_the_bytes_that_it_gave(
    file_system: str, table: str, sha256: str
) -> None:
    files = [
        (("UPDATE", "firmware-image.bin"), bytes(range(256)) * 300),
        (("UPDATE", "Ελληνικά", "lower.bin"), b"lower"),
        (("EMPTY.DAT",), b""),
    ]
    stage, source = make_stage(files, file_systems=(file_system,), partition_table=table)
    assert stage.layout == LAYOUT_VERSION == 1
    assert card_digest(lay_out(stage), source, silent, Cancel()) == sha256


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
