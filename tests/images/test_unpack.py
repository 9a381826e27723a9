"""ZIP files taken apart: as libraries and programs write them, and with one damage each."""

from __future__ import annotations

import io
import random
import shutil
import struct
import subprocess
import tracemalloc
import zipfile
import zlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cardprep.errors import CardprepError, IntakeRefusedError, StoppedError
from cardprep.images.inflate import RATIO_FROM, RATIO_LIMIT
from cardprep.images.report import Soundness
from cardprep.images.unpack import (
    BLOCK_LIMIT,
    UNPACKED_LIMIT,
    Member,
    list_members,
    unpack_member,
)
from cardprep.images.unpack_directory import MEMBER_LIMIT, Source
from cardprep.images.unpack_names import NAME_LIMIT
from cardprep.images.zip_file import ZipReader
from cardprep.images.zip_records import Sizes
from cardprep.progress import Cancel, silent
from cardprep.terms import CHUNK, GIB, MIB
from cardprep.texts.catalogue import refusal
from cardprep.texts.refusals_unpack import UNPACK

TEXT = b"Gannet Slip Marine Electronics, bench B. " * 20
OTHER = bytes(range(256))


def fields(text: str) -> dict[str, tuple[int, str]]:
    """Return offset and form of each field out of lines like "flags 6 H"."""
    lines = [part.split() for part in text.split(",")]
    return {name: (int(offset), f"<{form}") for name, offset, form in lines}


# Source: APPNOTE.TXT 6.3.10, sections 4.3.7, 4.3.12 and 4.3.16.
FIELDS = {
    "local": fields("flags 6 H, method 8 H, crc 14 I, packed 18 I, unpacked 22 I, extra_size 28 H"),
    "central": fields(
        "made_by 4 H, flags 8 H, method 10 H, crc 16 I, packed 20 I, unpacked 24 I,"
        "extra_size 30 H, comment_size 32 H, disk 34 H, attributes 38 I, offset 42 I"
    ),
    "end": fields("disk 4 H, first_disk 6 H, here 8 H, entries 10 H, size 12 I, offset 16 I"),
}
SIGNATURES = {"local": b"PK\x03\x04", "central": b"PK\x01\x02", "end": b"PK\x05\x06"}


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
    members: dict[str, bytes],
    method: int = zipfile.ZIP_DEFLATED,
    *,
    piped: bool = False,
    zip64: bool = False,
    comment: bytes = b"",
) -> bytes:
    out = Unseekable() if piped else io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as file:
        for name, contents in members.items():
            info = zipfile.ZipInfo(name)
            info.compress_type = method
            info.comment = comment
            with file.open(info, "w", force_zip64=zip64) as member:
                member.write(contents)
        file.comment = comment
    return out.data if isinstance(out, Unseekable) else out.getvalue()


def contents_of(data: bytes, member: Member) -> bytes:
    out = bytearray()

    def take(block: memoryview) -> None:
        assert 0 < len(block) <= BLOCK_LIMIT
        out.extend(block)

    unpack_member(io.BytesIO(data), member, take, silent, Cancel())
    return bytes(out)


def listed(data: bytes) -> tuple[Member, ...]:
    return list_members(io.BytesIO(data), len(data))


def unpacked(data: bytes) -> dict[str, bytes]:
    return {member.name: contents_of(data, member) for member in listed(data)}


def refused(data: bytes) -> IntakeRefusedError:
    """Return the refusal of an archive, of its structure or of a member, worded without a gap."""
    with pytest.raises(IntakeRefusedError) as caught:
        unpacked(data)
    worded = refusal(caught.value)
    assert "{" not in worded.message + worded.remedy
    return caught.value


def front_to_back(data: bytes) -> Soundness:
    """Return what the checker says that walks from the front."""
    machine = ZipReader()
    machine.feed(data)
    return machine.finish().soundness


def agree(data: bytes) -> None:
    """Compare with Python's library: names, sizes, CRCs, offsets and all contents."""
    members = listed(data)
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        infos = file.infolist()
        assert [
            (
                *(member.name, member.offset, member.method, member.sizes.crc),
                *(member.sizes.packed, member.sizes.unpacked, member.is_folder),
            )
            for member in members
        ] == [
            (
                *(info.filename, info.header_offset, info.compress_type, info.CRC),
                *(info.compress_size, info.file_size, info.is_dir()),
            )
            for info in infos
        ]
        for member, info in zip(members, infos, strict=True):
            assert contents_of(data, member) == file.read(info)


# --- honest archives


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
@pytest.mark.parametrize("piped", [False, True], ids=["file", "pipe"])
@pytest.mark.parametrize("zip64", [False, True], ids=["narrow", "zip64"])
@pytest.mark.parametrize("comment", [b"", b"card for Saltwhistle"], ids=["bare", "comment"])
def test_what_a_library_writes(method: int, piped: bool, zip64: bool, comment: bytes) -> None:
    members = {"ov-d9.bin": TEXT, "empty": b"", "folder/": b"", "folder/ov-v40.bin": OTHER}
    members |= {"Übersicht/海図.bin": TEXT[::-1]}
    data = zipped(members, method, piped=piped, zip64=zip64, comment=comment)
    agree(data)
    assert unpacked(data) == members


