"""squashfs: what mksquashfs wrote, cut short, contradicting, and filled up."""

from __future__ import annotations

import pytest

from cardprep.images.report import Problem, Soundness
from tests.images.fed import broken_at, reasons, report_of, whole_from

# Source: mksquashfs 4.5.1 -all-root -noappend, SOURCE_DATE_EPOCH=0, one file of 3 bytes.
USED = bytes.fromhex(
    "687371730200000000000000000002000100000001001100c000010004000000"
    "2000000000000000d500000000000000cd00000000000000ffffffffffffffff"
    "63000000000000008200000000000000a700000000000000bf00000000000000"
    "68690a1d0078da636258c2c800057006143083c5dec28599906809a83c004664"
    "01ba110078da636080004628cd04c48900008d00651080600000000000000003"
    "0000010000000095000000000000000e0078da6360800005280d0001100021af"
    "00000000000000048000000000c700000000000000"
)
SAMPLE = USED.ljust(4096, b"\0")


def test_what_mksquashfs_wrote() -> None:
    report = report_of(SAMPLE)
    assert (report.format, report.soundness) == ("squashfs", Soundness.UNCHECKED)
    assert report.problems == ()
    assert report.facts == {
        "size": 4096,
        "time": 0,
        "used_bytes": 213,
        "block_size": 131072,
        "trailing_bytes": 3883,
    }


def test_no_beginning_goes_for_the_whole() -> None:
    assert whole_from(SAMPLE, "squashfs") == len(USED)
    assert report_of(SAMPLE[:200]).problems == (
        Problem("squashfs.cut-short", {"stated": 213, "found": 200}),
    )
    assert reasons(SAMPLE[:90]) == ["squashfs.header-cut-short"]


def test_what_stands_behind_is_told_and_breaks_nothing() -> None:
    report = report_of(SAMPLE + b"x")
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (Problem("squashfs.trailing", {"count": 3884}),)


@pytest.mark.parametrize(
    ("at", "value"),
    [
        pytest.param(12, b"\1", id="block size"),
        pytest.param(22, b"\x15", id="its logarithm"),
        pytest.param(64, b"\xd5", id="a table behind the end"),
        pytest.param(80, b"\x10", id="a table in the superblock"),
    ],
)
def test_a_superblock_that_cannot_be_right(at: int, value: bytes) -> None:
    assert reasons(SAMPLE[:at] + value + SAMPLE[at + 1 :]) == ["squashfs.superblock"]


def test_any_byte_may_be_turned_round() -> None:
    assert set(range(40, 56)) <= broken_at(USED)


def test_an_announced_size_costs_nothing() -> None:
    report = report_of(SAMPLE[:40] + b"\xff" * 8 + SAMPLE[48:])
    assert report.problems == (
        Problem("squashfs.cut-short", {"stated": (1 << 64) - 1, "found": 4096}),
    )
