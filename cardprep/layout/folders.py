"""The entries of a stage's folders as bytes, once every file and folder has its place.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT
Directory Structure" and "FAT Long Directory Entries".
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.errors import BadValueError, LayoutError
from cardprep.job.stage import Stage
from cardprep.layout.label import volume_label
from cardprep.layout.tree import FolderPlan
from cardprep.terms import spelled_out
from cardprep.volume.fat_entry import (
    ARCHIVE,
    FOLDER,
    LAST_LONG,
    VOLUME_LABEL,
    LongEntry,
    ShortEntry,
)
from cardprep.volume.fat_names import checksum, to_units
from cardprep.volume.fat_time import FatTime


@dataclass(frozen=True, slots=True)
class Places:
    """Where things lie: first cluster and number of clusters.

    folders  by path; the fixed root of FAT16 is not among them
    files    by number in the stage; (0, 0) for an empty file
    end      the first cluster that is free
    """

    folders: dict[tuple[str, ...], tuple[int, int]]
    files: list[tuple[int, int]]
    end: int


def folder_entries(stage: Stage, folder: FolderPlan, places: Places) -> list[bytes]:
    """Return the entries of a folder, 32 bytes each.

    Folders and the label take the date of the newest image. Raises LayoutError
    for a release time that FAT cannot store.
    """
    newest = max(stage.files, key=lambda file: file.released).released
    entries = []
    if folder.parent is None:
        label = volume_label(stage).ljust(11).encode("ascii")
        entries.append(_short(label, VOLUME_LABEL, newest, 0, 0))
    else:
        own = places.folders[folder.path][0]
        # The standard wants 0 for a parent that is the root, on FAT32 too.
        above = places.folders[folder.parent.path][0] if folder.parent.parent else 0
        entries.append(_short(b".          ", FOLDER, newest, own, 0))
        entries.append(_short(b"..         ", FOLDER, newest, above, 0))
    for stored in folder.stored:
        if stored.is_long:
            entries += _long_entries(stored.name, checksum(stored.short))
        number = folder.files.get(stored.name)
        if number is None:
            first = places.folders[folder.folders[stored.name].path][0]
            entries.append(_short(stored.short, FOLDER, newest, first, 0, stored.case_bits))
        else:
            file = stage.files[number]
            first = places.files[number][0]
            bits = stored.case_bits
            entries.append(_short(stored.short, ARCHIVE, file.released, first, file.size, bits))
    return entries


def _short(
    name: bytes, attributes: int, released: str, first: int, size: int, case_bits: int = 0
) -> bytes:
    date, time, tenths = _time(released).to_words()
    return ShortEntry(
        name=name,
        attributes=attributes,
        case_bits=case_bits,
        created=(tenths, time, date),
        accessed=date,
        modified=(time, date),
        first_cluster=first,
        size=size,
    ).to_bytes()


def _long_entries(name: str, short_sum: int) -> list[bytes]:
    pieces = list(enumerate(to_units(name), 1))
    last = len(pieces)
    return [
        LongEntry(
            order=number | (LAST_LONG if number == last else 0), units=units, checksum=short_sum
        ).to_bytes()
        for number, units in reversed(pieces)
    ]


def _time(released: str) -> FatTime:
    """Return a release time as FAT stores it: the UTC digits, since FAT knows no zone."""
    numbers = [int(part) for part in released[:-1].replace("T", "-").replace(":", "-").split("-")]
    try:
        return FatTime(*numbers)
    except BadValueError as error:
        raise LayoutError("layout.time", found=spelled_out(released)) from error
