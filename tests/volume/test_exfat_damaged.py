"""One exFAT volume, damaged in one place: the finding, and which files are still whole.

Judge where there is one: fsck.exfat.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.exfat import (
    FILES,
    ExfatImage,
    built,
    by_path,
    content,
    field,
    fsck,
    long,
    said,
    whats,
    whole,
    word,
)


def flags(value: int) -> Callable[[ExfatImage], None]:
    def damage(image: ExfatImage) -> None:
        struct.pack_into("<H", image.data, 106, value)

    return damage


def boot(at: int, value: bytes) -> Callable[[ExfatImage], None]:
    return lambda image: image.set_boot(at, value)


def fat(cluster: int, value: int) -> Callable[[ExfatImage], None]:
    return lambda image: image.set_entry(cluster, value)


def marked(cluster: int, *, used: bool) -> Callable[[ExfatImage], None]:
    return lambda image: image.mark(cluster, used=used)


def system(kind: int, at: int, value: bytes) -> Callable[[ExfatImage], None]:
    def damage(image: ExfatImage) -> None:
        begin = image.system_entry(kind) + at
        image.data[begin : begin + len(value)] = value

    return damage


def gone(cluster: int) -> Callable[[ExfatImage], None]:
    def damage(image: ExfatImage) -> None:
        image.set_entry(cluster, 0xFFFFFFF7)
        image.mark(cluster)

    return damage


DAMAGES = [
    pytest.param(flags(2), [("volume-dirty", None)], [None], (), id="dirty"),
    pytest.param(flags(4), [("volume-error-mark", None)], [None], (), id="media failure"),
    pytest.param(flags(8), [], [], (), id="clear to zero"),
    pytest.param(flags(1), [("boot-sector-odd", None)], ["active-fat"], (), id="no second FAT"),
    pytest.param(flags(16), [("boot-sector-odd", None)], ["status"], (), id="reserved flag"),
    pytest.param(boot(0, b"\xe9"), [("boot-sector-odd", None)], ["jump"], (), id="jump"),
    pytest.param(boot(104, b"\1"), [("boot-sector-odd", None)], ["revision"], (), id="1.01"),
    pytest.param(boot(112, b"\x65"), [("boot-sector-odd", None)], ["percent"], (), id="101 %"),
    pytest.param(boot(64, long(7)), [("hidden-sectors-differ", None)], [None], (), id="offset"),
    pytest.param(
        boot(72, long(9000)),
        [("boot-sector-odd", None), ("volume-beyond-partition", None)],
        ["cluster-count", None],
        (),
        id="too large",
    ),
    pytest.param(
        boot(1024 - 1, b"\0"), [("boot-sector-odd", None)], ["extended"], (), id="extended mark"
    ),
    pytest.param(fat(0, 0xFFFFFFF0), [("fat-head-odd", None)], [None], (), id="FAT head"),
    pytest.param(marked(50, used=True), [("lost-clusters", None)], [None], (), id="lost"),
    pytest.param(gone(50), [], [], (), id="a bad cluster is not lost"),
    pytest.param(
        marked(11, used=False),
        [("clusters-marked-free", "ONE.BIN")],
        ["marked-file"],
        (),
        id="file is free",
    ),
    pytest.param(
        marked(5, used=False),
        [("clusters-marked-free", None)],
        ["marked-tables"],
        (),
        id="root is free",
    ),
    pytest.param(
        fat(22, 0),
        [("lost-clusters", None), ("chain-broken", "TWO.BIN")],
        [None, None],
        ("TWO.BIN",),
        id="chain into a free cluster",
    ),
    pytest.param(
        fat(22, 20),
        [("lost-clusters", None), ("chain-loops", "TWO.BIN")],
        [None, None],
        ("TWO.BIN",),
        id="chain into itself",
    ),
    pytest.param(
        fat(22, 0xFFFFFFF8),
        [("lost-clusters", None), ("chain-broken", "TWO.BIN")],
        [None, None],
        ("TWO.BIN",),
        id="an end that is none",
    ),
    pytest.param(
        fat(22, 11),
        [("lost-clusters", None), ("chain-crossed", "TWO.BIN"), ("chain-shared", "ONE.BIN")],
        [None, None, None],
        ("TWO.BIN",),
        id="chain into another file",
    ),
    pytest.param(
        fat(22, 0xFFFFFFFF),
        [("lost-clusters", None), ("chain-too-short", "TWO.BIN")],
        [None, None],
        ("TWO.BIN",),
        id="chain too short",
    ),
    pytest.param(
        field("TWO.BIN", 52, word(0)),
        [("lost-clusters", None), ("chain-too-short", "TWO.BIN")],
        [None, None],
        ("TWO.BIN",),
        id="a size without a place",
    ),
    pytest.param(
        field("TWO.BIN", 52, word(1)),
        [("lost-clusters", None), ("chain-broken", "TWO.BIN")],
        [None, None],
        ("TWO.BIN",),
        id="a first cluster that is none",
    ),
    pytest.param(
        field("ONE.BIN", 40, long(2**63) + bytes(4) + word(10) + long(2**63)),
        [("lost-clusters", None), ("chain-broken", "ONE.BIN")],
        [None, None],
        ("ONE.BIN",),
        id="a size beyond all bounds",
    ),
    pytest.param(
        field("ONE.BIN", 2, b"\0\0", sealed=False),
        [("entry-damaged", "ONE.BIN")],
        ["set-checksum"],
        ("ONE.BIN",),
        id="set checksum",
    ),
    pytest.param(
        field("ONE.BIN", 36, b"\0\0"),
        [("entry-damaged", "ONE.BIN")],
        ["name-hash"],
        (),
        id="name hash",
    ),
    pytest.param(
        field("ONE.BIN", 40, long(4000)),
        [("never-written", "ONE.BIN")],
        [None],
        ("ONE.BIN",),
        id="valid length",
    ),
    pytest.param(
        field("ONE.BIN", 40, long(10_001)),
        [("entry-damaged", "ONE.BIN")],
        ["valid-length"],
        ("ONE.BIN",),
        id="valid length beyond the size",
    ),
    pytest.param(
        field("ONE.BIN", 33, b"\2"),
        [("entry-damaged", "ONE.BIN")],
        ["stream-flags"],
        ("ONE.BIN",),
        id="no allocation possible",
    ),
    pytest.param(
        field("ONE.BIN", 12, word(0x5C000000)), [("time-odd", "ONE.BIN")], [None], (), id="day 0"
    ),
    pytest.param(
        field("ONE.BIN", 1, b"\3", sealed=False),
        [("lost-clusters", None), ("entry-damaged", None)],
        [None, "entry-set"],
        ("ONE.BIN",),
        id="a set without its end",
    ),
    pytest.param(
        field("ONE.BIN", 0, b"\x05", sealed=False),
        [("lost-clusters", None), ("entry-damaged", None)],
        [None, "orphan-entry"],
        ("ONE.BIN",),
        id="a set without its beginning",
    ),
    pytest.param(
        field("SUB", 56, long(8192)),
        [("chain-too-short", "SUB"), ("entry-damaged", "SUB")],
        [None, "valid-length"],
        (),
        id="folder larger than its clusters",
    ),
    pytest.param(
        field("SUB", 52, word(0)),
        [("lost-clusters", None), ("entry-damaged", "SUB")],
        [None, "no-cluster"],
        ("SUB/INNER.BIN", "SUB/a name of more than fifteen units.bin"),
        id="folder without a place",
    ),
    pytest.param(
        field("ONE.BIN", 32 + 24, long(5000), sealed=True),
        [("lost-clusters", None), ("entry-damaged", "ONE.BIN")],
        [None, "valid-length"],
        ("ONE.BIN",),
        id="size below the valid length",
    ),
    pytest.param(
        system(0x81, 24, long(1)),
        [("bitmap-odd", None), ("bitmap-odd", None)],
        ["bitmap-size", "bitmap-short"],
        (),
        id="bitmap too short",
    ),
    pytest.param(
        system(0x81, 0, b"\x01"), [("bitmap-odd", None)], ["bitmap-count"], (), id="no bitmap"
    ),
    pytest.param(
        system(0x81, 1, b"\x01"),
        [("bitmap-odd", None)],
        ["bitmap-number"],
        (),
        id="the other bitmap",
    ),
    pytest.param(
        system(0x82, 4, word(0)), [("upcase-odd", None)], ["upcase-checksum"], (), id="up-case sum"
    ),
    pytest.param(
        system(0x82, 24, long(2**40)),
        [("upcase-odd", None)],
        ["upcase-size"],
        (),
        id="up-case size",
    ),
    pytest.param(
        system(0x83, 1, b"\x0c"), [("entry-damaged", None)], ["label-odd"], (), id="label too long"
    ),
    pytest.param(
        system(0x83, 0, b"\x84"), [("entry-damaged", None)], ["unknown-entry"], (), id="unknown"
    ),
]


@pytest.mark.parametrize(("damage", "findings", "what", "lost"), DAMAGES)
def test_one_damage(
    damage: Callable[[ExfatImage], None],
    findings: list[tuple[str, str | None]],
    what: list[str | None],
    lost: tuple[str, ...],
) -> None:
    image = built()
    damage(image)
    volume = image.read()
    assert said(volume) == findings
    assert whats(volume) == what
    assert whole(image, volume) == set(FILES) - set(lost)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("damage", "complaint"),
    [
        pytest.param(field("ONE.BIN", 2, b"\0\0", sealed=False), "checksum", id="set checksum"),
        pytest.param(field("ONE.BIN", 36, b"\0\0"), "name hash", id="name hash"),
        pytest.param(fat(22, 0xFFFFFFFF), "less clusters are allocated", id="chain too short"),
        pytest.param(fat(22, 0), "broken", id="chain into a free cluster"),
        pytest.param(fat(22, 11), "", id="chain into another file"),
        pytest.param(field("ONE.BIN", 40, long(10_001)), "valid size", id="valid length"),
    ],
)
def test_what_fsck_says_of_it(
    damage: Callable[[ExfatImage], None], complaint: str, tmp_path: Path
) -> None:
    image = built()
    damage(image)
    (tmp_path / "volume").write_bytes(image.data)
    assert complaint in fsck(tmp_path / "volume", status=4)
    assert image.read().findings


def test_a_chain_longer_than_the_size() -> None:
    image = built()
    field("TWO.BIN", 32 + 8, long(5000) + bytes(4) + word(20) + long(5000))(image)
    volume = image.read()
    assert said(volume) == [("chain-too-long", "TWO.BIN")]
    entry = by_path(volume)["TWO.BIN"]
    assert (entry.size, entry.is_whole, content(image, entry)) == (
        5000,
        True,
        FILES["TWO.BIN"][:5000],
    )
