"""Names as FAT stores them: eleven bytes, and long names in pieces of thirteen units.

A *unit* is a 16-bit unit of UTF-16. Long names are read whatever their units
are; a lone surrogate stays one and is spelled out where a person sees it.

Short names above ASCII depend on the code page of the system that wrote them,
which the card does not tell. Page 850 is assumed here (common practice for
western Europe, no published source), and the eleven bytes are kept.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT Long
Directory Entries" and "Name Limits and Character Sets".
"""

from __future__ import annotations

import string

CODE_PAGE = "cp850"
SHORT_LENGTH = 11
UNITS_PER_ENTRY = 13
MOST_UNITS = 255

LOWER_BASE = 0x08
LOWER_EXTENSION = 0x10

_SPECIAL = "$%'-_@~`!(){}^#&"
SHORT_CHARACTERS = frozenset(string.ascii_uppercase + string.digits + _SPECIAL)
FORBIDDEN_IN_LONG = frozenset('"*/:<>?\\|')


def checksum(raw: bytes) -> int:
    """Return the sum over eleven name bytes that ties a long name to its short one."""
    total = 0
    for byte in raw:
        total = ((total >> 1) | (total & 1) << 7) + byte & 0xFF
    return total


def short_name(raw: bytes, case_bits: int = 0) -> str:
    """Return a short name as it is shown.

    raw        eleven bytes as stored; 05 stands for E5 in the first
    case_bits  byte 12 of the entry: 08 shows the base, 10 the extension in lower case
    """
    if raw[:1] == b"\x05":
        raw = b"\xe5" + raw[1:]
    base = raw[:8].decode(CODE_PAGE).rstrip(" ")
    extension = raw[8:].decode(CODE_PAGE).rstrip(" ")
    if case_bits & LOWER_BASE:
        base = base.lower()
    if case_bits & LOWER_EXTENSION:
        extension = extension.lower()
    return f"{base}.{extension}" if extension else base


def plain_short(name: str) -> tuple[bytes, int] | None:
    """Return the eleven bytes and case bits of a name that needs no long entry, or None.

    Only ASCII counts, so that no code page matters, and each of base and
    extension must be in one case.
    """
    base, dot, extension = name.partition(".")
    if not 1 <= len(base) <= 8 or len(extension) > 3 or (dot and not extension):
        return None
    bits = 0
    for part, bit in ((base, LOWER_BASE), (extension, LOWER_EXTENSION)):
        if not part.isascii() or not SHORT_CHARACTERS.issuperset(part.upper()):
            return None
        if part != part.upper():
            if part != part.lower():
                return None
            bits |= bit
    return f"{base.upper():<8}{extension.upper():<3}".encode("ascii"), bits


def short_is_possible(raw: bytes) -> bool:
    """Return whether eleven stored bytes can be a short name at all."""
    if raw[0] in (0x20, 0x00):
        return False
    first = b"\xe5" if raw[:1] == b"\x05" else raw[:1]
    return not any(
        byte < 0x20 or byte == 0x7F or byte in b'"*+,./:;<=>?[\\]|' for byte in first + raw[1:]
    )


def long_is_possible(name: str) -> bool:
    """Return whether every system can know a file by this long name.

    Not so with characters that the standard forbids, among them the one that
    parts folders, and with a dot or space at the end, which some systems take off.
    """
    return not (name.endswith((".", " ")) or any(c < " " or c in FORBIDDEN_IN_LONG for c in name))


def upper_case(name: str) -> str:
    """Return a name as it is compared: each character in upper case if that is one character."""
    return "".join(up if len(up := c.upper()) == 1 else c for c in name)


def units(name: str) -> tuple[int, ...]:
    """Return the UTF-16 units of a name."""
    raw = name.encode("utf-16-le", "surrogatepass")
    return tuple(int.from_bytes(raw[i : i + 2], "little") for i in range(0, len(raw), 2))


def from_units(stored: tuple[int, ...]) -> str | None:
    """Return the name in the units of all its entries, or None if they are no name.

    A name that does not fill its last entry ends with one 0000 and then FFFF.
    """
    name = stored
    if 0 in stored:
        end = stored.index(0)
        name = stored[:end]
        if any(unit != 0xFFFF for unit in stored[end + 1 :]):
            return None
        if len(stored) - end > UNITS_PER_ENTRY:
            return None
    if not name or len(name) > MOST_UNITS:
        return None
    raw = b"".join(unit.to_bytes(2, "little") for unit in name)
    return raw.decode("utf-16-le", "surrogatepass")


def to_units(name: str) -> tuple[tuple[int, ...], ...]:
    """Return the pieces of thirteen units in which a long name is stored, first piece first."""
    stored = list(units(name))
    if len(stored) % UNITS_PER_ENTRY:
        stored.append(0)
    while len(stored) % UNITS_PER_ENTRY:
        stored.append(0xFFFF)
    return tuple(
        tuple(stored[i : i + UNITS_PER_ENTRY]) for i in range(0, len(stored), UNITS_PER_ENTRY)
    )
