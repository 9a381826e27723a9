"""How a machine gets a file: in blocks of one size, whatever sizes arrive.

A report must not depend on how a reader happened to cut the file, limits on
unpacking included. So every machine sees the same blocks of 64 KiB, counted
from the file's first byte; only the last may be shorter. Blocks that arrive
aligned go through without being gathered.

Binary formats are read by *steps*: a generator that asks `Incoming` for bytes
and yields whenever the next block is needed, so that it can be written in the
order in which the format stands in its specification.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Generator

from cardprep.images.report import ContainerReport
from cardprep.terms import KIB

BLOCK = 64 * KIB

_OVER = object()


class FixedBlocks(ABC):
    """Base of all machines: cuts what is fed into blocks of BLOCK bytes."""

    def __init__(self) -> None:
        self._gathered = bytearray()

    def feed(self, block: bytes | memoryview, /) -> None:
        """Take the next bytes of the file, as many as the caller has."""
        view = memoryview(block)
        if self._gathered:
            missing = BLOCK - len(self._gathered)
            self._gathered += view[:missing]
            view = view[missing:]
            if len(self._gathered) < BLOCK:
                return
            self._pass_on()
        while len(view) >= BLOCK:
            self._take(view[:BLOCK])
            view = view[BLOCK:]
        self._gathered += view

    def finish(self) -> ContainerReport:
        """Return the report, once, after the last byte."""
        if self._gathered:
            self._pass_on()
        return self._report()

    def _pass_on(self) -> None:
        block = bytes(self._gathered)
        self._gathered.clear()
        self._take(memoryview(block))

    @abstractmethod
    def _take(self, block: memoryview) -> None:
        """Take the next block: BLOCK bytes, or fewer and at least one at the file's end."""

    @abstractmethod
    def _report(self) -> ContainerReport:
        """Return the report; all blocks have been taken."""


class Incoming:
    """The bytes of a file in the order of their coming, for one generator of steps.

    offset  of the next byte, counted from the start of the file
    """

    def __init__(self) -> None:
        self._block = b""
        self._at = 0
        self._offset = 0
        self._ended = False

    @property
    def offset(self) -> int:
        """Return how many bytes have been taken."""
        return self._offset

    def add(self, block: memoryview) -> None:
        """Take the next block; the steps have used up the one before."""
        self._block = bytes(block)
        self._at = 0

    def end(self) -> None:
        """Take notice that the file has ended."""
        self._ended = True

    def piece(self, most: int = BLOCK) -> Generator[None, None, bytes]:
        """Return what is at hand, 1 to `most` bytes; nothing only at the end of the file."""
        while self._at == len(self._block) and not self._ended:
            yield
        piece = self._block[self._at : self._at + most]
        self._at += len(piece)
        self._offset += len(piece)
        return piece

    def exactly(self, count: int) -> Generator[None, None, bytes]:
        """Return `count` bytes, at most 64 KiB; fewer only at the end of the file."""
        found = yield from self.piece(count)
        while len(found) < count:
            more = yield from self.piece(count - len(found))
            if not more:
                break
            found += more
        return found

    def skip(self, count: int) -> Generator[None, None, int]:
        """Pass over `count` bytes and return how many there were."""
        left = count
        while left:
            piece = yield from self.piece(left)
            if not piece:
                break
            left -= len(piece)
        return count - left

    def give_back(self, unused: bytes) -> None:
        """Take back the last bytes handed out, to be handed out again."""
        self._block = unused + self._block[self._at :]
        self._at = 0
        self._offset -= len(unused)


class StepReader(FixedBlocks):
    """Base of the machines for binary formats; `_steps` reads the file in order."""

    def __init__(self) -> None:
        super().__init__()
        self._incoming = Incoming()
        self._reading = self._steps()
        self._over = False

    def finish(self) -> ContainerReport:
        """Return the report, once, after the last byte."""
        if self._gathered:
            self._pass_on()
        self._incoming.end()
        self._advance()
        return self._report()

    def _take(self, block: memoryview) -> None:
        # After the last step the rest of the file is passed over.
        if not self._over:
            self._incoming.add(block)
            self._advance()

    def _advance(self) -> None:
        if not self._over:
            self._over = next(self._reading, _OVER) is _OVER

    @abstractmethod
    def _steps(self) -> Generator[None, None, None]:
        """Read the file through `self._incoming`, yielding while it has to wait."""
