"""ZIP made by hand: what is walked is held against headers, descriptors and directory."""

from __future__ import annotations

import io
import random
import struct
import zipfile
import zlib

import pytest

from cardprep.images import zip_members
from cardprep.images.report import ContainerReport, Problem, Soundness
from cardprep.images.zip_file import ZipReader
from cardprep.terms import KIB

TEXT = b"Gannet Slip Marine Electronics, bench B. " * 20
MEMBERS = {"ov-d9.bin": TEXT, "empty": b"", "folder/ov-v40.bin": bytes(range(256))}


def report_of(data: bytes, cut: int = 1 << 20) -> ContainerReport:
    machine = ZipReader()
    for at in range(0, len(data), cut):
        machine.feed(memoryview(data)[at : at + cut])
    return machine.finish()


def local(name: bytes, body: bytes, **changed: int) -> bytes:
    """Return a member as stored, its local header changed as asked for."""
    field = {"flags": 0, "method": 0, "time": 0, "crc": zlib.crc32(body)}
    field |= {"packed": len(body), "unpacked": len(body), "extra": 0} | changed
    numbers = [field[key] for key in ("flags", "method", "time", "crc", "packed", "unpacked")]
    head = struct.pack("<4sHHHIIIIHH", b"PK\3\4", 20, *numbers, len(name), field["extra"])
    return head + name + body


def entry(name: bytes, body: bytes, **changed: int) -> bytes:
    field = {"flags": 0, "method": 0, "time": 0, "crc": zlib.crc32(body), "offset": 0, "disk": 0}
    field |= {"packed": len(body), "unpacked": len(body)} | changed
    numbers = [field[key] for key in ("flags", "method", "time", "crc", "packed", "unpacked")]
    head = struct.pack("<4sHHHHIIIIHHH", b"PK\1\2", 20, 20, *numbers, len(name), 0, 0)
    return head + struct.pack("<HHII", field["disk"], 0, 0, field["offset"]) + name


def end(count: int, size: int, offset: int, **changed: int) -> bytes:
    field = {"disk": 0, "first": 0, "here": count, "comment": 0} | changed
    numbers = (field["disk"], field["first"], field["here"], count, size, offset)
    return struct.pack("<4sHHHHIIH", b"PK\5\6", *numbers, field["comment"])


def whole(member: bytes, *entries: bytes) -> bytes:
    directory = b"".join(entries)
    return member + directory + end(len(entries), len(directory), len(member))


def reasons(report: ContainerReport) -> list[str]:
    return [problem.reason for problem in report.problems]


def test_hand_made_members_agree_with_the_library() -> None:
    data = whole(local(b"a", b"contents"), entry(b"a", b"contents"))
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        assert file.testzip() is None
        assert file.read("a") == b"contents"
    assert report_of(data).soundness is Soundness.HOLDS


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        pytest.param({"crc": 1}, ["zip.crc", "zip.sizes-differ"], id="CRC"),
        pytest.param({"unpacked": 9}, ["zip.unpacked-size", "zip.sizes-differ"], id="unpacked"),
        pytest.param({"time": 5}, ["zip.times-differ"], id="time"),
        pytest.param({"flags": 0x0800}, ["zip.flags-differ"], id="UTF-8 flag"),
        pytest.param({"flags": 0x0002}, [], id="a flag that says how it was packed"),
        pytest.param({"flags": 0x0001}, ["zip.encrypted", "zip.flags-differ"], id="encrypted"),
        pytest.param({"method": 12}, ["zip.method", "zip.methods-differ"], id="method"),
    ],
)
def test_local_header_and_directory_that_differ(
    change: dict[str, int], expected: list[str]
) -> None:
    body = b"contents"
    assert reasons(report_of(whole(local(b"a", body, **change), entry(b"a", body)))) == expected


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        pytest.param({"crc": 1}, ["zip.sizes-differ"], id="CRC"),
        pytest.param({"packed": 9}, ["zip.sizes-differ"], id="packed"),
        pytest.param({"unpacked": 9}, ["zip.sizes-differ"], id="unpacked"),
        pytest.param({"method": 8}, ["zip.methods-differ"], id="method"),
        pytest.param({"disk": 1}, ["zip.several-disks"], id="disk"),
        pytest.param({"disk": 0xFFFF}, ["zip.zip64"], id="zip64 disk"),
        pytest.param({"offset": 1}, ["zip.entry-offset", "zip.not-listed"], id="offset"),
        pytest.param({"packed": 0xFFFFFFFF}, ["zip.zip64"], id="zip64 size"),
        pytest.param({"offset": 0xFFFFFFFF}, ["zip.zip64", "zip.not-listed"], id="zip64 offset"),
    ],
)
def test_directory_entries_that_differ(change: dict[str, int], expected: list[str]) -> None:
    body = b"contents"
    assert reasons(report_of(whole(local(b"a", body), entry(b"a", body, **change)))) == expected


