"""The pass over a card that is met as a mounted folder: files only.

What a folder cannot show is listed, one thing after another: nothing that was not
looked at may pass for good.
"""

from __future__ import annotations

import os
import time
import unicodedata

from cardprep.errors import (
    CardprepError,
    FolderTooLargeError,
    NotAllowedError,
    NotThereError,
    StoppedError,
)
from cardprep.findings import Finding
from cardprep.inspection.content import Content, ContentReading
from cardprep.inspection.forward import Share
from cardprep.inspection.model import InspectedFile, Inspection
from cardprep.medium.folder import DEPTH_LIMIT, ENTRY_LIMIT
from cardprep.medium.protocol import Folder, FolderEntry
from cardprep.progress import Cancel, Progress, silent
from cardprep.volume.model import shown_path

UNSEEN = (
    "unseen.partitions",
    "unseen.file-system",
    "unseen.tables",
    "unseen.marks",
    "unseen.identity",
    "unseen.capacity",
    "unseen.places",
    "unseen.stage",
    "unseen.short-names",
    "unseen.attributes",
    "unseen.deleted",
    "unseen.hidden",
    "unseen.cache",
)
NAMES = "unseen.names"


def inspect_folder(
    folder: Folder, *, progress: Progress = silent, cancel: Cancel | None = None
) -> Inspection:
    """Return what is in a mounted folder.

    Raises StoppedError when somebody asked to stop, and NotThereError or
    NotAllowedError if the folder itself cannot be listed.
    """
    cancel = cancel or Cancel()
    findings = [Finding("folder-only", None, "card")]
    entries = _entries(folder, findings, cancel)
    reading = ContentReading()
    files = []
    share = Share(progress, sum(entry.size for entry in entries))
    done = 0
    try:
        for entry in entries:
            if entry.is_folder:
                continue
            content, path = None, _text(entry.path, folder)
            if entry.is_ordinary:
                try:
                    content = _content(reading, folder, entry, (done, share), cancel)
                except StoppedError:
                    raise
                except CardprepError as error:
                    findings.append(_unreadable(path, error))
            else:
                findings.append(Finding("not-a-file", shown_path(path), "directory"))
            done += entry.size
            files.append(_file(entry, path, content))
    finally:
        reading.close()
    share.end()
    return Inspection(
        identity=folder.identity,
        content=None,
        files=tuple(files),
        folders=tuple(_text(entry.path, folder) for entry in entries if entry.is_folder),
        deleted=(),
        findings=tuple(findings),
        past_the_cache=False,
        bytes_read=sum(file.digests.size for file in files if file.digests is not None),
        unseen=UNSEEN if folder.names_are_stored else (*UNSEEN, NAMES),
    )


def _entries(folder: Folder, findings: list[Finding], cancel: Cancel) -> list[FolderEntry]:
    """Return what a folder holds; where the list breaks off, that is among the findings."""
    entries: list[FolderEntry] = []
    try:
        for entry in folder.entries():
            cancel.check()
            entries.append(entry)
    except FolderTooLargeError:
        limits = {"limit": ENTRY_LIMIT, "depth": DEPTH_LIMIT}
        findings.append(Finding("too-many-files", None, "directory", limits))
    except (NotThereError, NotAllowedError):
        # Not even its first entry: then it is the folder itself that cannot be listed.
        if not entries:
            raise
        findings.append(Finding("read-error", None, "directory", {"offset": 0}))
    return entries


def _content(
    reading: ContentReading,
    folder: Folder,
    entry: FolderEntry,
    bar: tuple[int, Share],
    cancel: Cancel,
) -> Content | None:
    before, share = bar
    content = None
    for step in reading.from_blocks(folder.blocks(entry.path), entry.size):
        if isinstance(step, Content):
            content = step
        else:
            cancel.check()
            share.tell(before + min(step, entry.size))
    return content


def _unreadable(path: tuple[str, ...], error: CardprepError) -> Finding:
    if error.reason == "medium.name-changed":
        return Finding("name-not-opened", shown_path(path), "directory")
    return Finding("read-error", shown_path(path), "file content", {"offset": 0})


def _file(entry: FolderEntry, path: tuple[str, ...], content: Content | None) -> InspectedFile:
    return InspectedFile(
        volume=0,
        path=path,
        short=None,
        size=entry.size,
        attributes=0,
        modified=_utc(entry.modified),
        extents=(),
        digests=None if content is None else content.digests,
        container=None if content is None else content.container,
        head=b"" if content is None else content.head,
    )


def _text(path: tuple[bytes, ...], folder: Folder) -> tuple[str, ...]:
    """Return path parts as text, put together where the system takes letters and accents apart."""
    parts = tuple(os.fsdecode(part) for part in path)
    if folder.names_are_stored:
        return parts
    return tuple(unicodedata.normalize("NFC", part) for part in parts)


def _utc(seconds: int) -> str | None:
    try:
        return time.strftime("%Y-%m-%d %H:%M:%S", time.gmtime(seconds))
    except (OverflowError, OSError, ValueError):
        # Some file systems give a time that no calendar has.
        return None
