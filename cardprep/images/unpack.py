"""Unpack a ZIP file as the maker ships it: list its members, then take out single ones.

First the whole structure is judged. Directory and local headers must agree, and
members, descriptors and directory must fill the file from its first byte
without a gap or an overlap; so every program that unpacks it sees the same
members. Then a member is streamed out in blocks, and its size and CRC-32 are
computed; no stated size is trusted, and nothing larger than stated is handed on.

Not done: a ZIP file inside is a member like others and is not unpacked further;
times, attributes and comments are not kept; no path is opened here.

Words: *packed* and *unpacked* are bytes of a member's contents as they stand in
the file and as they come out.

Source: .ZIP File Format Specification (APPNOTE.TXT) 6.3.10, sections 4.3.6 to
4.3.9 (order, local header, contents, descriptor), 4.4.4 to 4.4.9 (flags,
methods, sizes) and 4.4.16 (offset); RFC 1951, DEFLATE Compressed Data Format
Specification, version 1.3. The limit of a file on FAT is from FAT: General
Overview of On-Disk Format, v1.03 (Microsoft, 2000), where a size has 32 bits.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import BinaryIO

from cardprep.errors import IntakeRefusedError
from cardprep.images.inflate import RATIO_FROM, RATIO_LIMIT
from cardprep.images.report import harmless
from cardprep.images.unpack_directory import Directory, Listed, Source, read_directory
from cardprep.images.unpack_extra import extra_fields, local_sizes_agree
from cardprep.images.unpack_names import Names, member_name
from cardprep.images.zip_records import STORED, LocalHeader, Sizes, compared_flags
from cardprep.images.zip_signatures import DESCRIPTOR_SIGNATURE, LOCAL_SIGNATURE
from cardprep.progress import Cancel, Progress
from cardprep.terms import CHUNK, GIB, MIB

UNPACKED_LIMIT = 4 * GIB - 1
"""The most bytes of one member, packed or unpacked: FAT holds no larger file."""

BLOCK_LIMIT = MIB
"""The most bytes that are handed on at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A file or folder of an archive whose structure was judged.

    name      a relative path with forward slashes; that of a folder ends in one
    method    of the packed contents: stored or deflated
    sizes     CRC-32, and bytes packed and unpacked, as directory and header say
    offset    of its local header, from the archive's start
    contents  offset of its first packed byte
    """

    name: str
    method: int
    sizes: Sizes
    offset: int
    contents: int

    @property
    def is_folder(self) -> bool:
        """Return whether this is a folder, which has no contents."""
        return self.name.endswith("/")


def list_members(file: BinaryIO, size: int) -> tuple[Member, ...]:
    """Return the members in the directory's order, after judging the whole structure.

    size  bytes of the file, which has to be seekable

    Raises IntakeRefusedError for whatever is not taken; an OSError of the file
    goes through, because only its opener knows its name.
    """
    source = Source(file, size)
    directory = read_directory(source)
    names = Names()
    for listed in directory.listed:
        names.add(listed.name)
        _require_within_limits(listed.name, listed.entry.sizes)
    members = {
        listed.entry.offset: _member(source, listed, after)
        for listed, after in _in_file_order(directory)
    }
    return tuple(members[listed.entry.offset] for listed in directory.listed)


def _in_file_order(directory: Directory) -> list[tuple[Listed, int]]:
    """Return each member with the offset at which it has to end."""
    ordered = sorted(directory.listed, key=lambda listed: listed.entry.offset)
    offsets = [*(listed.entry.offset for listed in ordered), directory.offset]
    if offsets[0]:
        raise IntakeRefusedError("unpack.before", count=min(offsets[0], directory.offset))
    placed = list(zip(ordered, offsets[1:], strict=True))
    for listed, after in placed:
        if listed.entry.offset + LocalHeader.SIZE > min(after, directory.offset):
            raise IntakeRefusedError("unpack.overlap", name=_shown(listed.name))
    return placed


def _member(source: Source, listed: Listed, after: int) -> Member:
    """Hold an entry against its local header, and the member against the place it has."""
    entry, shown = listed.entry, _shown(listed.name)
    raw = source.at(entry.offset, LocalHeader.SIZE)
    if not raw.startswith(LOCAL_SIGNATURE):
        raise IntakeRefusedError("unpack.no-member", name=shown, offset=entry.offset)
    header = LocalHeader.parse(raw)
    begin = entry.offset + LocalHeader.SIZE
    contents = begin + header.name_size + header.extra_size
    if contents + entry.sizes.packed > after:
        raise IntakeRefusedError("unpack.overlap", name=shown)
    variable = source.at(begin, contents - begin)
    name, extra = variable[: header.name_size], variable[header.name_size :]
    _require_agreement(header, name, extra, listed)
    _require_filled(source, header, contents + entry.sizes.packed, after, listed)
    return Member(
        name=listed.name,
        method=entry.method,
        sizes=entry.sizes,
        offset=entry.offset,
        contents=contents,
    )


def _require_agreement(header: LocalHeader, name: bytes, extra: bytes, listed: Listed) -> None:
    """Refuse a local header that says something else than the directory."""
    entry, shown = listed.entry, _shown(listed.name)
    if name != listed.raw_name:
        raise IntakeRefusedError("unpack.names-differ", local=harmless(name), directory=shown)
    # The bits that compared_flags leaves out do not change what comes out.
    if header.encrypted or compared_flags(header.flags) != compared_flags(entry.flags):
        raise IntakeRefusedError("unpack.flags-differ", name=shown)
    if header.method != entry.method:
        raise IntakeRefusedError("unpack.methods-differ", name=shown)
    fields = extra_fields(extra)
    if fields is None:
        raise IntakeRefusedError("unpack.extra", name=shown)
    # The extra fields here may give another name than those of the directory.
    member_name(name, header.flags, fields)
    agree = local_sizes_agree(
        header.sizes, extra, entry.sizes, has_descriptor=header.has_descriptor
    )
    if agree is None:
        raise IntakeRefusedError("unpack.zip64", name=shown)
    if not agree:
        raise IntakeRefusedError("unpack.sizes-differ", name=shown)


def _require_filled(
    source: Source, header: LocalHeader, end: int, after: int, listed: Listed
) -> None:
    """Refuse anything but a right descriptor between a member's `end` and what is `after` it."""
    shown, rest = _shown(listed.name), after - end
    if not header.has_descriptor:
        if rest:
            raise IntakeRefusedError("unpack.gap", name=shown, count=rest)
        return
    forms = _descriptors(listed.entry.sizes)
    longest = max(len(form) for form in forms)
    found = source.at(end, min(rest, longest))
    # Where it ends is known from what comes after it, so no form is guessed.
    if rest > longest and found.startswith(forms):
        raise IntakeRefusedError("unpack.gap", name=shown, count=rest)
    if rest > longest or found not in forms:
        raise IntakeRefusedError("unpack.descriptor", name=shown)


