"""Check squashfs file systems: the superblock, and that nothing of what it announces is missing.

The format has no checksums, so it never "holds". All numbers are little-endian.
Writers fill the file up with zeros, often to 4 KiB; other bytes behind are told.

Source: squashfs 4.0 on-disk format (Linux, fs/squashfs/squashfs_fs.h, "squashfs_super_block").
"""

from __future__ import annotations

import struct
from collections.abc import Generator
from dataclasses import dataclass
from typing import ClassVar, Self

from cardprep.images.blocks import StepReader
from cardprep.images.report import ContainerReport, Parameter, Troubles

SQUASHFS = "squashfs"

_NO_TABLE = (1 << 64) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Superblock:
    """The superblock as stored. Published names in brackets.

    time        seconds since 1970, UTC                       [mkfs_time]
    block_size  bytes, a power of two                         [block_size]
    block_log   that power                                    [block_log]
    used        bytes of the whole file system                [bytes_used]
    tables      where its tables begin, those that it has
                [id_table_start and those that follow it]
    """

    time: int
    block_size: int
    block_log: int
    used: int
    tables: tuple[int, ...]

    SIZE: ClassVar[int] = 96

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the superblock of 96 bytes; magic and version are not looked at."""
        time, block_size, block_log = struct.unpack_from("<2I6xH", raw, 8)
        used, *tables = struct.unpack_from("<7Q", raw, 40)
        known = tuple(table for table in tables if table != _NO_TABLE)
        return cls(time=time, block_size=block_size, block_log=block_log, used=used, tables=known)

    def is_consistent(self) -> bool:
        """Return whether block size and tables can be right."""
        sizes = 12 <= self.block_log <= 20 and self.block_size == 1 << self.block_log
        return sizes and all(self.SIZE <= table < self.used for table in self.tables)


class SquashfsReader(StepReader):
    """The machine for squashfs. Facts: size, time, used_bytes, block_size, trailing_bytes."""

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._facts: dict[str, Parameter] = {}

    def _steps(self) -> Generator[None, None, None]:
        raw = yield from self._incoming.exactly(Superblock.SIZE)
        if len(raw) < Superblock.SIZE:
            self._troubles.broken("squashfs.header-cut-short", found=len(raw))
            return
        block = Superblock.parse(raw)
        if not block.is_consistent():
            self._troubles.broken("squashfs.superblock")
        found = len(raw) + (yield from self._incoming.skip(max(0, block.used - len(raw))))
        if found < block.used:
            self._troubles.broken("squashfs.cut-short", stated=block.used, found=found)
        trailing, filled = 0, True
        while piece := (yield from self._incoming.piece()):
            trailing += len(piece)
            filled = filled and not any(piece)
        if not filled:
            self._troubles.noted("squashfs.trailing", count=trailing)
        self._facts = {
            "time": block.time,
            "used_bytes": block.used,
            "block_size": block.block_size,
            "trailing_bytes": trailing,
        }

    def _report(self) -> ContainerReport:
        facts = {"size": self._incoming.offset, **self._facts}
        return self._troubles.report(SQUASHFS, facts, covered=False)
