"""Intel HEX: published records, every damage, and outside writers."""

from __future__ import annotations

import subprocess
from pathlib import Path

import bincopy
import intelhex
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images import blocks
from cardprep.images.intel_hex import IntelHexReader, fault_of_line, looks_like_intel_hex
from cardprep.images.report import ContainerReport, Problem, Soundness

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


def test_published_file() -> None:
    assert report_of(PUBLISHED) == ContainerReport(
        format="intel-hex",
        soundness=Soundness.HOLDS,
        facts={
            "records": 5,
            "data_records": 4,
            "data_bytes": 64,
            "lowest_address": 0x100,
            "highest_address": 0x13F,
            "stretches": 1,
            "line_ends": "LF",
        },
    )


# Source: Intel, Hexadecimal Object File Format Specification, Revision A; worked records.
@pytest.mark.parametrize(
    ("line", "facts"),
    [
        pytest.param(b":020000021200EA", {}, id="segment address"),
        pytest.param(b":0400000300003800C1", {"start_address": 0x3800}, id="start segment"),
        pytest.param(b":020000040800F2", {}, id="linear address"),
        pytest.param(b":02000004FFFFFC", {}, id="highest linear address"),
        pytest.param(b":04000005000000CD2A", {"start_address": 0xCD}, id="start linear"),
        pytest.param(
            b":0300300002337A1E",
            {"data_bytes": 3, "lowest_address": 0x30, "highest_address": 0x32},
            id="data",
        ),
    ],
)
def test_published_records(line: bytes, facts: dict[str, int]) -> None:
    assert fault_of_line(line) is None
    report = report_of(line + b"\n:00000001FF\n")
    assert report.soundness is Soundness.HOLDS
    assert facts.items() <= report.facts.items()


def test_published_record_with_a_wrong_checksum() -> None:
    report = report_of(PUBLISHED.replace(b"190140", b"190141"))
    assert report.soundness is Soundness.BROKEN
    assert report.problems == (
        Problem("record.checksum", {"line": 1, "stated": "41", "computed": "40"}),
    )
    assert report.facts["bad_lines"] == 1


@pytest.mark.parametrize(
    ("line", "reason", "parameters"),
    [
        pytest.param(b"020000040800F2", "record.mark", {}, id="no colon"),
        pytest.param(b";020000040800F2", "record.mark", {}, id="another mark"),
        pytest.param(b":0200000408G0F2", "record.digit", {"place": 11}, id="no hex digit"),
        pytest.param(b":020000040800F2 ", "record.digit", {"place": 15}, id="space at the end"),
        pytest.param(b":02 000040800F2", "record.digit", {"place": 3}, id="space inside"),
        pytest.param(b":020000040800F", "record.odd-digits", {"digits": 13}, id="a digit short"),
        pytest.param(b":", "record.length", {"stated": 0, "found": 0}, id="mark only"),
        pytest.param(b":0000000", "record.odd-digits", {"digits": 7}, id="half a frame"),
        pytest.param(b":000000FF", "record.length", {"stated": 0, "found": 0}, id="no type"),
        pytest.param(
            b":0200000408F2", "record.length", {"stated": 2, "found": 1}, id="a byte short"
        ),
        pytest.param(
            b":02000004080000F2", "record.length", {"stated": 2, "found": 3}, id="a byte more"
        ),
        pytest.param(
            b":020000040800F3",
            "record.checksum",
            {"stated": "F3", "computed": "F2"},
            id="wrong checksum",
        ),
        pytest.param(b":00000006FA", "record.type", {"type": "06"}, id="first type there is not"),
        pytest.param(b":000000FF01", "record.type", {"type": "FF"}, id="highest type"),
        pytest.param(
            b":01000001" + b"00FE",
            "record.length-for-type",
            {"type": "01", "found": 1},
            id="end with data",
        ),
        pytest.param(
            b":0100000408F3",
            "record.length-for-type",
            {"type": "04", "found": 1},
            id="linear address of one byte",
        ),
        pytest.param(b":" + b"0" * 521, "record.too-long", {"limit": 521}, id="too long"),
    ],
)
def test_bad_lines(line: bytes, reason: str, parameters: dict[str, int | str]) -> None:
    report = report_of(record(0, 0, b"ab") + line + b"\n" + END)
    assert report.soundness is Soundness.BROKEN
    assert report.problems == (Problem(reason, {"line": 2, **parameters}),)
    assert report.facts["bad_lines"] == 1
    assert report.facts["data_bytes"] == 2


def test_the_longest_record_is_right() -> None:
    line = record(0, 0, bytes(255))
    assert len(line) == 522
    assert report_of(line + END).soundness is Soundness.HOLDS


def test_a_copy_cut_before_the_end_record_is_broken_although_a_library_takes_it(
    tmp_path: Path,
) -> None:
    cut = PUBLISHED.replace(b":00000001FF\n", b"")
    path = tmp_path / "cut.hex"
    path.write_bytes(cut)
    assert len(intelhex.IntelHex(str(path))) == 64
    report = report_of(cut)
    assert report.soundness is Soundness.BROKEN
    assert report.problems == (Problem("record.no-end", {"lines": 4}),)


