"""xz: every check, several streams, damages, and files that would unpack to too much."""

from __future__ import annotations

import lzma
import random

import pytest

from cardprep.images import xz_file
from cardprep.images.report import Soundness
from tests.images.fed import broken_at, reasons, report_of, whole_from

# Source: xz 5.4.1 -C crc32 over "display OV-D9" (invented).
SAMPLE = bytes.fromhex(
    "fd377a585a0000016922de360200210116000000742fe5a301000c646973706c"
    "6179204f562d443900000000be1b46f20001210d75dca8d29042990d01000000"
    "0001595a"
)


def test_what_xz_wrote() -> None:
    report = report_of(SAMPLE)
    assert (report.format, report.soundness, report.problems) == ("xz", Soundness.HOLDS, ())
    assert report.facts == {"streams": 1, "unpacked_bytes": 13, "trailing_bytes": 0}


@pytest.mark.parametrize("check", [lzma.CHECK_CRC32, lzma.CHECK_CRC64, lzma.CHECK_SHA256])
def test_every_check_holds(check: int) -> None:
    data = random.Random(check).randbytes(200_000)
    report = report_of(lzma.compress(data, check=check))
    assert (report.soundness, report.facts["unpacked_bytes"]) == (Soundness.HOLDS, 200_000)


def test_without_a_check_nothing_holds() -> None:
    report = report_of(lzma.compress(b"x", check=lzma.CHECK_NONE))
    assert (report.soundness, report.problems) == (Soundness.UNCHECKED, ())


def test_every_byte_but_the_magic_is_under_a_check() -> None:
    assert broken_at(SAMPLE) == set(range(6, len(SAMPLE)))


def test_no_beginning_goes_for_the_whole() -> None:
    assert whole_from(SAMPLE, "xz") == len(SAMPLE)
    assert reasons(SAMPLE[:-1]) == ["xz.cut-short"]


# Source: The .xz File Format 1.2.1, section 2.2, "Stream Padding".
@pytest.mark.parametrize(
    ("data", "streams", "told"),
    [
        pytest.param(SAMPLE * 2, 2, [], id="two streams"),
        pytest.param(SAMPLE + bytes(4) + SAMPLE + bytes(8), 2, [], id="padding in fours"),
        pytest.param(SAMPLE + bytes(70_000 * 4) + SAMPLE, 2, [], id="much padding"),
        pytest.param(SAMPLE + bytes(3), 1, ["xz.trailing"], id="padding of three"),
        pytest.param(SAMPLE + bytes(3) + SAMPLE, 1, ["xz.trailing"], id="a stream out of step"),
        pytest.param(SAMPLE + b"more", 1, ["xz.trailing"], id="something else"),
        pytest.param(SAMPLE + b"\xfd7zX", 2, ["xz.cut-short"], id="the start of another"),
    ],
)
def test_what_follows_a_stream(data: bytes, streams: int, told: list[str]) -> None:
    assert reasons(data) == told
    assert report_of(data).facts["streams"] == streams
    assert report_of(data, 77) == report_of(data)


def test_what_would_unpack_to_too_much_is_not_checked(monkeypatch: pytest.MonkeyPatch) -> None:
    bomb = lzma.compress(bytes(1 << 20))
    monkeypatch.setattr(xz_file, "RATIO_FROM", 1 << 19)
    report = report_of(bomb)
    assert report.soundness is Soundness.UNCHECKED
    assert [problem.reason for problem in report.problems] == ["xz.too-large"]
    monkeypatch.setattr(xz_file, "STREAM_LIMIT", 2)
    assert reasons(SAMPLE * 3) == ["xz.many-streams"]


def test_what_would_need_too_much_memory_is_not_checked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(xz_file, "MEMORY_LIMIT", 1 << 16)
    report = report_of(lzma.compress(b"x" * 100))
    assert report.soundness is Soundness.UNCHECKED
    assert [problem.reason for problem in report.problems] == ["xz.memory"]


def test_another_start_is_no_xz() -> None:
    for data in (b"", b"other", bytes(9)):
        machine = xz_file.XzReader()
        machine.feed(data)
        assert machine.finish().soundness is Soundness.BROKEN
