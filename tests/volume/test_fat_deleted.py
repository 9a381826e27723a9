"""What is left of deleted entries: lost characters, long names that still belong, filling."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.volume.fat_deleted import Pieces, Remains, deleted_entry, lost_byte
from cardprep.volume.fat_entry import FOLDER, LAST_LONG, VOLUME_LABEL, LongEntry, ShortEntry
from cardprep.volume.fat_folder import FolderContent, read_folder
from cardprep.volume.fat_names import checksum, to_units
from cardprep.volume.fat_time import FatTime

ALIAS = b"UPDATE~1BIN"


def pieces(name: str, alias: bytes) -> list[bytes]:
    """Return the long entries of a name as stored: last piece first."""
    total = checksum(alias)
    parts = list(enumerate(to_units(name), 1))
    return [
        LongEntry(
            order=number | (LAST_LONG if number == len(parts) else 0), units=units, checksum=total
        ).to_bytes()
        for number, units in reversed(parts)
    ]


def short(name: bytes, attributes: int = 0x20, **more: int) -> bytes:
    return ShortEntry(name=name, attributes=attributes, **more).to_bytes()  # type: ignore[arg-type]


def deleted(*entries: bytes) -> bytes:
    return b"".join(b"\xe5" + raw[1:] for raw in entries)


def read(data: bytes) -> FolderContent:
    return read_folder(data, None)


def names(content: FolderContent) -> list[str | None]:
    return [remains.long_name for remains in content.deleted]


# Source: FAT: General Overview of On-Disk Format, v1.03, "Creating Long Name Entries": the
# checksum, here turned round. The sums are those of check values made with mtools.
@pytest.mark.parametrize(
    ("name", "total"),
    [(b"THEQUI~1FOX", 0x07), (b"FIRMWA~1BIN", 0x17), (b"_APP~1  BIN", 0x35), (ALIAS, 0xFE)],
)
def test_the_checksum_tells_the_lost_byte(name: bytes, total: int) -> None:
    assert lost_byte(name[1:], total) == name[0]


@given(st.binary(min_size=11, max_size=11))
def test_exactly_one_byte_gives_a_sum(name: bytes) -> None:
    total = checksum(name)
    assert lost_byte(name[1:], total) == name[0]
    assert [n for n in range(256) if checksum(bytes((n,)) + name[1:]) == total] == [name[0]]


@pytest.mark.parametrize(
    ("name", "alias"),
    [
        pytest.param("update (1).bin", ALIAS, id="two pieces"),
        pytest.param("u", b"U          ", id="one piece"),
        pytest.param("exactly 13 ch", b"EXACTL~1   ", id="a piece that is full"),
        pytest.param("exactly 26 characters long", b"EXACTL~1   ", id="two that are full"),
        pytest.param("a" * 255, b"AAAAAA~1   ", id="the longest"),
        pytest.param("._APP.BIN", b"_APP~1  BIN", id="dot first"),
        pytest.param("日本.bin", b"_~1     BIN", id="no character of it in the short name"),
        pytest.param("+x.bin", b"_X~1    BIN", id="first character not allowed in the short one"),
    ],
)
def test_a_long_name_that_still_belongs(name: str, alias: bytes) -> None:
    content = read(deleted(*pieces(name, alias), short(alias)))
    assert names(content) == [name]
    assert (content.entries, content.findings) == ((), ())


LONG = pieces("update (1).bin", ALIAS)
OTHER = pieces("Some longer name.bin", b"SOMELO~1BIN")


@pytest.mark.parametrize(
    "entries",
    [
        pytest.param([*OTHER, short(ALIAS)], id="another's"),
        pytest.param([*LONG, short(b"UPDATE~2BIN")], id="other number"),
        pytest.param([short(ALIAS)], id="none"),
        pytest.param([*LONG, short(b"B          "), short(ALIAS)], id="a file in between"),
        pytest.param([*reversed(LONG), short(ALIAS)], id="turned round"),
        pytest.param([LONG[0], short(ALIAS)], id="first piece gone"),
        pytest.param([LONG[0][:12] + b"\1" + LONG[0][13:], short(ALIAS)], id="another type"),
        pytest.param([*pieces("a" * 260, ALIAS), short(ALIAS)], id="longer than any"),
        pytest.param([*pieces("u/x", ALIAS), short(ALIAS)], id="character that no name has"),
    ],
)
def test_long_names_that_do_not_belong(entries: list[bytes]) -> None:
    assert names(read(deleted(*entries)))[-1] is None


@pytest.mark.parametrize(
    ("name", "alias", "left"),
    [
        ("update (1).bin", ALIAS, "update (1).bi?"),
        ("thirteen here.x", b"THIRTE~1X  ", "thirteen here?"),
        ("a name of many characters.img", b"ANAMEO~1IMG", "a name of many characters.?"),
    ],
)
def test_a_name_whose_last_piece_was_taken_again(name: str, alias: bytes, left: str) -> None:
    # The last piece stands first, and its place now has another entry.
    _, *rest = pieces(name, alias)
    content = read(short(b"NEW     BIN") + deleted(*rest, short(alias)))
    (remains,) = content.deleted
    found = deleted_entry((), remains, 0)
    assert (found.name, found.name_is_whole) == (left, False)
    assert [named.name for named in content.entries] == ["NEW.BIN"]


def test_a_live_entry_parts_a_name_from_its_short_one() -> None:
    content = read(deleted(*LONG) + short(b"NEW     BIN") + deleted(short(ALIAS)))
    assert names(content) == [None]


def test_orphans_before_a_name_do_not_spoil_it() -> None:
    assert names(read(deleted(*OTHER, *LONG, short(ALIAS)))) == ["update (1).bin"]
    # Even those with the same sum, since a name ends where its units do.
    assert names(read(deleted(*LONG, *LONG, short(ALIAS)))) == ["update (1).bin"]


@pytest.mark.parametrize(
    "raw",
    [
        pytest.param(b"\xe5" * 32, id="E5 all over"),
        pytest.param(b"\xe5" + bytes(31), id="nothing but the mark"),
        pytest.param(deleted(short(b"B238-1 BOOT", VOLUME_LABEL)), id="label"),
    ],
)
def test_what_is_no_file(raw: bytes) -> None:
    content = read(raw + short(b"A          "))
    assert content.deleted == ()
    assert content.stored == 2


def test_all_that_is_left_of_an_entry() -> None:
    entry = ShortEntry(
        name=b"\xe5PP_430 BIN",
        attributes=0x21,
        case_bits=0x10,
        created=(150, 0x6CB5, 0x5C4E),
        accessed=0x5C4E,
        modified=(0x6CB5, 0x5C4E),
        first_cluster=7,
        size=5000,
    )
    found = deleted_entry(("SUB",), Remains(entry=entry), 7)
    assert (found.short, found.name, found.long_name) == ("?PP_430.bin", "?PP_430.bin", None)
    assert (found.shown, found.name_is_whole, found.is_folder) == ("SUB/?PP_430.bin", False, False)
    assert (found.size, found.first_cluster, found.attributes) == (5000, 7, 0x21)
    # Source: the stamps are check values made with mtools, TZ=UTC.
    assert found.modified == FatTime(2026, 2, 14, 13, 37, 42)
    assert found.created == FatTime(2026, 2, 14, 13, 37, 43, 50)
    assert found.accessed == FatTime(2026, 2, 14)


def test_what_stood_in_a_deleted_folder_may_have_its_whole_name() -> None:
    entry = ShortEntry(name=b"WHOLE   BIN", attributes=0x20)
    found = deleted_entry((), Remains(entry=entry, is_deleted=False), 0)
    assert (found.name, found.name_is_whole) == ("WHOLE.BIN", True)
    folder = ShortEntry(name=b"\xe5UB        ", attributes=FOLDER)
    assert deleted_entry((), Remains(entry=folder), 0).is_folder


def test_times_that_are_on_no_calendar() -> None:
    entry = ShortEntry(name=b"\xe5          ", attributes=0x20, modified=(0xFFFF, 0xFFFF))
    found = deleted_entry((), Remains(entry=entry), 0)
    assert (found.modified, found.short) == (None, "?")


def entry_like() -> st.SearchStrategy[bytes]:
    """Give deleted entries of which many fit together, whole or damaged, and live ones."""
    whole = st.sampled_from([*LONG, *OTHER, short(ALIAS), short(b"SOMELO~1BIN")])
    damaged = st.tuples(whole, st.integers(1, 31), st.integers(0, 255)).map(
        lambda three: three[0][: three[1]] + bytes((three[2],)) + three[0][three[1] + 1 :]
    )
    gone = st.one_of(whole, damaged, st.binary(min_size=32, max_size=32)).map(deleted)
    return st.one_of(gone, gone, st.binary(min_size=32, max_size=32))


@settings(deadline=None, max_examples=300)
@given(st.lists(entry_like(), max_size=24).map(b"".join))
def test_deleted_entries_never_appear_as_live_ones(data: bytes) -> None:
    content = read(data)
    firsts = data[: content.stored * 32 : 32]
    assert len(content.deleted) <= firsts.count(0xE5)
    assert all(data[named.index * 32] != 0xE5 for named in content.entries)
    for remains in content.deleted:
        found = deleted_entry((), remains, remains.entry.first_cluster)
        assert found.short.startswith("?")
        assert found.name_is_whole is (found.long_name is not None and "?" not in found.name)
        assert found.shown.isprintable()


@settings(deadline=None)
@given(st.lists(st.binary(min_size=32, max_size=32), max_size=60))
def test_no_more_pieces_are_kept_than_a_name_can_have(entries: list[bytes]) -> None:
    gone = Pieces()
    for raw in entries:
        gone.see(raw)
        assert len(gone._pieces) <= 20
