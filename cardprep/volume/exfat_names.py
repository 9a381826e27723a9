"""Names as exFAT stores and compares them: the up-case table and the hash of names.

A *unit* is a 16-bit unit of UTF-16. Names are read whatever their units are; a
lone surrogate stays one and is spelled out where a person sees it.

Source: exFAT File System Specification (Microsoft, 2019), sections 7.2, 7.6.4 and 7.7.3.
"""

from __future__ import annotations

import struct
from array import array
from dataclasses import dataclass

from cardprep.errors import NotFatError

UNITS = 2**16
MOST_NAME_UNITS = 255
# A table that is not compressed at all.
MOST_TABLE_BYTES = 2 * UNITS
_RUN_OF_ITSELF = 0xFFFF
_MANDATORY = 128
# Shorter runs are not worth the two units that say how long they are.
_SHORTEST_RUN = 3

FORBIDDEN = frozenset('"*/:<>?\\|')


@dataclass(frozen=True, slots=True)
class UpcaseTable:
    """Which unit each of the 65,536 units is compared as."""

    units: array[int]

    @classmethod
    def parse(cls, data: bytes) -> UpcaseTable:
        """Read a table as stored, compressed or not; NotFatError if it cannot be one.

        FFFF and a count stand for so many units that are their own upper case;
        units behind the table's end are so too.
        """
        if len(data) % 2 or not 2 <= len(data) <= MOST_TABLE_BYTES:
            raise NotFatError("exfat.upcase-length", got=len(data))
        units = array("H")
        stored = iter(struct.unpack(f"<{len(data) // 2}H", data))
        for unit in stored:
            count = next(stored, None) if unit == _RUN_OF_ITSELF else None
            # A table that is not compressed ends with FFFF, its own upper case.
            if count is None:
                units.append(unit)
            else:
                units.extend(range(len(units), min(len(units) + count, UNITS)))
            if len(units) > UNITS:
                raise NotFatError("exfat.upcase-too-long")
        units.extend(range(len(units), UNITS))
        return cls(units)

    def to_bytes(self) -> bytes:
        """Return the table compressed."""
        stored: list[int] = []
        at = 0
        while at < UNITS:
            end = at
            while end < UNITS and self.units[end] == end:
                end += 1
            if end == UNITS:
                break
            if end - at >= _SHORTEST_RUN:
                stored += (_RUN_OF_ITSELF, end - at)
            else:
                stored += self.units[at:end]
            stored.append(self.units[end])
            at = end + 1
        return struct.pack(f"<{len(stored)}H", *stored) or b"\0\0"

    @property
    def has_mandatory_part(self) -> bool:
        """Whether the first 128 units are as the standard wants them, section 7.2.5."""
        return self.units[:_MANDATORY] == PLAIN.units[:_MANDATORY]

    def upper(self, name: str) -> str:
        """Return a name as it is compared."""
        raw = name.encode("utf-16-le", "surrogatepass")
        units = [self.units[unit] for unit in struct.unpack(f"<{len(raw) // 2}H", raw)]
        return struct.pack(f"<{len(units)}H", *units).decode("utf-16-le", "surrogatepass")

    def name_hash(self, name: str) -> int:
        """Return the 16-bit sum over the name in upper case, section 7.6.4."""
        total = 0
        for byte in self.upper(name).encode("utf-16-le", "surrogatepass"):
            total = ((total >> 1) | (total & 1) << 15) + byte & 0xFFFF
        return total


def _plain() -> UpcaseTable:
    units = array("H", range(UNITS))
    for unit in range(ord("a"), ord("z") + 1):
        units[unit] = unit - 0x20
    return UpcaseTable(units)


# What stands in where a volume has no table: the part that the standard fixes.
PLAIN = _plain()


def table_checksum(data: bytes) -> int:
    """Return the 32-bit sum over an up-case table, section 7.2.2."""
    total = 0
    for byte in data:
        total = ((total >> 1) | (total & 1) << 31) + byte & 0xFFFFFFFF
    return total


def name_is_possible(name: str) -> bool:
    """Return whether every system can know a file by this name.

    Not so with characters that the standard forbids, among them the one that
    parts folders, with a dot or space at the end, which some systems take off, and
    with half a character.
    """
    if not name or name.endswith((".", " ")) or any(c < " " or c in FORBIDDEN for c in name):
        return False
    return not any("\ud800" <= c <= "\udfff" for c in name)


def decoded(units: bytes) -> str:
    """Return the text of UTF-16 units; a lone surrogate stays one."""
    return units.decode("utf-16-le", "surrogatepass")
