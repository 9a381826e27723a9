"""Dates and times as FAT stores them: local time without a zone, in steps of two seconds.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "Date and
Time Formats".
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass

from cardprep.errors import BadValueError

FIRST_YEAR = 1980
LAST_YEAR = 2107


@dataclass(frozen=True, slots=True, order=True)
class FatTime:
    """A time stamp of unknown zone.

    second      0 to 59; an odd one can be stored in a creation stamp only
    hundredths  of a second, 0 to 99; stored in a creation stamp only
    """

    year: int
    month: int
    day: int
    hour: int = 0
    minute: int = 0
    second: int = 0
    hundredths: int = 0

    def __post_init__(self) -> None:
        """Refuse what is on no calendar or cannot be stored."""
        ok = (
            FIRST_YEAR <= self.year <= LAST_YEAR
            and 1 <= self.month <= 12
            and 1 <= self.day <= calendar.monthrange(self.year, self.month)[1]
            and 0 <= self.hour <= 23
            and 0 <= self.minute <= 59
            and 0 <= self.second <= 59
            and 0 <= self.hundredths <= 99
        )
        if not ok:
            raise BadValueError("fat.time", found=str(self))

    def __str__(self) -> str:
        return (
            f"{self.year}-{self.month:02d}-{self.day:02d}"
            f" {self.hour:02d}:{self.minute:02d}:{self.second:02d}"
        )

    @classmethod
    def parse(cls, date: int, time: int = 0, tenths: int = 0) -> FatTime | None:
        """Read stored words; None if nothing is stored, BadValueError if impossible.

        tenths  the creation stamp's byte, 0 to 199 hundredths of a second
        """
        if date == 0:
            return None
        extra, hundredths = divmod(tenths, 100)
        if extra > 1:
            raise BadValueError("fat.time", found=f"{date:04X} {time:04X} {tenths:02X}")
        return cls(
            FIRST_YEAR + (date >> 9),
            date >> 5 & 15,
            date & 31,
            time >> 11,
            time >> 5 & 63,
            (time & 31) * 2 + extra,
            hundredths,
        )

    def to_words(self) -> tuple[int, int, int]:
        """Return date, time and the creation stamp's byte as stored."""
        date = (self.year - FIRST_YEAR) << 9 | self.month << 5 | self.day
        time = self.hour << 11 | self.minute << 5 | self.second // 2
        return date, time, self.second % 2 * 100 + self.hundredths
