"""Cards laid out, judged by programs from outside: every name, byte, partition and digest."""

from __future__ import annotations

import os
import random
import re
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from cardprep.layout.build import lay_out
from cardprep.layout.geometry import USUAL_SIZES
from cardprep.layout.model import Layout
from cardprep.layout.stream import card_digest
from cardprep.progress import Cancel, silent
from cardprep.terms import GIB, MIB
from tests.stages import Memory, make_stage, write_image

ENVIRONMENT = {
    "PATH": os.environ["PATH"] + ":/usr/sbin:/sbin",
    "TZ": "UTC",
    "LC_ALL": "C.UTF-8",
    "MTOOLS_SKIP_CHECK": "1",
}

NAMES: tuple[tuple[str, ...], ...] = (
    ("UPDATE.BIN",),
    ("lower.bin",),
    ("lowbase.BIN",),
    ("UPPER.bin",),
    ("MixedCas.Bin",),
    ("noext",),
    ("firmware-image-with-a-long-name.bin",),
    ("firmware-image-with-another-name.bin",),
    # A real short name that a generated one must not take.
    ("FIRMWA~1.BIN",),
    ("Ünter Ärger Öl.bin",),
    ("Ελληνικά", "ναυτιλία.bin"),
    ("two", "three", "four", "five", "deep.dat"),
    ("two", "three", "beside.dat"),
    ("dots.in.the.name.tar",),
    (".hidden",),
    ("x" * 255,),
    ("empty.dat",),
)
SIZES = (0, 1, 511, 512, 513, 4095, 4096, 4097, 32767, 32768, 32769, 65536, 70000, 300001)

SETTINGS = [
    pytest.param(({"file_systems": ("fat16",), "volume_size": 64 * MIB}, 16), id="FAT16 of 64 MiB"),
    pytest.param(({"file_systems": ("fat32",), "volume_size": 64 * MIB}, 32), id="FAT32 of 64 MiB"),
    pytest.param(({}, 16), id="FAT16 of 512 MiB, the default"),
    pytest.param(({"file_systems": ("fat32",)}, 32), id="FAT32 of 512 MiB"),
    pytest.param(({"volume_size": 1024 * MIB}, 16), id="FAT16 of 1 GiB"),
    pytest.param(({"volume_size": 2 * GIB}, 16), id="FAT16 of 2 GiB, the largest"),
    *(
        pytest.param(({"volume_size": size}, 16 if size <= 2 * GIB else 32), id=f"{size} bytes")
        for size in USUAL_SIZES[1:]
    ),
    pytest.param(({"volume_size": 32 * GIB}, 32), id="FAT32 of 32 GiB"),
    pytest.param(({"partition_table": "none"}, 16), id="no partition table"),
    pytest.param(
        ({"partition_table": "none", "file_systems": ("fat32",)}, 32), id="FAT32, no table"
    ),
]


def run(*words: object, check: bool = True) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(word) for word in words],
        env=ENVIRONMENT,
        capture_output=True,
        text=True,
        check=check,
    )


def files() -> list[tuple[tuple[str, ...], bytes]]:
    generator = random.Random(1)
    sizes = [*SIZES, *SIZES]
    made = [(path, generator.randbytes(size)) for path, size in zip(NAMES, sizes, strict=False)]
    return [*made, (("last of all.bin",), generator.randbytes(123456))]


def volume(card: Path, layout: Layout) -> Path:
    """Return the volume cut out of a card, as fsck.fat wants it."""
    if not layout.geometry.start:
        return card
    cut = card.with_suffix(".volume")
    with card.open("rb") as whole:
        whole.seek(layout.geometry.start)
        cut.write_bytes(whole.read(layout.length - layout.geometry.start))
    os.truncate(cut, layout.geometry.total_sectors * 512)
    return cut


Card = tuple[Path, Layout, Memory, list[tuple[tuple[str, ...], bytes]]]


@pytest.fixture
def card(request: pytest.FixtureRequest, tmp_path: Path) -> Card:
    settings, bits = request.param
    made = files()
    stage, source = make_stage(made, **settings)
    layout = lay_out(stage)
    assert layout.geometry.bits == bits
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    return path, layout, source, made


