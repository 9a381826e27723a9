"""S-record: the published file, every damage, and outside writers."""

from __future__ import annotations

import subprocess
from pathlib import Path

import bincopy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images import blocks
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.images.s_record import SRecordReader, fault_of_line, looks_like_s_record

# Source: the widely printed S-record example: header "hello", data "Hello world.\n\0".
PUBLISHED = b"""\
S00F000068656C6C6F202020202000003C
S11F00007C0802A6900100049421FFF07C6C1B787C8C23783C6000003863000026
S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9
S111003848656C6C6F20776F726C642E0A0042
S5030003F9
S9030000FC
"""
# Eight bytes, by objcopy and by srec_cat.
EIGHT = b"S30D08000000005000200101000870\nS70508000000F2\n"


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine = SRecordReader()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


def record(kind: int, address: bytes, data: bytes = b"") -> bytes:
    raw = bytes([len(address) + len(data) + 1]) + address + data
    return f"S{kind}{(raw + bytes([~sum(raw) & 0xFF])).hex().upper()}\n".encode()


END = record(9, b"\0\0")


def test_published_file() -> None:
    assert report_of(PUBLISHED) == ContainerReport(
        format="s-record",
        soundness=Soundness.HOLDS,
        facts={
            "records": 6,
            "data_records": 3,
            "data_bytes": 0x46,
            "lowest_address": 0,
            "highest_address": 0x45,
            "stretches": 1,
            "line_ends": "LF",
            "header": "hello",
            "start_address": 0,
        },
    )


def test_addresses_of_four_bytes() -> None:
    report = report_of(EIGHT)
    assert report.soundness is Soundness.HOLDS
    assert report.facts["lowest_address"] == 0x08000000
    assert report.facts["highest_address"] == 0x08000007
    assert report.facts["start_address"] == 0x08000000
    assert "header" not in report.facts


@pytest.mark.parametrize(
    ("kind", "address", "lowest"),
    [
        pytest.param(1, b"\x12\x34", 0x1234, id="S1"),
        pytest.param(2, b"\x12\x34\x56", 0x123456, id="S2"),
        pytest.param(3, b"\x12\x34\x56\x78", 0x12345678, id="S3"),
    ],
)
def test_width_of_addresses(kind: int, address: bytes, lowest: int) -> None:
    data = record(kind, address, b"abc") + record(10 - kind, address)
    report = report_of(data)
    assert report.soundness is Soundness.HOLDS
    assert report.facts["lowest_address"] == lowest
    assert report.facts["highest_address"] == lowest + 2
    assert report.facts["start_address"] == lowest


@pytest.mark.parametrize(
    ("line", "reason", "parameters"),
    [
        pytest.param(b"s9030000FC", "record.mark", {}, id="small s"),
        pytest.param(b"S", "record.type", {"type": "S"}, id="mark only"),
        pytest.param(b"S4030000FC", "record.type", {"type": "S4"}, id="the reserved type"),
        pytest.param(b"SA030000FC", "record.type", {"type": "SA"}, id="no type"),
        pytest.param(b"S\xff030000FC", "record.type", {"type": r"S\udcff"}, id="odd type"),
        pytest.param(b"S1030000FG", "record.digit", {"place": 8}, id="no hex digit"),
        pytest.param(b"S1030000F", "record.odd-digits", {"digits": 7}, id="a digit short"),
        pytest.param(b"S1", "record.length", {"stated": 0, "found": 0}, id="type only"),
        pytest.param(b"S1030000", "record.length", {"stated": 3, "found": 2}, id="a byte short"),
        pytest.param(b"S1030000FC00", "record.length", {"stated": 3, "found": 4}, id="a byte more"),
        pytest.param(
            b"S1030000FD",
            "record.checksum",
            {"stated": "FD", "computed": "FC"},
            id="wrong checksum",
        ),
        pytest.param(
            b"S10200FD",
            "record.length-for-type",
            {"type": "S1", "found": 2},
            id="data without a whole address",
        ),
        pytest.param(
            b"S904000000FB",
            "record.length-for-type",
            {"type": "S9", "found": 4},
            id="end with data",
        ),
        pytest.param(
            b"S504000000FB",
            "record.length-for-type",
            {"type": "S5", "found": 4},
            id="count with data",
        ),
        pytest.param(b"S1" + b"0" * 513, "record.too-long", {"limit": 514}, id="too long"),
    ],
)
def test_bad_lines(line: bytes, reason: str, parameters: dict[str, int | str]) -> None:
    report = report_of(record(1, b"\0\0", b"ab") + line + b"\n" + END)
    assert report.soundness is Soundness.BROKEN
    assert report.problems == (Problem(reason, {"line": 2, **parameters}),)
    assert report.facts["data_bytes"] == 2


