"""Device trees and FIT images: what dtc and mkimage wrote, cut short and damaged."""

from __future__ import annotations

import struct

import pytest

from cardprep.images import device_tree
from cardprep.images.report import Soundness
from tests.images.fed import broken_at, reasons, report_of, whole_from

# Source: dtc 1.6.1 over "/dts-v1/; / { model = "OV-D9"; a { b = <1 2>; }; };" (invented).
TREE = bytes.fromhex(
    "d00dfeed00000084000000380000007c00000028000000110000001000000000"
    "0000000800000044000000000000000000000000000000000000000100000000"
    "0000000300000006000000004f562d4439000000000000016100000000000003"
    "000000080000000600000001000000020000000200000002000000096d6f6465"
    "6c006200"
)
# Source: mkimage 2023.01 -f, SOURCE_DATE_EPOCH=1767225600, one image of 8 bytes and its SHA-256.
# Behind its strings mkimage leaves 1024 bytes of zeros, which are inside the announced size.
FIT = bytes.fromhex(
    "d00dfeed00000589000000380000018800000028000000110000001000000000"
    "0000004d00000150000000000000000000000000000000000000000100000000"
    "00000003000000040000003d6955b90000000001696d61676573000000000001"
    "6b00000000000003000000080000000031323334353637380000000300000007"
    "000000056b65726e656c000000000003000000040000000a61726d0000000003"
    "000000060000000f6c696e75780000000000000300000005000000126e6f6e65"
    "0000000000000003000000040000001e00000000000000030000000400000023"
    "0000000000000001686173682d310000000000030000002000000047ef797c81"
    "18f02dfb649607dd5d3f8c7623048c9c063d532cc95c5ed7a898a64f00000003"
    "0000000700000029736861323536000000000002000000020000000200000001"
    "636f6e66696775726174696f6e73000000000003000000020000002e63000000"
    "00000001630000000000000300000002000000366b0000000000000200000002"
    "00000002000000096461746100747970650061726368006f7300636f6d707265"
    "7373696f6e006c6f616400656e74727900616c676f0064656661756c74006b65"
    "726e656c0074696d657374616d700076616c756500"
).ljust(0x589, b"\0")


def test_what_dtc_and_mkimage_wrote() -> None:
    report = report_of(TREE)
    assert (report.format, report.soundness) == ("device-tree", Soundness.UNCHECKED)
    assert report.problems == ()
    assert report.facts == {
        "size": 132,
        "stated_size": 132,
        "version": 17,
        "nodes": 2,
        "properties": 2,
        "trailing_bytes": 0,
    }
    facts = report_of(FIT).facts
    assert (facts["size"], facts["nodes"], facts["properties"]) == (1417, 6, 12)


@pytest.mark.parametrize("sample", [TREE, FIT])
def test_no_beginning_goes_for_the_whole(sample: bytes) -> None:
    assert whole_from(sample, "device-tree") == len(sample)
    assert reasons(sample[:-1]) == ["dtb.cut-short"]


def test_data_that_a_fit_image_keeps_outside_are_counted() -> None:
    report = report_of(FIT + bytes(8) + b"kernel")
    assert (report.problems, report.facts["trailing_bytes"]) == ((), 14)


def changed(at: int, value: int, sample: bytes = TREE) -> bytes:
    return sample[:at] + struct.pack(">I", value) + sample[at + 4 :]


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        pytest.param(changed(36, 0x1000), "dtb.outside", id="a tree longer than all"),
        pytest.param(changed(32, 9), "dtb.outside", id="strings longer than all"),
        pytest.param(changed(16, 125), "dtb.outside", id="reserved memory behind the end"),
        pytest.param(changed(8, 0x10), "dtb.outside", id="a tree in the header"),
        pytest.param(changed(56, 7), "dtb.tree", id="an unknown mark"),
        pytest.param(changed(56, 2), "dtb.tree", id="an end before a beginning"),
        pytest.param(changed(56, 3), "dtb.tree", id="a property of no node"),
        pytest.param(changed(68, 0x7FFFFFFF), "dtb.tree", id="a property without end"),
        pytest.param(changed(72, 99), "dtb.tree", id="a name outside the strings"),
        pytest.param(changed(120, 2), "dtb.tree", id="one end too many"),
        pytest.param(changed(120, 4), "dtb.tree", id="no last mark"),
    ],
)
def test_what_contradicts_is_named(data: bytes, reason: str) -> None:
    assert reasons(data) == [reason]


def test_any_byte_may_be_turned_round() -> None:
    assert {*range(36, 40), *range(56, 60)} <= broken_at(TREE)


def deep(depth: int) -> bytes:
    tree = struct.pack(">II", 1, 0) * depth + struct.pack(">I", 2) * depth + struct.pack(">I", 9)
    total = 56 + len(tree) + 4
    head = (0xD00DFEED, total, 56, total - 4, 40, 17, 16, 0, 4, len(tree))
    return struct.pack(">10I", *head) + bytes(16) + tree + b"abc\0"


def test_a_tree_without_bottom_is_left_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    assert reasons(deep(device_tree.DEPTH_LIMIT)) == []
    assert reasons(deep(device_tree.DEPTH_LIMIT + 1)) == ["dtb.tree"]
    monkeypatch.setattr(device_tree, "MARK_LIMIT", 9)
    assert reasons(deep(10)) == ["dtb.many-marks"]


def test_a_name_without_end() -> None:
    data = changed(60, 0x61616161)
    assert reasons(data[:64] + b"a" * 68) == ["dtb.tree"]
