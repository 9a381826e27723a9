"""ZIP as a library writes it: whole, damaged, cut short, and as a bomb."""

from __future__ import annotations

import io
import random
import tracemalloc
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images import blocks, zip_members
from cardprep.images.inflate import RATIO_FROM, RATIO_LIMIT, TOTAL_LIMIT
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.images.zip_file import ZipReader
from cardprep.images.zip_signatures import looks_like_zip
from cardprep.terms import KIB, MIB

TEXT = b"Gannet Slip Marine Electronics, bench B. " * 20
MEMBERS = {"ov-d9.bin": TEXT, "empty": b"", "folder/ov-v40.bin": bytes(range(256))}


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine = ZipReader()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


class Unseekable(io.RawIOBase):
    """A pipe: writers that cannot go back put CRC and sizes after the contents."""

    def __init__(self) -> None:
        self.data = b""

    def writable(self) -> bool:
        return True

    def write(self, block: bytes) -> int:  # type: ignore[override] # narrower than any buffer
        self.data += bytes(block)
        return len(block)


def zipped(
    members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED, *, piped: bool = False
) -> bytes:
    out = Unseekable() if piped else io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as file:
        for name, contents in members.items():
            file.writestr(zipfile.ZipInfo(name), contents, method)
    return out.data if isinstance(out, Unseekable) else out.getvalue()


def reasons(report: ContainerReport) -> list[str]:
    return [problem.reason for problem in report.problems]


@pytest.mark.parametrize("piped", [False, True], ids=["file", "pipe"])
def test_a_whole_file(piped: bool) -> None:
    data = zipped(MEMBERS, piped=piped)
    report = report_of(data)
    assert report.soundness is Soundness.HOLDS
    assert report.problems == ()
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        assert report.facts == {
            "members": 3,
            "packed_bytes": sum(info.compress_size for info in file.infolist()),
            "unpacked_bytes": len(TEXT) + 256,
            "trailing_bytes": 0,
        }


def test_stored_members() -> None:
    report = report_of(zipped(MEMBERS, zipfile.ZIP_STORED))
    assert report.soundness is Soundness.HOLDS
    assert report.facts["packed_bytes"] == report.facts["unpacked_bytes"] == len(TEXT) + 256


def test_an_empty_file_has_nothing_that_was_checked() -> None:
    report = report_of(zipped({}))
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == ()
    assert report.facts["members"] == 0


def test_a_comment_and_padding_after_the_end() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        file.writestr("a", "b")
        file.comment = b"card for Saltwhistle"
    report = report_of(out.getvalue() + bytes(100))
    assert report.soundness is Soundness.HOLDS
    assert report.facts["trailing_bytes"] == 100
    report = report_of(out.getvalue()[:-1])
    assert reasons(report) == ["zip.cut-short-directory"]
    report = report_of(out.getvalue() + bytes(80 * KIB) + b"x")
    assert report.problems == (Problem("zip.after-end", {"count": 80 * KIB + 1}),)
    assert report.soundness is Soundness.BROKEN


def uncovered(data: bytes) -> set[int]:
    """Return the places of a ZIP file that nothing covers and that no content depends on.

    Versions needed, time (told, but it breaks nothing), version made by, internal
    and external attributes; extra fields and comments, which the sample has none of.
    """
    found: set[int] = set()
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        at = file.start_dir
        for info in file.infolist():
            found |= {info.header_offset + place for place in (4, 5, 10, 11, 12, 13)}
            found |= {at + place for place in (4, 5, 6, 7, 12, 13, 14, 15, *range(36, 42))}
            at += 46 + len(info.filename)
    return found


@pytest.mark.parametrize(
    ("method", "piped"),
    [(zipfile.ZIP_STORED, False), (zipfile.ZIP_DEFLATED, False), (zipfile.ZIP_DEFLATED, True)],
    ids=["stored", "deflated", "deflated into a pipe"],
)
def test_no_single_damage_holds(method: int, piped: bool) -> None:
    data = zipped(MEMBERS, method, piped=piped)
    assert report_of(data).soundness is Soundness.HOLDS
    for at in set(range(len(data))) - uncovered(data):
        damaged = bytearray(data)
        damaged[at] ^= 0xFF
        assert report_of(bytes(damaged)).soundness is not Soundness.HOLDS, at