@pytest.mark.oracle
@pytest.mark.parametrize("card", SETTINGS, indirect=True)
def test_others_find_every_name_and_byte_and_nothing_wrong(card: Card, tmp_path: Path) -> None:
    path, layout, source, made = card
    cut = volume(path, layout)
    checked = run("fsck.fat", "-n", "-v", cut, check=False)
    assert checked.returncode == 0, checked.stdout
    assert re.search(r"(\d+) files", checked.stdout)
    # mtools takes the card out whole, names and bytes.
    out = tmp_path / "out"
    out.mkdir()
    drive = f"{path}@@{layout.geometry.start}"
    run("mcopy", "-s", "-n", "-m", "-i", drive, "::/*", out)
    found = {
        tuple(file.relative_to(out).parts): file.read_bytes()
        for file in out.rglob("*")
        if file.is_file()
    }
    assert found == dict(made)
    assert run("mtype", "-i", drive, "::/UPDATE.BIN").returncode == 0
    times = {int(file.stat().st_mtime) for file in out.rglob("*") if file.is_file()}
    assert times == {1771076262}
    if layout.geometry.start:
        dumped = run("sfdisk", "-d", path).stdout
        kind = "e" if layout.geometry.bits == 16 else "c"
        sectors = layout.geometry.total_sectors
        assert re.search(rf"start= +8192, size= +{sectors}, type={kind}\b", dumped)
    head = subprocess.run(  # noqa: S602 - as printed for people
        f"head -c {layout.length} '{path}' | sha256sum",
        shell=True,
        capture_output=True,
        text=True,
        check=True,
    )
    assert head.stdout.split()[0] == card_digest(layout, source, silent, Cancel())


@pytest.mark.oracle
@pytest.mark.parametrize("card", SETTINGS, indirect=True)
def test_minfo_reads_the_same_boot_sector(card: Card) -> None:
    path, layout, _, _ = card
    told = run("minfo", "-i", f"{path}@@{layout.geometry.start}", "::").stdout
    assert f"serial number: {layout.serial:08X}" in told
    assert f"cluster size: {layout.geometry.sectors_per_cluster} sectors" in told
    assert f"reserved (boot) sectors: {layout.geometry.reserved_sectors}" in told
    assert 'disk label="B238-1 APPL"' in told


@pytest.mark.oracle
def test_lower_case_short_names_have_no_long_entry(tmp_path: Path) -> None:
    # Source: mtools 4.0.32 itself stores lower.bin so, with both case bits.
    stage, source = make_stage([(("lower.bin",), b"x")])
    layout = lay_out(stage)
    write_image(tmp_path / "card.img", layout, source)
    root = next(r for r in layout.regions if r.structure == "directory")
    assert root.content[32:43] == b"LOWER   BIN"
    assert root.content[32 + 12] == 0x18
    listed = run("mdir", "-b", "-i", f"{tmp_path / 'card.img'}@@4194304", "::/").stdout
    assert listed == "::/lower.bin\n"


@pytest.mark.oracle
def test_a_name_beyond_the_bmp_is_stored_as_utf_16(tmp_path: Path) -> None:
    # mtools shows such a name wrongly, so its bytes are looked for and fsck.fat judges.
    name = "an update \U0001f600.bin"
    stage, source = make_stage([((name,), b"content")])
    layout = lay_out(stage)
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    root = next(r for r in layout.regions if r.structure == "directory")
    stored = b"".join(
        entry[1:11] + entry[14:26] + entry[28:32]
        for entry in (root.content[at : at + 32] for at in (64, 32))
    )
    assert stored.startswith(name.encode("utf-16-le") + b"\0\0\xff\xff")
    assert run("fsck.fat", "-n", volume(path, layout), check=False).returncode == 0


def seconds(work: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(3):
        begun = time.process_time()
        work()
        best = min(best, time.process_time() - begun)
    return best


@pytest.mark.oracle
def test_five_thousand_files_in_one_folder(tmp_path: Path) -> None:
    made = [(("many", f"firmware-image-{n:05}.bin"), b"%d" % n) for n in range(5000)]
    stage, source = make_stage(made)
    layout = lay_out(stage)
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    checked = run("fsck.fat", "-n", "-v", volume(path, layout), check=False)
    assert checked.returncode == 0, checked.stdout
    listed = run("mdir", "-b", "-i", f"{path}@@4194304", "::/many").stdout.splitlines()
    assert listed == [f"::/many/firmware-image-{n:05}.bin" for n in range(5000)]


def test_many_files_take_linear_time() -> None:
    def laid_out(count: int) -> Callable[[], object]:
        made = [(("many", f"firmware-image-{n:05}.bin"), b"") for n in range(count)]
        stage, _ = make_stage(made)
        return lambda: lay_out(stage)

    # Four times as many files: four times the time, sixteen times if it were quadratic.
    assert seconds(laid_out(8000)) / seconds(laid_out(2000)) < 8
