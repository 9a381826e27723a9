"""Look into deleted folders of an exFAT volume, as far as they are still there.

Read is the first cluster of each, if it is free now and everything in it can still be
a folder's: such folders have no entries for themselves by which they could be told.
All that stands there was deleted with the folder, whether it is marked so or not. How
much is read is bounded, and only who asks for deleted files pays for it.

Source: exFAT File System Specification (Microsoft, 2019), section 7.
"""

from __future__ import annotations

from collections import deque

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.terms import MIB
from cardprep.volume.exfat_bitmap import ClusterBits
from cardprep.volume.exfat_boot import FIRST_CLUSTER, ExfatBootSector
from cardprep.volume.exfat_folder import ExfatFolder, read_exfat_folder
from cardprep.volume.exfat_tree import deleted_entry
from cardprep.volume.fat_found import DEPTH_LIMIT, Tree
from cardprep.volume.model import DeletedEntry

FOLDERS_READ = 256
# Clusters may have 32 MiB; more than this no deleted folder is likely to have filled.
_MOST_BYTES = MIB


class DeletedExfatFolders:
    """The deleted folders of one volume.

    offset  byte on the card where the volume begins
    in_use  clusters that are in use now
    tree    what the walk found; what is found here is added to it
    """

    def __init__(
        self, sectors: Sectors, offset: int, boot: ExfatBootSector, in_use: ClusterBits, tree: Tree
    ) -> None:
        self._sectors = sectors
        self._offset = offset
        self._boot = boot
        self._in_use = in_use
        self._tree = tree
        self._seen: set[int] = set()

    def run(self) -> None:
        """Look into each of them, those inside of them included."""
        deleted = self._tree.deleted
        pending = deque(entry for entry in deleted if entry.is_folder)
        while pending:
            folder = pending.popleft()
            path = (*folder.folder, folder.name)
            content = self._content(folder) if len(path) < DEPTH_LIMIT else None
            found = () if content is None else (*content.files, *content.deleted)
            below = [deleted_entry(path, one) for one in found]
            deleted.extend(below)
            pending.extend(entry for entry in below if entry.is_folder)
            if self._tree.is_too_much or len(self._seen) >= FOLDERS_READ:
                parameters = {"limit": len(self._seen)}
                self._tree.findings.append(
                    Finding("deleted-folders-left", None, "directory", parameters)
                )
                return

    def _content(self, folder: DeletedEntry) -> ExfatFolder | None:
        """Return what a folder still lists, or None where something else lies by now."""
        cluster = folder.first_cluster
        if not FIRST_CLUSTER <= cluster < self._boot.limit:
            return None
        if cluster in self._seen or cluster in self._in_use:
            return None
        self._seen.add(cluster)
        length = min(self._boot.cluster_size, _MOST_BYTES)
        try:
            data = read(self._sectors, self._offset + self._boot.cluster_offset(cluster), length)
        except (ReadFailedError, ShortReadError):
            return None
        content = read_exfat_folder(data, None)
        is_odd = content.findings or content.labels or content.bitmaps or content.upcases
        sound = all(found.checksum_holds for found in content.files)
        return None if is_odd or not sound else content