def test_a_wrong_crc_is_told_with_the_name_in_harmless_spelling() -> None:
    name, body = b"a\x1b[2Jb", b"contents"
    report = report_of(whole(local(name, body, crc=1), entry(name, body, crc=1)))
    assert report.problems == (
        Problem(
            "zip.crc",
            {"name": r"a\x1b[2Jb", "stated": "00000001", "computed": f"{zlib.crc32(body):08X}"},
        ),
    )
    assert report.soundness is Soundness.BROKEN


def test_names_that_differ() -> None:
    report = report_of(whole(local(b"good.bin", b"x"), entry(b"evil.bin", b"x")))
    assert report.problems == (
        Problem("zip.names-differ", {"local": "good.bin", "directory": "evil.bin"}),
    )
    assert report.soundness is Soundness.BROKEN
    # Long names are shown shortened, and compared whole.
    report = report_of(whole(local(b"n" * 300, b"x"), entry(b"n" * 299 + b"m", b"x")))
    assert reasons(report) == ["zip.names-differ"]


def test_a_name_given_twice_is_told() -> None:
    first, second = local(b"a", b"one"), local(b"a", b"two")
    entries = entry(b"a", b"one"), entry(b"a", b"two", offset=len(first))
    report = report_of(whole(first + second, *entries))
    assert report.problems == (Problem("zip.name-twice", {"name": "a"}),)
    assert report.soundness is Soundness.HOLDS


def test_two_entries_for_one_member_and_a_member_that_is_not_listed() -> None:
    first, second = local(b"a", b"x"), local(b"b", b"y")
    report = report_of(whole(first + second, entry(b"a", b"x"), entry(b"a", b"x")))
    assert report.problems == (
        Problem("zip.entry-offset", {"name": "a", "offset": 0}),
        Problem("zip.not-listed", {"name": "b"}),
    )
    assert report.soundness is Soundness.BROKEN


def test_more_entries_than_members_are_not_read_on() -> None:
    report = report_of(local(b"a", b"x") + entry(b"a", b"x") * 3 + b"rubbish")
    assert report.problems == (Problem("zip.more-entries", {"members": 1}),)


@pytest.mark.parametrize(
    "change",
    [{"disk": 1}, {"first": 1}, {"here": 2}],
    ids=["disk", "first disk", "entries here"],
)
def test_end_records_that_cannot_be_right(change: dict[str, int]) -> None:
    member, directory = local(b"a", b"x"), entry(b"a", b"x")
    good = (1, len(directory), len(member))
    assert report_of(member + directory + end(*good)).problems == ()
    expected = {"stated": 1, "found": 1, "stated_offset": 32, "found_offset": 32}
    report = report_of(member + directory + end(*good, **change))
    assert report.problems == (Problem("zip.end-record", expected),)
    for wrong in ((2, *good[1:]), (1, good[1] + 1, good[2]), (*good[:2], good[2] + 1)):
        assert reasons(report_of(member + directory + end(*wrong))) == ["zip.end-record"]


def test_a_file_without_directory() -> None:
    member = local(b"a", b"x")
    report = report_of(member + end(0, 0, len(member)))
    assert report.problems == (Problem("zip.not-listed", {"name": "a"}),)


def test_something_between_the_members() -> None:
    report = report_of(local(b"a", b"x") + b"junk" + local(b"b", b"y"))
    assert report.problems == (Problem("zip.no-structure", {"offset": 32, "members": 1}),)


def test_a_member_inside_the_directory() -> None:
    report = report_of(local(b"a", b"x") + entry(b"a", b"x") + local(b"b", b"y"))
    assert reasons(report) == ["zip.no-structure"]


def deflated(body: bytes) -> bytes:
    return zlib.compress(body, wbits=-15)


def test_damaged_deflate_data_and_the_member_after_it() -> None:
    sizes = {"method": 8, "crc": 1, "packed": 30, "unpacked": 60}
    first = local(b"a", b"\xff" * 30, **sizes)
    second = local(b"b", b"fine")
    data = whole(first + second, entry(b"a", b"", **sizes), entry(b"b", b"fine", offset=len(first)))
    report = report_of(data)
    assert report.problems == (Problem("zip.damaged", {"name": "a"}),)
    assert report.facts["members"] == 2
    report = report_of(local(b"a", b"\xff" * 30, **{**sizes, "flags": 8}) + second)
    assert report.problems == (Problem("zip.damaged", {"name": "a"}),)
    assert report.facts["members"] == 0


