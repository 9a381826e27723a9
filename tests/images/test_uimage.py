"""uImage: the published header, every damage, and mkimage as writer."""

from __future__ import annotations

import struct
import subprocess
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images import blocks
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.images.uimage import UimageHeader, UimageReader
from cardprep.terms import KIB

PAYLOAD = bytes(range(256)) * 4
# Source: mkimage 2023.01 (Debian u-boot-tools) with SOURCE_DATE_EPOCH=1767225600, over PAYLOAD.
HEADER = bytes.fromhex(
    "27051956d0c499a26955b900000004008000800080008000b70b4c2605020200"
    "62656e63682073616d706c650000000000000000000000000000000000000000"
)
SAMPLE = HEADER + PAYLOAD


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine = UimageReader()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


def uimage(payload: bytes, name: bytes = b"", **changed: int) -> bytes:
    size = changed.get("size", len(payload))
    fields = (0x27051956, 0, 0, size, 0, 0, zlib.crc32(payload), 5, 2, 2, 0, name)
    raw = struct.pack(">7I4B32s", *fields)
    return raw[:4] + zlib.crc32(raw).to_bytes(4, "big") + raw[8:] + payload


def test_published_header() -> None:
    assert report_of(SAMPLE) == ContainerReport(
        format="uimage",
        soundness=Soundness.HOLDS,
        facts={
            "name": "bench sample",
            "time": 0x6955B900,
            "data_size": 1024,
            "load_address": 0x80008000,
            "entry_address": 0x80008000,
            "system_number": 5,
            "architecture_number": 2,
            "type_number": 2,
            "compression_number": 0,
            "trailing_bytes": 0,
        },
    )
    header = UimageHeader.parse(HEADER)
    assert header.header_crc == header.computed_crc == 0xD0C499A2
    assert header.data_crc == 0xB70B4C26


@pytest.mark.oracle
def test_mkimage_writes_the_published_header(tmp_path: Path) -> None:
    payload, out = tmp_path / "payload.bin", tmp_path / "out.uimg"
    payload.write_bytes(PAYLOAD)
    words = "mkimage -A arm -O linux -T kernel -C none -a 0x80008000 -e 0x80008000"
    subprocess.run(
        [*words.split(), "-n", "bench sample", "-d", str(payload), str(out)],
        check=True,
        capture_output=True,
        env={"PATH": "/usr/bin:/bin", "SOURCE_DATE_EPOCH": "1767225600"},
    )
    assert out.read_bytes() == SAMPLE


# Each byte of header and data is under one of the two checksums, the magic included.
@pytest.mark.parametrize("at", [*range(64), 64, 65, 600, len(SAMPLE) - 1])
def test_no_single_damage_holds(at: int) -> None:
    damaged = bytearray(SAMPLE)
    damaged[at] ^= 0xFF
    report = report_of(bytes(damaged))
    assert report.soundness is Soundness.BROKEN
    reasons = [problem.reason for problem in report.problems]
    if at >= 64:
        assert reasons == ["uimage.data-crc"]
        assert report.problems[0].parameters["stated"] == "B70B4C26"
    else:
        assert "uimage.header-crc" in reasons
        assert ("wrong-start" in reasons) is (at < 4)


@pytest.mark.parametrize("size", [*range(0, 1088, 17), 63, 64, 1087])
def test_no_beginning_holds(size: int) -> None:
    report = report_of(SAMPLE[:size])
    assert report.soundness is Soundness.BROKEN
    expected = (
        Problem("uimage.header-cut-short", {"found": size})
        if size < 64
        else Problem("uimage.cut-short", {"stated": 1024, "found": size - 64})
    )
    assert report.problems == (expected,)


@pytest.mark.parametrize(
    ("after", "told"),
    [
        pytest.param(bytes(700), False, id="zeros"),
        pytest.param(b"\xff" * 100_000, False, id="erased flash"),
        pytest.param(bytes(200) + b"\xff", True, id="zeros, then something"),
        pytest.param(bytes(80 * KIB) + b"x", True, id="something far behind"),
        pytest.param(b"x", True, id="one byte"),
        pytest.param(bytes(64 * KIB - 1088) + b"\xff" * 9, True, id="zeros, then erased flash"),
    ],
)
def test_what_follows_the_data_is_told_and_breaks_nothing(after: bytes, told: bool) -> None:
    report = report_of(SAMPLE + after)
    assert report.soundness is Soundness.HOLDS
    assert report.facts["trailing_bytes"] == len(after)
    expected = (Problem("uimage.trailing", {"count": len(after)}),) if told else ()
    assert report.problems == expected


def test_a_name_does_no_harm() -> None:
    report = report_of(uimage(b"x", b"\x1b[2Jsafe\0hidden"))
    assert report.soundness is Soundness.HOLDS
    assert report.facts["name"] == r"\x1b[2Jsafe"


def test_data_and_what_follows_over_several_blocks() -> None:
    report = report_of(uimage(PAYLOAD * 100) + b"more" * 30_000)
    assert report.soundness is Soundness.HOLDS
    assert report.facts["trailing_bytes"] == 120_000


def test_no_data_at_all() -> None:
    assert report_of(uimage(b"")).soundness is Soundness.HOLDS


def test_an_announced_size_costs_nothing() -> None:
    report = report_of(uimage(b"x", size=0xFFFFFFFF))
    assert report.problems == (Problem("uimage.cut-short", {"stated": 0xFFFFFFFF, "found": 1}),)


@settings(deadline=None, max_examples=80)
@given(
    data=st.one_of(
        st.binary(max_size=200),
        st.builds(uimage, st.binary(max_size=300), st.binary(max_size=32)),
    ),
    tail=st.binary(max_size=9),
    cut=st.integers(1, 99),
)
def test_any_bytes_in_any_blocks_give_one_report(data: bytes, tail: bytes, cut: int) -> None:
    expected = report_of(data + tail)
    assert report_of(data + tail, cut) == expected
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blocks, "BLOCK", cut)
        assert report_of(data + tail) == expected