def test_the_longest_record_is_right() -> None:
    line = record(3, bytes(4), bytes(250))
    assert len(line) == 515
    assert report_of(line + END).soundness is Soundness.HOLDS


@pytest.mark.parametrize(("kind", "width"), [(5, 2), (6, 3)])
@pytest.mark.parametrize("stated", [0, 1, 2])
def test_the_count_of_records(kind: int, width: int, stated: int) -> None:
    count = record(kind, stated.to_bytes(width, "big"))
    report = report_of(record(1, b"\0\0", b"a") + count + END)
    if stated == 1:
        assert report.soundness is Soundness.HOLDS
    else:
        assert report.soundness is Soundness.BROKEN
        assert report.problems == (
            Problem("record.count", {"line": 2, "stated": stated, "found": 1}),
        )


def test_a_copy_that_was_cut_short_is_broken() -> None:
    report = report_of(PUBLISHED[: PUBLISHED.index(b"S5")])
    assert report.problems == (Problem("record.no-end", {"lines": 4}),)
    assert report.soundness is Soundness.BROKEN


def test_without_end_but_with_a_right_count_it_is_not_called_broken() -> None:
    report = report_of(PUBLISHED[: PUBLISHED.index(b"S9")])
    assert report.problems == (Problem("record.no-end-but-count", {"count": 3}),)
    assert report.soundness is Soundness.UNCHECKED


def test_a_count_before_more_data_does_not_replace_the_end() -> None:
    data = record(1, b"\0\0", b"a") + record(5, b"\0\1") + record(1, b"\0\1", b"b")
    assert report_of(data).soundness is Soundness.BROKEN


@pytest.mark.parametrize("size", range(len(PUBLISHED)))
def test_no_beginning_of_a_file_holds(size: int) -> None:
    report = report_of(PUBLISHED[:size])
    # Without its last line end it is whole.
    whole = size == len(PUBLISHED) - 1
    assert (report.soundness is Soundness.HOLDS) is whole


def test_lines_after_the_end_record() -> None:
    report = report_of(PUBLISHED + b"\r\n" + END)
    assert report.problems[0] == Problem("record.after-end", {"line": 8})
    assert report.soundness is Soundness.BROKEN


def test_only_the_first_header_is_told_and_it_does_no_harm() -> None:
    data = record(0, b"\0\0", b"a\x1b[2J") + record(0, b"\0\0", b"second")
    assert report_of(data + END).facts["header"] == r"a\x1b[2J"


def test_a_header_without_text_is_not_told() -> None:
    report = report_of(record(0, b"\0\0", b" \0") + END)
    assert report.soundness is Soundness.HOLDS
    assert "header" not in report.facts


def test_data_over_the_end_of_the_address_range() -> None:
    data = record(3, b"\xff\xff\xff\xfe", b"ab")
    assert report_of(data + END).problems == ()
    for first in (b"\xff\xff\xff\xfe", b"\xff\xff\xff\xfc"):
        before = record(3, b"\xff\xff\xff\xfc", b"ab") if first[3] == 0xFE else b""
        report = report_of(before + record(3, first, b"abcdefg") + END)
        assert [problem.reason for problem in report.problems] == ["record.wraps"]
        assert report.facts["lowest_address"] == 0
        assert report.facts["highest_address"] == 0xFFFFFFFF


