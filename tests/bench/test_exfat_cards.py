"""exFAT cards from end to end: inspected and checked as FAT ones are.

Judges: mkfs.exfat (exfatprogs) makes the volumes, exfat-fuse fills them and shows what is on
them, sfdisk (util-linux) divides the cards.
"""

from __future__ import annotations

import json
import os
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cardprep.bench.check import Checked, Wanted, check_card
from cardprep.bench.open import Bench
from cardprep.cli.run import run as run_words
from cardprep.findings import Finding, Severity, Verdict
from cardprep.inspection.card import inspect_card
from cardprep.progress import Cancel, silent
from cardprep.terms import MIB
from scripts.demo_files import bootloader
from tests.cards import MemorySectors, digest, run
from tests.exfat import (
    FILES,
    ExfatImage,
    File,
    attached,
    built,
    empty,
    field,
    long,
    make_exfat,
    mounted,
)
from tests.volumes import START, card_of, partition, table

SIZE = 32 * MIB
DIVISIONS = ["superfloppy", "mbr", "gpt"]
# Microsoft basic data. Source: `sfdisk --label gpt --list-types`.
BASIC = "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"
BOOT = "OVV40_BOOT_310.s37"
# What is said of a card for its division alone.
OF_DIVISION = {
    "superfloppy": {"no-partition-table"},
    "mbr": set[str](),
    "gpt": {"table-not-usual"},
}


def fill(root: Path) -> None:
    (root / "UPDATE").mkdir()
    (root / "UPDATE" / "Wind über Grund.bin").write_bytes(os.urandom(100_000))
    (root / "one.bin").write_bytes(b"1" * 70_001)
    (root / "empty").touch()
    for path, when in ((root / "one.bin", 1_234_567_891), (root / "empty", 1_700_000_000)):
        os.utime(path, (when, when))


def shown(root: Path) -> dict[str, tuple[int, str]]:
    return {
        path.relative_to(root).as_posix(): (path.stat().st_size, digest(path.read_bytes()))
        for path in root.rglob("*")
        if path.is_file()
    }


def divided(volume: Path, division: str, card: Path) -> Path:
    """Put a volume onto a card of its own."""
    data = volume.read_bytes()
    if division == "superfloppy":
        card.write_bytes(data)
        return card
    with card.open("wb") as new:
        new.truncate(START + len(data) + MIB)
        new.seek(START)
        new.write(data)
    kind = "7" if division == "mbr" else BASIC
    label = "dos" if division == "mbr" else "gpt"
    entry = f"start={START // 512}, size={len(data) // 512}, type={kind}"
    run("sfdisk", "--no-reread", card, given=f"label: {label}\n{entry}\n")
    return card


@pytest.fixture
def filled(tmp_path: Path) -> tuple[Path, dict[str, tuple[int, str]]]:
    """Return a volume with files, and what a new mount shows of it."""
    volume = tmp_path / "volume"
    make_exfat(volume, SIZE, "-L", "CHARTS")
    with mounted(volume, tmp_path / "m") as root:
        fill(root)
    with mounted(volume, tmp_path / "m") as root:
        return volume, shown(root)


