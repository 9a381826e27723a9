"""Files of records: line ends, bad lines, ends, and bounds; shown with Intel HEX."""

from __future__ import annotations

import tracemalloc

import pytest

from cardprep.images.intel_hex import IntelHexReader
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.terms import MIB

# Source: the widely printed four-record example of Intel HEX.
PUBLISHED = b"""\
:10010000214601360121470136007EFE09D2190140
:100110002146017E17C20001FF5F16002148011928
:10012000194E79234623965778239EDA3F01B2CAA7
:100130003F0156702B5E712B722B732146013421C7
:00000001FF
"""
# The same eight bytes by objcopy and by srec_cat.
EIGHT = b":020000040800F2\n:0800000000500020010100087E\n:00000001FF\n"


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine = IntelHexReader()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


def record(address: int, kind: int, data: bytes) -> bytes:
    raw = bytes([len(data), address >> 8, address & 0xFF, kind, *data])
    return b":" + (raw + bytes([-sum(raw) & 0xFF])).hex().upper().encode() + b"\n"


END = record(0, 1, b"")


def test_only_the_first_bad_line_is_told_and_the_others_counted() -> None:
    report = report_of(record(0, 0, b"a") + b":0\nxx\n:00\n" + END)
    assert [problem.reason for problem in report.problems] == [
        "record.odd-digits",
        "record.more-bad-lines",
    ]
    assert report.problems[0].parameters["line"] == 2
    assert report.problems[1].parameters == {"count": 2}
    assert report.facts["bad_lines"] == 3


def test_lines_after_the_end_record() -> None:
    report = report_of(PUBLISHED + b"\n\n" + record(0x200, 0, b"more") + b"and more\n")
    assert report.problems == (Problem("record.after-end", {"line": 8}),)
    assert report.soundness is Soundness.BROKEN
    assert report.facts["data_bytes"] == 64


def test_lines_far_after_the_end_are_found_with_their_number() -> None:
    report = report_of(PUBLISHED + b"\n" * 90_000 + b"x")
    assert report.problems == (Problem("record.after-end", {"line": 90_006}),)


@pytest.mark.parametrize("idle", [b"\n", b":0\n", b"#\n"], ids=["blank", "short", "remarks"])
def test_a_file_of_lines_without_data_is_left(idle: bytes) -> None:
    report = report_of(PUBLISHED[:-12] + idle * 1_000_000 + PUBLISHED[-12:])
    assert report.soundness is Soundness.BROKEN
    last = report.problems[-1] if idle == b"\n" else report.problems[-2]
    assert last.reason == "record.given-up"
    assert int(last.parameters["line"]) < 100_000 + 64 * 1024


def test_a_large_file_may_have_a_blank_line_after_each_record() -> None:
    report = report_of((record(0, 0, b"a") + b"\n") * 110_000 + END)
    assert report.facts["data_records"] == 110_000
    assert "record.given-up" not in [problem.reason for problem in report.problems]


@pytest.mark.parametrize(
    ("line_end", "name"),
    [(b"\n", "LF"), (b"\r\n", "CR LF"), (b"\r", "CR")],
    ids=["LF", "CR LF", "CR"],
)
@pytest.mark.parametrize("cut", [1, 7, 1 << 20])
def test_each_line_end_is_right_alone(line_end: bytes, name: str, cut: int) -> None:
    report = report_of(PUBLISHED.replace(b"\n", line_end), cut)
    assert report.soundness is Soundness.HOLDS
    assert report.problems == ()
    assert report.facts["line_ends"] == name
    assert report.facts["records"] == 5


def test_mixed_line_ends_are_told_while_the_records_hold() -> None:
    report = report_of(PUBLISHED.replace(b"\n", b"\r\n", 2))
    assert report.soundness is Soundness.HOLDS
    assert report.problems == (Problem("record.line-ends", {"lf": 3, "crlf": 2, "cr": 0}),)
    assert report.facts["line_ends"] == "LF, CR LF"


def test_line_ends_of_a_file_sent_twice_in_text_mode_are_mixed() -> None:
    report = report_of(PUBLISHED.replace(b"\n", b"\r\r\n"))
    assert report.problems == (Problem("record.line-ends", {"lf": 0, "crlf": 5, "cr": 5}),)


@pytest.mark.parametrize("filler", [b"0", b":", b"\0"])
def test_a_line_without_end_does_not_grow_memory(filler: bytes) -> None:
    machine = IntelHexReader()
    machine.feed(record(0, 0, b"a"))
    block = filler * MIB
    tracemalloc.start()
    try:
        for _ in range(8):
            machine.feed(block)
        machine.feed(b"\n" + record(1, 0, b"b") + END)
        report = machine.finish()
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < MIB
    assert report.problems == (Problem("record.too-long", {"line": 2, "limit": 521}),)
    assert report.facts["data_bytes"] == 2


@pytest.mark.parametrize("length", [521, 522, 523, 524, 65530, 65536, 65537, 200_000])
@pytest.mark.parametrize("line_end", [b"\n", b"\r\n", b"\r"], ids=["LF", "CR LF", "CR"])
def test_too_long_lines_at_block_borders_are_one_bad_line(length: int, line_end: bytes) -> None:
    lines = [record(0, 0, b"a").strip(), b":" + b"0" * length, END.strip(), b""]
    report = report_of(line_end.join(lines))
    assert [problem.reason for problem in report.problems] == ["record.too-long"]
    assert report.facts["records"] == 2