@pytest.mark.parametrize("size", range(len(PUBLISHED)))
def test_no_beginning_of_a_file_holds(size: int) -> None:
    report = report_of(PUBLISHED[:size])
    # Without its last line end it is whole.
    whole = size == len(PUBLISHED) - 1
    assert (report.soundness is Soundness.HOLDS) is whole


def test_blank_lines_and_small_letters_are_right() -> None:
    report = report_of(b"\n" + PUBLISHED.lower().replace(b"\n", b"\n\n"))
    assert report.soundness is Soundness.HOLDS
    assert report.problems == ()


def test_a_file_without_data_says_so() -> None:
    report = report_of(END)
    assert report.soundness is Soundness.HOLDS
    assert report.problems == (Problem("record.no-data"),)
    assert "lowest_address" not in report.facts


def test_an_empty_data_record_is_no_stretch() -> None:
    report = report_of(record(0x5000, 0, b"") + record(0x10, 0, b"a") + END)
    assert report.facts["stretches"] == 1
    assert report.facts["lowest_address"] == 0x10


def test_addresses_by_segment_and_by_linear_address() -> None:
    data = record(0, 2, b"\x12\x00") + record(4, 0, b"abcd") + record(0, 4, b"\x08\x00")
    report = report_of(data + record(0x10, 0, b"ab") + END)
    assert report.facts["lowest_address"] == 0x12004
    assert report.facts["highest_address"] == 0x08000011
    assert report.facts["stretches"] == 2


def test_a_stretch_goes_on_over_a_linear_address_record() -> None:
    data = record(0xFFFE, 0, b"ab") + record(0, 4, b"\x00\x01") + record(0, 0, b"cd")
    assert report_of(data + END).facts["stretches"] == 1


@pytest.mark.parametrize(
    ("base", "offset", "lowest", "highest"),
    [
        pytest.param((2, b"\x10\x00"), 0xFFFE, 0x10000, 0x1FFFF, id="within its segment"),
        pytest.param((4, b"\xff\xff"), 0xFFFE, 0, 0xFFFFFFFF, id="within 4 GiB"),
    ],
)
def test_data_that_run_over_the_end_of_their_range(
    base: tuple[int, bytes], offset: int, lowest: int, highest: int
) -> None:
    report = report_of(record(0, *base) + record(offset, 0, b"abcd") + END)
    assert report.problems == (Problem("record.wraps", {"line": 2}),)
    assert report.facts["lowest_address"] == lowest
    assert report.facts["highest_address"] == highest
    assert report.facts["stretches"] == 2


def test_data_that_continue_a_stretch_over_the_end_of_the_range() -> None:
    data = record(0, 2, b"\x10\x00") + record(0xFFF0, 0, bytes(8)) + record(0xFFF8, 0, bytes(16))
    report = report_of(data + END)
    assert report.problems == (Problem("record.wraps", {"line": 3}),)
    assert report.facts["highest_address"] == 0x1FFFF


@pytest.mark.parametrize(("address", "overlaps"), [(1, True), (2, False)])
def test_data_over_the_end_go_on_at_the_start_of_their_range(address: int, overlaps: bool) -> None:
    data = record(0, 2, b"\x10\x00") + record(0xFFFE, 0, b"abcd") + record(address, 0, b"x")
    reasons = [problem.reason for problem in report_of(data + END).problems]
    assert reasons == ["record.wraps", *["record.overlap"] * overlaps]


def test_data_up_to_the_end_of_the_range_are_one_stretch() -> None:
    data = record(0, 2, b"\x10\x00") + record(0xFFF0, 0, bytes(8)) + record(0xFFF8, 0, bytes(8))
    report = report_of(data + END)
    assert report.problems == ()
    assert report.facts["stretches"] == 1


def test_linear_data_go_on_over_64_kib() -> None:
    report = report_of(record(0xFFFE, 0, b"abcd") + END)
    assert report.problems == ()
    assert report.facts["highest_address"] == 0x10001


def test_data_given_twice() -> None:
    report = report_of(record(0, 0, b"abcd") + record(8, 0, b"x") + record(3, 0, b"x") + END)
    assert report.problems == (Problem("record.overlap", {"address": "00000003"}),)


# Common practice, no published source: a start address in the end record.
def test_start_address_in_the_end_record() -> None:
    report = report_of(record(0, 0, b"a") + record(0x1234, 1, b""))
    assert report.facts["start_address"] == 0x1234


def test_start_address_of_a_segment() -> None:
    report = report_of(record(0, 3, bytes.fromhex("12340010")) + END)
    assert report.facts["start_address"] == 0x12350


# Every byte of the text is a mark, a digit or a line end, and XOR 0xFF makes it
# none of these. So nothing is left out here.
@pytest.mark.parametrize("sample", [PUBLISHED, EIGHT.replace(b"\n", b"\r\n")], ids=["LF", "CR LF"])
def test_no_single_damage_holds(sample: bytes) -> None:
    for at in range(len(sample)):
        damaged = bytearray(sample)
        damaged[at] ^= 0xFF
        report = report_of(bytes(damaged))
        assert report.soundness is Soundness.BROKEN, at
        line = sample[:at].count(b"\n") + 1
        assert report.problems[0].parameters.get("line") in {line, line + 1}


