"""Read the blocks in which a file differs from the shelf's copy a second time, and that copy too.

Nothing is read where the shelf has no sound copy, and of most cards nothing at all.
"""

from __future__ import annotations

import os

from cardprep.bench.open import Bench
from cardprep.errors import CardprepError
from cardprep.inspection.again import blocks_from_folder, blocks_from_sectors
from cardprep.manifest.model import ImageFacts
from cardprep.medium.folder import MountedFolder
from cardprep.medium.protocol import Sectors
from cardprep.progress import Cancel
from cardprep.rules.closer import is_shelf_block, to_read_twice
from cardprep.rules.context import Context, FilePlace, ReadTwice, place_of
from cardprep.terms import CHUNK


def look_closer(
    bench: Bench, opened: Sectors | MountedFolder, context: Context, cancel: Cancel
) -> dict[FilePlace, ReadTwice]:
    """Return what was read a second time; a copy of the shelf's that does not hold tells nothing.

    Raises StoppedError if somebody asked to stop.
    """
    found = {}
    for file, image, numbers in to_read_twice(context):
        cancel.check()
        shelf = _from_shelf(bench, image, numbers)
        if shelf is None:
            continue
        if isinstance(opened, MountedFolder):
            card = blocks_from_folder(opened, file, numbers, cancel)
        else:
            card = blocks_from_sectors(opened, file, numbers)
        found[place_of(file)] = ReadTwice(numbers=numbers, card=card, shelf=shelf)
    return found


def _from_shelf(
    bench: Bench, image: ImageFacts, numbers: tuple[int, ...]
) -> tuple[bytes, ...] | None:
    try:
        with bench.shelf.open_unchecked(image.sha256, image.size) as file:
            blocks = tuple(os.pread(file.fileno(), CHUNK, number * CHUNK) for number in numbers)
    except (CardprepError, OSError):
        return None
    right = map(is_shelf_block, [image] * len(numbers), numbers, blocks)
    return blocks if all(right) else None
