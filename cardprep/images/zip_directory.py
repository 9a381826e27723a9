"""Hold the central directory of a ZIP file against the members that were walked.

A reader that starts at the directory and one that starts at the front must see
the same members. Names, flags, methods, sizes and CRCs have to agree; a time
that differs is told. Each member is listed once, and none is left out.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, sections 4.3.12
and 4.3.16.
"""

from __future__ import annotations

from collections.abc import Generator
from hashlib import sha256

from cardprep.images.blocks import Incoming
from cardprep.images.report import Troubles, harmless
from cardprep.images.zip_members import Member
from cardprep.images.zip_records import DirectoryEntry, EndRecord, compared_flags


class DirectoryWalk:
    """Reads the entries one by one, then the end record.

    begun  the offset of the first entry, or None before there is one
    """

    def __init__(self, incoming: Incoming, troubles: Troubles, members: dict[int, Member]) -> None:
        self._incoming = incoming
        self._troubles = troubles
        self._members = members
        self._listed: set[int] = set()
        self._entries = 0
        self.begun: int | None = None
        self.trailing = 0

    def entry(self, signature: bytes) -> Generator[None, None, bool]:
        """Read an entry after its signature; return whether more can be read."""
        if self.begun is None:
            self.begun = self._incoming.offset - len(signature)
        raw = yield from self._incoming.exactly(DirectoryEntry.SIZE - len(signature))
        if len(raw) < DirectoryEntry.SIZE - len(signature):
            return self._cut_short()
        entry = DirectoryEntry.parse(signature + raw)
        name = yield from self._incoming.exactly(entry.name_size)
        rest = entry.extra_size + entry.comment_size
        skipped = yield from self._incoming.skip(rest)
        if len(name) < entry.name_size or skipped < rest:
            return self._cut_short()
        self._entries += 1
        if self._entries > len(self._members):
            # A hostile directory could go on like this for the whole file.
            self._troubles.broken("zip.more-entries", members=len(self._members))
            return False
        self._compare(entry, name)
        return True

    def _compare(self, entry: DirectoryEntry, name: bytes) -> None:
        shown = harmless(name)
        member = None if entry.offset in self._listed else self._members.get(entry.offset)
        self._listed.add(entry.offset)
        if entry.zip64:
            self._troubles.unchecked("zip.zip64", name=shown)
            return
        if member is None:
            self._troubles.broken("zip.entry-offset", name=shown, offset=entry.offset)
            return
        if sha256(name).digest() != member.name_digest:
            self._troubles.broken("zip.names-differ", local=member.name, directory=shown)
        if entry.disk:
            self._troubles.broken("zip.several-disks", name=shown)
        if entry.method != member.method:
            self._troubles.broken("zip.methods-differ", name=shown)
        if compared_flags(entry.flags) != compared_flags(member.flags):
            self._troubles.broken("zip.flags-differ", name=shown)
        if entry.sizes != member.sizes:
            self._troubles.broken("zip.sizes-differ", name=shown)
        if entry.time != member.time:
            self._troubles.noted("zip.times-differ", name=shown)

    def end(self, signature: bytes) -> Generator[None, None, None]:
        """Read the end record after its signature, and what follows it."""
        offset = self._incoming.offset - len(signature)
        raw = yield from self._incoming.exactly(EndRecord.SIZE - len(signature))
        if len(raw) < EndRecord.SIZE - len(signature):
            self._cut_short()
            return
        end = EndRecord.parse(signature + raw)
        begun = offset if self.begun is None else self.begun
        found = EndRecord(
            disks=(0, 0),
            entries=(self._entries, self._entries),
            directory_size=offset - begun,
            directory_offset=begun,
            comment_size=end.comment_size,
        )
        if end != found:
            self._troubles.broken(
                "zip.end-record",
                stated=end.entries[1],
                found=self._entries,
                stated_offset=end.directory_offset,
                found_offset=begun,
            )
        for place, member in self._members.items():
            if place not in self._listed:
                self._troubles.broken("zip.not-listed", name=member.name)
        if (yield from self._incoming.skip(end.comment_size)) < end.comment_size:
            self._cut_short()
        yield from self._after_end()

    def _after_end(self) -> Generator[None, None, None]:
        zeros = True
        while piece := (yield from self._incoming.piece()):
            self.trailing += len(piece)
            zeros = zeros and not any(piece)
        if not zeros:
            self._troubles.broken("zip.after-end", count=self.trailing)

    def _cut_short(self) -> bool:
        self._troubles.broken("zip.cut-short-directory", entries=self._entries)
        return False