parts = st.text("aBcXyZ079._- éüñ海図", min_size=1, max_size=12)


@settings(deadline=None)
@given(
    members=st.lists(
        st.tuples(parts, st.binary(max_size=400), st.integers(1, 3000), st.booleans()), max_size=8
    ),
    modes=st.lists(st.booleans(), min_size=8, max_size=8),
    piped=st.booleans(),
    comment=st.binary(max_size=30).filter(lambda comment: b"PK" not in comment),
)
def test_agreement_with_a_library(
    members: list[tuple[str, bytes, int, bool]], modes: list[bool], piped: bool, comment: bytes
) -> None:
    out = Unseekable() if piped else io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        file.comment = comment
        for place, (name, contents, times, zip64) in enumerate(members):
            # A number keeps names apart, letters at both ends keep them plain.
            info = zipfile.ZipInfo(f"f{place}/{name}e")
            info.compress_type = zipfile.ZIP_DEFLATED if modes[place] else zipfile.ZIP_STORED
            info.comment = comment
            info.external_attr = 0o100644 << 16
            with file.open(info, "w", force_zip64=zip64) as member:
                member.write(contents * times if len(contents) * times < MIB else contents)
    agree(out.data if isinstance(out, Unseekable) else out.getvalue())


def test_an_empty_archive_has_no_members() -> None:
    assert listed(zipped({})) == ()


def test_zeros_after_the_end_are_padding() -> None:
    data = zipped({"a.bin": TEXT}, comment=b"remark") + bytes(300)
    assert unpacked(data) == {"a.bin": TEXT}


def test_a_zip_file_inside_is_a_member_like_others() -> None:
    inner = zipped({"a.bin": TEXT})
    data = zipped({"inner.zip": inner, "b.bin": OTHER}, zipfile.ZIP_STORED)
    assert unpacked(data) == {"inner.zip": inner, "b.bin": OTHER}
    assert [member.name for member in listed(data)] == ["inner.zip", "b.bin"]


def test_contents_full_of_signatures_are_contents() -> None:
    # Long enough for "PK", read as the size of a comment, to reach the file's end exactly.
    for times, name in product(range(4760, 4840), ("a", "aa", "aaa", "aaaa")):
        contents = {name: b"PK\x05\x06" * times, "b": bytes(16) + b"PK\x06\x07"}
        assert unpacked(zipped(contents, zipfile.ZIP_STORED)) == contents


def test_an_empty_member_called_deflated_may_have_no_data() -> None:
    data = damaged({"a.bin": b""}, ("local", "method", 8), ("central", "method", 8))
    assert unpacked(data) == {"a.bin": b""}


def test_the_directory_may_list_members_in_another_order() -> None:
    data = zipped({"a.bin": TEXT, "b.bin": OTHER})
    at = data.index(b"PK\x01\x02")
    second = data.index(b"PK\x01\x02", at + 1)
    end = data.index(b"PK\x05\x06")
    turned = data[:at] + data[second:end] + data[at:second] + data[end:]
    agree(turned)
    assert list(unpacked(turned)) == ["b.bin", "a.bin"]


@pytest.mark.oracle
@pytest.mark.skipif(shutil.which("zip") is None, reason="the program zip is not installed")
@pytest.mark.parametrize(
    "words",
    [
        pytest.param(["-r", "out.zip", "sub"], id="plain"),
        pytest.param(["-r", "-0", "out.zip", "sub"], id="stored"),
        pytest.param(["-r", "-fz", "out.zip", "sub"], id="zip64"),
        pytest.param(["-r", "-X", "-9", "out.zip", "sub"], id="no extra fields"),
        pytest.param(["-r", "-fd", "out.zip", "sub"], id="descriptors"),
        pytest.param(["-r", "-", "sub"], id="to a pipe"),
    ],
)
def test_what_another_program_writes(tmp_path: Path, words: list[str]) -> None:
    (tmp_path / "sub" / "deep").mkdir(parents=True)
    (tmp_path / "sub" / "a.bin").write_bytes(TEXT)
    (tmp_path / "sub" / "deep" / "b.bin").write_bytes(random.Random(4).randbytes(100_000))
    (tmp_path / "sub" / "empty").write_bytes(b"")
    done = subprocess.run(["zip", "-q", *words], cwd=tmp_path, capture_output=True, check=True)
    data = (tmp_path / "out.zip").read_bytes() if "out.zip" in words else done.stdout
    agree(data)
    assert unpacked(data)["sub/a.bin"] == TEXT
    assert len(listed(data)) == 5


@pytest.mark.oracle
@pytest.mark.skipif(shutil.which("zip") is None, reason="the program zip is not installed")
@pytest.mark.parametrize(
    ("words", "reason"),
    [
        pytest.param(["-y"], "unpack.link", id="link"),
        pytest.param(["-P", "harbour"], "unpack.encrypted", id="password"),
    ],
)
def test_what_another_program_writes_and_is_refused(
    tmp_path: Path, words: list[str], reason: str
) -> None:
    (tmp_path / "a.bin").write_bytes(TEXT)
    (tmp_path / "b.bin").symlink_to("a.bin")
    subprocess.run(["zip", "-q", *words, "out.zip", "b.bin"], cwd=tmp_path, check=True)
    assert refused((tmp_path / "out.zip").read_bytes()).reason == reason


