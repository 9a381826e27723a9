"""Whether images fit on one card for a display: asked of the layout itself."""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.errors import LayoutError, NoPlanError
from cardprep.job.stage import FILE_SYSTEMS, Stage, StageFile, VolumeSettings
from cardprep.job.visit import JobName
from cardprep.layout.build import lay_out
from cardprep.layout.geometry import volume_for_printed
from cardprep.manifest.model import DisplayFacts, ImageFacts
from cardprep.terms import MIB

# What a card takes up besides files is far below this for any stage.
_SPARE = 16 * MIB
# The smallest of the usual volumes; a display that wants a smaller one is asked about exactly.
_ALWAYS = 480 * MIB


def fits(display: DisplayFacts, images: Sequence[ImageFacts]) -> bool:
    """Return whether a card that this display takes holds all these images.

    Raises NoPlanError if cardprep does not write what the display reads, and
    LayoutError if no card that it takes holds anything.
    """
    settings = volume_settings(display)
    needed = sum(image.size for image in images) + _SPARE
    least = settings.volume_size or settings.largest_card
    if needed <= _ALWAYS and (least is None or least >= 2 * _ALWAYS):
        return True
    stage = Stage(
        job=JobName("A", 1),
        number=1,
        of=1,
        display=display.model,
        files=tuple(stage_file(image, display) for image in images),
        settings=settings,
    )
    try:
        lay_out(stage)
    except LayoutError as error:
        # A display that takes no card at all is not a matter of these images.
        if error.reason == "layout.display-too-small":
            raise
        return False
    return True


def volume_settings(display: DisplayFacts) -> VolumeSettings:
    """Return how a display wants the volume of its cards."""
    systems = tuple(str(fs) for fs in display.file_systems if str(fs) in FILE_SYSTEMS)
    if not systems:
        raise NoPlanError("plan.file-system", display=display.model)
    return VolumeSettings(
        file_systems=systems,
        volume_size=_volume_size(display.volume_size),
        largest_card=display.largest_card,
        partition_table=str(display.partition_table),
    )


def _volume_size(wanted: int | None) -> int | None:
    """Return the size of the volume itself: a printed size stands for what such cards hold."""
    return wanted if wanted is None or wanted % MIB == 0 else volume_for_printed(wanted)


def stage_file(image: ImageFacts, display: DisplayFacts) -> StageFile:
    """Return an image as a file of a stage, in the folder where the display looks for it."""
    folders = [part for part in display.folder.split("/") if part]
    return StageFile(
        path=(*folders, image.file),
        size=image.size,
        sha256=image.sha256,
        image_type=image.type,
        models=image.models,
        version=image.version,
        released=image.released.strftime("%Y-%m-%dT%H:%M:%SZ"),
    )