def _descriptors(sizes: Sizes) -> tuple[bytes, ...]:
    """Return how these sizes can stand after contents: with signature or not, narrow or wide."""
    values = sizes.crc, sizes.packed, sizes.unpacked
    wide, narrow = struct.pack("<IQQ", *values), struct.pack("<III", *values)
    return DESCRIPTOR_SIGNATURE + wide, wide, DESCRIPTOR_SIGNATURE + narrow, narrow


def unpack_member(
    file: BinaryIO,
    member: Member,
    write: Callable[[memoryview], object],
    progress: Progress,
    cancel: Cancel,
) -> None:
    """Hand the contents of one member to `write`, block after block.

    write  takes each block whole and keeps no view of it; what it was given
           counts only once this function has returned

    Raises IntakeRefusedError for contents that are not what the archive says,
    and StoppedError. An OSError of the file or of `write` goes through.
    """
    shown, sizes = _shown(member.name), member.sizes
    cancel.check()
    _require_within_limits(member.name, sizes)
    packed = _packed(file, member)
    blocks = packed if member.method == STORED else _Inflating(member).run(packed)
    done = crc = 0
    for block in blocks:
        done += len(block)
        if done > sizes.unpacked:
            raise IntakeRefusedError("unpack.longer", name=shown, stated=sizes.unpacked)
        crc = zlib.crc32(block, crc)
        with memoryview(block) as view:
            write(view)
        progress(done, sizes.unpacked)
        cancel.check()
    if done < sizes.unpacked:
        raise IntakeRefusedError("unpack.shorter", name=shown, stated=sizes.unpacked, found=done)
    if crc != sizes.crc:
        raise IntakeRefusedError(
            "unpack.crc", name=shown, stated=f"{sizes.crc:08X}", computed=f"{crc:08X}"
        )