# --- one damage each

Change = tuple[str, str, int]


def starts(data: bytes, where: str) -> int:
    """Return where the first structure of a kind begins, or the end record."""
    return data.rindex(SIGNATURES[where]) if where == "end" else data.index(SIGNATURES[where])


def damaged(members: dict[str, bytes], *changes: Change, method: int = zipfile.ZIP_STORED) -> bytes:
    """Return an archive with fields of its first member or of its end record changed."""
    return patched(zipped(members, method), *changes)


def patched(data: bytes, *changes: Change) -> bytes:
    raw = bytearray(data)
    for where, field, value in changes:
        offset, form = FIELDS[where][field]
        struct.pack_into(form, raw, starts(data, where) + offset, value)
    return bytes(raw)


def with_extra(data: bytes, *, local: bytes = b"", central: bytes = b"") -> bytes:
    """Return an archive of one member, without extra fields so far, with these."""
    at, listed_at = starts(data, "local"), starts(data, "central")
    end_at = starts(data, "end")
    name = struct.unpack_from("<H", data, at + 26)[0]
    head, rest = data[: at + 30 + name], data[at + 30 + name : listed_at]
    entry, end = data[listed_at : listed_at + 46 + name], data[end_at:]
    comment = data[listed_at + 46 + name : end_at]
    new = head + local + rest + entry + central + comment + end
    offset = len(head + local + rest)
    size = len(entry + central + comment)
    return patched(
        new,
        ("local", "extra_size", len(local)),
        ("central", "extra_size", len(central)),
        ("end", "offset", offset),
        ("end", "size", size),
    )


def named(*names: bytes, flags: int = 0) -> bytes:
    """Return an archive whose members have these names, exactly as stored."""
    plain = [f"{place:0{len(name)}}" for place, name in enumerate(names)]
    data = zipped(dict.fromkeys(plain, b""), zipfile.ZIP_STORED)
    for stand_in, name in zip(plain, names, strict=True):
        assert data.count(stand_in.encode() + b"PK") == 2
        data = data.replace(stand_in.encode() + b"PK", name + b"PK")
    if flags:
        data = patched(data, ("local", "flags", flags), ("central", "flags", flags))
    return data


def inserted(data: bytes, at: int, piece: bytes, *, moved: bool) -> bytes:
    """Return an archive with bytes before its directory, whose end record knows of them."""
    new = data[:at] + piece + data[at:]
    changes: list[Change] = [("end", "offset", starts(data, "central") + len(piece))]
    if moved:
        changes.append(("central", "offset", len(piece)))
    return patched(new, *changes)


def zip64_field(*values: int) -> bytes:
    return struct.pack(f"<HH{len(values)}Q", 1, 8 * len(values), *values)


def unicode_path(name: bytes, other: bytes) -> bytes:
    return struct.pack("<HHBI", 0x7075, 5 + len(other), 1, zlib.crc32(name)) + other


def wide_end(data: bytes, **changes: int) -> bytes:
    """Return an archive with a zip64 end record and locator, fields of which can be changed."""
    at, begin = starts(data, "end"), starts(data, "central")
    count = struct.unpack_from("<H", data, at + 10)[0]
    values = {
        "following": 44,
        "disk": 0,
        "first": 0,
        "here": count,
        "entries": count,
        "size": at - begin,
        "offset": begin,
        "where": at,
        "locator_disk": 0,
        "disks": 1,
    } | changes
    wide = struct.pack(
        "<4sQHHIIQQQQ",
        *(b"PK\x06\x06", values["following"], 45, 45, values["disk"], values["first"]),
        *(values["here"], values["entries"], values["size"], values["offset"]),
    )
    locator = struct.pack(
        "<4sIQI", b"PK\x06\x07", values["locator_disk"], values["where"], values["disks"]
    )
    return data[:at] + wide + locator + data[at:]


POINTING: list[Change] = [
    ("end", "here", 0xFFFF),
    ("end", "entries", 0xFFFF),
    ("end", "size", 0xFFFFFFFF),
    ("end", "offset", 0xFFFFFFFF),
]

ONE = zipped({"a.bin": TEXT}, zipfile.ZIP_STORED)
PACKED = zipped({"a.bin": TEXT})
TWO = zipped({"a.bin": TEXT, "b.bin": OTHER}, zipfile.ZIP_STORED)
PIPED = zipped({"a.bin": TEXT}, piped=True)
SECOND = TWO.index(b"PK\x03\x04", 1)
SECOND_LISTED = TWO.index(b"PK\x01\x02", TWO.index(b"PK\x01\x02") + 1)
IN_BOTH = ("local", "central")


def both(field: str, value: int) -> bytes:
    return patched(ONE, *((where, field, value) for where in IN_BOTH))


def mode(value: int) -> bytes:
    return patched(ONE, ("central", "attributes", value))


