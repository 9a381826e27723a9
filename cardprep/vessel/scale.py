"""Versions of one image type on one model as small whole numbers, and sets of them as bits.

Planning and diagnosis compare versions many thousand times. Here each version that
is ever spoken of gets its place on a scale, once, by the model's own order. What a
unit may have of a type is then a *mask*: one bit for each place, so that "unknown"
is simply several bits.

Place 0 stands for an empty part: nothing there that runs. Place 1 stands for a
version older than any that is spoken of. Versions that count as the same ("4.30",
"4.30.0") have one place.
"""

from __future__ import annotations

from collections.abc import Iterable

from cardprep.errors import BadValueError
from cardprep.terms import Version, VersionOrder

EMPTY = 0
OLDER = 1
_FIRST = 2

EMPTY_ONLY = 1 << EMPTY


class Scale:
    """The places of the versions of one image type on one model."""

    def __init__(self, order: VersionOrder, versions: Iterable[Version]) -> None:
        """Put every version in its place; BadValueError for one that has none."""
        by_key: dict[tuple[int, ...], Version] = {}
        for version in sorted(versions, key=lambda one: one.text):
            by_key.setdefault(order.key(version), version)
        self._order = order
        self._keys = sorted(by_key)
        self._places = {key: _FIRST + number for number, key in enumerate(self._keys)}
        self._versions = tuple(by_key[key] for key in self._keys)

    @property
    def unknown(self) -> int:
        """The mask of a version that nobody knows; something is there."""
        return (1 << (_FIRST + len(self._keys))) - 1 - EMPTY_ONLY

    def place(self, version: Version) -> int:
        """Return the place of a version; BadValueError if it was never spoken of."""
        found = self._places.get(self._order.key(version))
        if found is None:
            raise BadValueError("version.not-listed", found=version.text)
        return found

    def mask(self, version: Version | None) -> int:
        """Return the mask of a version that is known, or of one that is not."""
        return self.unknown if version is None else 1 << self.place(version)

    def version(self, place: int) -> Version | None:
        """Return the version at a place; None for empty and for older than any."""
        return self._versions[place - _FIRST] if place >= _FIRST else None

    def versions(self, mask: int) -> tuple[Version, ...]:
        """Return the versions that are possible by a mask, oldest first."""
        return tuple(
            version
            for number, version in enumerate(self._versions)
            if mask >> (_FIRST + number) & 1
        )


def places(mask: int) -> tuple[int, ...]:
    """Return the places in a mask, lowest first."""
    return tuple(place for place in range(mask.bit_length()) if mask >> place & 1)


def is_known(mask: int) -> bool:
    """Return whether a mask leaves one place only."""
    return mask & (mask - 1) == 0


def at_least(mask: int, place: int) -> bool:
    """Return whether every possible version is the one at `place` or newer."""
    return mask & ((1 << place) - 1) == 0


def none_above(mask: int, place: int) -> bool:
    """Return whether no possible version is newer than the one at `place`."""
    return mask >> (place + 1) == 0
