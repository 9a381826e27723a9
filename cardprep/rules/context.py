"""What a rule may look at: one value, put together before any rule runs.

A file is *identified* by its digest, which proves it; by its name alone, which
is only what it claims to be; or not at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from cardprep.inspection.model import InspectedFile, Inspection
from cardprep.job.stage import Stage
from cardprep.layout.compare import Compared
from cardprep.manifest.model import DisplayFacts, ImageFacts, Manifest


class By(StrEnum):
    """What a file was identified by."""

    DIGEST = "digest"
    NAME = "name"


@dataclass(frozen=True, slots=True, kw_only=True)
class Identified:
    """A file of the card and the image that it is, or claims to be.

    image  None for a file that neither digest nor name tells
    by     None for such a file
    """

    file: InspectedFile
    image: ImageFacts | None
    by: By | None


@dataclass(frozen=True, kw_only=True)
class Context:
    """All that is known when a card is judged.

    manifest    None if there is none that may be believed
    untrusted   the reason why not, as a slug of the refusals, or None
    stage       what the card ought to be, or None if that is not known
    compared    the comparison with the stage's layout, or None if it was not made
    read_back   whether this is the look at a card that was written a moment ago
    superseded  whether the job was planned anew since the stage was written, and the
                newest plan has no such stage
    """

    inspection: Inspection
    manifest: Manifest | None = None
    untrusted: str | None = None
    stage: Stage | None = None
    compared: Compared | None = None
    read_back: bool = False
    superseded: bool = False

    @cached_property
    def files(self) -> tuple[Identified, ...]:
        """The card's files with what they are."""
        return tuple(self._identify(file) for file in self.inspection.files)

    @cached_property
    def display(self) -> DisplayFacts | None:
        """What is known of the display that is to read the card."""
        if self.manifest is None or self.stage is None:
            return None
        return self.manifest.display(self.stage.display)

    def _identify(self, file: InspectedFile) -> Identified:
        if self.manifest is None:
            return Identified(file=file, image=None, by=None)
        if file.digests is not None:
            image = self.manifest.by_sha256(file.digests.sha256)
            if image is not None:
                return Identified(file=file, image=image, by=By.DIGEST)
        names = {file.path[-1], file.short or file.path[-1]}
        claimed = [image for name in sorted(names) for image in self.manifest.by_file_name(name)]
        if claimed:
            # Makers keep one name for all versions; the nearest in size is what it most likely was.
            image = min(claimed, key=lambda known: abs(known.size - file.size))
            return Identified(file=file, image=image, by=By.NAME)
        return Identified(file=file, image=None, by=None)
