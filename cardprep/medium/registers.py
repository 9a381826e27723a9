"""What an SD card says of itself: CID and CSD, the registers that a native slot shows.

Source: SD Physical Layer Simplified Specification, 4.5 (CRC7), 5.2 (CID), 5.3 (CSD);
field limits also in Linux, drivers/mmc/core/sd.c. A host controller may strip
the CRC, so that the last byte reads 00; then it proves nothing either way.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.errors import BadValueError

LENGTH = 16
_CSD_UNIT = 512 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class CardIdentification:
    """CID register. Published names in brackets.

    maker          number that the card industry gave to the maker [MID]
    owner          two characters [OID]
    product        five characters [PNM]
    revision       "n.m" [PRV]
    serial         32-bit number [PSN]
    made           "YYYY-MM" [MDT]
    checksum_holds whether the CRC is right, or None where the host stripped it
    """

    maker: int
    owner: str
    product: str
    revision: str
    serial: int
    made: str
    checksum_holds: bool | None

    @classmethod
    def parse(cls, hexadecimal: str) -> CardIdentification:
        """Read 32 hexadecimal digits as Linux shows them; BadValueError if they are not."""
        raw = _register(hexadecimal)
        date = int.from_bytes(raw[13:15], "big") & 0xFFF
        return cls(
            maker=raw[0],
            owner=_text(raw[1:3]),
            product=_text(raw[3:8]),
            revision=f"{raw[8] >> 4}.{raw[8] & 15}",
            serial=int.from_bytes(raw[9:13], "big"),
            made=f"{2000 + (date >> 4)}-{date & 15:02d}",
            checksum_holds=_checksum_holds(raw),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSpecificData:
    """CSD register. Published names in brackets.

    structure          1, 2 or 3 [CSD_STRUCTURE + 1]
    capacity           bytes, from [C_SIZE], [C_SIZE_MULT] and [READ_BL_LEN]
    permanently_locked [PERM_WRITE_PROTECT]
    locked             [TMP_WRITE_PROTECT]
    checksum_holds     whether the CRC is right, or None where the host stripped it
    """

    structure: int
    capacity: int
    permanently_locked: bool
    locked: bool
    checksum_holds: bool | None

    @classmethod
    def parse(cls, hexadecimal: str) -> CardSpecificData:
        """Read 32 hexadecimal digits as Linux shows them; BadValueError if they are not."""
        raw = _register(hexadecimal)
        bits = int.from_bytes(raw, "big")

        def field(high: int, low: int) -> int:
            return bits >> low & (1 << high - low + 1) - 1

        structure = field(127, 126)
        if structure == 0:
            capacity = (field(73, 62) + 1) << (field(49, 47) + 2) << field(83, 80)
        elif structure == 1:
            capacity = (field(69, 48) + 1) * _CSD_UNIT
        elif structure == 2:
            capacity = (field(75, 48) + 1) * _CSD_UNIT
        else:
            raise BadValueError("register.structure", found=structure)
        return cls(
            structure=structure + 1,
            capacity=capacity,
            permanently_locked=bool(field(13, 13)),
            locked=bool(field(12, 12)),
            checksum_holds=_checksum_holds(raw),
        )


def crc7(data: bytes) -> int:
    """Return the CRC with polynomial x^7 + x^3 + 1 of SD commands and registers."""
    crc = 0
    for byte in data:
        for bit in range(7, -1, -1):
            crc = (crc << 1) ^ (0x09 if (crc >> 6 ^ byte >> bit) & 1 else 0)
            crc &= 0x7F
    return crc


def _register(hexadecimal: str) -> bytes:
    try:
        raw = bytes.fromhex(hexadecimal)
    except ValueError as error:
        raise BadValueError("register.hex") from error
    if len(raw) != LENGTH:
        raise BadValueError("register.hex")
    return raw


def _text(raw: bytes) -> str:
    return "".join(chr(byte) if 0x20 <= byte < 0x7F else f"\\x{byte:02x}" for byte in raw)


def _checksum_holds(raw: bytes) -> bool | None:
    if raw[15] == 0:
        return None
    return raw[15] == crc7(raw[:15]) << 1 | 1
