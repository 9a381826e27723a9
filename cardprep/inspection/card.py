"""The single pass over a card that is met through its sectors.

Tables and folders first, then the files in the order of their place on the
card. Every sector is read once; where the content of deleted files is asked for,
that is read afterwards. Nothing is mounted, executed or written, and what cannot be
read is a finding beside what can.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.inspection.content import Content, ContentReading
from cardprep.inspection.forward import Attended
from cardprep.inspection.model import DeletedContent, InspectedFile, Inspection
from cardprep.inspection.once import Once
from cardprep.inspection.tap import Tap, Witness
from cardprep.medium.protocol import Sectors
from cardprep.progress import Cancel, Progress, silent
from cardprep.volume.card import CardContent, read_card
from cardprep.volume.model import DeletedEntry, VolumeEntry

if TYPE_CHECKING:
    from cardprep.inspection.deleted import AskedDeleted, ToRead


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """A first part of the card that a witness wants to see whole and in order.

    length  bytes from the first
    keep    how many of them are tables, which may be asked for twice
    """

    witness: Witness
    length: int
    keep: int


def inspect_card(
    sectors: Sectors,
    *,
    watched: Watched | None = None,
    deleted: AskedDeleted | None = None,
    progress: Progress = silent,
    cancel: Cancel | None = None,
) -> Inspection:
    """Return what is on a card.

    deleted  asks for what lies where deleted files lay, and for what deleted folders list

    Whatever the bytes are, the result is an Inspection; only StoppedError, when
    somebody asked to stop, comes out of it.
    """
    attended = Attended(sectors, progress, cancel or Cancel())
    once = Once(attended)
    if watched is None:
        return _Pass(attended, once, None).run(deleted)
    tap = Tap(once, watched.length, watched.keep, watched.witness)
    return _Pass(attended, tap, tap).run(deleted)


class _Pass:
    def __init__(self, attended: Attended, sectors: Sectors, tap: Tap | None) -> None:
        self._attended = attended
        self._tap = tap
        self._sectors = sectors
        self._reading = ContentReading()
        self._findings: list[Finding] = []

    def run(self, asked: AskedDeleted | None) -> Inspection:
        try:
            content = read_card(self._sectors, into_deleted=asked is not None)
        except (ReadFailedError, ShortReadError) as error:
            content = CardContent(
                table=None, partitions=(), volumes=(), findings=(_unreadable(None, error),)
            )
        entries = [entry for volume in content.volumes for entry in volume.entries]
        deleted = [entry for volume in content.volumes for entry in volume.deleted]
        gone = None if asked is None else self._chosen(deleted, asked)
        try:
            files = self._files(content, 0 if gone is None else gone.bytes)
            self._finish(content)
            contents = () if gone is None else self._deleted(gone)
        finally:
            self._reading.close()
        self._attended.end()
        return Inspection(
            identity=self._sectors.identity,
            content=content,
            files=files,
            folders=tuple(entry.path for entry in entries if entry.is_folder),
            deleted=tuple(deleted),
            findings=(*content.findings, *self._findings),
            past_the_cache=self._sectors.past_the_cache,
            bytes_read=self._attended.bytes_read,
            deleted_content=contents,
            deleted_left=() if gone is None else gone.left_out,
        )

    def _chosen(self, deleted: list[DeletedEntry], asked: AskedDeleted) -> ToRead:
        # Loaded only where it is asked for, as below.
        from cardprep.inspection.deleted import to_read

        return to_read(deleted, asked, self._sectors.size)

    def _deleted(self, gone: ToRead) -> tuple[DeletedContent, ...]:
        from cardprep.inspection.deleted import read_deleted

        # Past the tap: a witness has seen all that it wanted.
        return read_deleted(self._attended, self._reading, gone)

    def _files(self, content: CardContent, more: int) -> tuple[InspectedFile, ...]:
        """Look at all files; `more` bytes are to be read after them."""
        files = [
            (number, entry)
            for number, volume in enumerate(content.volumes)
            for entry in volume.entries
            if not entry.is_folder
        ]
        self._attended.expect(self._to_read([e for _, e in files if e.is_whole]) + more)
        looked_at = {}
        for index in sorted(range(len(files)), key=lambda i: _place(files[i][1])):
            # A folder full of empty files is left too, though nothing of them is read.
            self._attended.check()
            looked_at[index] = self._file(*files[index])
        return tuple(looked_at[index] for index in range(len(files)))

    def _to_read(self, whole: list[VolumeEntry]) -> int:
        """Return how many bytes are still to be read: files, and what a witness wants besides."""
        total = sum(entry.size for entry in whole)
        if self._tap is not None:
            total += self._tap.between(extent for entry in whole for extent in entry.extents)
        return total

    def _file(self, number: int, entry: VolumeEntry) -> InspectedFile:
        # Of a file whose clusters are in doubt there is no content to be sure of.
        content = self._content(entry) if entry.is_whole else None
        return InspectedFile(
            volume=number,
            path=entry.path,
            short=entry.short,
            size=entry.size,
            attributes=entry.attributes,
            modified=None if entry.modified is None else str(entry.modified),
            extents=entry.extents,
            digests=None if content is None else content.digests,
            container=None if content is None else content.container,
            head=b"" if content is None else content.head,
        )

    def _content(self, entry: VolumeEntry) -> Content | None:
        steps = self._reading.from_sectors(self._sectors, entry.extents, entry.size)
        try:
            return next(step for step in steps if isinstance(step, Content))
        except (ReadFailedError, ShortReadError) as error:
            self._findings.append(_unreadable(entry.shown, error))
        return None

    def _finish(self, content: CardContent) -> None:
        """Read what nobody but the witness asked for."""
        try:
            if self._tap is not None:
                self._tap.finish()
        except (ReadFailedError, ShortReadError) as error:
            finding = _unreadable(None, error)
            said = (*content.findings, *self._findings)
            # Often it is the very place where a file or a table could not be read.
            if not any(_same_place(finding, other) for other in said):
                self._findings.append(finding)


def _place(entry: VolumeEntry) -> int:
    return entry.extents[0].offset if entry.extents else 0


def _unreadable(path: str | None, error: ReadFailedError | ShortReadError) -> Finding:
    offset = error.parameters.get("offset", 0)
    structure = "card" if path is None else "file content"
    return Finding("read-error", path, structure, {"offset": offset})


def _same_place(one: Finding, other: Finding) -> bool:
    return (one.slug, one.parameters) == (other.slug, other.parameters)
