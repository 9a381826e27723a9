"""tar: headers, ends, and what a tar file's checksums do not cover."""

from __future__ import annotations

import io
import subprocess
import tarfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images import blocks
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.images.tar_file import TarReader, checksum_fits, looks_like_tar
from cardprep.terms import GIB, KIB


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine = TarReader()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


def tar(contents: dict[str, bytes], form: int = tarfile.USTAR_FORMAT) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w", format=form) as file:
        for name, data in contents.items():
            info = tarfile.TarInfo(name)
            info.size = len(data)
            file.addfile(info, io.BytesIO(data))
    return out.getvalue()


def header(**changed: bytes) -> bytes:
    """Return one header in the oldest form, with a right checksum."""
    field = {"size": b"00000000003\0", "kind": b"0", "name": b"ov-d9.bin", **changed}
    raw = field["name"].ljust(100, b"\0") + b"0000644\0" * 3 + field["size"] + b"00000000000\0"
    raw = (raw + b" " * 8 + field["kind"]).ljust(512, b"\0")
    return raw[:148] + f"{sum(raw):06o}\0 ".encode() + raw[156:]


def with_sum(raw: bytes) -> bytes:
    raw = raw[:148] + b" " * 8 + raw[156:]
    return raw[:148] + f"{sum(raw):06o}\0 ".encode() + raw[156:]


END = bytes(1024)
SAMPLE = tar({"a.bin": b"x" * 600, "b.bin": b"", "c.bin": b"y" * 512})


def test_a_whole_file_is_unchecked_because_nothing_covers_its_contents() -> None:
    assert report_of(SAMPLE) == ContainerReport(
        format="tar",
        soundness=Soundness.UNCHECKED,
        facts={
            "members": 3,
            "contents_bytes": 1112,
            "trailing_bytes": len(SAMPLE) - (3 * 512 + 1024 + 512 + 1024),
        },
    )


@pytest.mark.parametrize("form", [tarfile.USTAR_FORMAT, tarfile.GNU_FORMAT, tarfile.PAX_FORMAT])
def test_headers_about_the_next_member_are_no_members(form: int) -> None:
    long = "folder/" * 12 + "x" * 90
    report = report_of(tar({long: b"12345", "Möwe": b"678"}, form))
    assert report.problems == ()
    assert report.facts["members"] == 2
    assert report.facts["contents_bytes"] == 8


def test_folders_and_links_have_no_contents() -> None:
    for kind in b"123456":
        data = header(kind=bytes([kind])) + header() + b"abc".ljust(512, b"\0") + END
        report = report_of(data)
        assert report.problems == (), kind
        assert report.facts["members"] == 2
        assert report.facts["contents_bytes"] == 3


def test_old_headers_whose_writer_summed_signed_bytes() -> None:
    raw = bytearray(header(name=b"\xff\x80.bin"))
    assert checksum_fits(bytes(raw))
    signed = sum(raw) - sum(raw[148:156]) + 8 * 32 - 2 * 256
    raw[148:156] = f"{signed:06o}\0 ".encode()
    assert checksum_fits(bytes(raw))
    raw[148:156] = f"{signed + 1:06o}\0 ".encode()
    assert not checksum_fits(bytes(raw))


@pytest.mark.parametrize("at", [0, 99, 124, 148, 156, 257, 345, 511])
def test_a_damaged_header_is_found(at: int) -> None:
    for number, start in enumerate([0, 512 + 1024, 1024 + 1024], 1):
        damaged = bytearray(SAMPLE)
        damaged[start + at] ^= 0xFF
        report = report_of(bytes(damaged))
        assert report.soundness is Soundness.BROKEN
        assert report.problems == (
            Problem("tar.header-checksum", {"offset": start, "member": number}),
        )


@pytest.mark.parametrize("size", range(1, 512 * 7, 100))
def test_a_copy_that_was_cut_short_is_broken(size: int) -> None:
    report = report_of(SAMPLE[:size])
    assert report.soundness is Soundness.BROKEN
    assert report.problems[0].reason in {"tar.cut-short", "tar.no-end"}


@pytest.mark.parametrize(
    ("end", "reason"),
    [
        pytest.param(b"", "tar.no-end", id="none"),
        pytest.param(bytes(512), "tar.no-end", id="one block"),
        pytest.param(bytes(1023), "tar.no-end", id="a byte short"),
        pytest.param(bytes(512) + header(), "tar.no-end", id="one block, then a member"),
        pytest.param(bytes(1024) + bytes(80 * KIB) + b"x", "tar.after-end", id="more behind"),
    ],
)
def test_ends(end: bytes, reason: str) -> None:
    report = report_of(header() + bytes(512) + end)
    assert report.soundness is Soundness.BROKEN
    assert [problem.reason for problem in report.problems] == [reason]