def inspected(card: Path, capsys: pytest.CaptureFixture[str]) -> Any:  # noqa: ANN401 - JSON
    assert run_words(["inspect", str(card), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def check(bench: Bench, path: Path, **against: object) -> Checked:
    wanted = Wanted(**against)  # type: ignore[arg-type]
    return check_card(bench, path, wanted=wanted, progress=silent, cancel=Cancel())


def slugs(checked: Checked) -> set[str]:
    return {finding.slug for finding in checked.judgement.findings}


def stops(checked: Checked) -> set[str]:
    return {f.slug for f in checked.judgement.findings if f.severity is Severity.STOP}


@pytest.mark.oracle
@pytest.mark.parametrize("division", DIVISIONS)
def test_inspect_shows_what_the_mounted_volume_shows(
    division: str,
    filled: tuple[Path, dict[str, tuple[int, str]]],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    volume, expected = filled
    card = divided(volume, division, tmp_path / "card.img")
    before = digest(card.read_bytes())
    found = inspected(card, capsys)
    files = {file["path"]: file for file in found["files"]}
    assert {path: (file["size"], file["sha256"]) for path, file in files.items()} == expected
    assert files["one.bin"]["modified"] == "2009-02-13 23:31:31 +00:00"
    assert files["empty"]["modified"] == "2023-11-14 22:13:20 +00:00"
    (facts,) = found["volumes"]
    assert (facts["file_system"], facts["label"]) == ("exFAT", "CHARTS")
    assert facts["offset"] == (0 if division == "superfloppy" else START)
    assert found["foreign"] == []
    assert {finding["slug"] for finding in found["findings"]} == OF_DIVISION[division]
    assert digest(card.read_bytes()) == before
    assert run_words(["inspect", str(card)]) == 0
    assert "exFAT, label CHARTS, serial " in capsys.readouterr().out


@pytest.mark.oracle
@pytest.mark.parametrize("division", DIVISIONS)
def test_an_honest_card_with_an_image_has_no_stop(
    division: str, bench: Bench, downloads: tuple[Path, Path], tmp_path: Path
) -> None:
    volume = tmp_path / "volume"
    make_exfat(volume, SIZE)
    with mounted(volume, tmp_path / "m") as root:
        (root / downloads[0].name).write_bytes(downloads[0].read_bytes())
    card = divided(volume, division, tmp_path / "card.img")
    checked = check(bench, card)
    assert stops(checked) == set()
    assert "matches" in slugs(checked)
    expected = Verdict.USE_WITH_CARE if division == "gpt" else Verdict.USE
    assert checked.judgement.verdict is expected
    # This display reads FAT, and that is the only stop.
    assert stops(check(bench, card, display="OV-D9")) == {"display-file-system"}


@pytest.mark.oracle
@pytest.mark.parametrize("division", DIVISIONS)
def test_an_empty_card_has_no_stop(division: str, bench: Bench, tmp_path: Path) -> None:
    volume = tmp_path / "volume"
    make_exfat(volume, SIZE)
    checked = check(bench, divided(volume, division, tmp_path / "card.img"))
    assert slugs(checked) == {"card-empty"} | OF_DIVISION[division]
    assert checked.judgement.verdict is Verdict.CANNOT_SAY


def with_bootloader() -> ExfatImage:
    """Return a volume with the bootloader, filled entry by entry."""
    image = ExfatImage(empty())
    data = bootloader().content
    clusters = tuple(range(100, 100 + -(-len(data) // image.cluster_size)))
    image.add(File(name=BOOT, data=data, clusters=clusters, contiguous=True))
    return image


def checked_in_partition(image: ExfatImage, bench: Bench, tmp_path: Path) -> Checked:
    card = tmp_path / "card.img"
    entry = partition(0x07, START // 512, len(image.data) // 512)
    card.write_bytes(card_of(table(entry), bytes(image.data)))
    return check(bench, card)


def flags(value: int) -> Callable[[ExfatImage], None]:
    return lambda image: struct.pack_into("<H", image.data, 106, value)


def byte(at: int, value: int) -> Callable[[ExfatImage], None]:
    def damage(image: ExfatImage) -> None:
        image.data[at] = value

    return damage


def no_bitmap(image: ExfatImage) -> None:
    image.data[image.system_entry(0x81) + 1] = 1


def upcase_sum(image: ExfatImage) -> None:
    image.data[image.system_entry(0x82) + 4] ^= 0xFF


CARE, CANNOT = Verdict.USE_WITH_CARE, Verdict.CANNOT_SAY


@pytest.mark.parametrize(
    ("damage", "slug", "verdict"),
    [
        pytest.param(flags(2), "volume-dirty", CARE, id="dirty"),
        pytest.param(flags(4), "volume-error-mark", CARE, id="media failure"),
        pytest.param(no_bitmap, "bitmap-odd", CARE, id="no bitmap"),
        pytest.param(upcase_sum, "upcase-odd", CARE, id="up-case table"),
        pytest.param(byte(108, 0xFE), "boot-copy-used", CARE, id="boot sector"),
        pytest.param(
            lambda image: image.mark(101, used=False), "clusters-marked-free", CARE, id="free"
        ),
        pytest.param(
            field(BOOT, 2, b"\0\0", sealed=False), "entry-damaged", CANNOT, id="set checksum"
        ),
        pytest.param(
            field(BOOT, 40, long(len(bootloader().content) - 1)),
            "never-written",
            CANNOT,
            id="not whole",
        ),
    ],
)
def test_one_damage_is_one_finding_and_no_stop(
    damage: Callable[[ExfatImage], None],
    slug: str,
    verdict: Verdict,
    bench: Bench,
    tmp_path: Path,
) -> None:
    image = with_bootloader()
    whole = checked_in_partition(image, bench, tmp_path)
    assert whole.judgement.verdict is Verdict.USE
    damage(image)
    checked = checked_in_partition(image, bench, tmp_path)
    assert stops(checked) == set()
    loud = {f.slug for f in checked.judgement.findings if f.severity is not Severity.NOTE}
    # Where the only image was not read, none is known to be there.
    assert loud - {"no-image"} == {slug}
    assert checked.judgement.verdict is verdict
    # Bytes that nobody wrote, or that a damaged entry leads to, match nothing.
    assert ("matches" in slugs(checked)) is (verdict is CARE)


def test_a_file_that_is_not_whole_is_listed_without_a_digest() -> None:
    image = built()
    field("ONE.BIN", 40, long(9_999))(image)
    inspection = inspect_card(image.medium())
    digests = {file.path: file.digests for file in inspection.files}
    assert digests["ONE.BIN",] is None
    assert len(digests) == len(FILES)
    assert all(found is not None for path, found in digests.items() if path != ("ONE.BIN",))


def of_volume(data: bytes | bytearray) -> list[Finding]:
    return [f for f in inspect_card(MemorySectors(data)).findings if f.slug != "no-partition-table"]


@pytest.mark.parametrize("where", ["card", "partition"])
def test_a_volume_that_cannot_be_right_is_named_and_said_why(where: str) -> None:
    image = built()
    for at in (108, 12 * 512 + 108):
        image.data[at] = 0xFE
    data = bytes(image.data)
    if where == "partition":
        data = card_of(table(partition(0x07, START // 512, len(data) // 512)), data)
    (finding,) = of_volume(data)
    assert finding.slug == ("no-volume" if where == "card" else "volume-unreadable")
    assert finding.parameters == {"what": "exfat.sector-size"}


def test_a_type_that_promises_another_file_system() -> None:
    data = bytes(built().data)
    for kind in (0x0C, 0x11):
        card = card_of(table(partition(kind, START // 512, len(data) // 512)), data)
        (finding,) = of_volume(card)
        assert finding.slug == "partition-type-contradicts"
        assert finding.parameters == {"partition_type": f"{kind:02X}", "found": "exFAT"}


@pytest.mark.oracle
def test_a_copy_of_a_card_with_larger_sectors(tmp_path: Path) -> None:
    volume = tmp_path / "volume"
    with volume.open("wb") as new:
        new.truncate(SIZE)
    with attached(volume, 4096) as device:
        run("mkfs.exfat", device)
    # The table counts in sectors of the card, of which the file says nothing.
    card = card_of(table(partition(0x07, START // 4096, SIZE // 4096)), volume.read_bytes())
    inspection = inspect_card(MemorySectors(card))
    (facts,) = inspection.volumes
    assert (facts.sector_size, facts.where.offset) == (4096, START)
    assert {f.slug for f in inspection.findings} == {"partition-table-odd"}
