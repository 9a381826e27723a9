"""What is left of a deleted file in a FAT folder: all but the first byte of each of its entries.

A system that deletes a file writes E5 over the first byte of its short entry and of
the long ones before it, and frees its clusters. So the short name lacks its first
character, and the pieces of the long name their numbers. The checksum over the short
name, which stands in every piece, tells the lost byte: exactly one of 256 gives that
sum. Pieces are taken to belong to a short entry only where that byte can begin a
short name, and is what the long name begins with.

Pure: it takes entries and returns values.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT Long
Directory Entries". That the other bytes stay as they were is common practice, no
published source.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.errors import BadValueError
from cardprep.volume.fat_entry import DELETED, LongEntry, ShortEntry, parse_entry
from cardprep.volume.fat_names import (
    MOST_UNITS,
    SHORT_CHARACTERS,
    UNITS_PER_ENTRY,
    from_units,
    long_is_possible,
    short_is_possible,
    short_name,
    units,
)
from cardprep.volume.fat_time import FatTime
from cardprep.volume.model import DeletedEntry

LOST = "?"
_MOST_PIECES = -(-MOST_UNITS // UNITS_PER_ENTRY)
_UNDEFINED_ATTRIBUTES = 0xC0


@dataclass(frozen=True, slots=True, kw_only=True)
class Remains:
    """A deleted short entry as stored, and the long name that still belongs to it, or None.

    is_cut      whether the end of the long name is lost
    is_deleted  False for an entry that lost nothing but stands in a deleted folder
    """

    entry: ShortEntry
    long_name: str | None = None
    is_cut: bool = False
    is_deleted: bool = True


class Pieces:
    """The deleted pieces of long names that stand straight before an entry."""

    def __init__(self) -> None:
        self._pieces: list[LongEntry] = []

    def see(self, raw: bytes) -> Remains | None:
        """Take the next deleted entry, 32 bytes; return what it tells of a file or folder."""
        entry = parse_entry(raw)
        if isinstance(entry, LongEntry):
            # No more are kept than one name can have.
            self._pieces = [*self._pieces[1 - _MOST_PIECES :], entry]
            return None
        long_name = self._take(entry)
        is_filling = entry.attributes & _UNDEFINED_ATTRIBUTES or not any(raw[1:])
        if is_filling or entry.is_label:
            return None
        is_cut = long_name is not None and _is_cut(long_name, entry)
        return Remains(entry=entry, long_name=long_name, is_cut=is_cut)

    def drop(self) -> None:
        """Forget them: an entry of another sort stands in between."""
        self._pieces = []

    def _take(self, entry: ShortEntry) -> str | None:
        """Return the long name that belongs to a deleted entry, or None; then forget."""
        pieces, self._pieces = self._pieces, []
        if not pieces:
            return None
        total = pieces[-1].checksum
        stored: tuple[int, ...] = ()
        for piece in reversed(pieces):
            if piece.checksum != total or piece.entry_type or piece.first_cluster:
                break
            stored += piece.units
            if 0 in piece.units:
                # Only the last piece of a name ends like this; those before it are another's.
                break
        name = from_units(stored)
        if name is None or not _belongs(name, entry, total):
            return None
        # A name whose end is lost may end in what no whole one ends in.
        is_possible = long_is_possible(name.rstrip(" .") if _fills_its_pieces(name) else name)
        return name if is_possible else None


def lost_byte(rest: bytes, total: int) -> int:
    """Return the byte that, before the other ten of a short name, gives its checksum."""
    for byte in reversed(rest):
        total = total - byte & 0xFF
        total = (total << 1 | total >> 7) & 0xFF
    return total


def _belongs(name: str, entry: ShortEntry, total: int) -> bool:
    rest = entry.name[1:]
    first = lost_byte(rest, total)
    if first == DELETED or not short_is_possible(bytes((first,)) + rest):
        return False
    # Whichever way a short name is made of a long one, it begins as that does.
    begins = name.lstrip(" .")[:1].upper()
    return begins not in SHORT_CHARACTERS or first == ord(begins)


def _fills_its_pieces(name: str) -> bool:
    return len(units(name)) % UNITS_PER_ENTRY == 0


def _is_cut(name: str, entry: ShortEntry) -> bool:
    """Whether pieces are missing at a name's end, whose places new entries took.

    A name that fills its pieces has no end mark. A short name has the long one's ending.
    """
    if not _fills_its_pieces(name):
        return False
    if name.endswith((" ", ".")):
        return True
    ending = name.lstrip(" .").rpartition(".")[2] if "." in name.lstrip(" .") else ""
    if not SHORT_CHARACTERS.issuperset(ending.upper()):
        return False
    return entry.name[8:] != ending[:3].upper().ljust(3).encode("ascii")


def deleted_entry(folder: tuple[str, ...], remains: Remains, first_cluster: int) -> DeletedEntry:
    """Return what is left of a file or folder as a value.

    folder  parts of the folder in which it stood
    """
    entry = remains.entry
    short = short_name(entry.name, entry.case_bits)
    if remains.is_deleted:
        short = LOST + short_name(b"_" + entry.name[1:], entry.case_bits)[1:]
    tenths, time, date = entry.created
    return DeletedEntry(
        folder=folder,
        short=short,
        long_name=f"{remains.long_name}{LOST}" if remains.is_cut else remains.long_name,
        name_is_whole=not remains.is_cut
        and (remains.long_name is not None or not remains.is_deleted),
        is_folder=entry.is_folder,
        size=entry.size,
        attributes=entry.attributes,
        created=_time(date, time, tenths),
        accessed=_time(entry.accessed),
        modified=_time(entry.modified[1], entry.modified[0]),
        first_cluster=first_cluster,
    )


def _time(date: int, time: int = 0, tenths: int = 0) -> FatTime | None:
    try:
        return FatTime.parse(date, time, tenths)
    except BadValueError:
        return None
