"""gzip: members, every damage, and the bounds on what unpacks to far more."""

from __future__ import annotations

import gzip
import io
import random
import struct
import subprocess
import tracemalloc
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images import blocks, gzip_file
from cardprep.images.gzip_file import GzipReader, looks_like_gzip
from cardprep.images.inflate import RATIO_FROM, RATIO_LIMIT, TOTAL_LIMIT
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.terms import KIB, MIB

TEXT = b"Gannet Slip Marine Electronics, bench B. " * 40


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine = GzipReader()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


def member(contents: bytes, name: str = "", time: int = 0) -> bytes:
    out = io.BytesIO()
    with gzip.GzipFile(name, "wb", fileobj=out, mtime=time) as file:
        file.write(contents)
    return out.getvalue()


def full_member(contents: bytes, *, header_crc: int | None = None) -> bytes:
    """Return a member with all optional fields, as RFC 1952 section 2.3 gives their order."""
    header = b"\x1f\x8b\x08\x1e" + struct.pack("<IBB", 1767225600, 0, 3)
    header += b"\x04\x00" + b"abcd" + b"ov-d9.bin\0" + b"a comment\0"
    crc = zlib.crc32(header) & 0xFFFF if header_crc is None else header_crc
    packed = zlib.compress(contents, wbits=-15)
    end = struct.pack("<II", zlib.crc32(contents), len(contents))
    return header + crc.to_bytes(2, "little") + packed + end


def reasons(report: ContainerReport) -> list[str]:
    return [problem.reason for problem in report.problems]


def test_one_member() -> None:
    data = member(TEXT, "ov-d9.bin", 1767225600)
    report = report_of(data)
    assert report == ContainerReport(
        format="gzip",
        soundness=Soundness.HOLDS,
        facts={
            "members": 1,
            "packed_bytes": len(data) - 10 - len("ov-d9.bin\0") - 8,
            "unpacked_bytes": len(TEXT),
            "trailing_bytes": 0,
            "name": "ov-d9.bin",
            "time": 1767225600,
        },
    )


def test_all_optional_fields() -> None:
    data = full_member(TEXT)
    assert gzip.decompress(data) == TEXT
    report = report_of(data)
    assert report.soundness is Soundness.HOLDS
    assert report.facts["name"] == "ov-d9.bin"
    assert report.facts["time"] == 1767225600


def test_a_name_does_no_harm() -> None:
    data = member(TEXT, "xx").replace(b"xx\0", b"\x1b[2J" + b"n" * 300 + b"\0", 1)
    report = report_of(data)
    assert report.soundness is Soundness.HOLDS
    assert report.facts["name"] == r"\x1b[2J" + "n" * 76 + "..."


def test_members_one_after_another_and_padding() -> None:
    data = member(TEXT, "first") + member(b"", "second", 7) + full_member(b"third")
    report = report_of(data + bytes(100_000))
    assert report.soundness is Soundness.HOLDS
    assert report.facts["members"] == 3
    assert report.facts["unpacked_bytes"] == len(TEXT) + 5
    assert report.facts["trailing_bytes"] == 100_000
    assert report.facts["name"] == "first"
    assert "time" not in report.facts


@pytest.mark.parametrize(
    "after",
    [
        pytest.param(b"x", id="a byte"),
        pytest.param(bytes(80 * KIB) + b"x", id="after zeros"),
        pytest.param(b"\x1f\x8b", id="half a magic"),
        pytest.param(b"\x1f\x8b\x08\xff" + bytes(20), id="reserved flags"),
    ],
)
def test_what_follows_is_not_gzip(after: bytes) -> None:
    report = report_of(member(TEXT) + after)
    assert report.soundness is Soundness.BROKEN
    assert report.problems == (Problem("gzip.trailing", {"member": 1, "count": len(after)}),)


def test_a_changed_checksum_and_size() -> None:
    data = bytearray(member(TEXT))
    data[-8] ^= 0xFF
    crc = zlib.crc32(TEXT)
    assert report_of(bytes(data)).problems == (
        Problem("gzip.crc", {"member": 1, "stated": f"{crc ^ 0xFF:08X}", "computed": f"{crc:08X}"}),
    )
    data[-8] ^= 0xFF
    data[-1] ^= 0xFF
    assert report_of(bytes(data)).problems == (
        Problem(
            "gzip.size",
            {"member": 1, "stated": len(TEXT) ^ 0xFF000000, "found": len(TEXT)},
        ),
    )


def test_the_header_checksum() -> None:
    report = report_of(full_member(TEXT, header_crc=0))
    assert reasons(report) == ["gzip.header-crc"]
    assert report.soundness is Soundness.BROKEN


# Bytes 4 to 9 (time, extra flags, operating system) and the name are under no
# checksum and have no effect on the contents: RFC 1952, section 2.3.
@pytest.mark.parametrize(
    "contents", [TEXT, b"", random.Random(1).randbytes(300)], ids=["text", "empty", "random"]
)
def test_no_single_damage_holds(contents: bytes) -> None:
    data = member(contents, "ov.bin")
    uncovered = {*range(4, 10), *range(10, 16)}
    for at in set(range(len(data))) - uncovered:
        damaged = bytearray(data)
        damaged[at] ^= 0xFF
        assert report_of(bytes(damaged)).soundness is Soundness.BROKEN, at


def test_no_single_damage_holds_under_a_header_checksum() -> None:
    data = full_member(TEXT)
    for at in range(len(data)):
        damaged = bytearray(data)
        damaged[at] ^= 0xFF
        assert report_of(bytes(damaged)).soundness is Soundness.BROKEN, at


