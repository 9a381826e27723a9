"""GUID partition tables: sfdisk makes and reads them, each field is damaged by itself."""

from __future__ import annotations

import zlib
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.volume.card import read_card
from cardprep.volume.gpt import (
    GuidEntry,
    GuidHeader,
    guid_text,
    read_guid_table,
)
from tests.cards import KIB, MIB, MemorySectors
from tests.volume.guid_card import BASIC, GuidCard, entry, said

FIELDS = tuple(GuidHeader.__dataclass_fields__)


def test_the_crc_is_the_one_of_the_standard() -> None:
    # Source: UEFI Specification 2.10, 5.3.2, names CRC-32; its check value over "123456789".
    assert zlib.crc32(b"123456789") == 0xCBF43926
    header = GuidHeader.parse(b"EFI PART" + bytes(84))
    assert header is not None
    assert header.sealed(b"123456789").entries_crc == 0xCBF43926
    # The header's own CRC is over as many bytes as it says, with the CRC itself as zero.
    whole = replace(header, length=92, crc=0x12345678)
    assert whole.computed_crc() == zlib.crc32(replace(whole, crc=0).to_bytes())


def test_how_a_guid_is_written() -> None:
    # Source: UEFI Specification 2.10, appendix A: the first three fields are little-endian.
    assert guid_text(bytes(range(16))) == "03020100-0504-0706-0809-0A0B0C0D0E0F"
    assert guid_text(BASIC) == "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"


@pytest.mark.parametrize("unit", [512, 4096])
def test_a_sound_table(unit: int) -> None:
    first, last = (2048, 4095) if unit == 512 else (256, 511)
    card = GuidCard(entry(1, first, last), unit=unit).read()
    assert said(card) == set()
    (part,) = card.partitions
    assert (part.number, part.kind, part.name) == (1, "gpt", "part 1")
    assert part.type_text == "EBD0A0A2-B9E5-4433-87C0-68B6B72699C7"
    assert (part.where.offset, part.where.length) == (first * unit, MIB)
    assert card.gpt is not None
    assert (card.gpt.unit, card.gpt.is_backup) == (unit, False)
    (unusual,) = (found for found in card.findings if found.slug == "table-not-usual")
    assert unusual.parameters == {"what": "gpt", "count": 1}


@pytest.mark.parametrize(("made", "read_with"), [(512, 4096), (4096, 512)])
def test_a_card_read_with_other_sectors_than_it_was_made_with(made: int, read_with: int) -> None:
    card = GuidCard(entry(1, 512, 1000), unit=made).read(read_with)
    assert ("partition-table-odd", "GPT header", "sector-size") in said(card)
    assert [part.where.offset for part in card.partitions] == [512 * made]