def test_deflate_data_that_end_before_or_after_their_size() -> None:
    body = deflated(TEXT)
    sizes = {"method": 8, "crc": zlib.crc32(TEXT), "unpacked": len(TEXT)}
    longer = {**sizes, "packed": len(body) + 5}
    data = whole(local(b"a", body + b"extra", **longer), entry(b"a", b"", **longer))
    assert report_of(data).problems == (
        Problem("zip.packed-size", {"name": "a", "stated": len(body) + 5, "found": len(body)}),
    )
    # In more than one block, too.
    noise = random.Random(9).randbytes(100 * KIB)
    body = deflated(noise)
    sizes = {"method": 8, "crc": zlib.crc32(noise), "unpacked": len(noise)}
    shorter = {**sizes, "packed": len(body) - 1}
    data = whole(local(b"a", body[:-1], **shorter), entry(b"a", b"", **shorter))
    assert report_of(data).problems == (Problem("zip.damaged", {"name": "a"}),)


# The engine may hold back output when a piece of it is just full: with 21 to 24
# bytes more, all the deflate data are used up and yet not all contents are out.
@pytest.mark.parametrize("more", [-1, 0, 1, 21, 22, 24, 256 * KIB + 42])
def test_contents_that_just_fill_a_piece_of_output(more: int) -> None:
    size = 256 * KIB + more
    body = deflated(bytes(size))
    sizes = {"method": 8, "crc": zlib.crc32(bytes(size)), "unpacked": size}
    assert report_of(whole(local(b"a", body, **sizes), entry(b"a", body, **sizes))).problems == ()


def test_an_empty_member_has_a_checksum_too() -> None:
    data = whole(local(b"a", b"", crc=1), entry(b"a", b"", crc=1))
    assert reasons(report_of(data)) == ["zip.crc"]


def test_an_empty_member_that_is_called_deflated() -> None:
    data = whole(local(b"a", b"", method=8), entry(b"a", b"", method=8))
    assert report_of(data).soundness is Soundness.HOLDS


@pytest.mark.parametrize("signature", [b"", b"PK\7\x08"], ids=["unsigned", "signed"])
@pytest.mark.parametrize("form", ["<III", "<IQQ"], ids=["4 bytes", "8 bytes"])
def test_every_form_of_a_descriptor(signature: bytes, form: str) -> None:
    body = deflated(TEXT)
    descriptor = signature + struct.pack(form, zlib.crc32(TEXT), len(body), len(TEXT))
    flags = {"flags": 8, "method": 8}
    member = local(b"a", body, **flags, crc=0, packed=0, unpacked=0) + descriptor
    stated = {"crc": zlib.crc32(TEXT), "packed": len(body), "unpacked": len(TEXT)}
    assert report_of(whole(member, entry(b"a", b"", **flags, **stated))).problems == ()
    wrong = bytearray(member)
    wrong[-1] ^= 0xFF
    report = report_of(whole(bytes(wrong), entry(b"a", b"", **flags, **stated)))
    assert reasons(report)[0] == "zip.descriptor"
    # A wrong one is taken to be of the usual form.
    assert (reasons(report)[1:] == []) is (form == "<III")
    assert report.soundness is Soundness.BROKEN


@pytest.mark.parametrize(
    ("early", "expected"),
    [
        pytest.param({"crc": 0, "packed": 0, "unpacked": 0}, [], id="zeros"),
        pytest.param({"packed": 0xFFFFFFFF, "unpacked": 0xFFFFFFFF}, [], id="zip64"),
        pytest.param({}, [], id="known already"),
        pytest.param({"crc": 1}, ["zip.header-sizes"], id="another CRC"),
        pytest.param({"packed": 1}, ["zip.header-sizes"], id="another packed size"),
        pytest.param({"unpacked": 1}, ["zip.header-sizes"], id="another size"),
    ],
)
def test_what_stands_before_a_descriptor(early: dict[str, int], expected: list[str]) -> None:
    body = deflated(TEXT)
    known = {"flags": 8, "method": 8, "crc": zlib.crc32(TEXT), "unpacked": len(TEXT)}
    member = local(b"a", body, **{**known, **early})
    member += struct.pack("<4sIII", b"PK\7\x08", zlib.crc32(TEXT), len(body), len(TEXT))
    report = report_of(whole(member, entry(b"a", body, **known)))
    assert reasons(report) == expected


