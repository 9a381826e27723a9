"""Check Intel HEX files, record by record, without keeping what they carry.

A record is ``:LL AAAA TT data CC`` in hex digits: the number of data bytes, a
16-bit address, the type, the data, and a checksum that makes the sum of all
bytes zero (mod 256). Types: 00 data, 01 end of file, 02 extended segment
address, 03 start segment address, 04 extended linear address, 05 start linear
address. Small letters are taken for hex digits too, as every reader does.

Source: Hexadecimal Object File Format Specification, Revision A (Intel, 1988).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import ClassVar

from cardprep.images.record_text import (
    ADDRESS_SPACE,
    Fault,
    RecordTextReader,
    fault_in_digits,
    looks_like_records,
    octets,
)

INTEL_HEX = "intel-hex"

_MARK = ord(":")
_SEGMENT_SPACE = 1 << 16
# Length, address (2), type and checksum.
_FRAME = 5
_LONGEST_LINE = 1 + 2 * (_FRAME + 0xFF)

_DATA, _END, _SEGMENT, _START_SEGMENT, _LINEAR, _START_LINEAR = range(6)
_LENGTHS = {_END: 0, _SEGMENT: 2, _START_SEGMENT: 4, _LINEAR: 2, _START_LINEAR: 4}
_STARTS_LIKE = re.compile(rb":[0-9A-Fa-f]{8}")


class IntelHexReader(RecordTextReader):
    """The machine for Intel HEX.

    Facts: records, data_records, data_bytes, line_ends; lowest_address,
    highest_address (of the last byte) and stretches if there are data;
    start_address and bad_lines if there are any.
    """

    format_slug: ClassVar[str] = INTEL_HEX
    line_limit: ClassVar[int] = _LONGEST_LINE

    def __init__(self) -> None:
        super().__init__()
        self._base = 0

    def _take_lines(self, lines: Sequence[bytes], first: int) -> int:
        # This loop meets every line of a large file. It does for a right data
        # record only what must be done, and leaves all else to _take_other.
        for number, line in enumerate(lines, first):
            raw = octets(line[1:])
            if (
                len(raw) >= _FRAME
                and raw[3] == _DATA
                and raw[0] == len(raw) - _FRAME
                and not sum(raw) & 0xFF
                and line[0] == _MARK
            ):
                self._data_records += 1
                self._data_bytes += raw[0]
                address = self._base + (raw[1] << 8 | raw[2])
                end = address + raw[0]
                if address == self._end and end <= self._ceiling:
                    self._end = end
                elif raw[0]:
                    self._place(address, raw[0], number)
            elif line:
                self._take_other(number, line, raw)
                if self._ended:
                    return number - first + 1
        return len(lines)

    def _take_other(self, number: int, line: bytes, raw: bytes) -> None:
        """Take a line that is no data record, or a bad one."""
        fault = fault_of_line(line)
        if fault is not None:
            self._bad(number, fault)
            return
        self._other_records += 1
        address, kind, data = int.from_bytes(raw[1:3], "big"), raw[3], raw[4:-1]
        value = int.from_bytes(data, "big")
        if kind == _END:
            self._ended = True
            # Common practice, no published source: tools for 8-bit targets put
            # the start address here.
            if address:
                self._facts.setdefault("start_address", address)
        elif kind == _SEGMENT:
            self._base = self._floor = value << 4
            self._ceiling = self._base + _SEGMENT_SPACE
        elif kind == _LINEAR:
            self._base, self._floor, self._ceiling = value << 16, 0, ADDRESS_SPACE
        elif kind == _START_SEGMENT:
            self._facts["start_address"] = ((value >> 16) << 4) + (value & 0xFFFF)
        else:
            self._facts["start_address"] = value


def fault_of_line(line: bytes) -> Fault | None:
    """Return what is wrong with a line (without its line end), or None for a right record."""
    if len(line) > _LONGEST_LINE:
        return "record.too-long", {"limit": _LONGEST_LINE}
    if line[:1] != b":":
        return "record.mark", {}
    fault = fault_in_digits(line[1:])
    if fault is not None:
        return fault
    raw = octets(line[1:])
    if len(raw) < _FRAME or raw[0] != len(raw) - _FRAME:
        found = max(0, len(raw) - _FRAME)
        return "record.length", {"stated": raw[0] if raw else 0, "found": found}
    right = -sum(raw[:-1]) & 0xFF
    if raw[-1] != right:
        return "record.checksum", {"stated": f"{raw[-1]:02X}", "computed": f"{right:02X}"}
    kind = raw[3]
    if kind > _START_LINEAR:
        return "record.type", {"type": f"{kind:02X}"}
    if kind != _DATA and raw[0] != _LENGTHS[kind]:
        return "record.length-for-type", {"type": f"{kind:02X}", "found": raw[0]}
    return None


def looks_like_intel_hex(block: bytes) -> bool:
    """Return whether a file that starts with `block` is Intel HEX, damaged perhaps."""
    return looks_like_records(
        block, fault_of_line, lambda line: _STARTS_LIKE.match(line) is not None
    )