@pytest.mark.parametrize("length", [128, 256, 512])
def test_entries_may_be_longer(length: int) -> None:
    card = GuidCard(entry())
    array = entry().to_bytes().ljust(length, b"r") + entry(2, 5000, 5999).to_bytes()
    array = array.ljust(16384, b"\0")
    for header in (card.first, card.last):
        card.put(replace(header, entry_length=length, entry_count=16384 // length), array)
    found = card.read()
    assert [part.name for part in found.partitions] == ["part 1", "part 2"]
    assert said(found) == set()


# --- one damage each

SERIOUS = {
    "length": "gpt.length",
    "crc": "gpt.header-crc",
    "own_lba": "gpt.own-place",
    "entries_lba": "gpt.entries-place",
    "entry_count": "gpt.entry-count",
    "entry_length": "gpt.entry-length",
}
DAMAGED: dict[str, int | bytes] = {
    "revision": 0x00020000,
    "length": 91,
    "crc": 0,
    "reserved": 1,
    "own_lba": 7,
    "other_lba": 7,
    "first_usable": 9000,
    "last_usable": 9000,
    "disk_guid": b"\x78" * 16,
    "entries_lba": 1,
    "entry_count": 2**32 - 1,
    "entry_length": 129,
    "entries_crc": 0,
    "rest": b"\1".ljust(420, b"\0"),
}


@pytest.mark.parametrize("which", ["GPT header", "backup GPT header"])
@pytest.mark.parametrize("field", FIELDS)
def test_each_field_is_under_the_header_s_crc(field: str, which: str) -> None:
    card = GuidCard(entry())
    at = 1 if which == "GPT header" else card.end
    card.write(replace(card.stored(at), **{field: DAMAGED[field]}), at)  # type: ignore[arg-type]
    found = card.read()
    what = {"length": "gpt.length", "rest": "gpt.reserved"}.get(field, "gpt.header-crc")
    assert ("gpt-damaged", which, what) in said(found)
    # The other copy is used; only what the CRC does not cover leaves this one in use.
    assert found.gpt is not None
    assert found.gpt.is_backup == (which == "GPT header" and field != "rest")
    assert len(found.partitions) == 1


@pytest.mark.parametrize("which", ["GPT header", "backup GPT header"])
@pytest.mark.parametrize(
    ("field", "what"),
    [
        ("revision", "gpt.revision"),
        ("reserved", "gpt.reserved"),
        ("own_lba", "gpt.own-place"),
        ("other_lba", "gpt.other-place"),
        ("first_usable", "gpt.usable"),
        ("last_usable", "gpt.usable"),
        ("entries_lba", "gpt.entries-place"),
        ("entry_count", "gpt.entry-count"),
        ("entry_length", "gpt.entry-length"),
    ],
)
def test_a_field_that_cannot_be_right_under_a_right_crc(field: str, what: str, which: str) -> None:
    card = GuidCard(entry())
    at = 1 if which == "GPT header" else card.end
    header = replace(card.stored(at), **{field: DAMAGED[field]})  # type: ignore[arg-type]
    card.write(replace(header, crc=header.computed_crc()), at)
    found = card.read()
    assert ("gpt-damaged", which, what) in said(found)
    assert found.gpt is not None
    assert found.gpt.is_backup == (which == "GPT header" and field in SERIOUS)


@pytest.mark.parametrize("which", ["GPT header", "backup GPT header"])
def test_entries_are_under_a_crc_of_their_own(which: str) -> None:
    for place in (0, 127, 128 * 127 + 5, 128 * 128 - 1):
        card = GuidCard(entry())
        header = card.first if which == "GPT header" else card.last
        card.data[header.entries_lba * 512 + place] ^= 0xFF
        found = card.read()
        assert said(found) == {("gpt-damaged", which, "gpt.entries-crc")}
        assert found.gpt is not None
        assert found.gpt.is_backup == (which == "GPT header")


def test_both_copies_damaged() -> None:
    card = GuidCard(entry())
    for header in (card.first, card.last):
        card.data[header.entries_lba * 512] ^= 0xFF
    found = card.read()
    assert ("volume-unreadable", "partition 1", "gpt-broken") in said(found)
    assert any(finding.undecided for finding in found.findings)
    assert [part.kind for part in found.partitions] == ["protective"]


@pytest.mark.parametrize(
    ("change", "what"),
    [
        pytest.param({"disk_guid": b"\x01" * 16}, "gpt.disk-guid", id="disk"),
        pytest.param({"first_usable": 40}, "gpt.usable", id="room"),
        pytest.param({"entry_count": 64}, "gpt.entry-count", id="count"),
    ],
)
def test_a_backup_that_differs(change: dict[str, int | bytes], what: str) -> None:
    card = GuidCard(entry())
    last = replace(card.last, **change)  # type: ignore[arg-type]
    card.put(last, card.array[: last.entry_count * 128])
    assert ("gpt-backup-differs", "backup GPT header", what) in said(card.read())


def test_a_backup_with_other_entries() -> None:
    card = GuidCard(entry())
    card.put(card.last, entry(1, 2048, 3000).to_bytes().ljust(128 * 128, b"\0"))
    found = card.read()
    assert said(found) == {("gpt-backup-differs", "backup GPT header", "gpt.entries")}
    assert found.partitions[0].where.length == MIB


@pytest.mark.parametrize("which", ["GPT header", "backup GPT header"])
def test_a_copy_that_is_gone(which: str) -> None:
    card = GuidCard(entry())
    at = 1 if which == "GPT header" else card.end
    card.data[at * 512 : at * 512 + 8] = bytes(8)
    assert said(card.read()) == {("gpt-damaged", which, "gpt.missing")}


def test_a_card_copied_to_a_larger_one() -> None:
    card = GuidCard(entry())
    card.data += bytes(MIB)
    assert said(card.read()) == {
        ("gpt-damaged", "GPT header", "gpt.other-place"),
        ("gpt-damaged", "backup GPT header", "gpt.not-at-end"),
        ("partition-table-odd", "partition 1", "protective"),
    }


def test_a_card_cut_short() -> None:
    card = GuidCard(entry())
    del card.data[1536 * KIB :]
    found = said(card.read())
    assert ("gpt-damaged", "backup GPT header", "gpt.missing") in found
    assert ("partition-beyond-card", "partition 1", None) in found


@pytest.mark.parametrize("at", [1, 2])
def test_places_that_cannot_be_read(at: int) -> None:
    card = GuidCard(entry())
    found = read_card(MemorySectors(card.data, bad=[(at * 512, at * 512 + 512)]))
    what = "gpt.missing" if at == 1 else "gpt.entries-unreadable"
    assert said(found) == {("gpt-damaged", "GPT header", what)}
    assert len(found.partitions) == 1


# --- any bytes


@settings(deadline=None)
@given(st.binary(max_size=600), st.booleans())
def test_any_bytes_are_a_header_or_none(raw: bytes, marked: bool) -> None:
    data = b"EFI PART" + raw if marked else raw
    header = GuidHeader.parse(data)
    assert (header is None) == (len(data) < 92 or not marked)
    if header is not None:
        assert header.to_bytes() == data
        assert 0 <= header.computed_crc() < 2**32


@settings(deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_an_entry_or_none(raw: bytes) -> None:
    found = GuidEntry.parse(raw)
    assert (found is None) == (len(raw) < 128)
    if found is not None:
        assert found.to_bytes() == raw
        assert found.text is not None


ANY = st.one_of(st.integers(0, 300), st.integers(0, 2**32 - 1))
ANY_LONG = st.one_of(ANY, st.integers(0, 2**64 - 1))


@settings(deadline=None, max_examples=200)
@given(
    changes=st.dictionaries(
        st.sampled_from(["own_lba", "other_lba", "first_usable", "last_usable", "entries_lba"]),
        ANY_LONG,
    ),
    short=st.dictionaries(st.sampled_from(["length", "entry_count", "entry_length"]), ANY),
    which=st.sampled_from(["first", "last"]),
    array=st.binary(max_size=600),
    unit=st.sampled_from([512, 4096]),
)
def test_any_header_is_a_card(
    changes: dict[str, int], short: dict[str, int], which: str, array: bytes, unit: int
) -> None:
    card = GuidCard(entry(), size=MIB)
    header: GuidHeader = getattr(card, which)
    at = header.own_lba
    changed = replace(header, **changes, **short)  # type: ignore[arg-type]
    where = min(changed.entries_lba * 512, MIB)
    card.data[where : where + len(array)] = array[: MIB - where]
    length = min(changed.entry_length * changed.entry_count, MIB)
    card.write(changed.sealed(bytes(card.data[where : where + length])), at)
    medium = MemorySectors(card.data, unit)
    found, findings = read_guid_table(medium)
    assert found is not None or findings
    assert sum(end - start for start, end in medium.reads) <= 4 * MIB
    content = read_card(MemorySectors(card.data, unit))
    assert content.findings
    for finding in content.findings:
        assert all(isinstance(v, str) or v < 2**53 for v in finding.parameters.values())