def test_sizes_in_base_256() -> None:
    size = b"\x80" + (3).to_bytes(11, "big")
    assert report_of(header(size=size) + bytes(512) + END).facts["contents_bytes"] == 3
    report = report_of(header(size=b"\x80" + (9 * GIB).to_bytes(11, "big")) + bytes(700))
    assert report.problems == (Problem("tar.cut-short", {"offset": 1212, "member": 1}),)
    assert report.facts["contents_bytes"] == 700


@pytest.mark.parametrize(
    "size",
    [
        pytest.param(b"\x80" + b"\xff" * 11, id="larger than any card"),
        pytest.param(b"\xff" * 12, id="negative"),
        pytest.param(b"0000000000x\0", id="no number"),
    ],
)
def test_sizes_that_cannot_be_right(size: bytes) -> None:
    report = report_of(header(size=size) + bytes(512) + END)
    assert report.problems == (Problem("tar.size", {"offset": 0, "member": 1}),)
    assert report.soundness is Soundness.BROKEN


def test_an_empty_size_is_none() -> None:
    assert report_of(header(size=bytes(12)) + END).problems == ()


def test_a_size_in_a_pax_header_ends_the_walk() -> None:
    said = b"20 path=abcdefghijk\n19 size=8589934592\n"
    data = header(kind=b"x", size=f"{len(said):011o}\0".encode()) + said.ljust(512, b"\0")
    report = report_of(data + header(size=b"00000000000\0"))
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (Problem("tar.pax-size", {"member": 1}),)


def test_a_large_pax_header_is_passed_over_in_bounds() -> None:
    said = b"200000 comment=".ljust(200_000, b"c")
    data = header(kind=b"g", size=f"{len(said):011o}\0".encode()) + said.ljust(391 * 512, b"\0")
    report = report_of(data + header() + bytes(512) + END)
    assert report.problems == ()
    assert report.facts["members"] == 1


def test_a_sparse_member_ends_the_walk() -> None:
    report = report_of(header(kind=b"S", name=b"\x1b[2J") + b"rubbish")
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (Problem("tar.sparse", {"name": r"\x1b[2J"}),)


@pytest.mark.oracle
@pytest.mark.parametrize("form", ["v7", "oldgnu", "gnu", "ustar", "posix"])
def test_what_tar_writes(form: str, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "ov-d9.bin").write_bytes(b"z" * 3000)
    (tmp_path / "folder" / "link").symlink_to("ov-d9.bin")
    data = subprocess.run(
        ["tar", f"--format={form}", "-cf", "-", "folder"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        check=True,
    ).stdout
    assert looks_like_tar(data)
    report = report_of(data)
    assert report.problems == ()
    assert report.facts["members"] == 3
    assert report.facts["contents_bytes"] == 3000


@pytest.mark.parametrize(
    ("head", "looks"),
    [
        pytest.param(header(), True, id="old tar"),
        pytest.param(b"?" + header()[1:], False, id="old tar, damaged"),
        pytest.param(header()[:511], False, id="a byte short"),
        pytest.param(b"?" + SAMPLE[1:], True, id="with magic, damaged"),
        pytest.param(with_sum(bytes(512)), False, id="without a name"),
        pytest.param(with_sum(header(size=b"notanumber\0\0")), False, id="without a size"),
        pytest.param(bytes(512), False, id="zeros"),
        pytest.param(b"", False, id="empty"),
    ],
)
def test_what_looks_like_tar(head: bytes, looks: bool) -> None:
    assert looks_like_tar(head) is looks


@settings(deadline=None, max_examples=80)
@given(
    parts=st.lists(
        st.one_of(
            st.binary(max_size=40),
            st.sampled_from([header(), header(kind=b"x"), bytes(512), b"abc".ljust(512, b"\0")]),
        ),
        max_size=8,
    ),
    cut=st.integers(1, 999),
)
def test_any_bytes_in_any_blocks_give_one_report(parts: list[bytes], cut: int) -> None:
    data = b"".join(parts)
    expected = report_of(data)
    assert report_of(data, cut) == expected
    assert expected.soundness is not Soundness.HOLDS
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blocks, "BLOCK", cut)
        assert report_of(data) == expected
