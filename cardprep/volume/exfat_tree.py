"""Walk the folders of an exFAT volume and give every file its place on the card.

What bounds the walk stands in ``folder_walk.py``.

A file can be longer than what was ever written of it: behind its *valid length*
systems show zeros, whatever stands on the card. The extents of such a file end
there, it is not whole, and that is said.

Source: exFAT File System Specification (Microsoft, 2019), sections 6 and 7.
"""

from __future__ import annotations

from cardprep.errors import BadValueError
from cardprep.medium.protocol import Sectors
from cardprep.volume.exfat_bitmap import ClusterBits
from cardprep.volume.exfat_boot import ExfatBootSector
from cardprep.volume.exfat_entry import ALLOCATION_POSSIBLE, StreamEntry
from cardprep.volume.exfat_folder import MOST_BYTES, ExfatFolder, FileSet, read_exfat_folder
from cardprep.volume.exfat_names import PLAIN, UpcaseTable, name_is_possible
from cardprep.volume.exfat_table import ExfatTable
from cardprep.volume.exfat_time import ExfatTime
from cardprep.volume.fat_chain import Chain, ChainEnd
from cardprep.volume.fat_found import Tree
from cardprep.volume.folder_walk import Folder, FolderWalk
from cardprep.volume.model import DeletedEntry, Extent, VolumeEntry, shown_path


class ExfatWalk(FolderWalk):
    """The walk over one volume; its root is read first, since it names what the rest needs."""

    def __init__(
        self, sectors: Sectors, offset: int, boot: ExfatBootSector, table: ExfatTable
    ) -> None:
        super().__init__(sectors, offset, boot)
        self._boot = boot
        self._table = table
        self._root = Folder((), ())
        self._upcase = PLAIN
        self._bitmap: ClusterBits | None = None
        self._all_names = False

    def begin(self) -> ExfatFolder:
        """Read the root folder, which names the tables that the rest is read with."""
        chain = self._table.walk(self._boot.root_cluster)
        self._judge_chain((), chain)
        self._root = Folder((), self.extents(chain, None))
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

        def take(folder: Folder) -> list[Folder]:
            return self._take(folder, self._content(folder) if folder.path else root)

        return self._breadth_first(self._root, take)

    # --- folders

    def _content(self, folder: Folder) -> ExfatFolder:
        """Read a folder and keep its findings; what cannot be read is said and left out."""
        data = self._stored(folder, MOST_BYTES)
        content = read_exfat_folder(data, shown_path(folder.path) or None)
        self._tree.stored += content.stored
        for finding in content.findings:
            self._tree.add(finding)
        return content

    def _take(self, folder: Folder, content: ExfatFolder) -> list[Folder]:
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
                    below.append(Folder(path, self._cut(item.extents, found.stream.size)))
            else:
                item = self._file(path, found)
            self._tree.entries.append(item)
            if self._tree.is_too_much:
                break
        for found in content.deleted:
            self._tree.deleted.append(deleted_entry(folder.path, found))
        return below

    def _look_at_system_entries(self, folder: Folder, content: ExfatFolder) -> None:
        """Keep the volume's label; entries of the root may stand in no other folder."""
        if folder.path:
            if content.labels:
                self._say("entry-damaged", folder.path, what="label-odd")
            if content.bitmaps or content.upcases:
                self._say("entry-damaged", folder.path, what="system-entry")
            return
        if len(content.labels) > 1 or not all(label.is_possible for label in content.labels):
            self._say("entry-damaged", folder.path, what="label-odd")
        self._tree.labels += [label.text for label in content.labels if label.text]

    def _look_for_twins(self, folder: Folder, content: ExfatFolder) -> None:
        seen: set[str] = set()
        for found in content.files:
            name = self._upcase.upper(found.name)
            if name in seen:
                self._say("name-twice", (*folder.path, found.name))
            seen.add(name)

    def _look_at_names(self, path: tuple[str, ...], found: FileSet) -> None:
        """Say what of an entry set makes systems refuse the file, or not find it."""
        if not found.checksum_holds:
            self._say("entry-damaged", path, what="set-checksum")
        if not name_is_possible(found.name):
            self._say("entry-damaged", path, what="entry-name")
        is_known = self._all_names or found.name.isascii()
        if is_known and self._upcase.name_hash(found.name) != found.stream.name_hash:
            self._say("entry-damaged", path, what="name-hash")
        if not found.stream.flags & ALLOCATION_POSSIBLE:
            self._say("entry-damaged", path, what="stream-flags")
        if found.stream.valid_length > found.stream.size:
            self._say("entry-damaged", path, what="valid-length")

    # --- entries

    def _file(self, path: tuple[str, ...], found: FileSet) -> VolumeEntry:
        stream = found.stream
        chain = self._chain(path, stream)
        room = 0 if chain is None else chain.clusters * self._boot.cluster_size
        self._look_at_room(path, stream.size, room, chain)
        written = min(stream.size, stream.valid_length)
        if written < stream.size <= room:
            self._say("never-written", path, size=stream.size, room=written)
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
            self._say("entry-damaged", path, what="no-cluster")
            return self._entry(path, found, 0, (), False)
        size = chain.clusters * self._boot.cluster_size
        self._look_at_room(path, found.stream.size, size, chain)
        if found.stream.valid_length < found.stream.size:
            self._say("entry-damaged", path, what="valid-length")
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
                self._say("clusters-marked-free", path, what="marked-file", found=free)

    def _cut(self, extents: tuple[Extent, ...], size: int) -> tuple[Extent, ...]:
        """Return extents cut to `size` bytes."""
        cut = []
        for extent in extents:
            length = min(size, extent.length)
            if length:
                cut.append(Extent(extent.offset, length))
            size -= length
        return tuple(cut)


def _is_sound(found: FileSet) -> bool:
    """Whether an entry set can be believed in what it says of the content."""
    return (
        found.checksum_holds
        and bool(found.stream.flags & ALLOCATION_POSSIBLE)
        and found.stream.valid_length <= found.stream.size
    )


def deleted_entry(folder: tuple[str, ...], found: FileSet) -> DeletedEntry:
    """Return what is left of a file or folder as a value; a lost end of its name shows as ?.

    folder  parts of the folder in which it stood
    """
    file, name = found.file, found.name
    stored = len(name.encode("utf-16-le", "surrogatepass")) // 2
    is_whole = 0 < stored == found.stream.name_length
    left = name if is_whole else f"{name}?"
    return DeletedEntry(
        folder=folder,
        short=left,
        long_name=left if name else None,
        name_is_whole=is_whole,
        is_folder=file.is_folder,
        size=found.stream.size,
        attributes=file.attributes,
        created=_quietly(file.created, file.created_hundredths, file.created_zone),
        accessed=_quietly(file.accessed, 0, file.accessed_zone),
        modified=_quietly(file.modified, file.modified_hundredths, file.modified_zone),
        first_cluster=found.stream.first_cluster,
    )


def _quietly(stamp: int, hundredths: int, zone: int) -> ExfatTime | None:
    """Return the time of a deleted file; that it is on no calendar is not worth a word."""
    try:
        return ExfatTime.parse_stamp(stamp, hundredths, zone)
    except BadValueError:
        return None