def test_an_empty_data_record_is_no_stretch() -> None:
    report = report_of(record(1, b"\x50\0") + record(1, b"\0\x10", b"a") + END)
    assert report.soundness is Soundness.HOLDS
    assert report.facts["stretches"] == 1
    assert report.facts["lowest_address"] == 0x10


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
    bits=st.sampled_from([16, 24, 32]),
    width=st.integers(1, 240),
)
def test_what_a_library_writes_holds_at_its_addresses(
    data: bytes, address: int, bits: int, width: int
) -> None:
    address %= (1 << bits) - len(data)
    file = bincopy.BinFile()
    file.header = "bench sample"
    file.execution_start_address = address
    file.add_binary(data, address)
    text = file.as_srec(number_of_data_bytes=width, address_length_bits=bits)
    report = report_of(text.encode())
    assert report.soundness is Soundness.HOLDS
    assert report.problems == ()
    assert report.facts["header"] == "bench sample"
    assert report.facts["start_address"] == address
    assert report.facts["lowest_address"] == address
    assert report.facts["highest_address"] == address + len(data) - 1
    assert report.facts["data_bytes"] == len(data)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("writer", "soundness"),
    [
        ("objcopy", Soundness.HOLDS),
        ("srec_cat", Soundness.HOLDS),
        # It writes a count, but an end record only where there is a start address.
        ("srec_cat without start", Soundness.UNCHECKED),
    ],
)
def test_what_outside_programs_write(writer: str, soundness: Soundness, tmp_path: Path) -> None:
    raw, out = tmp_path / "raw.bin", tmp_path / "out.s19"
    raw.write_bytes(bytes.fromhex("0050002001010008"))
    shift = f"srec_cat {raw} -binary -offset 0x08000000"
    commands = {
        "objcopy": f"objcopy -I binary -O srec --change-addresses=0x08000000 {raw} {out}",
        "srec_cat": f"{shift} -o {out} -motorola -execution-start-address 0x08000000",
        "srec_cat without start": f"{shift} -o {out} -motorola",
    }
    subprocess.run(commands[writer].split(), check=True)
    assert EIGHT.splitlines()[0] in out.read_bytes().splitlines()
    report = report_of(out.read_bytes())
    assert report.soundness is soundness
    assert report.facts["lowest_address"] == 0x08000000
    assert report.facts["highest_address"] == 0x08000007


@settings(deadline=None, max_examples=150)
@given(
    data=st.one_of(
        st.binary(max_size=300),
        st.lists(
            st.sampled_from([PUBLISHED[:35], PUBLISHED[35:102], END, b"\r", b"\n", b"S1", b"00"]),
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
        assert report_of(data) == expected


@pytest.mark.parametrize(
    ("head", "looks"),
    [
        pytest.param(PUBLISHED, True, id="right"),
        pytest.param(PUBLISHED.replace(b"00003C", b"00003D"), True, id="first line damaged"),
        pytest.param(b"S00F0000\nS9030000FC\n", True, id="one right line after a damaged one"),
        pytest.param(b"Start\nS9030000FC\n", False, id="one right line after another text"),
        pytest.param(b"S400000000\nS9030000FC\n", False, id="a type there is not"),
        pytest.param(b"S00F0000\n", False, id="one damaged line"),
        pytest.param(b"", False, id="empty"),
        pytest.param(b"S1 is a switch\nS2 is another\n", False, id="text"),
    ],
)
def test_what_looks_like_s_record(head: bytes, looks: bool) -> None:
    assert looks_like_s_record(head) is looks


def test_a_right_line_has_no_fault() -> None:
    assert [fault_of_line(line) for line in PUBLISHED.splitlines()] == [None] * 6