def _packed(file: BinaryIO, member: Member) -> Iterator[bytes]:
    """Give the packed contents in pieces."""
    most = BLOCK_LIMIT if member.method == STORED else CHUNK
    at, left = member.contents, member.sizes.packed
    while left:
        # Whoever takes the blocks may use the file in between.
        file.seek(at)
        piece = file.read(min(most, left))
        if not piece:
            raise IntakeRefusedError("unpack.cut-short", offset=at)
        at, left = at + len(piece), left - len(piece)
        yield piece


class _Inflating:
    """Unpacks the one deflate stream that a member's contents have to be."""

    def __init__(self, member: Member) -> None:
        self._member = member
        self._shown = _shown(member.name)
        self._engine = zlib.decompressobj(-zlib.MAX_WBITS)
        self._taken = 0
        self._made = 0

    def run(self, packed: Iterator[bytes]) -> Iterator[bytes]:
        """Give what comes out; a block that is too much is refused instead of given."""
        for piece in packed:
            # The stream ends itself; what follows it inside the member is nobody's.
            if self._engine.eof:
                raise IntakeRefusedError("unpack.data-after", name=self._shown)
            yield from self._from_piece(piece)
        # Some writers call an empty member deflated and give it no data at all.
        if not self._engine.eof and (self._member.sizes.packed or self._member.sizes.unpacked):
            raise IntakeRefusedError("unpack.damaged", name=self._shown)

    def _from_piece(self, piece: bytes) -> Iterator[bytes]:
        rest, more = piece, True
        while more:
            # One byte more than stated is enough to know that it is too much.
            most = min(BLOCK_LIMIT, self._member.sizes.unpacked - self._made + 1)
            try:
                output = self._engine.decompress(rest, most)
            except zlib.error as error:
                raise IntakeRefusedError("unpack.damaged", name=self._shown) from error
            self._taken += len(rest) - len(self._engine.unconsumed_tail)
            rest = self._engine.unconsumed_tail
            self._made += len(output)
            self._require_not_too_much()
            if output:
                yield output
            # A full output may mean that more waits inside the engine.
            more = not self._engine.eof and (bool(rest) or len(output) == most)
        if self._engine.unused_data:
            raise IntakeRefusedError("unpack.data-after", name=self._shown)

    def _require_not_too_much(self) -> None:
        if self._made > self._member.sizes.unpacked:
            stated = self._member.sizes.unpacked
            raise IntakeRefusedError("unpack.longer", name=self._shown, stated=stated)
        sizes = Sizes(crc=0, packed=self._taken, unpacked=self._made)
        _require_within_limits(self._member.name, sizes)


def _require_within_limits(name: str, sizes: Sizes) -> None:
    """Refuse what no card can hold, and what only a trap would unpack to."""
    if max(sizes.packed, sizes.unpacked) > UNPACKED_LIMIT:
        raise IntakeRefusedError("unpack.too-large", name=_shown(name), limit=UNPACKED_LIMIT)
    if sizes.unpacked > RATIO_FROM and sizes.unpacked > RATIO_LIMIT * sizes.packed:
        raise IntakeRefusedError("unpack.ratio", name=_shown(name), limit=RATIO_LIMIT)


def _shown(name: str) -> str:
    return harmless(name.encode())
