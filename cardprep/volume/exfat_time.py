"""Dates and times as exFAT stores them: local time, hundredths, and the zone if it is known.

Source: exFAT File System Specification (Microsoft, 2019), sections 7.4.8 to 7.4.10.
"""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.volume.fat_time import FatTime

ZONE_KNOWN = 0x80
_QUARTER = 15


@dataclass(frozen=True, slots=True, order=True)
class ExfatTime(FatTime):
    """A time stamp that may know its zone.

    offset  minutes that the local time is ahead of UTC, or None where it is not stored
    """

    offset: int | None = None

    def __str__(self) -> str:
        local = FatTime.__str__(self)
        if self.offset is None:
            return local
        hours, minutes = divmod(abs(self.offset), 60)
        return f"{local} {'-' if self.offset < 0 else '+'}{hours:02d}:{minutes:02d}"

    @classmethod
    def parse_stamp(cls, stamp: int, hundredths: int = 0, zone: int = 0) -> ExfatTime | None:
        """Read a stored stamp; None if nothing is stored, BadValueError if it is impossible.

        stamp       date in the upper, time in the lower 16 bits, as FAT has them
        hundredths  of a second, 0 to 199, added to the stamp's two-second steps
        zone        80h and seven bits of quarter hours with a sign, or without 80h nothing
        """
        plain = FatTime.parse(stamp >> 16, stamp & 0xFFFF, hundredths)
        if plain is None:
            return None
        quarters = (zone & 0x7F) - (zone << 1 & 0x80)
        return cls(
            plain.year,
            plain.month,
            plain.day,
            plain.hour,
            plain.minute,
            plain.second,
            plain.hundredths,
            quarters * _QUARTER if zone & ZONE_KNOWN else None,
        )

    def to_stamp(self) -> tuple[int, int, int]:
        """Return stamp, hundredths and zone as stored."""
        date, time, hundredths = self.to_words()
        zone = 0
        if self.offset is not None:
            zone = ZONE_KNOWN | self.offset // _QUARTER & 0x7F
        return date << 16 | time, hundredths, zone
