"""A small manifest in memory that knows the files of a stage."""

from __future__ import annotations

from datetime import UTC, date, datetime

from cardprep.digests import ContentDigests
from cardprep.job.stage import Stage
from cardprep.manifest.model import (
    DisplayFacts,
    FileSystem,
    HandedOver,
    ImageFacts,
    Leaves,
    Manifest,
    Minutes,
    PartitionTable,
)
from cardprep.terms import APPLICATION, ImageType, Version
from tests.stages import Memory


def image_facts(
    name: str,
    content: bytes,
    *,
    kind: ImageType = APPLICATION,
    version: str = "4.30",
    models: tuple[str, ...] = ("OV-V40",),
    container: str = "opaque",
    withdrawn: str | None = None,
) -> ImageFacts:
    digests = ContentDigests()
    digests.update(content)
    found = digests.result()
    return ImageFacts(
        file=name,
        models=models,
        type=kind,
        version=Version(version),
        released=datetime(2026, 2, 14, 13, 37, 42, tzinfo=UTC),
        size=found.size,
        sha256=found.sha256,
        xxh3_128=found.xxh3_128,
        chunks=found.chunks,
        container=container,
        needs=(),
        from_versions=(),
        carries=(),
        leaves=Leaves.RUNNING,
        minutes=Minutes(low=1, high=2),
        known_by=HandedOver(by="the skipper", on=date(2026, 11, 20)),
        list_checked=None,
        withdrawn=withdrawn,
    )


def display_facts(**changed: object) -> DisplayFacts:
    values: dict[str, object] = {
        "model": "OV-D9",
        "file_systems": (FileSystem.FAT16, FileSystem.FAT32),
        "partition_table": PartitionTable.MBR,
        "volume_size": None,
        "largest_card": None,
        "types_per_card": 1,
        "folder": "",
        "announces": (APPLICATION,),
        "writes": ("OVD9.LOG",),
        **changed,
    }
    return DisplayFacts(**values)  # type: ignore[arg-type]


def manifest_of(*images: ImageFacts, display: DisplayFacts | None = None) -> Manifest:
    return Manifest(
        format=1,
        serial=1,
        previous=None,
        shop="Gannet Slip Marine Electronics",
        image_types=(),
        displays=(display or display_facts(),),
        models=(),
        images=images,
    )


def manifest_for(stage: Stage, source: Memory) -> Manifest:
    """Return a manifest that knows every file of a stage, wherever it stands."""
    return manifest_of(
        *(
            image_facts(
                file.path[-1],
                source.contents[file.sha256],
                kind=file.image_type,
                models=(f"OV-{number}",),
            )
            for number, file in enumerate(stage.files)
        ),
        display=display_facts(
            folder="/".join(stage.files[0].path[:-1]),
            partition_table=PartitionTable(stage.settings.partition_table),
        ),
    )
