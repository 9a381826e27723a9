"""Files of records, one to a line: what Intel HEX and S-record have in common.

Lines end with LF, CR LF or CR, and one file should keep to one of them: a
transfer in text mode leaves a mixture. Blank lines are passed over. The first
bad line is told with its number and why; a file without an end record is a
copy that was cut short, although some libraries accept it.

A line longer than its format allows is bad and does not make memory grow.

Words: a *record* is one line; lines are counted from 1; *data bytes* are those
that the records carry for the target's memory.
"""

from __future__ import annotations

import re
from abc import abstractmethod
from binascii import unhexlify
from collections.abc import Callable, Sequence
from typing import ClassVar

from cardprep.images.blocks import FixedBlocks
from cardprep.images.report import ContainerReport, Parameter, Troubles
from cardprep.images.stretches import Stretches

ADDRESS_SPACE = 1 << 32

# A hostile file can have millions of lines without data, and each takes time.
IDLE_LIMIT = 100_000

# What is wrong with a line: a slug of the catalogue and its parameters.
Fault = tuple[str, dict[str, Parameter]]

# Lines after the first by which a file with a damaged first line is judged.
_NEXT_LINES = 8
# Enough for as many of the longest lines of either format.
_HEAD = 6144

_NO_DIGIT = re.compile(rb"[^0-9A-Fa-f]")


class RecordTextReader(FixedBlocks):
    """Cuts a file into lines, and keeps what is known about its records."""

    format_slug: ClassVar[str]
    line_limit: ClassVar[int]

    def __init__(self) -> None:
        super().__init__()
        self._troubles = Troubles()
        self._stretches = Stretches()
        # The stretch that the next record may continue.
        self._start = 0
        self._end = 0
        # Data that runs up to the ceiling goes on at the floor.
        self._floor = 0
        self._ceiling = ADDRESS_SPACE
        self._facts: dict[str, Parameter] = {}
        self._data_records = 0
        self._other_records = 0
        self._data_bytes = 0
        # How many data records there were when a record counted them rightly.
        self._counted: int | None = None
        self._bad_lines = 0
        self._lines = 0
        self._ended = False
        self._after_end = False
        self._line_ends = {"LF": 0, "CR LF": 0, "CR": 0}
        self._given_up = False
        self._unfinished = b""
        self._dropping = False

    @abstractmethod
    def _take_lines(self, lines: Sequence[bytes], first: int) -> int:
        """Take lines, counted from `first`, up to and with an end record; return how many."""

    def _take(self, block: memoryview) -> None:
        if self._given_up:
            return
        text = bytes(block)
        if self._dropping:
            resume = _first_line_end(text)
            if resume < 0:
                return
            text = text[resume:]
            self._dropping = False
        text = self._unfinished + text
        # A CR at the very end may be the first half of CR LF.
        cut = max(text.rfind(b"\n"), text.rfind(b"\r", 0, -1)) + 1
        self._unfinished = text[cut:]
        if len(self._unfinished) > self.line_limit + 1:
            ended = self._unfinished.endswith(b"\r")
            kept = self._unfinished[: self.line_limit + 1]
            self._unfinished = kept + b"\r" if ended else kept
            self._dropping = not ended
        self._take_text(text[:cut])

    def _take_text(self, text: bytes) -> None:
        """Take text that ends with a line end, or that ends the file."""
        both = text.count(b"\r\n")
        self._line_ends["CR LF"] += both
        self._line_ends["LF"] += text.count(b"\n") - both
        self._line_ends["CR"] += text.count(b"\r") - both
        lines = text.splitlines()
        used = 0 if self._ended else self._take_lines(lines, self._lines + 1)
        if self._ended and not self._after_end:
            self._look_after_end(lines[used:], self._lines + used + 1)
        self._lines += len(lines)
        # A large file may have a blank line, say, after each record, but not more.
        self._given_up = self._lines - self._data_records > self._data_records + IDLE_LIMIT

    def _look_after_end(self, lines: Sequence[bytes], first: int) -> None:
        for number, line in enumerate(lines, first):
            if line:
                self._after_end = True
                self._troubles.broken("record.after-end", line=number)
                return

    def _bad(self, number: int, fault: Fault) -> None:
        self._bad_lines += 1
        if self._bad_lines == 1:
            reason, parameters = fault
            self._troubles.broken(reason, line=number, **parameters)

    def _place(self, address: int, length: int, number: int) -> None:
        """Take data that does not simply continue the stretch before it."""
        self._stretches.add(self._start, self._end)
        if address + length > self._ceiling:
            self._troubles.noted("record.wraps", line=number)
            self._stretches.add(address, self._ceiling)
            length -= self._ceiling - address
            address = self._floor
        self._start, self._end = address, address + length

    def _report(self) -> ContainerReport:
        if self._unfinished:
            self._take_text(self._unfinished)
        self._stretches.add(self._start, self._end)
        self._tell_whole()
        facts: dict[str, Parameter] = {
            "records": self._data_records + self._other_records,
            "data_records": self._data_records,
            "data_bytes": self._data_bytes,
        }
        if self._stretches.lowest is not None and self._stretches.end is not None:
            facts["lowest_address"] = self._stretches.lowest
            facts["highest_address"] = self._stretches.end - 1
            facts["stretches"] = self._stretches.count
        if self._bad_lines:
            facts["bad_lines"] = self._bad_lines
        used = [name for name, count in self._line_ends.items() if count]
        if used:
            facts["line_ends"] = ", ".join(used)
        return self._troubles.report(self.format_slug, {**facts, **self._facts})

    def _tell_whole(self) -> None:
        """Tell what is known only once the whole file was seen."""
        if self._given_up:
            self._troubles.broken("record.given-up", line=self._lines)
        elif not self._ended and self._counted == self._data_records:
            self._troubles.unchecked("record.no-end-but-count", count=self._data_records)
        elif not self._ended:
            self._troubles.broken("record.no-end", lines=self._lines)
        if self._bad_lines > 1:
            self._troubles.broken("record.more-bad-lines", count=self._bad_lines - 1)
        if not self._data_bytes:
            self._troubles.noted("record.no-data")
        overlap = self._stretches.first_overlap()
        if overlap is not None:
            self._troubles.noted("record.overlap", address=f"{overlap:08X}")
        if sum(1 for count in self._line_ends.values() if count) > 1:
            self._troubles.noted(
                "record.line-ends",
                lf=self._line_ends["LF"],
                crlf=self._line_ends["CR LF"],
                cr=self._line_ends["CR"],
            )


