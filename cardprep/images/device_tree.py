"""Check device trees, and FIT images, which are one: header, bounds, and the tree's own marks.

The format has no checksum; what hashes a FIT image holds of its parts is not
computed. So it never "holds": it is broken, or unchecked. All numbers are
big-endian. What follows the announced size may be the data of a FIT image that
keeps them outside, and is counted.

Source: Devicetree Specification 0.4, chapter 5 "Flattened Devicetree (DTB) Format".
"""

from __future__ import annotations

import struct
from collections.abc import Generator
from dataclasses import dataclass
from typing import ClassVar, Self

from cardprep.images.blocks import StepReader
from cardprep.images.report import ContainerReport, Parameter, Troubles

DEVICE_TREE = "device-tree"

# Each mark takes time; a tree of this size is no update file.
MARK_LIMIT = 200_000
DEPTH_LIMIT = 64
_NAME_LIMIT = 1024

_BEGIN, _END, _PROPERTY, _NOTHING, _FINISH = 1, 2, 3, 4, 9


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceTreeHeader:
    """The header as stored. Published names in brackets.

    total           bytes of all of it                    [totalsize]
    structure       where the tree begins, and its length [off_dt_struct, size_dt_struct]
    strings         where the names are, and their length [off_dt_strings, size_dt_strings]
    reserved        where the reserved memory is listed   [off_mem_rsvmap]
    version, compatible                                   [version, last_comp_version]
    """

    total: int
    structure: tuple[int, int]
    strings: tuple[int, int]
    reserved: int
    version: int
    compatible: int

    SIZE: ClassVar[int] = 40

    @classmethod
    def parse(cls, raw: bytes) -> Self:
        """Return the header of 40 bytes; its magic is not looked at."""
        fields = struct.unpack(">4x9I", raw)
        total, structure, strings, reserved, version, compatible, _, names, length = fields
        return cls(
            total=total,
            structure=(structure, length),
            strings=(strings, names),
            reserved=reserved,
            version=version,
            compatible=compatible,
        )

    def part_outside(self) -> str | None:
        """Return the name of a part that does not lie inside the announced size, or None."""
        parts = {
            "tree": self.structure,
            "strings": self.strings,
            "reserved memory": (self.reserved, 16),
        }
        for name, (offset, length) in parts.items():
            if offset < self.SIZE or offset + length > self.total:
                return name
        return None


class DeviceTreeReader(StepReader):
    """The machine for device trees and FIT images.

    Facts: size, stated_size, version, nodes, properties, trailing_bytes.
    """

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._facts: dict[str, Parameter] = {}
        self._nodes = 0
        self._properties = 0

    def _steps(self) -> Generator[None, None, None]:
        raw = yield from self._incoming.exactly(DeviceTreeHeader.SIZE)
        if len(raw) < DeviceTreeHeader.SIZE:
            self._troubles.broken("dtb.header-cut-short", found=len(raw))
            return
        header = DeviceTreeHeader.parse(raw)
        self._facts = {"stated_size": header.total, "version": header.version}
        outside = header.part_outside()
        # Before version 17 the tree's length stands nowhere.
        if header.version >= 17 and outside is not None:
            self._troubles.broken("dtb.outside", part=outside, stated=header.total)
        elif header.version >= 17:
            yield from self._tree(header)
        while (yield from self._incoming.piece()):
            pass
        size = self._incoming.offset
        if size < header.total:
            # What is wrong with the tree only follows from it.
            self._troubles = Troubles()
            self._troubles.broken("dtb.cut-short", stated=header.total, found=size)
        self._facts["trailing_bytes"] = max(0, size - header.total)

    def _tree(self, header: DeviceTreeHeader) -> Generator[None, None, None]:
        """Walk the marks of the tree, up to the last one."""
        offset, length = header.structure
        yield from self._incoming.skip(offset - self._incoming.offset)
        end, depth = offset + length, 0
        for _ in range(MARK_LIMIT):
            at = self._incoming.offset
            mark = yield from self._number()
            if mark == _FINISH and depth == 0 and self._nodes:
                return
            if mark == _BEGIN and depth < DEPTH_LIMIT and (depth or not self._nodes):
                depth += 1
                self._nodes += 1
                right = yield from self._name()
            elif mark == _END and depth:
                depth -= 1
                right = True
            elif mark == _PROPERTY and depth:
                self._properties += 1
                right = yield from self._property(end, header.strings[1])
            else:
                right = mark == _NOTHING
            if not right or self._incoming.offset >= end:
                self._troubles.broken("dtb.tree", offset=at)
                return
        self._troubles.unchecked("dtb.many-marks", limit=MARK_LIMIT)

    def _number(self) -> Generator[None, None, int]:
        raw = yield from self._incoming.exactly(4)
        return int.from_bytes(raw, "big") if len(raw) == 4 else -1

    def _name(self) -> Generator[None, None, bool]:
        """Pass over a node's name and its padding; return whether it ends."""
        for _ in range(_NAME_LIMIT // 4):
            raw = yield from self._incoming.exactly(4)
            if b"\0" in raw:
                return len(raw) == 4
        return False

    def _property(self, end: int, strings: int) -> Generator[None, None, bool]:
        length = yield from self._number()
        name = yield from self._number()
        padded = -(-length // 4) * 4
        if not 0 <= name < strings or length < 0 or self._incoming.offset + padded > end:
            return False
        return (yield from self._incoming.skip(padded)) == padded

    def _report(self) -> ContainerReport:
        counted = {"nodes": self._nodes, "properties": self._properties}
        facts = {"size": self._incoming.offset, **self._facts, **counted}
        return self._troubles.report(DEVICE_TREE, facts, covered=False)
