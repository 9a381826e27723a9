"""How long work says how far it is, and how it is asked to stop.

Both are asked once per block of a transfer, so that a card of 32 GB can be left
within a fraction of a second and a terminal never slows the copy down.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from threading import Event
from typing import Protocol

from cardprep.errors import StoppedError


class Progress(Protocol):
    """Told after each block how much of the work is done."""

    def __call__(self, done: int, total: int, /) -> None:
        """Take the bytes done so far and the bytes in all."""
        ...


def silent(done: int, total: int, /) -> None:
    """Take progress and say nothing."""


@dataclass(frozen=True, slots=True)
class Cancel:
    """A person's wish to stop, safe to set from another thread or a signal handler."""

    _event: Event = field(default_factory=Event)

    def ask(self) -> None:
        """Ask the work to stop at the next block."""
        self._event.set()

    def check(self) -> None:
        """Return at once, or raise StoppedError if somebody asked to stop."""
        if self._event.is_set():
            raise StoppedError("stopped")
