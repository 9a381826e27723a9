"""Put the entries of one exFAT folder together: the sets of files, labels, system entries.

Takes the folder's bytes and gives entry sets, and what is wrong with the folder
as findings. A set whose entries are not all there is no file on any system, and
is said; a set whose checksum does not hold is given with that mark.

Source: exFAT File System Specification (Microsoft, 2019), sections 6 and 7.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from cardprep.findings import Finding
from cardprep.volume.exfat_entry import (
    BENIGN,
    BITMAP,
    END,
    FILE,
    IN_USE,
    LABEL,
    LENGTH,
    NAME,
    SECONDARY,
    STREAM,
    UNITS_PER_NAME,
    UPCASE,
    BitmapEntry,
    FileEntry,
    LabelEntry,
    NameEntry,
    StreamEntry,
    UpcaseEntry,
    set_checksum,
)
from cardprep.volume.exfat_names import decoded

# The standard allows 256 MiB; this is room for 174,000 files with short names.
MOST_BYTES = 2**19 * LENGTH
# One of each is what a volume has; of more than these only the number would grow.
_MOST_SYSTEM_ENTRIES = 16

_FEWEST, _MOST = 2, 18
# The volume's GUID, and the padding of TexFAT.
_KNOWN_BENIGN = (0xA0, 0xA1)


@dataclass(frozen=True, slots=True, kw_only=True)
class FileSet:
    """A file or folder as its entries have it.

    name            as stored; empty where nothing of it is left
    checksum_holds  whether the set is as it was written
    """

    name: str
    file: FileEntry
    stream: StreamEntry
    checksum_holds: bool = True


@dataclass(slots=True)
class ExfatFolder:
    """What one folder holds.

    files     live files and folders, in stored order
    deleted   sets that are no longer in use, as far as they are left
    stored    number of entries of all sorts before the end mark
    findings  what is wrong with the folder itself
    """

    files: list[FileSet] = field(default_factory=list)
    deleted: list[FileSet] = field(default_factory=list)
    labels: list[LabelEntry] = field(default_factory=list)
    bitmaps: list[BitmapEntry] = field(default_factory=list)
    upcases: list[UpcaseEntry] = field(default_factory=list)
    stored: int = 0
    findings: list[Finding] = field(default_factory=list)


def read_exfat_folder(data: bytes, path: str | None) -> ExfatFolder:
    """Return what a folder holds, whatever its bytes are.

    data  the folder's bytes
    path  the folder in harmless spelling for the findings, None for the root
    """
    reading = _Reading(data, path)
    reading.run()
    return reading.content


class _Reading:
    def __init__(self, data: bytes, path: str | None) -> None:
        self._data = data
        self._path = path
        self._types = data[0 : len(data) // LENGTH * LENGTH : LENGTH]
        end = self._types.find(END)
        self._stop = len(self._types) if end < 0 else end
        self.content = ExfatFolder(stored=self._stop)

    def run(self) -> None:
        """Read all entries up to the end mark."""
        at = 0
        while at < self._stop:
            at += self._one(at)
        behind = self._types[self._stop :]
        if behind and max(behind) >= IN_USE:
            self.content.findings.append(Finding("entries-after-end", self._path, "directory"))

    def _one(self, at: int) -> int:
        """Read the entry at a number and those that belong to it; return how many."""
        kind = self._types[at]
        if kind == FILE:
            return self._file(at)
        if kind == FILE & ~IN_USE:
            return self._deleted(at)
        if kind in (LABEL, BITMAP, UPCASE):
            self._system(kind, self._raw(at))
        elif kind & IN_USE and kind & SECONDARY:
            self._damaged("orphan-entry")
        elif kind & IN_USE and not kind & BENIGN:
            self._damaged("unknown-entry")
        elif kind & IN_USE:
            # A set that may be passed over goes with all its entries. A file whose
            # type was damaged looks like one, so that only the known sorts pass unsaid.
            if kind not in _KNOWN_BENIGN:
                self._damaged("unknown-entry")
            return 1 + self._secondaries(at, self._data[at * LENGTH + 1])
        return 1

    def _system(self, kind: int, raw: bytes) -> None:
        content = self.content
        if len(content.labels) + len(content.bitmaps) + len(content.upcases) < _MOST_SYSTEM_ENTRIES:
            if kind == LABEL:
                content.labels.append(LabelEntry.parse(raw))
            elif kind == BITMAP:
                content.bitmaps.append(BitmapEntry.parse(raw))
            else:
                content.upcases.append(UpcaseEntry.parse(raw))

    def _raw(self, at: int, count: int = 1) -> bytes:
        return self._data[at * LENGTH : (at + count) * LENGTH]

    def _secondaries(self, at: int, most: int, in_use: int = IN_USE) -> int:
        """Return how many secondary entries stand behind the one at a number, up to a count."""
        count = 0
        wanted = in_use | SECONDARY
        for kind in self._types[at + 1 : min(self._stop, at + 1 + most)]:
            if kind & (IN_USE | SECONDARY) != wanted:
                break
            count += 1
        return count

    def _file(self, at: int) -> int:
        file = FileEntry.parse(self._raw(at))
        count = self._secondaries(at, file.secondaries)
        found = self._set(at, file, count, IN_USE)
        complete = (
            found is not None
            and count == file.secondaries
            and _FEWEST <= count <= _MOST
            and self._is_known(at, count, found.stream.name_length)
        )
        if found is None or not complete:
            self._damaged("entry-set")
            return 1 + count
        self.content.files.append(found)
        return 1 + count

    def _deleted(self, at: int) -> int:
        file = FileEntry.parse(self._raw(at))
        count = self._secondaries(at, min(file.secondaries, _MOST), 0)
        found = self._set(at, file, count, 0)
        if found is not None:
            self.content.deleted.append(found)
        return 1 + count

    def _set(self, at: int, file: FileEntry, count: int, in_use: int) -> FileSet | None:
        """Put a set together as far as it goes; None without the entry that says where it lies."""
        if not count or self._types[at + 1] | IN_USE != STREAM:
            return None
        stream = StreamEntry.parse(self._raw(at + 1))
        units = b""
        for number in range(at + 2, at + 1 + count):
            if self._types[number] != NAME & ~IN_USE | in_use:
                break
            units += NameEntry.parse(self._raw(number)).units
        holds = not in_use or set_checksum(self._raw(at, 1 + count)) == file.checksum
        name = decoded(units[: 2 * stream.name_length])
        return FileSet(name=name, file=file, stream=stream, checksum_holds=holds)

    def _is_known(self, at: int, count: int, name_length: int) -> bool:
        """Whether there are as many names as the length wants, and behind them only benign ones."""
        names = -(-name_length // UNITS_PER_NAME)
        kinds = self._types[at + 2 : at + 1 + count]
        return (
            names > 0
            and kinds[:names] == bytes([NAME]) * names
            and all(kind & BENIGN for kind in kinds[names:])
        )

    def _damaged(self, what: str) -> None:
        """Say once for the folder what is wrong in it: a hostile one could hold it everywhere."""
        finding = Finding("entry-damaged", self._path, "directory", {"what": what})
        if finding not in self.content.findings:
            self.content.findings.append(finding)
