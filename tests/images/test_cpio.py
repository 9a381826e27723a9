"""cpio: what the program of that name wrote, in its three forms, cut short and damaged."""

from __future__ import annotations

import pytest

from cardprep.images import cpio
from cardprep.images.report import Soundness
from tests.images.fed import broken_at, reasons, report_of, whole_from

# Source: GNU cpio 2.13 -o -H newc, crc and odc, one file "a" of 3 bytes.
_FIELDS = b"0020E525000081A40000000000000000000000016B071C5A00000003000000FE" + b"0" * 23 + b"0"
_LAST = b"0" * 39 + b"1" + b"0" * 48 + b"0000000B00000000" + b"TRAILER!!!\0"
NEWC = b"070701" + _FIELDS + b"0000000200000000a\0hi\n\0" + b"070701" + _LAST
CRC = b"070702" + _FIELDS + b"00000002000000DBa\0hi\n\0" + b"070702" + _LAST
ODC = (
    b"0707071770001624451006440000000000000000010000001530161613200000200000000003a\0hi\n"
    b"0707070000000000000000000000000000000000010000000000000000000001300000000000TRAILER!!!\0"
)
SAMPLES = {"newc": NEWC, "crc": CRC, "odc": ODC}


def padded(data: bytes) -> bytes:
    return data + bytes(-len(data) % 512)


@pytest.mark.parametrize("form", SAMPLES)
def test_what_cpio_wrote(form: str) -> None:
    report = report_of(padded(SAMPLES[form]))
    assert (report.format, report.soundness, report.problems) == ("cpio", Soundness.UNCHECKED, ())
    assert (report.facts["members"], report.facts["contents_bytes"]) == (1, 3)
    assert report.facts["size"] == 512


@pytest.mark.parametrize("form", SAMPLES)
def test_no_beginning_goes_for_the_whole(form: str) -> None:
    sample = SAMPLES[form]
    end = len(sample) + (-len(sample) % 4 if form != "odc" else 0)
    assert whole_from(padded(sample), "cpio") == end
    assert reasons(sample[:-1]) == ["cpio.cut-short"]


def test_a_sum_that_does_not_hold() -> None:
    assert reasons(padded(CRC.replace(b"hi", b"ho"))) == ["cpio.sum"]
    assert reasons(padded(NEWC.replace(b"hi", b"ho"))) == []


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(NEWC[:116] + b"#" + NEWC[117:], id="the next header"),
        pytest.param(NEWC.replace(b"00000002", b"00000000"), id="no name"),
        pytest.param(NEWC.replace(b"00000002", b"7FFFFFFF"), id="a name without end"),
    ],
)
def test_a_header_that_cannot_be_right(data: bytes) -> None:
    assert reasons(data) == ["cpio.header"]


def test_a_size_that_is_announced_costs_nothing() -> None:
    assert reasons(NEWC.replace(b"00000003", b"FFFFFFFF")) == ["cpio.cut-short"]


def test_what_stands_behind_is_told_and_breaks_nothing() -> None:
    report = report_of(padded(NEWC) + padded(NEWC))
    assert report.soundness is Soundness.UNCHECKED
    assert [problem.reason for problem in report.problems] == ["cpio.trailing"]


def test_any_byte_may_be_turned_round() -> None:
    # The contents, of the form that has a sum; a header of other bytes is no header.
    assert {112, 113, 114} <= broken_at(padded(CRC))


def test_members_without_end_are_left_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cpio, "MEMBER_LIMIT", 1)
    assert reasons(padded(NEWC)) == ["cpio.many-members"]