def second_offset(value: int) -> bytes:
    raw = bytearray(TWO)
    struct.pack_into("<I", raw, SECOND_LISTED + 42, value)
    return bytes(raw)


def restated(unpacked_size: int, data: bytes = PACKED) -> bytes:
    return patched(data, *((where, "unpacked", unpacked_size) for where in IN_BOTH))


def longer_stream(more: bytes) -> bytes:
    """Return an archive whose deflate data are followed by more, inside the member."""
    size = starts(PACKED, "central")
    with zipfile.ZipFile(io.BytesIO(PACKED)) as file:
        packed = file.infolist()[0].compress_size
    data = inserted(PACKED, size, more, moved=False)
    return patched(data, *((where, "packed", packed + len(more)) for where in IN_BOTH))


def commented(comment: bytes) -> bytes:
    return zipped({"a.bin": TEXT}, zipfile.ZIP_STORED, comment=comment)


def second_end() -> bytes:
    """Return an archive whose end record's comment holds another one, complete."""
    end = starts(ONE, "end")
    return patched_at(ONE + ONE[end:], end + 20, "<H", len(ONE) - end)


def patched_at(data: bytes, at: int, form: str, value: int) -> bytes:
    raw = bytearray(data)
    struct.pack_into(form, raw, at, value)
    return bytes(raw)


SIZE = len(TEXT)
LOCAL_POINTS: tuple[Change, ...] = (
    ("local", "packed", 0xFFFFFFFF),
    ("local", "unpacked", 0xFFFFFFFF),
)
CENTRAL_POINTS: tuple[Change, ...] = (
    ("central", "packed", 0xFFFFFFFF),
    ("central", "unpacked", 0xFFFFFFFF),
)

