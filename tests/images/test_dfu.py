"""The suffix of USB DFU: published bytes, the CRC's own invariant, every damage."""

from __future__ import annotations

import random
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.images.report import Soundness
from tests.images.fed import broken_at, reasons, report_of

# Source: Device Class Specification for Device Firmware Upgrade 1.1, appendix B, over the usual
# check input; the same CRC is ~crc32 of all that stands before it.
SAMPLE = b"123456789" + bytes.fromhex("000101000912000155464410621c70fe")
# Source: dfu-suffix 0.11 (dfu-util) -v 0x5544 -p 0x1209 -d 0x0001 -a, over the same input.
WRITTEN = bytes.fromhex("3132333435363738390100091244550001554644 1005398e06")


def with_suffix(data: bytes) -> bytes:
    # The CRC is computed bit by bit, as the specification describes it.
    body = data + bytes.fromhex("000101000912000155464410")
    value = 0xFFFFFFFF
    for byte in body:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xEDB88320 if value & 1 else 0)
    return body + value.to_bytes(4, "little")


def test_published_suffix() -> None:
    assert zlib.crc32(SAMPLE) == 0xFFFFFFFF
    report = report_of(SAMPLE)
    assert (report.format, report.soundness, report.problems) == ("dfu", Soundness.HOLDS, ())
    assert report.facts == {
        "size": 25,
        "data_size": 9,
        "vendor_number": 0x1209,
        "product_number": 1,
        "device_release": 0x0100,
    }


def test_the_suffix_that_another_program_wrote_holds() -> None:
    report = report_of(WRITTEN)
    assert (report.format, report.soundness) == ("dfu", Soundness.HOLDS)
    assert report.facts["vendor_number"] == 0x5544


@pytest.mark.parametrize("sample", [SAMPLE, WRITTEN])
def test_a_wrong_checksum_is_broken(sample: bytes) -> None:
    mark = {len(sample) - 8 + at for at in range(4)}
    assert broken_at(sample) == set(range(len(sample))) - mark
    assert reasons(b"2" + sample[1:]) == ["dfu.crc"]


@pytest.mark.parametrize("size", range(len(SAMPLE)))
def test_without_its_end_it_is_opaque_which_is_no_fault(size: int) -> None:
    report = report_of(SAMPLE[:size])
    assert (report.format, report.problems) == ("opaque", ())


def test_nothing_but_a_suffix() -> None:
    assert report_of(with_suffix(b"")).facts["data_size"] == 0


@given(size=st.sampled_from([65520, 65535, 65536, 65537, 65551]), cut=st.integers(1000, 70000))
def test_a_suffix_over_the_edge_of_a_block(size: int, cut: int) -> None:
    data = random.Random(size).randbytes(size)
    made = data + SAMPLE[9:21]
    made += (~zlib.crc32(made) & 0xFFFFFFFF).to_bytes(4, "little")
    report = report_of(made, cut)
    assert (report.format, report.soundness) == ("dfu", Soundness.HOLDS)


@given(data=st.binary(max_size=60))
def test_the_way_of_the_specification_gives_the_same(data: bytes) -> None:
    assert report_of(with_suffix(b"." + data)).soundness is Soundness.HOLDS
