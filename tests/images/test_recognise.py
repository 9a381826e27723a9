"""The recogniser: every format by its bytes, damaged ones too, and nothing else."""

from __future__ import annotations

import bz2
import gzip
import io
import random
import struct
import tarfile
import zipfile
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images.blocks import BLOCK
from cardprep.images.recognise import Recogniser
from cardprep.images.report import ContainerReader, ContainerReport, Problem, Soundness


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine: ContainerReader = Recogniser()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


def as_tar(contents: bytes) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w") as file:
        info = tarfile.TarInfo("ov-d9.bin")
        info.size = len(contents)
        file.addfile(info, io.BytesIO(contents))
    return out.getvalue()


def as_zip(contents: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr(zipfile.ZipInfo("ov-d9.bin"), contents)
    return out.getvalue()


def as_uimage(contents: bytes) -> bytes:
    raw = struct.pack(
        ">7I4B32s", 0x27051956, 0, 0, len(contents), 0, 0, zlib.crc32(contents), *b"\5\2\2\0", b"x"
    )
    return raw[:4] + zlib.crc32(raw).to_bytes(4, "big") + raw[8:] + contents


CONTENTS = b"display OV-D9, application 4.30 " * 8
HEX = b"""\
:10010000214601360121470136007EFE09D2190140
:100110002146017E17C20001FF5F16002148011928
:00000001FF
"""
SREC = b"""\
S00F000068656C6C6F202020202000003C
S111003848656C6C6F20776F726C642E0A0042
S5030001FB
S9030000FC
"""
SAMPLES = {
    "intel-hex": HEX,
    "s-record": SREC,
    "uimage": as_uimage(CONTENTS),
    "zip": as_zip(CONTENTS),
    "gzip": gzip.compress(CONTENTS, mtime=0),
    "tar": as_tar(CONTENTS),
    "bzip2": bz2.compress(CONTENTS),
    "html": b"<!DOCTYPE html><title>Log in</title>",
    "opaque": random.Random(6).randbytes(500),
}
UNCHECKED = {"tar", "bzip2", "html", "opaque"}


@pytest.mark.parametrize("slug", SAMPLES)
def test_every_format_is_recognised_and_passed_on(slug: str) -> None:
    report = report_of(SAMPLES[slug])
    assert report.format == slug
    assert report.problems == ()
    assert report.soundness is (Soundness.UNCHECKED if slug in UNCHECKED else Soundness.HOLDS)


def test_an_empty_file_is_opaque() -> None:
    expected = ContainerReport(format="opaque", soundness=Soundness.UNCHECKED, facts={"size": 0})
    assert report_of(b"") == expected
    machine = Recogniser()
    machine.feed(b"")
    assert machine.finish() == expected


def test_only_recognised_formats_give_their_size() -> None:
    assert report_of(SAMPLES["html"]).facts == {"size": len(SAMPLES["html"])}


def test_a_damaged_first_line_is_still_said() -> None:
    report = report_of(HEX.replace(b"190140", b"190141"))
    assert report.format == "intel-hex"
    assert report.soundness is Soundness.BROKEN
    assert report.problems[0].reason == "record.checksum"
    assert report.problems[0].parameters["line"] == 1
    report = report_of(SREC.replace(b"00003C", b"00003D"))
    assert (report.format, report.soundness) == ("s-record", Soundness.BROKEN)


def test_a_body_that_is_something_else_is_told_with_its_first_line() -> None:
    report = report_of(HEX[:88] + random.Random(7).randbytes(3 * BLOCK))
    assert report.format == "intel-hex"
    assert report.soundness is Soundness.BROKEN
    assert report.problems[0] == Problem("record.mark", {"line": 3})


def test_only_the_start_decides() -> None:
    assert report_of(b"a title\n" * 2000 + HEX).format == "opaque"
    assert report_of(bytes(600) + SAMPLES["uimage"]).format == "opaque"


@pytest.mark.parametrize("slug", SAMPLES)
def test_the_head_may_come_byte_by_byte_and_the_buffer_be_used_again(slug: str) -> None:
    machine = Recogniser()
    buffer = bytearray(1)
    for byte in SAMPLES[slug]:
        buffer[0] = byte
        machine.feed(memoryview(buffer))
    assert machine.finish() == report_of(SAMPLES[slug])


def test_random_bytes_are_opaque() -> None:
    source = random.Random(8)
    for _ in range(1000):
        report = report_of(source.randbytes(700))
        assert (report.format, report.soundness) == ("opaque", Soundness.UNCHECKED)


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(b"Gannet Slip Marine Electronics\nbench B\n" * 20, id="prose"),
        pytest.param(b"S1 port\nS2 starboard\nS3 bridge\n" * 20, id="switches"),
        pytest.param(b": one\n: two\n: three\n" * 20, id="points"),
        pytest.param(b"0123456789abcdef\n" * 40, id="digests"),
        pytest.param(b"name,size\nov-d9.bin,4\n" * 20, id="table"),
    ],
)
def test_text_is_opaque(text: bytes) -> None:
    assert report_of(text).format == "opaque"


# What a gzip file's header says of time and system, and what a ZIP file's says of
# versions, times and attributes, is under no checksum (tests of those formats).
UNCOVERED = {
    "gzip": set(range(4, 10)),
    "zip": {*range(4, 6), *range(10, 14)},
}


@pytest.mark.parametrize("slug", sorted(SAMPLES.keys() - UNCHECKED))
def test_no_single_damage_holds_however_it_is_recognised(slug: str) -> None:
    data = SAMPLES[slug]
    uncovered = UNCOVERED.get(slug, set())
    if slug == "zip":
        directory = data.index(b"PK\1\2")
        uncovered |= {directory + at for at in (*range(4, 8), *range(12, 16), *range(36, 42))}
    for at in set(range(len(data))) - uncovered:
        damaged = bytearray(data)
        damaged[at] ^= 0xFF
        assert report_of(bytes(damaged)).soundness is not Soundness.HOLDS, at


@settings(deadline=None, max_examples=200)
@given(
    start=st.sampled_from([b"", *SAMPLES.values()]),
    keep=st.integers(0, 600),
    rest=st.binary(max_size=400),
    cut=st.integers(1, 700),
)
def test_any_bytes_in_any_blocks_give_one_report(
    start: bytes, keep: int, rest: bytes, cut: int
) -> None:
    data = start[:keep] + rest
    expected = report_of(data)
    assert report_of(data, cut) == expected
    assert all(isinstance(value, str | int) for value in expected.facts.values())


@settings(deadline=None, max_examples=20)
@given(
    slug=st.sampled_from(sorted(SAMPLES)),
    cuts=st.lists(st.integers(1, 3 * BLOCK), min_size=1, max_size=5),
    seed=st.integers(0, 9),
)
def test_large_files_in_any_blocks_give_one_report(slug: str, cuts: list[int], seed: int) -> None:
    data = SAMPLES[slug] + random.Random(seed).randbytes(2 * BLOCK + 77)
    machine, at, turn = Recogniser(), 0, 0
    while at < len(data):
        cut = cuts[turn % len(cuts)]
        machine.feed(data[at : at + cut])
        at, turn = at + cut, turn + 1
    assert machine.finish() == report_of(data)
