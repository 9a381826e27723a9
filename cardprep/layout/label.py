"""The names by which a card of ours is known: volume label and serial numbers.

A label has eleven characters: ``B238-1 BOOT``, the job, the stage, the image
type's code. A longer job or stage takes the place of the space, then of the
code. Serial numbers are names and never keys: 32 bits prove nothing.
"""

from __future__ import annotations

import hashlib

from cardprep.canonical import Json, dumps
from cardprep.job.stage import Stage

LABEL_MOST = 11
SEVERAL_TYPES = "MANY"


def volume_label(stage: Stage) -> str:
    """Return the volume label of a stage's card."""
    types = stage.types
    code = types[0].code if len(types) == 1 else SEVERAL_TYPES
    name = f"{stage.job}-{stage.number}"
    for label in (f"{name} {code}", f"{name}{code}"):
        if len(label) <= LABEL_MOST:
            return label
    return name


def serials(stage: Stage) -> tuple[int, int]:
    """Return volume serial number and disk signature, from all that decides the card's bytes.

    All but the image types, which stand in the label alone: a shop that corrects a
    type plans the same stage. What is compared is the whole card, label included.
    The keys are written out here and not taken from the stage's record, which
    may grow: a stage of this layout version keeps its numbers for ever.
    """
    files: list[Json] = [
        [list(file.path), file.size, file.sha256, file.released] for file in stage.files
    ]
    settings = stage.settings
    named = dumps(
        {
            "layout": stage.layout,
            "job": str(stage.job),
            "stage": stage.number,
            "of": stage.of,
            "files": files,
            "file_systems": list(settings.file_systems),
            "volume_size": settings.volume_size,
            "largest_card": settings.largest_card,
            "partition_table": settings.partition_table,
        }
    )
    digest = hashlib.sha256(b"cardprep volume serial\n" + named).digest()
    return int.from_bytes(digest[:4], "big"), int.from_bytes(digest[4:8], "big")
