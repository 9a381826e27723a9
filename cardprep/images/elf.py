"""Check ELF files: header, program and section tables, and that nothing is missing.

ELF has no checksums, so a file of it never "holds": it is broken, or unchecked.
What the tables say is held against the file's size, which finds every file that
was cut short before the end of its last table, segment or section.

Source: System V ABI, chapter 4 "Object Files" and chapter 5 "Program Header".
"""

from __future__ import annotations

import struct
from collections.abc import Generator
from dataclasses import dataclass
from typing import ClassVar, Self

from cardprep.images.blocks import StepReader
from cardprep.images.report import ContainerReport, Parameter, Troubles

ELF = "elf"

# Entries of one table that are looked at; no update file comes near it.
ENTRY_LIMIT = 65536
_NO_CONTENTS = frozenset((0, 8))
"""Sections that take no room in the file: none at all, and zeros [SHT_NULL, SHT_NOBITS]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """One table: what it is called, where it stands, and how many entries of which size."""

    name: str
    offset: int
    entry: int
    count: int

    @property
    def end(self) -> int:
        return self.offset + self.entry * self.count


@dataclass(frozen=True, slots=True, kw_only=True)
class ElfHeader:
    """The header as stored. Published names in brackets.

    order         "<" or ">"                                  [EI_DATA]
    wide          whether it is of class 64                   [EI_CLASS]
    machine       the format's own number, 28h for ARM        [e_machine]
    entry_address where it is started                         [e_entry]
    header_size   bytes                                       [e_ehsize]
    programs, sections  the two tables
                  [e_phoff, e_phentsize, e_phnum; e_shoff, e_shentsize, e_shnum]
    """

    order: str
    wide: bool
    machine: int
    entry_address: int
    header_size: int
    programs: _Table
    sections: _Table

    IDENTITY: ClassVar[int] = 16

    @classmethod
    def size(cls, identity: bytes) -> int:
        """Return how long a header is, from its first 16 bytes."""
        return 64 if identity[4] == 2 else 52

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the header; `raw` has as many bytes as `size` says."""
        wide, order = raw[4] == 2, "<" if raw[5] == 1 else ">"
        fields = struct.unpack_from(order + ("HHI3QI6H" if wide else "HHI3II6H"), raw, cls.IDENTITY)
        entry, programs_at, sections_at = fields[3:6]
        own, program, programs, section, sections, _ = fields[7:13]
        return cls(
            order=order,
            wide=wide,
            machine=fields[1],
            entry_address=entry,
            header_size=own,
            programs=_Table(name="program", offset=programs_at, entry=program, count=programs),
            sections=_Table(name="section", offset=sections_at, entry=section, count=sections),
        )


class ElfReader(StepReader):
    """The machine for ELF.

    Facts: size, bits, machine_number, entry_address, segments, sections, and
    contents_end, one past the last byte that a table names.
    """

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._facts: dict[str, Parameter] = {}
        self._end = 0

    def _steps(self) -> Generator[None, None, None]:
        identity = yield from self._incoming.exactly(ElfHeader.IDENTITY)
        wanted = ElfHeader.size(identity) if len(identity) == ElfHeader.IDENTITY else 52
        raw = identity + (yield from self._incoming.exactly(wanted - len(identity)))
        if len(raw) < wanted:
            self._troubles.broken("elf.header-cut-short", found=len(raw), stated=wanted)
            return
        header = ElfHeader.parse(raw)
        self._facts = {
            "bits": 64 if header.wide else 32,
            "machine_number": header.machine,
            "entry_address": header.entry_address,
            "segments": header.programs.count,
            "sections": header.sections.count,
        }
        if header.header_size != wanted:
            self._troubles.broken("elf.header-size", stated=header.header_size, right=wanted)
            return
        yield from self._tables(header, wanted)
        yield from self._rest()

    def _tables(self, header: ElfHeader, header_size: int) -> Generator[None, None, None]:
        """Read both tables in the order in which they stand."""
        right = {"program": 56 if header.wide else 32, "section": 64 if header.wide else 40}
        tables = [table for table in (header.programs, header.sections) if table.offset]
        for table in sorted(tables, key=lambda table: table.offset):
            if table.count and table.entry != right[table.name]:
                self._troubles.broken(
                    "elf.entry-size", table=table.name, stated=table.entry, right=right[table.name]
                )
                return
            if table.offset < header_size:
                self._troubles.broken("elf.table-place", table=table.name, offset=table.offset)
                return
            if table.offset < self._incoming.offset:
                self._troubles.unchecked("elf.tables-overlap")
                return
            self._end = max(self._end, table.end)
            yield from self._incoming.skip(table.offset - self._incoming.offset)
            for _ in range(table.count):
                raw = yield from self._incoming.exactly(table.entry)
                if len(raw) < table.entry:
                    return
                self._end = max(self._end, _contents_end(header, table, raw))

    def _rest(self) -> Generator[None, None, None]:
        while (yield from self._incoming.piece()):
            pass
        size = self._incoming.offset
        self._facts["contents_end"] = self._end
        if size < self._end:
            self._troubles.broken("elf.cut-short", stated=self._end, found=size)

    def _report(self) -> ContainerReport:
        facts = {"size": self._incoming.offset, **self._facts}
        return self._troubles.report(ELF, facts, covered=False)


def _contents_end(header: ElfHeader, table: _Table, raw: bytes) -> int:
    """Return where in the file that which an entry names ends, 0 for nothing."""
    if table.name == "program":
        at = (8, "4Q") if header.wide else (4, "4I")
        offset, _, _, length = struct.unpack_from(header.order + at[1], raw, at[0])
        return int(offset + length) if length else 0
    (kind,) = struct.unpack_from(header.order + "I", raw, 4)
    at = (24, "2Q") if header.wide else (16, "2I")
    offset, length = struct.unpack_from(header.order + at[1], raw, at[0])
    return 0 if kind in _NO_CONTENTS else int(offset + length)
