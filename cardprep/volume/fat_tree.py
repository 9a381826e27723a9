"""Walk the folders of a FAT volume and give every file its place on the card.

What bounds the walk stands in ``folder_walk.py``.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT
Directory Structure".
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.errors import BadValueError
from cardprep.medium.protocol import Sectors
from cardprep.volume.fat_boot import BootSector
from cardprep.volume.fat_chain import Chain, ChainEnd
from cardprep.volume.fat_deleted import deleted_entry
from cardprep.volume.fat_entry import ShortEntry
from cardprep.volume.fat_folder import MOST_BYTES, FolderContent, NamedEntry, read_folder
from cardprep.volume.fat_found import Tree
from cardprep.volume.fat_names import CODE_PAGE, upper_case
from cardprep.volume.fat_table import FileAllocationTable
from cardprep.volume.fat_time import FatTime
from cardprep.volume.folder_walk import Folder, FolderWalk
from cardprep.volume.model import Extent, VolumeEntry, shown_path

_DOT = b".          "
_DOT_DOT = b"..         "


@dataclass(frozen=True, slots=True)
class _Folder(Folder):
    cluster: int
    parent: int


class TreeWalk(FolderWalk):
    """The walk over one volume.

    table   must have been loaded
    gone    by their number among what is deleted, folders, with the cluster of the one above
    """

    def __init__(
        self, sectors: Sectors, offset: int, boot: BootSector, table: FileAllocationTable
    ) -> None:
        super().__init__(sectors, offset, boot)
        self._boot = boot
        self._table = table
        self.gone: dict[int, int] = {}

    def run(self) -> Tree:
        """Walk from the root, breadth first, and return what was found."""
        return self._breadth_first(self._root(), self._take)

    # --- folders

    def _root(self) -> _Folder:
        boot = self._boot
        if boot.fat32 is None:
            start = self._offset + boot.first_root_sector * boot.bytes_per_sector
            return _Folder((), (Extent(start, boot.root_entries * 32),), 0, 0)
        cluster = boot.fat32.root_cluster
        chain = self._table.walk(cluster)
        self._judge_chain((), chain)
        return _Folder((), self.extents(chain, None), cluster, 0)

    def _content(self, folder: _Folder) -> FolderContent | None:
        """Read a folder and its findings, or None if there is nothing to read."""
        data = self._stored(folder, MOST_BYTES)
        if not data:
            return None
        content = read_folder(data, shown_path(folder.path) or None)
        self._tree.stored += content.stored
        for finding in content.findings:
            self._tree.add(finding)
        return content

    def _take(self, folder: _Folder) -> list[_Folder]:
        """Add a folder's entries to the tree and return the folders among them."""
        below: list[_Folder] = []
        content = self._content(folder)
        if content is None:
            return below
        self._look_at_dots(folder, content)
        self._look_for_twins(folder, content)
        for named in content.entries:
            entry = named.entry
            if entry.is_label:
                self._label(folder, entry)
                continue
            if entry.name in (_DOT, _DOT_DOT):
                continue
            path = (*folder.path, named.name)
            first = self._first(entry)
            chain = self._table.walk(first) if first else None
            if entry.is_folder:
                item, extents = self._folder(path, named, chain)
                if chain is not None and extents:
                    below.append(_Folder(path, extents, first, folder.cluster))
            else:
                item = self._file(path, named, chain)
            self._tree.entries.append(item)
        for remains in content.deleted:
            if remains.entry.is_folder:
                self.gone[len(self._tree.deleted)] = folder.cluster
            first = self._first(remains.entry)
            self._tree.deleted.append(deleted_entry(folder.path, remains, first))
        return below

    def _first(self, entry: ShortEntry) -> int:
        """Return an entry's first cluster; the upper half means something on FAT32 only."""
        return entry.first_cluster & (0xFFFFFFFF if self._table.bits == 32 else 0xFFFF)

    def _label(self, folder: _Folder, entry: ShortEntry) -> None:
        """Keep the volume's label; one in another place, or with content, would hide a file."""
        if folder.path or entry.is_folder or entry.size or self._first(entry):
            self._say("folder-damaged", folder.path, what="label")
        if not folder.path:
            self._tree.labels.append(label_text(entry.name))

    def _look_at_dots(self, folder: _Folder, content: FolderContent) -> None:
        """Say so if a folder does not begin with itself and the one above."""
        if not folder.path:
            if any(named.entry.name in (_DOT, _DOT_DOT) for named in content.entries):
                self._say("folder-damaged", folder.path, what="dot-in-root")
            return
        first = [named.entry for named in content.entries[:2]]
        # The root is written as cluster 0 in "..", on FAT32 too; some systems write its number.
        above = {folder.parent}
        if self._boot.fat32 is not None and folder.parent == self._boot.fat32.root_cluster:
            above.add(0)
        good = (
            len(first) == 2
            and (first[0].name, self._first(first[0])) == (_DOT, folder.cluster)
            and first[1].name == _DOT_DOT
            and self._first(first[1]) in above
            and all(entry.is_folder for entry in first)
        )
        if not good:
            self._say("folder-damaged", folder.path, what="dots")

    def _look_for_twins(self, folder: _Folder, content: FolderContent) -> None:
        seen: set[str] = set()
        for named in content.entries:
            if named.entry.is_label or named.entry.name in (_DOT, _DOT_DOT):
                continue
            names = {upper_case(named.name), upper_case(named.short)}
            if not seen.isdisjoint(names):
                self._say("name-twice", (*folder.path, named.name))
            seen |= names

    # --- entries

    def _file(self, path: tuple[str, ...], named: NamedEntry, chain: Chain | None) -> VolumeEntry:
        size = named.entry.size
        room = 0
        whole = size == 0 and chain is None
        if chain is not None:
            self._judge_chain(path, chain)
            room = chain.clusters * self._boot.cluster_size
            whole = size <= room and chain.end is ChainEnd.PROPER
        if size > room and (chain is None or chain.end is ChainEnd.PROPER):
            self._say("chain-too-short", path, size=size, room=room)
        elif chain is not None and room - size >= self._boot.cluster_size:
            self._say("chain-too-long", path, size=size, room=room)
        extents = self.extents(chain, size) if chain is not None else ()
        return self._entry(path, named, size, extents, whole)

    def _folder(
        self, path: tuple[str, ...], named: NamedEntry, chain: Chain | None
    ) -> tuple[VolumeEntry, tuple[Extent, ...]]:
        if chain is None:
            self._say("folder-damaged", path, what="no-cluster")
            return self._entry(path, named, 0, (), False), ()
        self._judge_chain(path, chain)
        if named.entry.size:
            self._say("folder-damaged", path, what="size")
        extents = self.extents(chain, None)
        size = chain.clusters * self._boot.cluster_size
        whole = chain.end is ChainEnd.PROPER
        return self._entry(path, named, size, extents, whole), extents

    def _entry(
        self,
        path: tuple[str, ...],
        named: NamedEntry,
        size: int,
        extents: tuple[Extent, ...],
        whole: bool,
    ) -> VolumeEntry:
        entry = named.entry
        tenths, time, date = entry.created
        return VolumeEntry(
            path=path,
            short=named.short,
            is_folder=entry.is_folder,
            size=size,
            attributes=entry.attributes,
            created=self._time(path, date, time, tenths),
            accessed=self._time(path, entry.accessed),
            modified=self._time(path, entry.modified[1], entry.modified[0]),
            extents=extents,
            is_whole=whole,
        )

    def _time(
        self, path: tuple[str, ...], date: int, time: int = 0, tenths: int = 0
    ) -> FatTime | None:
        try:
            return FatTime.parse(date, time, tenths)
        except BadValueError:
            self._say("time-odd", path, date=date, time=time)
            return None


def label_text(raw: bytes) -> str:
    """Return the eleven bytes of a label as text without the spaces that fill it."""
    return raw.decode(CODE_PAGE).rstrip(" ")