def test_a_descriptor_whose_crc_looks_like_its_signature() -> None:
    # A CRC-32 can be forced to any value by four bytes at the end.
    wanted = int.from_bytes(b"PK\7\x08", "little")
    contents = b"forced" + forcing(zlib.crc32(b"forced"), wanted)
    assert zlib.crc32(contents) == wanted
    body = deflated(contents)
    stated = {"crc": wanted, "packed": len(body), "unpacked": len(contents)}
    member = local(b"a", body, flags=8, method=8, crc=0, packed=0, unpacked=0)
    member += struct.pack("<III", wanted, len(body), len(contents))
    data = whole(member, entry(b"a", b"", flags=8, method=8, **stated))
    assert report_of(data).problems == ()


def forcing(crc: int, wanted: int) -> bytes:
    """Return the four bytes that turn one CRC-32 into another."""
    table = [zlib.crc32(bytes([n]), 0xFFFFFFFF) ^ 0xFFFFFFFF for n in range(256)]
    tops = {value >> 24: n for n, value in enumerate(table)}
    state = wanted ^ 0xFFFFFFFF
    chosen = []
    for _ in range(4):
        n = tops[state >> 24]
        chosen.append(n)
        state = ((state ^ table[n]) << 8) & 0xFFFFFFFF
    register = crc ^ 0xFFFFFFFF
    out = bytearray()
    for n in reversed(chosen):
        out.append(n ^ (register & 0xFF))
        register = (register >> 8) ^ table[n]
    return bytes(out)


def test_a_stored_member_with_its_size_before_and_after_it() -> None:
    after = struct.pack("<4sIII", b"PK\7\x08", zlib.crc32(b"xyz"), 3, 3)
    data = whole(local(b"a", b"xyz", flags=8) + after, entry(b"a", b"xyz", flags=8))
    assert report_of(data).soundness is Soundness.HOLDS


@pytest.mark.parametrize("flags", [1, 0x40, 9], ids=["usual", "strong", "with descriptor"])
def test_an_encrypted_member_is_passed_over(flags: int) -> None:
    first = local(b"a", b"secret", flags=flags, crc=7)
    if flags == 9:
        first += struct.pack("<4sIII", b"PK\7\x08", 7, 6, 6)
    second = local(b"b", b"plain")
    listed = entry(b"a", b"secret", flags=flags, crc=7), entry(b"b", b"plain", offset=len(first))
    report = report_of(whole(first + second, *listed))
    assert report.problems == (Problem("zip.encrypted", {"name": "a"}),)
    assert report.soundness is Soundness.UNCHECKED
    assert report.facts["unpacked_bytes"] == 5


def test_an_encrypted_member_without_size_ends_the_walk() -> None:
    report = report_of(local(b"a", b"secret", flags=9, packed=0))
    assert reasons(report) == ["zip.encrypted", "zip.size-unknown"]
    assert report.soundness is Soundness.UNCHECKED


@pytest.mark.parametrize("flags", [0, 1], ids=["stored", "encrypted"])
def test_a_member_that_is_larger_than_the_file(flags: int) -> None:
    report = report_of(local(b"a", b"x", flags=flags, packed=0xFFFFFFFE, unpacked=0xFFFFFFFE))
    assert reasons(report)[-1] == "zip.cut-short"
    assert report.soundness is Soundness.BROKEN


@pytest.mark.parametrize(
    "extra",
    [
        pytest.param(b"", id="no field"),
        pytest.param(b"\1\0\x10\0" + bytes(8), id="cut short"),
        pytest.param(b"\1\0\x08\0" + bytes(8), id="one size only"),
        pytest.param(b"\xaa\0\0\0", id="another field"),
        pytest.param(b"\1\0\x10\0" + b"\xff" * 16, id="larger than any card"),
    ],
)
def test_sizes_that_no_zip64_field_gives(extra: bytes) -> None:
    sizes = {"packed": 0xFFFFFFFF, "unpacked": 0xFFFFFFFF, "extra": len(extra)}
    report = report_of(local(b"a", extra + b"x", **sizes))
    assert report.problems == (Problem("zip.zip64", {"name": "a"}),)
    assert report.soundness is Soundness.UNCHECKED


@pytest.mark.parametrize("signature", [b"PK\6\6", b"PK\6\x07", b"PK\6\x08", b"PK\5\5"])
def test_structures_that_are_not_looked_into(signature: bytes) -> None:
    report = report_of(local(b"a", b"x") + entry(b"a", b"x") + signature + bytes(80))
    assert report.problems == (Problem("zip.other-structure", {"offset": 79}),)
    assert report.soundness is Soundness.UNCHECKED


def test_too_many_members() -> None:
    data = b"".join(local(b"%d" % n, b"") for n in range(zip_members.MEMBER_LIMIT + 1))
    report = report_of(data)
    assert report.problems == (Problem("zip.many-members", {"limit": 4096}),)
    assert report.soundness is Soundness.UNCHECKED
    assert report.facts["members"] == 4096
