"""One folder's bytes: long names with their short ones, deleted entries, the end mark."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.volume.fat_entry import FOLDER, LAST_LONG, VOLUME_LABEL, LongEntry, ShortEntry
from cardprep.volume.fat_folder import FolderContent, read_folder
from cardprep.volume.fat_names import checksum, to_units
from tests.cards import MIB, FatImage, make_volume

END = bytes(32)


def short(name: str, attributes: int = 0x20) -> bytes:
    return ShortEntry(name=name.encode("cp850"), attributes=attributes).to_bytes()


def pieces(name: str, alias: str) -> list[bytes]:
    """Return the long entries of a name as stored: last piece first."""
    total = checksum(alias.encode("cp850"))
    parts = list(enumerate(to_units(name), 1))
    return [
        LongEntry(
            order=number | (LAST_LONG if number == len(parts) else 0), units=units, checksum=total
        ).to_bytes()
        for number, units in reversed(parts)
    ]


def with_byte(raw: bytes, at: int, value: int) -> bytes:
    return raw[:at] + bytes((value,)) + raw[at + 1 :]


def read(*entries: bytes) -> FolderContent:
    return read_folder(b"".join(entries), None)


def names(content: FolderContent) -> list[str]:
    return [named.name for named in content.entries]


def said(content: FolderContent) -> list[tuple[str, str]]:
    return [
        (finding.slug, str(finding.parameters.get("short", ""))) for finding in content.findings
    ]


ALIAS = "UPDATE~1BIN"
ALIAS_SHOWN = "UPDATE~1.BIN"
LONG = pieces("update (1).bin", ALIAS)
LONGER = pieces("A rather long name.bin", "ARATHE~1BIN")


def test_an_empty_folder() -> None:
    assert read() == read(END) == FolderContent(entries=(), deleted=(), stored=0, findings=())


def test_long_and_short_names() -> None:
    found = read(short("APP     BIN"), *LONG, short(ALIAS), *LONGER, short("ARATHE~1BIN"), END)
    assert names(found) == ["APP.BIN", "update (1).bin", "A rather long name.bin"]
    assert [named.short for named in found.entries] == ["APP.BIN", "UPDATE~1.BIN", "ARATHE~1.BIN"]
    assert [named.index for named in found.entries] == [0, 3, 6]
    assert found.stored == 7
    assert found.findings == ()


def test_a_folder_that_fills_its_clusters_needs_no_end_mark() -> None:
    assert names(read(short("A          "), short("B          "))) == ["A", "B"]


def test_bytes_that_fill_no_entry_are_left_out() -> None:
    assert names(read(short("A          "), short("B          ")[:31])) == ["A"]


def test_nothing_behind_the_end_mark_is_an_entry() -> None:
    found = read(short("A          "), END, short("B          "), END)
    assert names(found) == ["A"]
    assert said(found) == [("entries-after-end", "")]
    assert found.stored == 1


@pytest.mark.parametrize("behind", [b"", END, b"\xe5" + bytes(31), END + b"\xe5" + bytes(31)])
def test_unused_entries_behind_the_end_mark_are_right(behind: bytes) -> None:
    assert said(read(short("A          "), END, behind)) == []


def test_deleted_entries() -> None:
    gone = with_byte(short("OLD     BIN"), 0, 0xE5)
    gone_long = [with_byte(piece, 0, 0xE5) for piece in LONG]
    found = read(*gone_long, gone, short("A          "), END)
    assert names(found) == ["A"]
    assert [remains.entry.name for remains in found.deleted] == [b"\xe5LD     BIN"]
    # The pieces before it are another name's.
    assert [remains.long_name for remains in found.deleted] == [None]
    assert said(found) == []


@pytest.mark.oracle
def test_what_mtools_deletes(tmp_path: Path) -> None:
    image, files = tmp_path / "volume", tmp_path / "files"
    files.mkdir()
    for name in ("first (1).bin", "SECOND.BIN"):
        (files / name).write_bytes(b"x")
    make_volume(image, 2 * MIB, "-F", "12", files=files)
    volume = FatImage(image.read_bytes())
    for at in (volume.root, volume.root + 32, volume.root + 64):
        volume.data[at] = 0xE5
    found = read_folder(bytes(volume.data[volume.root : volume.root + 512]), None)
    assert len(found.entries) + len(found.deleted) == 2
    assert said(found) == []


# A long name that does not belong to its short one is dropped, and said.
@pytest.mark.parametrize(
    ("entries", "name"),
    [
        pytest.param([*LONG, short("UPDATE~2BIN")], "UPDATE~2.BIN", id="checksum of another name"),
        pytest.param([LONG[1], short(ALIAS)], ALIAS_SHOWN, id="last piece gone"),
        pytest.param([LONG[0], short(ALIAS)], ALIAS_SHOWN, id="first piece gone"),
        pytest.param([*reversed(LONG), short(ALIAS)], ALIAS_SHOWN, id="pieces turned round"),
        pytest.param([LONG[0], *LONG[:2], short(ALIAS)], "update (1).bin", id="last piece twice"),
        pytest.param([LONG[0], LONG[1], LONG[1], short(ALIAS)], ALIAS_SHOWN, id="piece twice"),
        pytest.param(
            [LONG[0], with_byte(LONG[1], 0, 0x80), short(ALIAS)], ALIAS_SHOWN, id="piece 0"
        ),
        pytest.param(
            [LONG[0], with_byte(LONG[1], 12, 1), short(ALIAS)], ALIAS_SHOWN, id="another type"
        ),
        pytest.param(
            [LONG[0], with_byte(LONG[1], 26, 9), short(ALIAS)], ALIAS_SHOWN, id="with a cluster"
        ),
        pytest.param(
            [with_byte(LONG[0], 13, 0), LONG[1], short(ALIAS)],
            ALIAS_SHOWN,
            id="checksums that differ",
        ),
        pytest.param([*LONGER, *LONG, short(ALIAS)], "update (1).bin", id="orphans before it"),
        pytest.param(
            [LONGER[0], *LONG, short(ALIAS)], "update (1).bin", id="piece of an orphan before it"
        ),
        pytest.param(
            [*pieces("n" * 260, ALIAS), short(ALIAS)], ALIAS_SHOWN, id="more than 255 units"
        ),
        pytest.param([*pieces("a/b", ALIAS), short(ALIAS)], "a/b", id="slash"),
        pytest.param([*pieces("..", ALIAS), short(ALIAS)], "..", id="the folder above"),
        pytest.param([*pieces("a.bin.", ALIAS), short(ALIAS)], "a.bin.", id="dot last"),
        pytest.param([short("bad/nameBIN")], "bad/name.BIN", id="impossible short name"),
        pytest.param([short(" PP     BIN")], " PP.BIN", id="space first"),
    ],
)
def test_damaged_names(entries: list[bytes], name: str) -> None:
    found = read(*entries, END)
    assert names(found) == [name]
    assert said(found) == [("name-damaged", found.entries[0].short)]


@pytest.mark.parametrize(
    "entries",
    [
        pytest.param([*LONG], id="at the end"),
        pytest.param([*LONG, with_byte(short(ALIAS), 0, 0xE5)], id="short entry deleted"),
        pytest.param([*LONG, END], id="at the end mark"),
    ],
)
def test_long_names_without_a_short_one(entries: list[bytes]) -> None:
    found = read(*entries)
    assert names(found) == []
    assert said(found) == [("name-damaged", "")]


def test_orphans_spoil_only_what_follows_them_at_once() -> None:
    found = read(*LONGER, short("A          "), *LONG, short(ALIAS))
    assert names(found) == ["A", "update (1).bin"]
    assert said(found) == [("name-damaged", "A")]


def test_a_damaged_name_is_said_in_harmless_spelling() -> None:
    found = read_folder(short("A\x07\x1b[31m~ BIN"), "sub\\x1b")
    assert found.findings[0].path == "sub\\x1b"
    assert str(found.findings[0].parameters["short"]).isprintable()


def test_dots_and_labels_need_not_be_names() -> None:
    dots = (short(".          ", FOLDER), short("..         ", FOLDER))
    assert said(read(*dots, short("A.B C+D    ", VOLUME_LABEL))) == []


def entry_like() -> st.SearchStrategy[bytes]:
    """Give entries of which many fit together, whole or damaged."""
    whole = st.sampled_from([short(ALIAS), *LONG, *LONGER, short("ARATHE~1BIN"), END])
    damaged = st.tuples(whole, st.integers(0, 31), st.integers(0, 255)).map(
        lambda three: with_byte(*three)
    )
    return st.one_of(whole, damaged, st.binary(min_size=32, max_size=32))


@settings(deadline=None, max_examples=300)
@given(st.lists(entry_like(), max_size=20).map(b"".join), st.binary(max_size=40))
def test_any_bytes_are_a_folder(entries: bytes, tail: bytes) -> None:
    data = entries + tail
    found = read_folder(data, "sub")
    assert found.stored <= len(data) // 32
    assert len(found.entries) + len(found.deleted) <= found.stored
    assert all(data[named.index * 32] not in (0x00, 0xE5) for named in found.entries)
    assert {finding.slug for finding in found.findings} <= {"name-damaged", "entries-after-end"}
    assert all(finding.path == "sub" for finding in found.findings)