HOSTILE: list[tuple[str, str, Callable[[], bytes]]] = [
    # the end
    ("nothing", "no-end", lambda: b""),
    ("no end record", "no-end", lambda: ONE[: starts(ONE, "end")]),
    ("end record cut short", "no-end", lambda: ONE[:-1]),
    ("data after the end", "no-end", lambda: ONE + bytes(9) + b"x"),
    ("comment cut short", "no-end", lambda: commented(b"remark")[:-1]),
    ("end record in the comment", "no-end", lambda: commented(b"PK\x05\x06" + bytes(19) + b"x")),
    ("a second end", "two-ends", second_end),
    ("second disk", "several-disks", lambda: patched(ONE, ("end", "disk", 1))),
    ("begun on another disk", "several-disks", lambda: patched(ONE, ("end", "first_disk", 1))),
    ("more entries elsewhere", "several-disks", lambda: patched(ONE, ("end", "entries", 2))),
    ("member on another disk", "several-disks", lambda: patched(ONE, ("central", "disk", 1))),
    # the directory
    ("one entry too few", "directory", lambda: patched(TWO, *counts(1))),
    ("one entry too many", "directory", lambda: patched(TWO, *counts(3))),
    ("directory elsewhere", "directory", lambda: patched(ONE, ("end", "offset", 7))),
    ("directory too large", "directory", lambda: patched(ONE, ("end", "size", 5000))),
    ("no entry there", "directory", lambda: ONE.replace(b"PK\x01\x02", b"PK\x01\x03")),
    ("entry past its end", "directory", lambda: patched(ONE, ("central", "comment_size", 1))),
    # zip64
    ("pointing nowhere", "zip64-end", lambda: patched(ONE, ("end", "offset", 0xFFFFFFFF))),
    ("two sizes", "zip64-end", lambda: wide_end(ONE, size=1)),
    ("two offsets", "zip64-end", lambda: wide_end(ONE, offset=1)),
    ("two counts", "zip64-end", lambda: wide_end(ONE, here=2, entries=2)),
    ("wide record too long", "zip64-end", lambda: wide_end(ONE, following=45)),
    ("wide record elsewhere", "zip64-end", lambda: wide_end(ONE, where=3)),
    ("wide record far off", "zip64-end", lambda: wide_end(ONE, where=(1 << 64) - 1)),
    ("no wide record", "zip64-end", lambda: wide_end(ONE).replace(b"PK\x06\x06", b"PK\x06\x05")),
    ("wide on two disks", "several-disks", lambda: wide_end(ONE, disks=2)),
    ("wide on the second disk", "several-disks", lambda: wide_end(ONE, locator_disk=1)),
    (
        "wide offset far off",
        "directory",
        lambda: patched(wide_end(ONE, offset=(1 << 64) - 1), *POINTING),
    ),
    ("central zip64 missing", "zip64", lambda: patched(ONE, ("central", "packed", 0xFFFFFFFF))),
    ("disk in zip64 missing", "zip64", lambda: patched(ONE, ("central", "disk", 0xFFFF))),
    (
        "central zip64 of another size",
        "stored-size",
        lambda: patched(with_extra(ONE, central=zip64_field(SIZE, SIZE + 1)), *CENTRAL_POINTS),
    ),
    (
        "central zip64 unasked for, and another size",
        "zip64",
        lambda: with_extra(ONE, central=zip64_field(SIZE + 1, SIZE)),
    ),
    ("central zip64 of odd length", "zip64", lambda: with_extra(ONE, central=b"\1\0\1\0\0")),
    ("local zip64 missing", "zip64", lambda: patched(ONE, *LOCAL_POINTS)),
    (
        "local zip64 of another size",
        "zip64",
        lambda: patched(with_extra(ONE, local=zip64_field(SIZE, SIZE + 1)), *LOCAL_POINTS),
    ),
    (
        "local zip64 unasked for, and another size",
        "zip64",
        lambda: with_extra(ONE, local=zip64_field(SIZE, SIZE + 1)),
    ),
    (
        "zip64 twice",
        "extra",
        lambda: with_extra(ONE, central=2 * zip64_field(SIZE, SIZE)),
    ),
    ("extra fields past their end", "extra", lambda: with_extra(ONE, central=b"\x99\0\5\0abcd")),
    ("local extra fields cut short", "extra", lambda: with_extra(ONE, local=b"\x99\0\5")),
    # members and their places
    ("data before the first", "before", lambda: inserted(ONE, 0, b"MZ and more", moved=True)),
    ("only data", "before", lambda: b"MZ" + patched(zipped({}), ("end", "offset", 2))),
    ("a gap", "gap", lambda: inserted(ONE, starts(ONE, "central"), b"?", moved=False)),
    ("two of one place", "overlap", lambda: second_offset(0)),
    ("one inside another", "overlap", lambda: second_offset(100)),
    ("one close behind another", "overlap", lambda: second_offset(29)),
    ("no header there", "no-member", lambda: TWO.replace(b"PK\x03\x04", b"PK\x03\x05", 1)),
    ("in the directory", "overlap", lambda: second_offset(SECOND_LISTED)),
    ("behind everything", "overlap", lambda: second_offset(0xFFFFFFF0)),
    ("into the directory", "overlap", lambda: patched(ONE, *sizes(IN_BOTH, SIZE + 1))),
    ("no descriptor", "descriptor", lambda: both("flags", 8)),
    ("wrong descriptor", "descriptor", lambda: PIPED.replace(b"PK\7\10", b"PK\7\11")),
    (
        "gap after the descriptor",
        "gap",
        lambda: inserted(PIPED, starts(PIPED, "central"), bytes(20), moved=False),
    ),
    (
        "gap and no descriptor",
        "descriptor",
        lambda: inserted(both("flags", 8), starts(ONE, "central"), bytes(40), moved=False),
    ),
    # local header against directory
    ("two names", "names-differ", lambda: ONE.replace(b"a.bin", b"b.bin", 1)),
    ("local UTF-8", "flags-differ", lambda: patched(ONE, ("local", "flags", 0x0800))),
    ("local encryption", "flags-differ", lambda: patched(ONE, ("local", "flags", 1))),
    ("two methods", "methods-differ", lambda: patched(ONE, ("local", "method", 8))),
    ("two CRCs", "sizes-differ", lambda: patched(ONE, ("local", "crc", 1))),
    ("two sizes unpacked", "sizes-differ", lambda: patched(PACKED, ("local", "unpacked", 1))),
    ("two sizes packed", "sizes-differ", lambda: patched(PACKED, ("local", "packed", 1))),
    ("another CRC to come", "sizes-differ", lambda: patched(PIPED, ("local", "crc", 1))),
    # what a member is
    ("link", "link", lambda: mode(0o120777 << 16)),
    ("link on DOS", "link", lambda: patched(mode(0o120777 << 16), ("central", "made_by", 20))),
    ("device", "kind", lambda: mode(0o060600 << 16)),
    ("pipe", "kind", lambda: mode(0o010600 << 16)),
    ("socket", "kind", lambda: mode(0o140600 << 16)),
    ("folder by mode only", "kind", lambda: mode(0o040755 << 16)),
    ("folder by attribute only", "kind", lambda: mode(0x10)),
    ("volume label", "kind", lambda: mode(0x08)),
    ("reparse point", "kind", lambda: mode(0x400)),
    (
        "file by mode only",
        "kind",
        lambda: damaged({"a/": b""}, ("central", "attributes", 0o100644 << 16)),
    ),
    ("folder with contents", "folder-contents", lambda: zipped({"a/": TEXT})),
    ("encrypted", "encrypted", lambda: both("flags", 0x0001)),
    ("strongly encrypted", "encrypted", lambda: both("flags", 0x0041)),
    ("headers masked", "encrypted", lambda: both("flags", 0x2000)),
    ("AES", "encrypted", lambda: both("method", 99)),
    ("patch data", "flags", lambda: both("flags", 0x0020)),
    ("method deflate64", "method", lambda: both("method", 9)),
    ("method LZMA", "method", lambda: zipped({"a.bin": TEXT}, zipfile.ZIP_LZMA)),
    ("method bzip2", "method", lambda: zipped({"a.bin": TEXT}, zipfile.ZIP_BZIP2)),
    ("stored in two sizes", "stored-size", lambda: restated(SIZE + 1, ONE)),
    ("too large", "too-large", lambda: large(UNPACKED_LIMIT + 1, UNPACKED_LIMIT // 100)),
    ("too large packed", "too-large", lambda: large(1, UNPACKED_LIMIT + 1)),
    ("stated ratio", "ratio", lambda: restated(RATIO_FROM + 1)),
    # contents
    ("CRC", "crc", lambda: ONE.replace(b"bench B", b"bench C", 1)),
    ("deflate data", "damaged", lambda: patched_at(PACKED, 36, "<B", 0xFF)),
    ("deflate data cut short", "damaged", lambda: both("method", 8)),
    ("deflate data followed by more", "data-after", lambda: longer_stream(b"x")),
    ("much more after deflate data", "data-after", lambda: longer_stream(bytes(3 * CHUNK))),
    ("more than stated", "longer", lambda: restated(SIZE - 1)),
    ("nothing stated", "longer", lambda: restated(0)),
    ("less than stated", "shorter", lambda: restated(SIZE + 1)),
    # names
    ("absolute", "name-absolute", lambda: named(b"/a.bin")),
    ("drive", "name-drive", lambda: named(b"c:a.bin")),
    ("stream", "name-drive", lambda: named(b"a.bin:b")),
    ("backslash", "name-backslash", lambda: named(b"..\\a.bin")),
    ("up", "name-part", lambda: named(b"../a.bin")),
    ("up at the end", "name-part", lambda: named(b"a/..")),
    ("up with a space", "name-part", lambda: named(b"a/.. /b")),
    ("here", "name-part", lambda: named(b"./a.bin")),
    ("empty part", "name-part", lambda: named(b"a//b")),
    ("no name", "name-part", lambda: zipped({"": b""})),
    ("NUL", "name-characters", lambda: named(b"a.bin\0.txt")),
    ("escape", "name-characters", lambda: named(b"a\x1b[2J")),
    ("turned round", "name-characters", lambda: named("a\u202enib.exe".encode(), flags=0x800)),
    ("nothing to be seen", "name-characters", lambda: named("a\u200bb".encode(), flags=0x800)),
    ("not UTF-8", "name-encoding", lambda: named(b"a\xff", flags=0x800)),
    ("UTF-8 with a long NUL", "name-encoding", lambda: named(b"a\xc0\x80", flags=0x800)),
    ("long name", "name-long", lambda: named(b"a" * (NAME_LIMIT + 1))),
    (
        "central Unicode path",
        "two-names",
        lambda: with_extra(ONE, central=unicode_path(b"a.bin", b"b.bin")),
    ),
    (
        "local Unicode path",
        "two-names",
        lambda: with_extra(ONE, local=unicode_path(b"a.bin", b"../b.bin")),
    ),
    ("one name twice", "name-twice", lambda: named(b"aa", b"bb", b"aa")),
    ("one name in two cases", "name-twice", lambda: named(b"Name.bin", b"nAME.BIN")),
    ("one name with a dot", "name-twice", lambda: named(b"name", b"name.")),
    ("file and folder of one name", "name-twice", lambda: named(b"name", b"name/")),
    ("file, then folder", "file-and-folder", lambda: named(b"name", b"Name/a.bin")),
    ("folder, then file", "file-and-folder", lambda: named(b"Name/a.bin", b"name")),
    ("too many", "many-members", lambda: many(MEMBER_LIMIT + 1)),
]


def counts(entries: int) -> list[Change]:
    return [("end", "here", entries), ("end", "entries", entries)]


def sizes(where: tuple[str, ...], size: int) -> list[Change]:
    return [(place, field, size) for place in where for field in ("packed", "unpacked")]


def many(count: int) -> bytes:
    return zipped({f"{place}.bin": b"" for place in range(count)}, zipfile.ZIP_STORED)


def large(size: int, packed: int) -> bytes:
    data = with_extra(PACKED, local=zip64_field(size, packed), central=zip64_field(size, packed))
    return patched(data, *LOCAL_POINTS, *CENTRAL_POINTS)


@pytest.mark.parametrize(
    ("reason", "build"), [pytest.param(*rest, id=name) for name, *rest in HOSTILE]
)
def test_one_damage_one_refusal(reason: str, build: Callable[[], bytes]) -> None:
    assert refused(build()).reason == f"unpack.{reason}"


def test_names_that_only_a_normal_form_makes_one() -> None:
    one, other = "é.bin".encode(), "e\u0301.bin".encode()
    data = zipped({one.decode(): b"1", other.decode(): b"2"})
    assert refused(data).reason == "unpack.name-twice"


def test_every_refusal_is_met() -> None:
    met = {f"unpack.{reason}" for _, reason, _ in HOSTILE}
    assert met <= UNPACK.keys()
    # A file that is shorter than its size was when it was opened.
    assert UNPACK.keys() - met == {"unpack.cut-short"}


@pytest.mark.parametrize("cut", [0, 40, len(ONE) - 1])
def test_a_file_that_is_shorter_than_its_size(cut: int) -> None:
    with pytest.raises(IntakeRefusedError) as caught:
        list_members(io.BytesIO(ONE[:cut]), len(ONE))
    assert caught.value.reason == "unpack.cut-short"
    (member,) = listed(ONE)
    with pytest.raises(IntakeRefusedError) as caught:
        contents_of(ONE[:cut][: member.contents + 9], member)
    assert caught.value.reason == "unpack.cut-short"


def test_nothing_is_read_behind_the_end() -> None:
    with pytest.raises(IntakeRefusedError) as caught:
        Source(io.BytesIO(ONE), 10).at(8, 3)
    assert caught.value.reason == "unpack.cut-short"


def test_more_after_a_stream_that_ends_with_a_piece() -> None:
    contents = bytes(CHUNK - 5)
    # One stored block is 5 bytes and the data (RFC 1951, section 3.2.4).
    packed = struct.pack("<BHH", 1, len(contents), len(contents) ^ 0xFFFF) + contents
    sizes = Sizes(crc=zlib.crc32(contents), packed=CHUNK, unpacked=len(contents))
    member = Member(name="a.bin", method=8, sizes=sizes, offset=0, contents=0)
    assert contents_of(packed, member) == contents
    longer = replace(member, sizes=replace(sizes, packed=CHUNK + 1))
    with pytest.raises(IntakeRefusedError) as caught:
        contents_of(packed + b"x", longer)
    assert caught.value.reason == "unpack.data-after"


def test_a_stored_member_is_held_to_its_size_too() -> None:
    (member,) = listed(ONE)
    with pytest.raises(IntakeRefusedError) as caught:
        contents_of(ONE, replace(member, sizes=replace(member.sizes, unpacked=SIZE - 1)))
    assert caught.value.reason == "unpack.longer"


# --- fields that say the same in another way


@pytest.mark.parametrize(
    "build",
    [
        pytest.param(lambda: wide_end(ONE), id="zip64 end unasked for"),
        pytest.param(lambda: patched(wide_end(ONE), *POINTING), id="zip64 end"),
        pytest.param(
            lambda: with_extra(ONE, central=zip64_field(SIZE, SIZE, 0)), id="all of zip64"
        ),
        pytest.param(
            lambda: patched(with_extra(ONE, central=zip64_field(SIZE, SIZE)), *CENTRAL_POINTS),
            id="central zip64",
        ),
        pytest.param(
            lambda: patched(with_extra(ONE, local=zip64_field(SIZE, SIZE)), *LOCAL_POINTS),
            id="local zip64",
        ),
        pytest.param(
            lambda: patched(
                with_extra(ONE, central=b"\1\0\4\0" + bytes(4)), ("central", "disk", 0xFFFF)
            ),
            id="disk in zip64",
        ),
        pytest.param(
            lambda: with_extra(ONE, local=bytes(3), central=b"\x99\0\0\0"), id="padding and more"
        ),
        pytest.param(
            lambda: with_extra(ONE, central=unicode_path(b"a.bin", b"a.bin")), id="Unicode path"
        ),
        pytest.param(lambda: patched(ONE, ("central", "attributes", 0o100644 << 16)), id="mode"),
        pytest.param(lambda: patched(ONE, ("central", "attributes", 0x20)), id="archive bit"),
        pytest.param(lambda: PIPED.replace(b"PK\7\10", b""), id="descriptor without signature"),
    ],
)
def test_the_same_member_by_other_ways(build: Callable[[], bytes]) -> None:
    data = build()
    if b"PK\7\10" in PIPED and b"PK\7\10" not in data and data[6] & 8:
        data = patched(data, ("end", "offset", starts(data, "central")))
    agree(data)
    assert unpacked(data) == {"a.bin": TEXT}


def test_as_many_members_as_are_allowed() -> None:
    assert len(listed(many(MEMBER_LIMIT))) == MEMBER_LIMIT


# --- limits while unpacking


def test_a_trap_is_refused_before_anything_is_written() -> None:
    data = zipped({"a.bin": bytes(RATIO_FROM + 1)})
    assert refused(data).reason == "unpack.ratio"
    assert refused(data).parameters["limit"] == RATIO_LIMIT
    # What unpacks to no more than this may be erased flash.
    tracemalloc.start()
    (member,) = listed(zeros := zipped({"a.bin": bytes(RATIO_FROM)}))
    tracemalloc.reset_peak()
    before = tracemalloc.get_traced_memory()[0]
    done = 0

    def take(block: memoryview) -> None:
        nonlocal done
        done += len(block)

    unpack_member(io.BytesIO(zeros), member, take, silent, Cancel())
    peak = tracemalloc.get_traced_memory()[1] - before
    tracemalloc.stop()
    assert done == RATIO_FROM
    assert peak < 4 * MIB


@pytest.mark.parametrize("stated", [0, 1, SIZE, MIB, MIB + 1])
def test_a_trap_that_states_less_is_stopped_at_what_it_states(stated: int) -> None:
    data = restated(stated, zipped({"a.bin": bytes(RATIO_FROM + 1)}))
    (member,) = listed(data)
    out = bytearray()
    with pytest.raises(IntakeRefusedError) as caught:
        unpack_member(io.BytesIO(data), member, out.extend, silent, Cancel())
    assert caught.value.reason == "unpack.longer"
    assert len(out) <= stated


def test_the_ratio_is_counted_while_unpacking_too() -> None:
    (member,) = listed(data := zipped({"a.bin": bytes(RATIO_FROM - 1)}))
    bomb = zipped({"a.bin": bytes(2 * RATIO_FROM)})
    # The packed size would allow it; the data that were taken until then do not.
    trusting = replace(member, sizes=replace(member.sizes, packed=GIB, unpacked=2 * RATIO_FROM))
    done = 0

    def take(block: memoryview) -> None:
        nonlocal done
        done += len(block)

    with pytest.raises(IntakeRefusedError) as caught:
        unpack_member(io.BytesIO(bomb), trusting, take, silent, Cancel())
    assert caught.value.reason == "unpack.ratio"
    assert done <= RATIO_FROM
    assert len(data) < len(bomb)


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_progress_and_a_wish_to_stop(method: int) -> None:
    contents = random.Random(7).randbytes(3 * MIB)
    data = zipped({"a.bin": contents}, method)
    (member,) = listed(data)
    told: list[tuple[int, int]] = []
    out = bytearray()
    unpack_member(io.BytesIO(data), member, out.extend, lambda *x: told.append(x), Cancel())
    assert out == contents
    assert told == sorted(told)
    assert told[-1] == (3 * MIB, 3 * MIB)
    cancel = Cancel()
    del out[:]
    with pytest.raises(StoppedError):
        unpack_member(
            io.BytesIO(data), member, out.extend, lambda _done, _total: cancel.ask(), cancel
        )
    assert 0 < len(out) <= BLOCK_LIMIT
    with pytest.raises(StoppedError):
        unpack_member(io.BytesIO(data), member, out.extend, silent, cancel)


def test_whoever_writes_may_use_the_file_in_between() -> None:
    contents = random.Random(8).randbytes(MIB)
    file = io.BytesIO(zipped({"a.bin": contents}))
    (member,) = list_members(file, len(file.getvalue()))
    out = bytearray()

    def take(block: memoryview) -> None:
        out.extend(block)
        file.seek(0)

    unpack_member(file, member, take, silent, Cancel())
    assert out == contents


# --- laws

SMALL = {
    "stored": zipped({"a.bin": TEXT[:40], "d/": b"", "d/b.bin": OTHER[:30]}, zipfile.ZIP_STORED),
    "deflated": zipped({"a.bin": TEXT, "d/": b"", "d/b.bin": OTHER[:30]}, comment=b"remark"),
    "piped": zipped({"a.bin": TEXT, "é.bin": OTHER[:30]}, piped=True),
    "zip64": zipped({"a.bin": TEXT[:100], "b.bin": b""}, piped=True, zip64=True),
    "wide end": patched(wide_end(zipped({"a.bin": TEXT})), *POINTING),
}


@pytest.mark.parametrize("name", SMALL)
def test_no_flipped_byte_changes_contents_in_silence(name: str) -> None:
    data = SMALL[name]
    right = unpacked(data)
    refusals = 0
    for at in range(len(data)):
        for mask in (0xFF, 1, 2, 4, 8, 16, 32, 64, 128):
            flipped = bytearray(data)
            flipped[at] ^= mask
            try:
                found = unpacked(bytes(flipped))
            except IntakeRefusedError:
                refusals += 1
            else:
                assert found == right, (at, mask)
                # The checker that walks from the front comes to the same conclusion.
                assert front_to_back(bytes(flipped)) is front_to_back(data), (at, mask)
    assert refusals > 4 * len(data)


def taken_or_refused(data: bytes) -> dict[str, bytes] | str:
    """Return the contents by name, or the reason of a refusal; nothing else may be raised."""
    try:
        return unpacked(data)
    except CardprepError as error:
        return error.reason


@settings(deadline=None)
@given(data=st.binary(max_size=300))
@example(data=b"PK\x05\x06" * 100)
def test_any_bytes_are_refused_or_taken(data: bytes) -> None:
    found = taken_or_refused(data)
    assert isinstance(found, dict) or found in UNPACK


edits = st.lists(st.tuples(st.integers(0, 2000), st.binary(min_size=1, max_size=8)), max_size=4)


@settings(deadline=None, max_examples=300)
@given(name=st.sampled_from(sorted(SMALL)), edits=edits, cut=st.sampled_from([0, 0, 0, 1, 30]))
def test_any_change_is_refused_or_taken(
    name: str, edits: list[tuple[int, bytes]], cut: int
) -> None:
    data = bytearray(SMALL[name])
    for at, piece in edits:
        begin = at % len(data)
        data[begin : begin + len(piece)] = piece
    found = taken_or_refused(raw := bytes(data[: len(data) - cut]))
    if isinstance(found, str):
        assert found in UNPACK
        return
    # What is taken is what Python's library finds, unless the versions frighten it.
    with suppress(NotImplementedError), zipfile.ZipFile(io.BytesIO(raw)) as file:
        assert {info.filename: file.read(info) for info in file.infolist()} == found


def test_a_tail_full_of_end_records_takes_no_long_time() -> None:
    data = b"PK\x05\x06" * 20_000 + zipped({})
    with pytest.raises(IntakeRefusedError):
        listed(data)
