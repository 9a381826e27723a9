"""What the walks over the folders of FAT and of exFAT volumes have in common.

Each folder is read once. Depth and number of entries are bounded, and a cluster
belongs to the first chain that reaches it, so that a folder which holds itself,
or two files that share clusters, end the walk there and are said.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.deleted_places import Clusters
from cardprep.volume.fat_chain import Chain, ChainEnd
from cardprep.volume.fat_found import DEPTH_LIMIT, ENTRY_LIMIT, Tree
from cardprep.volume.model import Extent, shown_path

_CHAIN_SLUGS = {
    ChainEnd.FREE: "chain-broken",
    ChainEnd.OUTSIDE: "chain-broken",
    ChainEnd.BAD: "chain-broken",
    ChainEnd.CROSSED: "chain-crossed",
    ChainEnd.LOOP: "chain-loops",
    ChainEnd.SCATTERED: "too-scattered",
}


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder that is still to be read."""

    path: tuple[str, ...]
    extents: tuple[Extent, ...]


F = TypeVar("F", bound=Folder)


class FolderWalk:
    """The walk over one volume.

    offset  byte on the card where the volume begins
    """

    def __init__(self, sectors: Sectors, offset: int, clusters: Clusters) -> None:
        self._sectors = sectors
        self._offset = offset
        self._clusters = clusters
        self._tree = Tree()

    def extents(self, chain: Chain, size: int | None) -> tuple[Extent, ...]:
        """Return where a chain lies on the card, cut to `size` bytes if one is given."""
        cluster_size = self._clusters.cluster_size
        left = chain.clusters * cluster_size if size is None else size
        extents = []
        for first, clusters in chain.runs:
            length = min(left, clusters * cluster_size)
            if length:
                extents.append(Extent(self._offset + self._clusters.cluster_offset(first), length))
            left -= length
        return tuple(extents)

    def _breadth_first(self, root: F, take: Callable[[F], list[F]]) -> Tree:
        """Walk from the root, and return what was found.

        take  adds a folder's entries to the tree and returns the folders among them
        """
        pending = deque([root])
        while pending:
            folder = pending.popleft()
            below = take(folder)
            if self._tree.is_too_much or (below and len(folder.path) >= DEPTH_LIMIT):
                self._say("too-many-files", folder.path, limit=ENTRY_LIMIT, depth=DEPTH_LIMIT)
                break
            pending.extend(below)
        self._tree.close()
        return self._tree

    def _stored(self, folder: Folder, most: int) -> bytes:
        """Return a folder's bytes, as many as are read; what cannot be read is said."""
        self._tree.folders.extend(folder.extents)
        total = sum(extent.length for extent in folder.extents)
        if total > most:
            self._say("too-many-files", folder.path, limit=most // 32, depth=DEPTH_LIMIT)
        data = bytearray()
        for extent in folder.extents:
            length = min(extent.length, most - len(data))
            try:
                data += read(self._sectors, extent.offset, length)
            except (ReadFailedError, ShortReadError):
                self._say("read-error", folder.path, offset=extent.offset)
                break
        return bytes(data)

    def _judge_chain(self, path: tuple[str, ...], chain: Chain) -> None:
        slug = _CHAIN_SLUGS.get(chain.end)
        if slug is None:
            return
        if chain.end is ChainEnd.CROSSED:
            at = self._offset + self._clusters.cluster_offset(chain.at)
            self._tree.add_crossing(at, chain.at, shown_path(path))
        self._say(slug, path, cluster=chain.at, how=chain.end.value)

    def _say(self, slug: str, path: tuple[str, ...], **parameters: str | int) -> None:
        structure = "FAT" if slug.startswith("chain") else "directory"
        if slug == "clusters-marked-free":
            structure = "allocation bitmap"
        self._tree.add(Finding(slug, shown_path(path) or None, structure, parameters))
