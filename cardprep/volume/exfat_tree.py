"""Walk the folders of an exFAT volume and give every file its place on the card.

Each folder is read once. Depth and number of entries are bounded, and a cluster
belongs to the first chain that reaches it, so that a folder which holds itself,
or two files that share clusters, end the walk there and are said.

A file can be longer than what was ever written of it: behind its *valid length*
systems show zeros, whatever stands on the card. The extents of such a file end
there, it is not whole, and that is said.

Source: exFAT File System Specification (Microsoft, 2019), sections 6 and 7.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from cardprep.errors import BadValueError, ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.exfat_bitmap import ClusterBits
from cardprep.volume.exfat_boot import ExfatBootSector
from cardprep.volume.exfat_entry import ALLOCATION_POSSIBLE, LENGTH, StreamEntry
from cardprep.volume.exfat_folder import MOST_BYTES, ExfatFolder, FileSet, read_exfat_folder
from cardprep.volume.exfat_names import PLAIN, UpcaseTable, name_is_possible
from cardprep.volume.exfat_table import ExfatTable
from cardprep.volume.exfat_time import ExfatTime
from cardprep.volume.fat_chain import Chain, ChainEnd
from cardprep.volume.fat_found import DEPTH_LIMIT, ENTRY_LIMIT, Tree
from cardprep.volume.model import DeletedEntry, Extent, VolumeEntry, shown_path

# Findings of their own are proposed for these three; until then the nearest ones stand in.
_ENTRY_DAMAGED = "folder-damaged"
_NEVER_WRITTEN = "chain-too-short"
_MARKED_FREE = "fsinfo-odd"

_CHAIN_SLUGS = {
    ChainEnd.FREE: "chain-broken",
    ChainEnd.OUTSIDE: "chain-broken",
    ChainEnd.BAD: "chain-broken",
    ChainEnd.CROSSED: "chain-crossed",
    ChainEnd.LOOP: "chain-loops",
    ChainEnd.SCATTERED: "too-scattered",
}


@dataclass(frozen=True, slots=True)
class _Folder:
    path: tuple[str, ...]
    extents: tuple[Extent, ...]


class ExfatWalk:
    """The walk over one volume.

    offset  byte on the card where the volume begins
    """

    def __init__(
        self, sectors: Sectors, offset: int, boot: ExfatBootSector, table: ExfatTable
    ) -> None:
        self._sectors = sectors
        self._offset = offset
        self._boot = boot
        self._table = table
        self._tree = Tree()
        self._root = _Folder((), ())
        self._upcase = PLAIN
        self._bitmap: ClusterBits | None = None
        self._all_names = False

    def begin(self) -> ExfatFolder:
        """Read the root folder, which names the tables that the rest is read with."""
        chain = self._table.walk(self._boot.root_cluster)
        self._judge_chain((), chain)
        self._root = _Folder((), self.extents(chain, None))
        return self._content(self._root)

    def finish(
        self, root: ExfatFolder, upcase: UpcaseTable, bitmap: ClusterBits | None, *, all_names: bool
    ) -> Tree:
        """Walk from the root, breadth first, and return what was found.

        root       what `begin` returned
        all_names  whether the up-case table is the volume's own; without it only
                   ASCII names are held against their hashes
        """
        self._upcase = upcase
        self._bitmap = bitmap
        self._all_names = all_names
        pending = deque([self._root])
        while pending:
            folder = pending.popleft()
            content = self._content(folder) if folder.path else root
            below = self._take(folder, content)
            if self._tree.is_too_much or (below and len(folder.path) >= DEPTH_LIMIT):
                self._say("too-many-files", folder.path, limit=ENTRY_LIMIT, depth=DEPTH_LIMIT)
                break
            pending.extend(below)
        self._tree.close()
        return self._tree

    def extents(self, chain: Chain, size: int | None) -> tuple[Extent, ...]:
        """Return where a chain lies on the card, cut to `size` bytes if one is given."""
        left = chain.clusters * self._boot.cluster_size if size is None else size
        extents = []
        for first, clusters in chain.runs:
            length = min(left, clusters * self._boot.cluster_size)
            if length:
                extents.append(Extent(self._offset + self._boot.cluster_offset(first), length))
            left -= length
        return tuple(extents)

    # --- folders

    def _content(self, folder: _Folder) -> ExfatFolder:
        """Read a folder and keep its findings; what cannot be read is said and left out."""
        self._tree.folders.extend(folder.extents)
        total = sum(extent.length for extent in folder.extents)
        if total > MOST_BYTES:
            self._say("too-many-files", folder.path, limit=MOST_BYTES // LENGTH, depth=DEPTH_LIMIT)
        data = bytearray()
        for extent in folder.extents:
            length = min(extent.length, MOST_BYTES - len(data))
            try:
                data += read(self._sectors, extent.offset, length)
            except (ReadFailedError, ShortReadError):
                self._say("read-error", folder.path, offset=extent.offset)
                break
        content = read_exfat_folder(bytes(data), shown_path(folder.path) or None)
        self._tree.stored += content.stored
        for finding in content.findings:
            self._tree.add(finding)
        return content

    def _take(self, folder: _Folder, content: ExfatFolder) -> list[_Folder]:
        """Add a folder's entries to the tree and return the folders among them."""
        below = []
        self._look_at_system_entries(folder, content)
        self._look_for_twins(folder, content)
        for found in content.files:
            path = (*folder.path, found.name)
            self._look_at_names(path, found)
            if found.file.is_folder:
                item = self._folder(path, found)
                if item.extents:
                    below.append(_Folder(path, self._cut(item.extents, found.stream.size)))
            else:
                item = self._file(path, found)
            self._tree.entries.append(item)
            if self._tree.is_too_much:
                break
        for found in content.deleted:
            self._tree.deleted.append(self._deleted(folder.path, found))
        return below

    def _look_at_system_entries(self, folder: _Folder, content: ExfatFolder) -> None:
        """Keep the volume's label; entries of the root may stand in no other folder."""
        if folder.path:
            if content.labels:
                self._say(_ENTRY_DAMAGED, folder.path, what="label")
            if content.bitmaps or content.upcases:
                self._say(_ENTRY_DAMAGED, folder.path, what="system-entry")
            return
        if len(content.labels) > 1 or not all(label.is_possible for label in content.labels):
            self._say(_ENTRY_DAMAGED, folder.path, what="label")
        self._tree.labels += [label.text for label in content.labels if label.text]

    def _look_for_twins(self, folder: _Folder, content: ExfatFolder) -> None:
        seen: set[str] = set()
        for found in content.files:
            name = self._upcase.upper(found.name)
            if name in seen:
                self._say("name-twice", (*folder.path, found.name))
            seen.add(name)

    def _look_at_names(self, path: tuple[str, ...], found: FileSet) -> None:
        """Say what of an entry set makes systems refuse the file, or not find it."""
        if not found.checksum_holds:
            self._say(_ENTRY_DAMAGED, path, what="checksum")
        if not name_is_possible(found.name):
            self._say(_ENTRY_DAMAGED, path, what="name")
        is_known = self._all_names or found.name.isascii()
        if is_known and self._upcase.name_hash(found.name) != found.stream.name_hash:
            self._say(_ENTRY_DAMAGED, path, what="name-hash")
        if not found.stream.flags & ALLOCATION_POSSIBLE:
            self._say(_ENTRY_DAMAGED, path, what="stream-flags")
        if found.stream.valid_length > found.stream.size:
            self._say(_ENTRY_DAMAGED, path, what="valid-length")

    # --- entries

    def _file(self, path: tuple[str, ...], found: FileSet) -> VolumeEntry:
        stream = found.stream
        chain = self._chain(path, stream)
        room = 0 if chain is None else chain.clusters * self._boot.cluster_size
        self._look_at_room(path, stream.size, room, chain)
        written = min(stream.size, stream.valid_length)
        if written < stream.size <= room:
            self._say(_NEVER_WRITTEN, path, size=stream.size, room=written)
        whole = (
            _is_sound(found)
            and written == stream.size <= room
            and (chain is None or chain.end is ChainEnd.PROPER)
        )
        extents = () if chain is None else self.extents(chain, written)
        return self._entry(path, found, stream.size, extents, whole)

    def _folder(self, path: tuple[str, ...], found: FileSet) -> VolumeEntry:
        """Return a folder; its size is that of its clusters, as with FAT."""
        chain = self._chain(path, found.stream)
        if chain is None:
            self._say(_ENTRY_DAMAGED, path, what="no-cluster")
            return self._entry(path, found, 0, (), False)
        size = chain.clusters * self._boot.cluster_size
        self._look_at_room(path, found.stream.size, size, chain)
        if found.stream.valid_length < found.stream.size:
            self._say(_ENTRY_DAMAGED, path, what="valid-length")
        whole = _is_sound(found) and chain.end is ChainEnd.PROPER and found.stream.size <= size
        return self._entry(path, found, size, self.extents(chain, None), whole)

    def _entry(
        self,
        path: tuple[str, ...],
        found: FileSet,
        size: int,
        extents: tuple[Extent, ...],
        whole: bool,
    ) -> VolumeEntry:
        file = found.file
        return VolumeEntry(
            path=path,
            short=found.name,
            is_folder=file.is_folder,
            size=size,
            attributes=file.attributes,
            created=self._time(path, file.created, file.created_hundredths, file.created_zone),
            accessed=self._time(path, file.accessed, 0, file.accessed_zone),
            modified=self._time(path, file.modified, file.modified_hundredths, file.modified_zone),
            extents=extents,
            is_whole=whole,
        )

    def _deleted(self, folder: tuple[str, ...], found: FileSet) -> DeletedEntry:
        file = found.file
        try:
            modified = ExfatTime.parse_stamp(
                file.modified, file.modified_hundredths, file.modified_zone
            )
        except BadValueError:
            modified = None
        return DeletedEntry(
            folder=folder,
            short=found.name or "?",
            size=found.stream.size,
            modified=modified,
            first_cluster=found.stream.first_cluster,
        )

    def _time(
        self, path: tuple[str, ...], stamp: int, hundredths: int, zone: int
    ) -> ExfatTime | None:
        try:
            return ExfatTime.parse_stamp(stamp, hundredths, zone)
        except BadValueError:
            self._say("time-odd", path, date=stamp >> 16, time=stamp & 0xFFFF)
            return None

    # --- chains

    def _chain(self, path: tuple[str, ...], stream: StreamEntry) -> Chain | None:
        """Take a file's clusters and say what is wrong with them; None for none at all."""
        if not stream.first_cluster:
            return None
        if stream.is_contiguous:
            chain = self._table.contiguous(stream.first_cluster, stream.size)
        else:
            chain = self._table.walk(stream.first_cluster)
        self._judge_chain(path, chain)
        self._look_at_bitmap(path, chain)
        return chain

    def _look_at_room(
        self, path: tuple[str, ...], size: int, room: int, chain: Chain | None
    ) -> None:
        if size > room and (chain is None or chain.end is ChainEnd.PROPER):
            self._say("chain-too-short", path, size=size, room=room)
        elif room - size >= self._boot.cluster_size:
            self._say("chain-too-long", path, size=size, room=room)

    def _look_at_bitmap(self, path: tuple[str, ...], chain: Chain) -> None:
        """Say so if a system may put other content where this file lies."""
        if self._bitmap is not None:
            free = sum(self._bitmap.unset_in(*run) for run in chain.runs)
            if free:
                self._say(_MARKED_FREE, path, what="marked-free", found=free)

    def _cut(self, extents: tuple[Extent, ...], size: int) -> tuple[Extent, ...]:
        """Return extents cut to `size` bytes."""
        cut = []
        for extent in extents:
            length = min(size, extent.length)
            if length:
                cut.append(Extent(extent.offset, length))
            size -= length
        return tuple(cut)

    def _judge_chain(self, path: tuple[str, ...], chain: Chain) -> None:
        slug = _CHAIN_SLUGS.get(chain.end)
        if slug is None:
            return
        if chain.end is ChainEnd.CROSSED:
            at = self._offset + self._boot.cluster_offset(chain.at)
            self._tree.add_crossing(at, chain.at, shown_path(path))
        self._say(slug, path, cluster=chain.at, how=chain.end.value)

    def _say(self, slug: str, path: tuple[str, ...], **parameters: str | int) -> None:
        structure = "FAT" if slug.startswith("chain") else "directory"
        if slug == _MARKED_FREE:
            structure = "allocation bitmap"
        self._tree.add(Finding(slug, shown_path(path) or None, structure, parameters))


def _is_sound(found: FileSet) -> bool:
    """Whether an entry set can be believed in what it says of the content."""
    return (
        found.checksum_holds
        and bool(found.stream.flags & ALLOCATION_POSSIBLE)
        and found.stream.valid_length <= found.stream.size
    )
