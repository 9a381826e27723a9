"""See what is on a card and hold it against nothing: no shop, no stage, no verdict."""

from __future__ import annotations

from pathlib import Path

from cardprep.inspection.card import inspect_card
from cardprep.inspection.folder import inspect_folder
from cardprep.inspection.model import Inspection
from cardprep.medium.folder import MountedFolder
from cardprep.medium.open import open_card
from cardprep.progress import Cancel, Progress


def inspect(path: Path, *, deleted: bool = False, progress: Progress, cancel: Cancel) -> Inspection:
    """Return all that is on a card; what could not be read is among the findings.

    deleted  whether the content of deleted files is looked for

    Raises NotThereError or NotAllowedError if the card cannot be opened, and StoppedError.
    """
    with open_card(path) as opened:
        if isinstance(opened, MountedFolder):
            return inspect_folder(opened, progress=progress, cancel=cancel)
        asked = None
        if deleted:
            from cardprep.inspection.deleted import AskedDeleted

            asked = AskedDeleted()
        return inspect_card(opened, deleted=asked, progress=progress, cancel=cancel)
