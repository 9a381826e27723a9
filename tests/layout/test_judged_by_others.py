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

from cardprep.errors import LayoutError
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

# The names of a folder that would take each other's short names if these were not looked after:
# a reader takes the first file that has what it looks for as its long or its short name.
RIVALS = (
    "firmware-image.bin",
    "Firmwa~1.bin",
    "FIRMWA~2.BIN",
    "firmwa~3.bin",
    "firmware-other.bin",
    "firmware.image.bin",
)

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
    pytest.param(({"file_systems": ("fat16",), "volume_size": 16 * MIB}, 16), id="least FAT16"),
    pytest.param(({"file_systems": ("fat32",), "volume_size": 36 * MIB}, 32), id="least FAT32"),
    pytest.param(
        ({"file_systems": ("fat32",), "volume_size": 261 * MIB}, 32), id="least FAT32 of 4 KiB"
    ),
    pytest.param(({"volume_size": 2047 * MIB}, 16), id="just below the largest FAT16"),
    *(
        pytest.param(
            (
                {"partition_table": "none", "file_systems": (f"fat{bits}",), "volume_size": size},
                bits,
            ),
            id=f"FAT{bits} of {size // MIB} MiB without a table",
        )
        for bits in (16, 32)
        for size in (64 * MIB, 512 * MIB)
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


def run_for_bytes(*words: object) -> bytes:
    return subprocess.run(
        [str(word) for word in words], env=ENVIRONMENT, capture_output=True, check=True
    ).stdout


def sizes_at_borders(cluster: int) -> list[int]:
    """Return sizes around those of sectors, of clusters, and of the cells of a flash card."""
    borders = (512, cluster, 2 * cluster, 5 * cluster)
    return [0, 1, *(border + by for border in borders for by in (-1, 0, 1)), 65536, 300_001]


def files(cluster: int) -> list[tuple[tuple[str, ...], bytes]]:
    generator = random.Random(1)
    sizes = sizes_at_borders(cluster)
    paths = [*NAMES, *(("rivals", name) for name in RIVALS)]
    assert len(paths) >= len(sizes)
    return [
        *((path, generator.randbytes(sizes[n % len(sizes)])) for n, path in enumerate(paths)),
        (("last of all.bin",), generator.randbytes(123_456)),
    ]


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
    cluster = lay_out(make_stage([(("A",), b"")], **settings)[0]).geometry.cluster_size
    made = files(cluster)
    stage, source = make_stage(made, **settings)
    layout = lay_out(stage)
    assert layout.geometry.bits == bits
    assert layout.geometry.cluster_size == cluster
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
    assert f"{layout.geometry.cluster_size} bytes per cluster" in checked.stdout
    assert f"data area starts at byte {layout.geometry.first_data_sector * 512}" in (
        " ".join(checked.stdout.lower().split())
    )
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
    # And one by one, as a reader does that looks for a name.
    for path_of_file, content in made:
        shown = run_for_bytes("mtype", "-i", drive, "::/" + "/".join(path_of_file))
        assert shown == content, path_of_file
    times = {int(file.stat().st_mtime) for file in out.rglob("*") if file.is_file()}
    assert times == {1771076262}
    if layout.geometry.start:
        dumped = run("sfdisk", "-d", path).stdout
        kind = "e" if layout.geometry.bits == 16 else "c"
        sectors = layout.geometry.total_sectors
        assert re.search(rf"start= +8192, size= +{sectors}, type={kind}\b", dumped)
        assert dumped.count("start=") == 1
        assert "No errors detected." in run("sfdisk", "--verify", path).stdout
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


@pytest.mark.oracle
def test_a_root_of_fat16_that_is_just_full(tmp_path: Path) -> None:
    """512 entries: the label and 511 short names."""
    made = [((f"F{n:03}.BIN",), b"%d" % n) for n in range(511)]
    stage, source = make_stage(made, file_systems=("fat16",))
    layout = lay_out(stage)
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    assert run("fsck.fat", "-n", volume(path, layout), check=False).returncode == 0
    listed = run("mdir", "-b", "-i", f"{path}@@4194304", "::/").stdout.splitlines()
    assert listed == [f"::/F{n:03}.BIN" for n in range(511)]
    one_more, _ = make_stage([*made, (("F511.BIN",), b"x")], file_systems=("fat16",))
    with pytest.raises(LayoutError) as caught:
        lay_out(one_more)
    assert caught.value.reason == "layout.root-full"


@pytest.mark.oracle
@pytest.mark.parametrize("first", [0, 1])
def test_a_name_is_looked_for_and_the_right_file_comes(tmp_path: Path, first: int) -> None:
    """Whichever of two rivals for a short name stands first."""
    made = [(("firmware-image.bin",), b"image"), (("Firmwa~1.bin",), b"the real one")]
    stage, source = make_stage([made[first], made[1 - first]])
    layout = lay_out(stage)
    path = tmp_path / "card.img"
    write_image(path, layout, source)
    drive = f"{path}@@{layout.geometry.start}"
    for name in ("Firmwa~1.bin", "FIRMWA~1.BIN", "firmwa~1.bin"):
        assert run_for_bytes("mtype", "-i", drive, f"::/{name}") == b"the real one"
    assert run("fsck.fat", "-n", volume(path, layout), check=False).returncode == 0


# --- time


def seconds(work: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(3):
        begun = time.process_time()
        work()
        best = min(best, time.process_time() - begun)
    return best


def laid_out_time(names: list[str]) -> float:
    stage, _ = make_stage([(("many", name), b"") for name in names])
    return seconds(lambda: lay_out(stage))


def test_many_files_take_linear_time() -> None:
    times = [
        laid_out_time([f"firmware-image-{n:05}.bin" for n in range(count)])
        for count in (2500, 5000, 10_000)
    ]
    # Twice as many files: twice the time, four times if it were quadratic.
    assert times[2] / times[0] < 8
    assert min(times[1] / times[0], times[2] / times[1]) < 3


def test_names_that_share_what_is_left_of_their_stems_take_linear_time() -> None:
    """With tails of two digits and more, many stems become one and the same."""

    def many_stems(count: int) -> list[str]:
        letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
        stems = [f"fir{a}{b}{c}" for a in letters for b in letters for c in letters]
        return [f"{stem}-image-{n}.bin" for n in range(25) for stem in stems[: count // 25]]

    assert laid_out_time(many_stems(8000)) / laid_out_time(many_stems(2000)) < 8