def octets(digits: bytes) -> bytes:
    """Return the bytes that hex digits stand for; nothing if they cannot be right."""
    try:
        return unhexlify(digits)
    except ValueError:
        return b""


def fault_in_digits(digits: bytes) -> Fault | None:
    """Return what keeps text from being pairs of hex digits, or None."""
    other = _NO_DIGIT.search(digits)
    if other is not None:
        return "record.digit", {"place": other.start() + 1}
    if len(digits) % 2:
        return "record.odd-digits", {"digits": len(digits)}
    return None


def looks_like_records(
    block: bytes, fault_of: Callable[[bytes], Fault | None], starts_like: Callable[[bytes], bool]
) -> bool:
    """Return whether a file's first block is of a record format.

    A right first line is enough. After a damaged one the lines that follow
    decide: one right record if the first line still starts like a record, else
    three; and at least half of them are right.
    """
    lines = [line for line in block[:_HEAD].splitlines() if line][: 1 + _NEXT_LINES]
    if not lines:
        return False
    first, following = lines[0], lines[1:]
    if fault_of(first) is None:
        return True
    right = sum(1 for line in following if fault_of(line) is None)
    return right >= (1 if starts_like(first) else 3) and 2 * right >= len(following)


def _first_line_end(text: bytes) -> int:
    """Return where the first CR or LF stands, or -1."""
    found = [at for at in (text.find(b"\n"), text.find(b"\r")) if at >= 0]
    return min(found, default=-1)