@settings(deadline=None, max_examples=60)
@given(
    data=st.binary(min_size=1, max_size=2000),
    address=st.integers(0, 0xFFFF0000),
    place=st.integers(0, 10**6),
    digit=st.sampled_from(b"0123456789ABCDEF"),
)
def test_another_digit_anywhere_is_found(data: bytes, address: int, place: int, digit: int) -> None:
    file = bincopy.BinFile()
    file.add_binary(data, address)
    text = bytearray(file.as_ihex().encode())
    places = [at for at, byte in enumerate(text) if byte not in b":\n"]
    at = places[place % len(places)]
    same = text[at] == digit
    text[at] = digit
    assert (report_of(bytes(text)).soundness is Soundness.HOLDS) is same


@settings(deadline=None, max_examples=60)
@given(
    parts=st.lists(
        st.tuples(st.integers(0, 2**24), st.binary(min_size=1, max_size=300)),
        min_size=1,
        max_size=6,
    ),
    width=st.integers(1, 255),
)
def test_what_a_library_writes_holds_at_its_addresses(
    parts: list[tuple[int, bytes]], width: int
) -> None:
    file = bincopy.BinFile()
    for address, data in parts:
        file.add_binary(data, address, overwrite=True)
    report = report_of(file.as_ihex(number_of_data_bytes=width).encode())
    assert report.soundness is Soundness.HOLDS
    assert report.problems == ()
    assert report.facts["lowest_address"] == file.minimum_address
    # The library's highest address is one past the last byte.
    assert report.facts["highest_address"] == file.maximum_address - 1
    assert report.facts["data_bytes"] == sum(len(segment.data) for segment in file.segments)
    assert report.facts["stretches"] == len(file.segments)


@pytest.mark.oracle
@pytest.mark.parametrize("writer", ["objcopy", "srec_cat"])
def test_what_outside_programs_write_holds(writer: str, tmp_path: Path) -> None:
    raw, out = tmp_path / "raw.bin", tmp_path / "out.hex"
    raw.write_bytes(bytes.fromhex("0050002001010008"))
    commands = {
        "objcopy": f"objcopy -I binary -O ihex --change-addresses=0x08000000 {raw} {out}",
        "srec_cat": f"srec_cat {raw} -binary -offset 0x08000000 -o {out} -intel",
    }
    subprocess.run(commands[writer].split(), check=True)
    # objcopy adds a record with a start address.
    assert set(EIGHT.splitlines()) <= set(out.read_bytes().splitlines())
    report = report_of(out.read_bytes())
    assert report.soundness is Soundness.HOLDS
    assert report.facts["lowest_address"] == 0x08000000
    assert report.facts["highest_address"] == 0x08000007


@settings(deadline=None, max_examples=200)
@given(
    data=st.one_of(
        st.binary(max_size=300),
        st.lists(
            st.sampled_from([PUBLISHED[:44], END, b"\r", b"\n", b":", b"0" * 600, b"\xff"]),
            max_size=30,
        ).map(b"".join),
    ),
    cut=st.integers(1, 50),
)
def test_any_bytes_in_any_blocks_give_one_report(data: bytes, cut: int) -> None:
    expected = report_of(data)
    assert report_of(data, cut) == expected
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blocks, "BLOCK", cut)
        again = report_of(data)
    assert again == expected


@pytest.mark.parametrize(
    ("head", "looks"),
    [
        pytest.param(PUBLISHED, True, id="right"),
        pytest.param(b"\r\n" + PUBLISHED, True, id="blank first line"),
        pytest.param(b":00000001FF", True, id="end record only"),
        pytest.param(PUBLISHED.replace(b"0140\n", b"0141\n"), True, id="first line damaged"),
        pytest.param(b"?" + PUBLISHED[1:], True, id="first mark damaged"),
        pytest.param(b"\xef\xbb\xbf" + PUBLISHED, True, id="byte order mark"),
        pytest.param(b":00000000\n:00000001FF\n", True, id="one right line after a damaged one"),
        pytest.param(b"#\n:00000001FF\n", False, id="one right line after another text"),
        pytest.param(b"#\n" + b":00000001FF\n" * 3, True, id="three right lines after a text"),
        pytest.param(b"#\n" + b":00000001FF\n" * 2, False, id="two right lines after a text"),
        pytest.param(b":00000000\n#\n:00000001FF\n", True, id="half of the lines are right"),
        pytest.param(b":00000000\n", False, id="one damaged line"),
        pytest.param(b":0000000", False, id="half a line"),
        pytest.param(b":00000000\n#\n#\n#\n:00000001FF\n", False, id="fewer than half are right"),
        pytest.param(b"", False, id="empty"),
        pytest.param(b"\n\n", False, id="blank"),
        pytest.param(b": a list of things\n: in a text\n", False, id="text"),
    ],
)
def test_what_looks_like_intel_hex(head: bytes, looks: bool) -> None:
    assert looks_like_intel_hex(head) is looks
