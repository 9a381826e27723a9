"""Check S-record files, record by record, without keeping what they carry.

A record is ``S``, a type digit, and in hex digits: the number of bytes that
follow, an address of 2, 3 or 4 bytes, the data, and the complement of the low
byte of the sum of all bytes before it. Types: S0 header, S1 S2 S3 data, S5 S6
count of the data records so far, S7 S8 S9 end with the start address; S4 is
reserved. Some writers leave the end record out; if a count stands last, the
data are all there.

Source: M68000 Family Programmer's Reference Manual, appendix C
"S-Record Output Format"; S6 by common practice, no published source.
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
from cardprep.images.report import harmless

S_RECORD = "s-record"

_MARK = ord("S")
_LONGEST_LINE = 2 + 2 * (1 + 0xFF)

# Bytes of the address by type digit.
_ADDRESS_BYTES = {b"S0": 2, b"S1": 2, b"S2": 3, b"S3": 4, b"S5": 2, b"S6": 3}
_ADDRESS_BYTES |= {b"S7": 4, b"S8": 3, b"S9": 2}
_WITHOUT_DATA = frozenset({b"S5", b"S6", b"S7", b"S8", b"S9"})
_DATA_BY_DIGIT = {ord("1"): 2, ord("2"): 3, ord("3"): 4}
_STARTS_LIKE = re.compile(rb"S[0-35-9][0-9A-Fa-f]{6}")


class SRecordReader(RecordTextReader):
    """The machine for S-record.

    Facts: those of Intel HEX, and header, the text of S0.
    """

    format_slug: ClassVar[str] = S_RECORD
    line_limit: ClassVar[int] = _LONGEST_LINE

    def _take_lines(self, lines: Sequence[bytes], first: int) -> int:
        # As in Intel HEX, the loop that meets every line of a large file.
        for number, line in enumerate(lines, first):
            raw = octets(line[2:])
            width = _DATA_BY_DIGIT.get(line[1], 0) if raw else 0
            length = len(raw) - width - 2
            if (
                width
                and length >= 0
                and raw[0] == len(raw) - 1
                and sum(raw) & 0xFF == 0xFF
                and line[0] == _MARK
            ):
                self._data_records += 1
                self._data_bytes += length
                address = int.from_bytes(raw[1 : 1 + width], "big")
                if address == self._end and address + length <= ADDRESS_SPACE:
                    self._end += length
                elif length:
                    self._place(address, length, number)
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
        kind = line[:2]
        width = _ADDRESS_BYTES[kind]
        address = int.from_bytes(raw[1 : 1 + width], "big")
        if kind == b"S0":
            header = raw[1 + width : -1].rstrip(b" \0")
            if header:
                self._facts.setdefault("header", harmless(header))
        elif kind in {b"S5", b"S6"}:
            if address == self._data_records:
                self._counted = address
            else:
                self._troubles.broken(
                    "record.count", line=number, stated=address, found=self._data_records
                )
        else:
            self._ended = True
            self._facts["start_address"] = address


def fault_of_line(line: bytes) -> Fault | None:
    """Return what is wrong with a line (without its line end), or None for a right record."""
    if len(line) > _LONGEST_LINE:
        return "record.too-long", {"limit": _LONGEST_LINE}
    if line[:1] != b"S":
        return "record.mark", {}
    kind = line[:2]
    if kind not in _ADDRESS_BYTES:
        return "record.type", {"type": harmless(kind)}
    fault = fault_in_digits(line[2:])
    if fault is not None:
        return fault
    raw = octets(line[2:])
    if not raw or raw[0] != len(raw) - 1:
        return "record.length", {"stated": raw[0] if raw else 0, "found": max(0, len(raw) - 1)}
    right = ~sum(raw[:-1]) & 0xFF
    if raw[-1] != right:
        return "record.checksum", {"stated": f"{raw[-1]:02X}", "computed": f"{right:02X}"}
    data_bytes = raw[0] - _ADDRESS_BYTES[kind] - 1
    if data_bytes < 0 or (data_bytes and kind in _WITHOUT_DATA):
        return "record.length-for-type", {"type": harmless(kind), "found": raw[0]}
    return None


def looks_like_s_record(block: bytes) -> bool:
    """Return whether a file that starts with `block` is S-record, damaged perhaps."""
    return looks_like_records(
        block, fault_of_line, lambda line: _STARTS_LIKE.match(line) is not None
    )
