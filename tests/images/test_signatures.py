"""Formats that are only recognised: their magics, and how near misses stay opaque."""

from __future__ import annotations

import bz2
import lzma
import random
import struct
import subprocess
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images.signatures import SIGNATURES, format_by_signature

# Source of the magics: the specifications named in the module that is tested.
# Header of the FIT sample of mkimage 2023.01: d00dfeed 9c0 38 5a8 28 11 10 0 64 570.
FIT = struct.pack(">10I", 0xD00DFEED, 0x9C0, 0x38, 0x5A8, 0x28, 0x11, 0x10, 0, 0x64, 0x570)
# Source: PE Format (Microsoft): the stub's last field says where "PE" stands.
PE = b"MZ" + bytes(58) + (64).to_bytes(4, "little") + b"PE\0\0"
ELF = bytes.fromhex("7f454c46010101000000000000000000 02002800")
SPARSE = struct.pack("<I4H4I", 0xED26FF3A, 1, 0, 28, 12, 4096, 1, 1, 0)
SQUASHFS = b"hsqs" + bytes(24) + struct.pack("<HH", 4, 0) + bytes(64)
CPIO = b"070701" + b"0" * 104 + b"a\0"
APPLE_DOUBLE = bytes.fromhex("0005160700020000") + bytes(16) + b"\0\2"


@pytest.mark.parametrize(
    ("head", "slug"),
    [
        pytest.param(ELF, "elf", id="ELF"),
        pytest.param(PE, "windows-program", id="program for Windows"),
        pytest.param(PE[:-1], None, id="program for Windows, cut short"),
        pytest.param(b"MZ" + PE[2:-4] + b"NE\0\0", None, id="program of an older sort"),
        pytest.param(b"#!/bin/sh\necho\n", "script", id="script"),
        pytest.param(b"#! /usr/bin/env python3\n", "script", id="script with an argument"),
        pytest.param(b"#!BINARY", None, id="no interpreter"),
        pytest.param(b"\x7fELF\x02\x02\x01" + bytes(13), "elf", id="ELF, 64 bit, big-endian"),
        pytest.param(ELF[:15], None, id="ELF, too short"),
        pytest.param(b"\x7fELF\x03\x01\x01" + bytes(13), None, id="ELF, no class"),
        pytest.param(b"\x7fELF\x01\x03\x01" + bytes(13), None, id="ELF, no byte order"),
        pytest.param(b"\x7fELF\x01\x01\x02" + bytes(13), None, id="ELF, no version"),
        pytest.param(FIT, "device-tree", id="FIT"),
        pytest.param(FIT[:39], None, id="device tree, too short"),
        pytest.param(FIT[:4] + b"\xff" * 36, None, id="device tree, fields of rubbish"),
        pytest.param(FIT[:4] + bytes(36), None, id="device tree, fields of zeros"),
        pytest.param(lzma.compress(b"x"), "xz", id="xz"),
        pytest.param(b"\xfd7zXZ\x01", None, id="xz, damaged"),
        pytest.param(b"\x28\xb5\x2f\xfd\x24\x01", "zstd", id="zstd"),
        pytest.param(b"\x28\xb5\x2f\xfd\x08\x01", None, id="zstd, reserved bit"),
        pytest.param(b"\x28\xb5\x2f\xfd", None, id="zstd, too short"),
        pytest.param(bz2.compress(b"x"), "bzip2", id="bzip2"),
        pytest.param(bz2.compress(b"", 1), "bzip2", id="bzip2, empty"),
        pytest.param(b"BZh0" + bz2.compress(b"x")[4:], None, id="bzip2, no block size"),
        pytest.param(b"BZh9 is how it begins", None, id="bzip2, text"),
        pytest.param(b"\x04\x22\x4d\x18\x64\x40", "lz4", id="lz4"),
        pytest.param(b"\x04\x22\x4d\x18\xa4\x40", None, id="lz4, no version"),
        pytest.param(b"\x04\x22\x4d\x18\x66\x40", None, id="lz4, reserved bit"),
        pytest.param(b"\x04\x22\x4d\x18", None, id="lz4, too short"),
        pytest.param(CPIO, "cpio", id="cpio newc"),
        pytest.param(b"070702" + CPIO[6:], "cpio", id="cpio crc"),
        pytest.param(b"070707" + b"0" * 70, "cpio", id="cpio odc"),
        pytest.param(b"070707" + b"8" * 70, None, id="cpio odc, no octal digits"),
        pytest.param(b"070701 is a number", None, id="cpio, text"),
        pytest.param(b"070703" + CPIO[6:], None, id="cpio, no such magic"),
        pytest.param(SQUASHFS, "squashfs", id="squashfs"),
        pytest.param(SQUASHFS[:31], None, id="squashfs, too short"),
        pytest.param(b"hsqs" + bytes(90), None, id="squashfs, no version"),
        pytest.param(SPARSE, "android-sparse", id="Android sparse"),
        pytest.param(SPARSE[:4] + b"\2" + SPARSE[5:], None, id="Android sparse, version 2"),
        pytest.param(SPARSE[:8] + b"\x1d" + SPARSE[9:], None, id="Android sparse, header size"),
        pytest.param(APPLE_DOUBLE, "apple-double", id="AppleDouble"),
        pytest.param(APPLE_DOUBLE[:5] + b"\1" + APPLE_DOUBLE[6:], None, id="AppleDouble, damaged"),
        pytest.param(b"<!DOCTYPE html>\n<html>", "html", id="web page"),
        pytest.param(b"<!doctype HTML PUBLIC '-//W3C//DTD", "html", id="old web page"),
        pytest.param(b"<HTML><HEAD>", "html", id="web page in capitals"),
        pytest.param(b"\xef\xbb\xbf\r\n\t<html lang=en>", "html", id="web page with mark"),
        pytest.param(
            b"<!-- saved -- \n > --> <!-- twice --><html>", "html", id="web page after comments"
        ),
        pytest.param(
            b"<?xml version='1.0'?>\n<!DOCTYPE html PUBLIC>", "html", id="web page as XML"
        ),
        pytest.param("\ufeff<!DOCTYPE html>".encode("utf-16-le"), "html", id="web page in UTF-16"),
        pytest.param(b"<script>location='/login'</script>", "html", id="login page"),
        pytest.param(b"<?xml version='1.0'?><chart/>", None, id="XML of another kind"),
        pytest.param(b"<htmlx>", None, id="another tag"),
        pytest.param(b"<!-- no end <html>", None, id="comment without end"),
        pytest.param(b"a <html>", None, id="text before the tag"),
        pytest.param(b"", None, id="empty"),
        pytest.param(bytes(4096), None, id="zeros"),
        pytest.param(b"\xff" * 4096, None, id="erased flash"),
    ],
)
def test_magics(head: bytes, slug: str | None) -> None:
    assert format_by_signature(head) == slug