@pytest.mark.parametrize("data", [member(TEXT, "ov.bin"), full_member(TEXT)], ids=["usual", "full"])
def test_no_beginning_holds(data: bytes) -> None:
    for size in range(4, len(data)):
        report = report_of(data[:size])
        assert report.soundness is Soundness.BROKEN, size
        assert report.problems == (Problem("gzip.cut-short", {"member": 1}),)


def test_damaged_data_of_the_second_member() -> None:
    second = bytearray(full_member(TEXT))
    second[-20] ^= 0xFF
    report = report_of(member(TEXT) + bytes(second))
    assert report.soundness is Soundness.BROKEN
    assert report.problems[0].parameters["member"] == 2


def test_data_that_are_no_deflate() -> None:
    report = report_of(member(b"")[:10] + b"\xff" * 30)
    assert report.problems == (Problem("gzip.damaged", {"member": 1}),)


def test_a_name_without_end_is_left_in_time() -> None:
    head = b"\x1f\x8b\x08\x08" + bytes(6)
    report = report_of(head + b"n" * (70 * KIB))
    assert report.problems == (Problem("gzip.header-text", {"member": 1, "limit": 65536}),)
    assert report.soundness is Soundness.BROKEN


def test_what_is_not_gzip_from_the_start() -> None:
    assert reasons(report_of(b"rubbish and more")) == ["wrong-start"]
    assert reasons(report_of(b"")) == ["wrong-start"]


def test_too_many_members() -> None:
    one = member(b"")
    assert report_of(one * gzip_file.MEMBER_LIMIT).soundness is Soundness.HOLDS
    report = report_of(one * (gzip_file.MEMBER_LIMIT + 1))
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (Problem("gzip.many-members", {"limit": 4096}),)


def bomb(size: int) -> bytes:
    engine = zlib.compressobj(9, wbits=31)
    parts = [engine.compress(bytes(MIB)) for _ in range(size // MIB)]
    return b"".join(parts) + engine.flush()


def test_a_bomb_is_left_early_and_in_little_memory() -> None:
    data = bomb(256 * MIB)
    tracemalloc.start()
    try:
        report = report_of(data)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (
        Problem("gzip.too-large", {"limit": TOTAL_LIMIT, "ratio": RATIO_LIMIT}),
    )
    assert RATIO_FROM < int(report.facts["unpacked_bytes"]) <= RATIO_FROM + MIB
    assert 0 < int(report.facts["packed_bytes"]) < 100 * KIB
    assert peak < 2 * MIB


def test_an_image_may_be_mostly_erased_flash() -> None:
    assert report_of(bomb(RATIO_FROM)).soundness is Soundness.HOLDS


def test_the_total_limit_counts_over_members(monkeypatch: pytest.MonkeyPatch) -> None:
    contents = random.Random(2).randbytes(600 * KIB)
    data = member(contents) * 2
    monkeypatch.setattr(gzip_file, "TOTAL_LIMIT", 1200 * KIB)
    assert report_of(data).soundness is Soundness.HOLDS
    monkeypatch.setattr(gzip_file, "TOTAL_LIMIT", 1200 * KIB - 1)
    report = report_of(data)
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (
        Problem("gzip.too-large", {"limit": 1200 * KIB - 1, "ratio": RATIO_LIMIT}),
    )


@pytest.mark.oracle
@pytest.mark.parametrize("level", ["-1", "-9"])
def test_what_gzip_writes_holds(level: str) -> None:
    contents = TEXT + random.Random(3).randbytes(200 * KIB)
    data = subprocess.run(
        ["gzip", level, "-c"], input=contents, stdout=subprocess.PIPE, check=True
    ).stdout
    report = report_of(data)
    assert report.soundness is Soundness.HOLDS
    assert report.facts["unpacked_bytes"] == len(contents)


@settings(deadline=None, max_examples=80)
@given(
    contents=st.lists(st.binary(max_size=400), max_size=3),
    place=st.integers(0, 10**6),
    change=st.integers(0, 255),
    tail=st.binary(max_size=12),
    cut=st.integers(1, 99),
)
def test_any_bytes_in_any_blocks_give_one_report(
    contents: list[bytes], place: int, change: int, tail: bytes, cut: int
) -> None:
    data = bytearray(b"".join(map(full_member, contents)) + tail)
    if data:
        data[place % len(data)] ^= change
    expected = report_of(bytes(data))
    assert report_of(bytes(data), cut) == expected
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blocks, "BLOCK", cut)
        again = report_of(bytes(data))
    assert (again.soundness, again.problems) == (expected.soundness, expected.problems)


@settings(deadline=None, max_examples=40)
@given(data=st.binary(max_size=200))
def test_rubbish_after_a_magic_never_holds(data: bytes) -> None:
    assert report_of(b"\x1f\x8b\x08\x00" + data).soundness is not Soundness.HOLDS


@pytest.mark.parametrize(
    ("start", "looks"),
    [
        pytest.param(b"\x1f\x8b\x08\x1f", True, id="all flags there are"),
        pytest.param(b"\x1f\x8b\x08\x20", False, id="a reserved flag"),
        pytest.param(b"\x1f\x8b\x07\x00", False, id="another method"),
        pytest.param(b"\x1f\x8b\x08", False, id="too short"),
    ],
)
def test_what_looks_like_gzip(start: bytes, looks: bool) -> None:
    assert looks_like_gzip(start) is looks
