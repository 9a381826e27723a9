"""Which card readers there are, and which of them hold a card to look at."""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.medium.readers import Reader
from cardprep.medium.system_readers import find_readers


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """The readers of this machine.

    readers  all of them, the computer's own system among them if it runs from one
    was_told whether the system could be asked at all
    """

    readers: tuple[Reader, ...]
    was_told: bool = True

    @property
    def cards(self) -> tuple[Reader, ...]:
        """Those with a card that may be named to another command."""
        return tuple(
            reader for reader in self.readers if reader.has_card and not reader.holds_system
        )


def list_readers(platform: str) -> Listing:
    """Return the readers of this machine, looked for just now; `platform` as sys.platform."""
    readers = find_readers(platform)
    if readers is None:
        return Listing(readers=(), was_told=False)
    return Listing(readers=readers)