def test_no_format_stands_twice_in_the_table() -> None:
    slugs = [row.format for row in SIGNATURES]
    assert len(slugs) == len(set(slugs))


@pytest.mark.parametrize(
    "head",
    [
        pytest.param(b"<!---->" * 600, id="comments"),
        pytest.param(b"<!--" * 1000, id="comments in comments"),
        pytest.param(b"<!-- -->\n" * 450 + b"<htm", id="comments and lines"),
        pytest.param(b" \n" * 2048, id="white space"),
        pytest.param(b"<?xml" * 800, id="declarations"),
    ],
)
def test_a_page_that_never_begins_is_left_soon(head: bytes) -> None:
    started = time.process_time()
    assert format_by_signature(head) is None
    assert time.process_time() - started < 1


@settings(deadline=None, max_examples=200)
@given(data=st.binary(max_size=200))
def test_any_bytes_are_looked_at_without_a_fault(data: bytes) -> None:
    for magic in (b"\x7fELF", b"\xd0\x0d\xfe\xed", b"BZh9", b"070701", b"hsqs", b""):
        format_by_signature(magic + data)


def test_random_bytes_are_no_format() -> None:
    source = random.Random(5)
    assert all(format_by_signature(source.randbytes(256)) is None for _ in range(20_000))


@pytest.mark.oracle
def test_what_objcopy_writes_is_elf(tmp_path: Path) -> None:
    raw, out = tmp_path / "raw.bin", tmp_path / "out.o"
    raw.write_bytes(b"x" * 64)
    command = f"objcopy -I binary -O elf64-little {raw} {out}"
    subprocess.run(command.split(), check=True)
    assert format_by_signature(out.read_bytes()) == "elf"
