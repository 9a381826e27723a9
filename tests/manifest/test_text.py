"""A manifest's text: what it says, and every mistake with its line, key and what would be right.

The sample is invented, and so are its digests. The usual values that tables may
leave out are common practice, no published source.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from cardprep.manifest.model import (
    Carried,
    Companion,
    FileSystem,
    HandedOver,
    Leaves,
    MakersChecksum,
    Minutes,
    Need,
    OwnDownload,
    PartitionTable,
    Presence,
    SupportTicket,
    UnitKind,
)
from cardprep.manifest.text import find_mistakes, parse
from cardprep.terms import APPLICATION, BOOTLOADER, ImageType, Version

SAMPLE = (Path(__file__).parents[2] / "fixtures" / "gannet_slip.toml").read_bytes()
LINES = SAMPLE.decode().split("\n")
VOICE = ImageType("voice prompts", "VOIC")


def with_lines(edits: dict[int, str]) -> bytes:
    """Return the sample with other lines, counted from 1."""
    lines = list(LINES)
    for number, line in edits.items():
        lines[number - 1] = line
    return "\n".join(lines).encode()


def test_top() -> None:
    manifest = parse(SAMPLE)
    assert (manifest.format, manifest.serial) == (1, 7)
    assert manifest.previous == LINES[4][12:-1]
    assert manifest.shop == "Gannet Slip Marine Electronics"
    assert manifest.image_types == (VOICE,)


def test_display() -> None:
    display = parse(SAMPLE).display("OV-D9")
    assert display is not None
    assert display.file_systems == (FileSystem.FAT32, FileSystem.FAT16)
    assert display.partition_table is PartitionTable.MBR
    # Card makers count in powers of ten. Source: IEC 80000-13 keeps GB and GiB apart.
    assert (display.volume_size, display.largest_card) == (4 * 10**9, 32 * 10**9)
    assert (display.types_per_card, display.folder) == (1, "OTTERVANE/UPDATE")
    assert display.announces == (APPLICATION,)


def test_model() -> None:
    manifest = parse(SAMPLE)
    radio, handset = manifest.model("OV-V40"), manifest.model("OV-H4")
    assert radio is not None
    assert handset is not None
    assert (radio.kind, radio.role) == (UnitKind.RADIO, "fixed VHF radio")
    assert radio.companion == Companion(model="OV-H4", presence=Presence.OPTIONAL)
    assert radio.types == (BOOTLOADER, APPLICATION, VOICE)
    assert radio.read_at[BOOTLOADER] == "first screen after power-on"
    assert radio.note_before == ("MMSI", "ATIS code", "region")
    assert radio.entered_once == ("MMSI",)
    assert radio.seen_in_mode == "UPDATE stands on the screen"
    assert (handset.companion, handset.seen_off, handset.note_before) == (None, None, ())
    assert handset.versions[APPLICATION].listed == ("2.30", "2.38b", "2.41")


def test_image() -> None:
    image = parse(SAMPLE).images[1]
    assert (image.file, image.models) == ("OVV40_APP_430.bin", ("OV-V40",))
    assert (image.type, image.version) == (APPLICATION, Version("4.30"))
    assert image.released == datetime(2026, 5, 12, 8, 30, tzinfo=UTC)
    assert (image.size, image.sha256, image.xxh3_128) == (100_000, "2" * 64, "2" * 32)
    assert image.chunks == ("2" * 16, "3" * 16)
    assert image.container == "uimage"
    assert image.needs == (
        Need(model=None, type=BOOTLOADER, at_least=Version("3.10")),
        Need(model="OV-D9", type=APPLICATION, at_least=Version("5.2")),
    )
    assert image.from_versions == (Version("4.17"), Version("4.20"))
    assert image.carries == (
        Carried(model="OV-H4", type=APPLICATION, version=Version("2.41"), mode="programming mode"),
    )
    assert (image.leaves, image.minutes) == (Leaves.RUNNING, Minutes(low=4, high=9))
    assert (image.list_checked, image.withdrawn) == (date(2026, 9, 1), None)


def test_known_by() -> None:
    assert [image.known_by for image in parse(SAMPLE).images] == [
        MakersChecksum(address="https://ottervane.example/sums", on=date(2026, 5, 13)),
        OwnDownload(address="https://ottervane.example/v40", on=date(2026, 5, 12)),
        HandedOver(by="a skipper", on=date(2025, 11, 20)),
        SupportTicket(ticket="OT-20931", on=None),
    ]


def test_usual_values_of_an_image() -> None:
    boot = parse(SAMPLE).images[0]
    assert boot.released == datetime(2026, 5, 12, tzinfo=UTC)
    assert (boot.container, boot.needs, boot.from_versions, boot.carries) == ("opaque", (), (), ())
    # Common practice, no published source.
    assert boot.leaves is Leaves.WAITING
    assert boot.minutes == Minutes(low=1, high=2)
    assert parse(SAMPLE).images[2].leaves is Leaves.RUNNING
    assert parse(SAMPLE).images[2].minutes == Minutes(low=3, high=10)
    assert parse(SAMPLE).images[2].withdrawn == "loses the region setting"


def test_usual_values_of_a_display() -> None:
    bare = with_lines(dict.fromkeys([17, 18, 19, 20, 21, 22, 23], ""))
    display = parse(bare).display("OV-D9")
    assert display is not None
    assert display.partition_table is PartitionTable.MBR
    assert (display.volume_size, display.largest_card, display.folder) == (None, None, "")
    assert display.writes == ()
    # Common practice, no published source.
    assert display.types_per_card == 1
    assert display.announces == (APPLICATION,)


def test_a_display_may_announce_nothing() -> None:
    display = parse(with_lines({22: "announces = []"})).display("OV-D9")
    assert display is not None
    assert display.announces == ()


@pytest.mark.parametrize(
    ("spelled", "size"),
    [
        pytest.param('"512 MiB"', 512 * 2**20, id="binary"),
        pytest.param('"1 GiB"', 2**30, id="one"),
        pytest.param('"2 TB"', 2 * 10**12, id="decimal"),
        pytest.param("1_048_576", 2**20, id="bytes"),
        pytest.param("512", 512, id="one sector"),
    ],
)
def test_sizes(spelled: str, size: int) -> None:
    display = parse(with_lines({18: "", 19: f"largest_card = {spelled}"})).display("OV-D9")
    assert display is not None
    assert display.largest_card == size


def test_line_ends_of_windows() -> None:
    windows = SAMPLE.replace(b"\n", b"\r\n")
    assert parse(windows) == parse(SAMPLE)
    (error,) = find_mistakes(windows.replace(b"size = 65536", b"size = 0"))
    assert error.parameters["line"] == 64


def test_smallest_manifest() -> None:
    manifest = parse(b'format = 1\nserial = 1\nshop = "Gannet Slip"')
    assert (manifest.previous, manifest.displays, manifest.images) == (None, (), ())
    assert manifest.image_type("chart data") is not None


# Source: FAT: General Overview of On-Disk Format, v1.03: 255 characters of UTF-16.
@pytest.mark.parametrize(
    "name", ["a" * 255, "\U0001f6a2" * 127, "..a", ".config", "ä ö.bin", "a+b,c"]
)
def test_names_that_a_card_can_hold(name: str) -> None:
    assert parse(with_lines({59: f'file = "{name}"'})).images[0].file == name
