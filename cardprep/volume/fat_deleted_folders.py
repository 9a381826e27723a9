"""Look into deleted folders of a FAT volume, as far as they are still there.

Read is the first cluster of each, if it is free now and still begins as that very
folder does: with an entry for itself and one for the folder above. All that stands in
it was deleted with the folder, whether it is marked so or not. How many clusters are
read is bounded, and only who asks for deleted files pays for it.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT
Directory Structure".
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.deleted_places import UPPER_HALF_PLACES
from cardprep.volume.fat_boot import FIRST_CLUSTER, BootSector
from cardprep.volume.fat_deleted import Remains, deleted_entry
from cardprep.volume.fat_entry import DELETED, LENGTH, ShortEntry
from cardprep.volume.fat_folder import FolderContent, read_folder
from cardprep.volume.fat_found import DEPTH_LIMIT, Tree
from cardprep.volume.fat_table import FileAllocationTable

CLUSTERS_READ = 1024
_ITSELF = b"          "
_ABOVE = b".         "


class DeletedFolders:
    """The deleted folders of one volume.

    tree  what the walk found; what is found here is added to it
    gone  by their number in it, deleted folders, with the cluster of the one above
    """

    def __init__(
        self,
        sectors: Sectors,
        offset: int,
        boot: BootSector,
        table: FileAllocationTable,
        tree: Tree,
        gone: dict[int, int],
    ) -> None:
        self._sectors = sectors
        self._offset = offset
        self._boot = boot
        self._table = table
        self._tree = tree
        self._pending = deque(gone.items())
        self._seen: set[int] = set()

    def run(self) -> None:
        """Look into each of them, those inside of them included."""
        while self._pending:
            number, above = self._pending.popleft()
            folder = self._tree.deleted[number]
            path = (*folder.folder, folder.name)
            found = self._find(folder.first_cluster, above) if len(path) < DEPTH_LIMIT else None
            if found is not None:
                self._take(path, *found)
            if self._tree.is_too_much or len(self._seen) >= CLUSTERS_READ:
                parameters = {"limit": len(self._seen)}
                self._tree.findings.append(
                    Finding("deleted-folders-left", None, "directory", parameters)
                )
                return

    def _take(self, path: tuple[str, ...], cluster: int, content: FolderContent) -> None:
        live = [
            Remains(
                entry=named.entry,
                long_name=None if named.name == named.short else named.name,
                is_deleted=False,
            )
            for named in content.entries
            if not named.entry.is_label
        ]
        for remains in (*live, *content.deleted):
            if remains.entry.is_folder:
                self._pending.append((len(self._tree.deleted), cluster))
            first = self._first(remains.entry)
            self._tree.deleted.append(deleted_entry(path, remains, first))

    def _find(self, first: int, above: int) -> tuple[int, FolderContent] | None:
        """Return the cluster in which a folder still is, and what it holds."""
        for cluster in self._candidates(first):
            is_there = FIRST_CLUSTER <= cluster < self._table.limit
            if not is_there or cluster in self._seen or self._table.entry(cluster):
                continue
            self._seen.add(cluster)
            at = self._offset + self._boot.cluster_offset(cluster)
            try:
                data = read(self._sectors, at, self._boot.cluster_size)
            except (ReadFailedError, ShortReadError):
                continue
            if self._begins_as(data, cluster, above):
                return cluster, read_folder(data[2 * LENGTH :], None)
        return None

    def _candidates(self, first: int) -> Iterator[int]:
        yield first
        if self._table.bits == 32 and first < 2**16:
            yield from (first + (number << 16) for number in range(1, UPPER_HALF_PLACES))

    def _begins_as(self, data: bytes, cluster: int, above: int) -> bool:
        """Whether a cluster begins with a folder's entries for itself and the one above."""
        one, two = ShortEntry.parse(data[:LENGTH]), ShortEntry.parse(data[LENGTH : 2 * LENGTH])
        root = 0 if self._boot.fat32 is None else self._boot.fat32.root_cluster
        return (
            one.name[0] in (DELETED, ord("."))
            and two.name[0] in (DELETED, ord("."))
            and (one.name[1:], two.name[1:]) == (_ITSELF, _ABOVE)
            and one.is_folder
            and two.is_folder
            and self._first(one) == cluster
            and self._first(two) in ({above, 0} if above == root else {above})
        )

    def _first(self, entry: ShortEntry) -> int:
        return entry.first_cluster & (0xFFFFFFFF if self._table.bits == 32 else 0xFFFF)
