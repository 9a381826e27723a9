"""Where the data of a record file goes: stretches of addresses without a gap.

Addresses are those of the target's memory, in bytes. Only the first stretches
are kept one by one, because a hostile file can have one for each record; the
lowest and highest address are exact for any file.
"""

from __future__ import annotations

STRETCH_LIMIT = 4096


class Stretches:
    """The stretches in the order of the file; `end` is one past a stretch's last byte."""

    def __init__(self) -> None:
        self.count = 0
        self.lowest: int | None = None
        self.end: int | None = None
        self._kept: list[tuple[int, int]] = []

    def add(self, start: int, end: int) -> None:
        """Take a stretch from `start` to before `end`; an empty one is ignored."""
        if start == end:
            return
        self.count += 1
        self.lowest = start if self.lowest is None else min(self.lowest, start)
        self.end = end if self.end is None else max(self.end, end)
        if len(self._kept) < STRETCH_LIMIT:
            self._kept.append((start, end))

    def first_overlap(self) -> int | None:
        """Return the lowest address that is given twice, or None if none is known."""
        reached = -1
        for start, end in sorted(self._kept):
            if start < reached:
                return start
            reached = end
        return None
