"""Put the entries of one FAT folder together: long names with their short ones.

Takes the folder's bytes and gives named entries, and what is wrong with the
folder as findings. A long name that does not belong to its short name is
dropped, and said; the file is then known by its short name, as any system
would know it.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT Long
Directory Entries", "Creating Long Name Entries".
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cardprep.findings import Finding
from cardprep.terms import spelled_out
from cardprep.volume.fat_deleted import Pieces, Remains
from cardprep.volume.fat_entry import (
    DELETED,
    END,
    LENGTH,
    LongEntry,
    ShortEntry,
    parse_entry,
)
from cardprep.volume.fat_names import (
    checksum,
    from_units,
    long_is_possible,
    short_is_possible,
    short_name,
)

MOST_BYTES = 65536 * LENGTH


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedEntry:
    """A live entry of a folder.

    name   the long name, or else the short one as shown
    short  the short name as shown
    entry  as stored
    index  number of the short entry in its folder, from 0
    """

    name: str
    short: str
    entry: ShortEntry
    index: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FolderContent:
    """What one folder holds.

    entries    live files, folders and labels, in stored order
    deleted    entries whose first byte is E5, with the long names that are left of them
    stored     number of entries of all sorts before the end mark
    findings   what is wrong with the folder itself
    """

    entries: tuple[NamedEntry, ...]
    deleted: tuple[Remains, ...]
    stored: int
    findings: tuple[Finding, ...]


class _Assembly:
    """The long-name pieces seen since the last short entry."""

    def __init__(self) -> None:
        self._pieces: list[LongEntry] = []
        self._broken = False
        self._orphans = False

    def add(self, piece: LongEntry) -> None:
        if piece.is_last:
            # A new name begins; pieces before it belong to nothing, and do not spoil it.
            self._orphans |= bool(self._pieces)
            self._pieces, self._broken = [], False
        elif not self._pieces or piece.number != self._pieces[-1].number - 1:
            self._broken = True
        if piece.entry_type or piece.first_cluster or not piece.number:
            self._broken = True
        self._pieces.append(piece)

    def take(self, short: ShortEntry) -> tuple[str | None, bool]:
        """Return the long name for a short entry, and whether any pieces were damaged."""
        pieces, broken, orphans = self._pieces, self._broken, self._orphans
        self.drop()
        if not pieces:
            return None, orphans
        wanted = checksum(short.name)
        if broken or pieces[-1].number != 1 or any(p.checksum != wanted for p in pieces):
            return None, True
        name = from_units(tuple(unit for piece in reversed(pieces) for unit in piece.units))
        return name, orphans or name is None or not long_is_possible(name)

    def drop(self) -> bool:
        """Forget the pieces; return whether there were any."""
        left = bool(self._pieces) or self._orphans
        self._pieces, self._broken, self._orphans = [], False, False
        return left


def read_folder(data: bytes, path: str | None) -> FolderContent:
    """Return what a folder holds.

    data  the folder's bytes; whole clusters, or the fixed root area
    path  the folder in harmless spelling for the findings, None for the root
    """
    entries: list[NamedEntry] = []
    deleted: list[Remains] = []
    findings: list[Finding] = []
    assembly, gone = _Assembly(), Pieces()
    stored = 0
    for index, raw in _stored(data):
        stored = index + 1
        if raw[0] == DELETED:
            if assembly.drop():
                findings.append(_damaged_name(path, None))
            remains = gone.see(raw)
            if remains is not None:
                deleted.append(remains)
            continue
        gone.drop()
        entry = parse_entry(raw)
        if isinstance(entry, LongEntry):
            assembly.add(entry)
        else:
            long_name, damaged = assembly.take(entry)
            short = short_name(entry.name, entry.case_bits)
            if damaged or not (short_is_possible(entry.name) or _is_dot(entry) or entry.is_label):
                findings.append(_damaged_name(path, short))
            name = short if long_name is None else long_name
            entries.append(NamedEntry(name=name, short=short, entry=entry, index=index))
    if assembly.drop():
        findings.append(_damaged_name(path, None))
    findings.extend(_after_the_end(data, path))
    return FolderContent(
        entries=tuple(entries), deleted=tuple(deleted), stored=stored, findings=tuple(findings)
    )


def _stored(data: bytes) -> Iterator[tuple[int, bytes]]:
    for index, at in enumerate(range(0, len(data) - LENGTH + 1, LENGTH)):
        if data[at] == END:
            return
        yield index, data[at : at + LENGTH]


def _after_the_end(data: bytes, path: str | None) -> Iterator[Finding]:
    """Say so if a folder goes on behind its end mark.

    The standard wants nothing but unused entries there. A system stops at the
    mark, so what stands behind it is invisible. Some writers leave old bytes
    there, so it is a note; files that vanished behind a mark that was put there
    by damage show as lost clusters.
    """
    for at in range(0, len(data) - LENGTH + 1, LENGTH):
        if data[at] == END:
            firsts = data[at::LENGTH]
            if any(byte not in (END, DELETED) for byte in firsts):
                yield Finding("entries-after-end", path, "directory")
            return


def _is_dot(entry: ShortEntry) -> bool:
    return entry.name in (b".          ", b"..         ")


def _damaged_name(path: str | None, short: str | None) -> Finding:
    return Finding(
        "name-damaged",
        path,
        "directory",
        {"short": spelled_out(short) if short is not None else ""},
    )