@pytest.mark.parametrize("piped", [False, True], ids=["file", "pipe"])
def test_no_beginning_holds(piped: bool) -> None:
    data = zipped(MEMBERS, piped=piped)
    for size in range(4, len(data)):
        report = report_of(data[:size])
        assert report.soundness is Soundness.BROKEN, size
        assert reasons(report)[0] in {"zip.cut-short", "zip.no-end", "zip.cut-short-directory"} or (
            # A descriptor that is not all there.
            piped and reasons(report)[0] == "zip.descriptor"
        )


def test_a_stored_member_whose_size_comes_after_it() -> None:
    report = report_of(zipped({"a": TEXT}, zipfile.ZIP_STORED, piped=True))
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (Problem("zip.size-unknown", {"name": "a"}),)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_other_methods_are_passed_over(method: int) -> None:
    report = report_of(zipped({"a": TEXT}, method))
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (Problem("zip.method", {"name": "a", "method": method}),)


def test_sizes_in_the_zip64_field_of_a_local_header() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file, file.open("a", "w", force_zip64=True) as member:
        member.write(TEXT)
    assert report_of(out.getvalue()).soundness is Soundness.HOLDS


def test_a_bomb_is_left_early_and_in_little_memory() -> None:
    data = zipped({"a": TEXT, "bomb": bytes(256 * MIB)})
    tracemalloc.start()
    try:
        report = report_of(data)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems == (
        Problem("zip.too-large", {"name": "bomb", "limit": TOTAL_LIMIT, "ratio": RATIO_LIMIT}),
    )
    assert RATIO_FROM < int(report.facts["unpacked_bytes"]) <= RATIO_FROM + MIB
    assert 0 < int(report.facts["packed_bytes"]) < 100 * KIB
    assert peak < 2 * MIB


def test_many_small_bombs_end_at_the_total(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(zip_members, "TOTAL_LIMIT", 5 * MIB)
    report = report_of(zipped({f"{n}": bytes(MIB) for n in range(10)}))
    assert report.soundness is Soundness.UNCHECKED
    assert report.problems[0].parameters["name"] == "5"
    assert int(report.facts["unpacked_bytes"]) < 6 * MIB


def test_members_over_several_blocks() -> None:
    noise = random.Random(4).randbytes(300 * KIB)
    for method in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        report = report_of(zipped({"a": noise, "b": noise + b"x"}, method), 4096)
        assert report.soundness is Soundness.HOLDS
        assert report.facts["unpacked_bytes"] == 600 * KIB + 1


def test_rubbish() -> None:
    assert reasons(report_of(b"rubbish")) == ["zip.no-structure"]
    assert reasons(report_of(b"")) == ["zip.no-end"]


@settings(deadline=None, max_examples=100)
@given(
    piped=st.booleans(),
    method=st.sampled_from([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2]),
    contents=st.lists(st.binary(max_size=200), max_size=3),
    changes=st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), max_size=3),
    cut=st.integers(1, 99),
)
def test_any_bytes_in_any_blocks_give_one_report(
    piped: bool, method: int, contents: list[bytes], changes: list[tuple[int, int]], cut: int
) -> None:
    data = bytearray(zipped({f"{n}": c for n, c in enumerate(contents)}, method, piped=piped))
    for place, change in changes:
        data[place % len(data)] ^= change
    expected = report_of(bytes(data))
    assert report_of(bytes(data), cut) == expected
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blocks, "BLOCK", cut)
        again = report_of(bytes(data))
    assert (again.soundness, again.problems) == (expected.soundness, expected.problems)


@settings(deadline=None, max_examples=60)
@given(data=st.binary(max_size=200))
def test_rubbish_after_a_signature_never_holds(data: bytes) -> None:
    assert report_of(b"PK\3\4" + data).soundness is not Soundness.HOLDS


def test_what_looks_like_zip() -> None:
    assert looks_like_zip(zipped(MEMBERS))
    assert looks_like_zip(zipped({}))
    assert not looks_like_zip(b"PK\1\2")
    assert not looks_like_zip(b"PK")
