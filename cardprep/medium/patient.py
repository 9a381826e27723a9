"""Read a whole card in order, past the places that cannot be read, in bounded time.

A block that cannot be read is tried again in smaller and smaller pieces, down to
the sector, so that nothing is lost but what the card itself has lost. A dying card
can take half a minute for each sector, and every try can be its last: what is read
well comes first, and the time spent on failing reads is counted. Once it is used
up, blocks are tried once each and not in pieces; once twice as much and a
minute are used up, the rest of the card is left alone. What was not tried is marked so.

It changes nothing on the card.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.medium.capture_index import STRETCHES_MOST, Stretch
from cardprep.medium.protocol import Sectors
from cardprep.progress import Cancel
from cardprep.terms import KIB

Seconds = Callable[[], float]

# Pieces in which a block is tried again, before the sector.
_PIECES = (64 * KIB, 4 * KIB)
# On a card that answers at once with errors, time is no measure.
_FAILED_MOST = 50_000
# One stretch of trouble may not use up the time of all others.
_SHARE_OF_BLOCK = 4
# Seconds for single tries where there is no patience at all.
_LEAST = 60.0
# What the system says of a card that is no longer there: nothing comes after it.
_GONE = frozenset(("ENODEV", "ENXIO", "ENOMEDIUM"))


class PatientReader:
    """Reads a card in ascending order and keeps what could not be read.

    patience  seconds that failing reads may take before the search for good sectors ends
    clock     gives seconds that never go back
    """

    def __init__(
        self, sectors: Sectors, *, patience: float, clock: Seconds, cancel: Cancel
    ) -> None:
        self._sectors = sectors
        self._patience = patience
        self._clock = clock
        self._cancel = cancel
        self._spent = 0.0
        self._failed = 0
        self._block_limit = 0.0
        self._cause = "short"
        self._stretches: list[Stretch] = []

    @property
    def unreadable(self) -> tuple[Stretch, ...]:
        """What could not be read so far, ascending, neighbours of one cause as one."""
        return tuple(self._stretches)

    def read_into(self, offset: int, buffer: memoryview) -> None:
        """Fill `buffer` from `offset`, zeros where nothing can be read.

        Raises StoppedError, and nothing about the card.
        """
        self._cancel.check()
        if self._is_over():
            self._lose(offset, buffer, tried=False)
        elif not self._try(offset, buffer):
            self._block_limit = self._spent + self._patience / _SHARE_OF_BLOCK
            if self._is_tired():
                self._lose(offset, buffer, tried=False)
            else:
                self._in_pieces(offset, buffer, (*_PIECES, self._sectors.sector_size))

    def _in_pieces(self, offset: int, buffer: memoryview, sizes: tuple[int, ...]) -> None:
        """Read what failed as a whole in pieces of the first size, and those in smaller ones."""
        size, smaller = sizes[0], sizes[1:]
        for at in range(0, len(buffer), size):
            self._cancel.check()
            if self._is_tired() or self._spent > self._block_limit:
                self._lose(offset + at, buffer[at:], tried=False)
                return
            piece = buffer[at : at + size]
            # A piece that is all there is has just failed.
            if len(piece) < len(buffer) and self._try(offset + at, piece):
                continue
            if smaller and len(piece) > smaller[-1]:
                self._in_pieces(offset + at, piece, smaller)
            else:
                self._lose(offset + at, piece, tried=True)

    def _try(self, offset: int, buffer: memoryview) -> bool:
        begun = self._clock()
        try:
            self._sectors.read_into(offset, buffer)
        except (ReadFailedError, ShortReadError) as error:
            is_short = isinstance(error, ShortReadError)
            self._cause = "short" if is_short else str(error.parameters.get("cause", "EIO"))
            self._spent += self._clock() - begun
            self._failed += 1
            return False
        return True

    def _is_tired(self) -> bool:
        """Return whether nothing is to be tried in pieces any more."""
        return (
            self._spent > self._patience
            or self._failed > _FAILED_MOST
            or len(self._stretches) > STRETCHES_MOST // 2
            or self._cause in _GONE
        )

    def _is_over(self) -> bool:
        """Return whether the rest of the card is to be left alone."""
        return (
            self._spent > 2 * self._patience + _LEAST
            or len(self._stretches) > STRETCHES_MOST - 2
            or self._cause in _GONE
        )

    def _lose(self, offset: int, buffer: memoryview, *, tried: bool) -> None:
        buffer[:] = bytes(len(buffer))
        lost = Stretch(offset=offset, length=len(buffer), cause=self._cause, tried=tried)
        last = self._stretches[-1] if self._stretches else None
        if last and (last.end, last.cause, last.tried) == (offset, lost.cause, tried):
            self._stretches[-1] = replace(last, length=last.length + lost.length)
        else:
            self._stretches.append(lost)
