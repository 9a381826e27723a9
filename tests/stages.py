"""Stages and contents in memory, for tests that lay out cards."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from cardprep.job.stage import Stage, StageFile, VolumeSettings
from cardprep.job.visit import JobName
from cardprep.layout.model import Layout
from cardprep.layout.stream import BLOCK, blocks
from cardprep.terms import APPLICATION, MIB, ImageType, Version

RELEASED = "2026-02-14T13:37:42Z"

Files = Sequence[tuple[tuple[str, ...], bytes]]


class Memory:
    """Contents by digest."""

    def __init__(self, contents: Mapping[str, bytes]) -> None:
        self.contents = dict(contents)

    @contextmanager
    def open(self, file: StageFile) -> Iterator[io.BytesIO]:
        yield io.BytesIO(self.contents[file.sha256])


def stage_file(
    path: tuple[str, ...],
    content: bytes,
    *,
    released: str = RELEASED,
    kind: ImageType = APPLICATION,
) -> StageFile:
    return StageFile(
        path=path,
        size=len(content),
        sha256=hashlib.sha256(content).hexdigest(),
        image_type=kind,
        models=("OV-V40",),
        version=Version("4.30"),
        released=released,
    )


def make_stage(
    files: Files, *, job: str = "B238", number: int = 1, of: int = 2, **settings: object
) -> tuple[Stage, Memory]:
    """Return a stage with these files, and the source of their contents."""
    stage = Stage(
        job=JobName.parse(job),
        number=number,
        of=of,
        display="OV-D9",
        files=tuple(stage_file(path, content) for path, content in files),
        settings=VolumeSettings(**settings),  # type: ignore[arg-type]
    )
    contents = {hashlib.sha256(content).hexdigest(): content for _, content in files}
    return stage, Memory(contents)


def write_image(path: Path, layout: Layout, source: Memory, size: int | None = None) -> None:
    """Write a layout to an image file, the rest of it sparse."""
    with path.open("wb") as card:
        for _, block in blocks(layout, source, memoryview(bytearray(BLOCK))):
            card.write(block)
        card.truncate(size or layout.card_size)


def laid_out_bytes(layout: Layout, source: Memory) -> bytes:
    """Return the card from its first byte to the last used one."""
    buffer = memoryview(bytearray(MIB))
    return b"".join(bytes(block) for _, block in blocks(layout, source, buffer))
