"""Folders of a stage: which entries each one holds, in which order.

The order is that of the stage's files; a folder stands where its first file
does. The same stage gives the same folders on every machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from cardprep.errors import LayoutError
from cardprep.job.stage import Stage
from cardprep.layout.names import StoredName, stored_names
from cardprep.volume.fat_entry import LENGTH
from cardprep.volume.fat_names import UNITS_PER_ENTRY, units
from cardprep.volume.model import shown_path

DEPTH_LIMIT = 20
FOLDER_ENTRIES_MOST = 65535


@dataclass(slots=True, kw_only=True)
class FolderPlan:
    """A folder that is being laid out.

    path     parts from the root
    parent   the folder above, None for the root
    files    numbers of files in it, by name
    folders  folders in it, by name
    names    names in order of first appearance
    stored   how they are stored, in the same order
    """

    path: tuple[str, ...]
    parent: FolderPlan | None
    files: dict[str, int] = field(default_factory=dict)
    folders: dict[str, FolderPlan] = field(default_factory=dict)
    names: list[str] = field(default_factory=list)
    stored: list[StoredName] = field(default_factory=list)

    @property
    def entry_count(self) -> int:
        """Entries of 32 bytes that it takes: label or dots, long pieces, short entries."""
        own = 1 if self.parent is None else 2
        return own + sum(1 + long_pieces(name) for name in self.stored)

    @property
    def size(self) -> int:
        """Bytes of its entries."""
        return self.entry_count * LENGTH

    def all_folders(self) -> Iterator[FolderPlan]:
        """Give this folder and all below it, breadth first."""
        level = [self]
        while level:
            yield from level
            level = [below for folder in level for below in folder.folders.values()]


def long_pieces(name: StoredName) -> int:
    """Return how many long entries a name takes."""
    return -(-len(units(name.name)) // UNITS_PER_ENTRY) if name.is_long else 0


def plan_folders(stage: Stage) -> FolderPlan:
    """Return the root folder of a stage with everything below it.

    Raises LayoutError for names that cannot stand on a card, for a file that
    stands twice or where a folder stands, and for too deep or too full folders.
    """
    root = FolderPlan(path=(), parent=None)
    for number, file in enumerate(stage.files):
        shown = shown_path(file.path)
        if len(file.path) > DEPTH_LIMIT:
            raise LayoutError("layout.too-deep", name=shown, most=DEPTH_LIMIT)
        folder = root
        for part in file.path[:-1]:
            folder = _below(folder, part, shown)
        name = file.path[-1]
        if name in folder.files or name in folder.folders:
            raise LayoutError("layout.same-name", name=shown, other=shown)
        folder.files[name] = number
        folder.names.append(name)
    for folder in root.all_folders():
        folder.stored = stored_names(tuple(folder.names))
        if folder.entry_count > FOLDER_ENTRIES_MOST:
            raise LayoutError("layout.folder-full", most=FOLDER_ENTRIES_MOST)
    return root


def _below(folder: FolderPlan, part: str, shown: str) -> FolderPlan:
    if part in folder.files:
        raise LayoutError("layout.same-name", name=shown, other=shown)
    if part not in folder.folders:
        folder.folders[part] = FolderPlan(path=(*folder.path, part), parent=folder)
        folder.names.append(part)
    return folder.folders[part]
