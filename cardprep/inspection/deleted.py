"""Read what lies where the content of deleted files is guessed to be.

Only who asks for it pays for it, and it is the one part of an inspection that may
read a sector a second time: several deleted files may have lain in one place. No
more bytes are read than the card has, whatever is listed on it. What is read here
shows that something was on the card, never when.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.inspection.content import Content, ContentReading
from cardprep.inspection.model import DeletedContent
from cardprep.medium.protocol import Sectors
from cardprep.volume.model import DeletedEntry, Extent


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedDeleted:
    """That the content of deleted files is asked for.

    sizes  of files worth a look at every place where they may lie, if there are several
    """

    sizes: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class ToRead:
    """Which places are read.

    places    pairs of an entry's number and one of its guesses
    left_out  numbers of entries that are not looked at, because it would be too much
    """

    places: tuple[tuple[int, Extent], ...] = ()
    left_out: tuple[int, ...] = ()

    @property
    def bytes(self) -> int:
        """How many bytes that is; what several entries share is read once."""
        return sum(where.length for where in {where for _, where in self.places})


def to_read(deleted: Sequence[DeletedEntry], asked: AskedDeleted, most: int) -> ToRead:
    """Choose what is read, in the order of the entries, until it is `most` bytes."""
    chosen: list[tuple[int, Extent]] = []
    left_out = []
    known: set[Extent] = set()
    total = 0
    for number, entry in enumerate(deleted):
        guesses = entry.guesses if entry.size in asked.sizes else entry.guesses[:1]
        for where in guesses:
            more = 0 if where in known else where.length
            if total + more > most:
                left_out.append(number)
                break
            known.add(where)
            total += more
            chosen.append((number, where))
    return ToRead(places=tuple(chosen), left_out=tuple(left_out))


def read_deleted(
    sectors: Sectors, reading: ContentReading, chosen: ToRead
) -> tuple[DeletedContent, ...]:
    """Return what lies in the chosen places, in the order of the entries."""
    places = sorted({where for _, where in chosen.places}, key=lambda where: where.offset)
    found: Mapping[Extent, Content | None] = {
        where: _content(sectors, reading, where) for where in places
    }
    return tuple(
        DeletedContent(
            entry=number,
            where=where,
            digests=None if content is None else content.digests,
            container=None if content is None else content.container,
        )
        for number, where in chosen.places
        for content in (found[where],)
    )


def _content(sectors: Sectors, reading: ContentReading, where: Extent) -> Content | None:
    steps = reading.from_sectors(sectors, (where,), where.length)
    try:
        return next(step for step in steps if isinstance(step, Content))
    except (ReadFailedError, ShortReadError):
        return None
