"""The entry sets of one exFAT folder.

Source: exFAT File System Specification (Microsoft, 2019), sections 6 and 7.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.volume.exfat_folder import ExfatFolder, read_exfat_folder
from tests.exfat import File, sealed

A = File(name="a").entries()
LONG = File(name="x" * 255).entries()
GUID = b"\xa0\x00" + bytes(30)
BENIGN = b"\xe0\x01" + bytes(30)


def folder(*sets: bytes) -> ExfatFolder:
    return read_exfat_folder(b"".join(sets) + bytes(64), "FOLDER")


def whats(content: ExfatFolder) -> list[str | int | None]:
    return [finding.parameters.get("what", finding.slug) for finding in content.findings]


def changed(entries: bytes, at: int, value: bytes) -> bytes:
    return entries[:at] + value + entries[at + len(value) :]


def test_sets_one_behind_the_other() -> None:
    content = folder(A, LONG, GUID, A)
    assert [file.name for file in content.files] == ["a", "x" * 255, "a"]
    assert content.stored == 3 + 19 + 1 + 3
    assert content.findings == []


def test_a_benign_secondary_entry_belongs_to_the_set() -> None:
    entries = sealed(changed(A, 1, b"\3") + BENIGN)
    content = folder(entries, A)
    assert [file.name for file in content.files] == ["a", "a"]
    assert content.findings == []
    assert all(file.checksum_holds for file in content.files)


def test_a_benign_set_is_passed_over_with_its_entries() -> None:
    content = folder(b"\xa5\x01" + bytes(30), BENIGN, A)
    assert [file.name for file in content.files] == ["a"]
    assert whats(content) == ["unknown-entry"]


@pytest.mark.parametrize(
    ("entries", "expected", "holds"),
    [
        pytest.param(A[:64], ["entry-set"], [], id="no name"),
        pytest.param(A[:32], ["entry-set"], [], id="no stream"),
        pytest.param(A[32:], ["orphan-entry"], [], id="no file"),
        pytest.param(A[:32] + A[64:] + A[32:64], ["entry-set"], [], id="order"),
        pytest.param(LONG[:-32], ["entry-set"], [], id="name cut short"),
        pytest.param(changed(A, 1, b"\1"), ["entry-set", "orphan-entry"], [], id="count too small"),
        pytest.param(changed(A, 1, b"\xff"), ["entry-set"], [], id="count too large"),
        pytest.param(changed(A, 35, b"\0"), ["entry-set"], [], id="no name length"),
        pytest.param(changed(A, 35, b"\x10"), ["entry-set"], [], id="name length too large"),
        pytest.param(changed(A, 64, b"\xc2"), ["entry-set"], [], id="a critical stranger"),
        pytest.param(b"\x86" + bytes(31), ["unknown-entry"], [], id="a critical primary stranger"),
        pytest.param(A + bytes(32) + A, ["entries-after-end"], [True], id="behind the end"),
        pytest.param(changed(A, 2, b"\0"), [], [False], id="checksum"),
    ],
)
def test_damaged_sets(entries: bytes, expected: list[str], holds: list[bool]) -> None:
    content = folder(entries)
    assert whats(content) == expected
    assert [file.checksum_holds for file in content.files] == holds


def test_deleted_sets() -> None:
    gone = bytearray(LONG)
    for at in range(0, len(gone), 32):
        gone[at] &= 0x7F
    content = folder(bytes(gone), A, bytes(gone[:64]), A, bytes(gone[:32]))
    assert [file.name for file in content.deleted] == ["x" * 255, ""]
    assert [file.name for file in content.files] == ["a", "a"]
    assert content.findings == []


@given(st.binary(max_size=2000))
def test_any_bytes_are_a_folder(data: bytes) -> None:
    content = read_exfat_folder(data, None)
    assert content.stored <= len(data) // 32


KINDS = st.sampled_from([0x85, 0xC0, 0xC1, 0x05, 0x40, 0x41, 0x81, 0x82, 0x83, 0xA0, 0xE0, 0x86])


@given(st.lists(st.tuples(KINDS, st.integers(0, 20), st.binary(min_size=30, max_size=30))))
def test_any_entries_are_a_folder(entries: list[tuple[int, int, bytes]]) -> None:
    data = b"".join(bytes(head) + rest for *head, rest in entries)
    content = read_exfat_folder(data, None)
    assert content.stored == len(entries)
    assert all(file.name for file in content.files)


def test_damage_everywhere_is_said_once() -> None:
    content = folder(A[32:64] * 5000, b"\x83" + bytes(31), b"\x81" + bytes(31))
    assert whats(content) == ["orphan-entry"]
    content = folder((b"\x83" + bytes(31)) * 5000)
    assert len(content.labels) == 16
