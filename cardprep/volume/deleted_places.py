"""Where the content of deleted files can still be, guessed from what is free now.

Deleting a file frees its clusters, and with that the list of them is gone. What
remains is the first one and the size. The guess is that the clusters lie one behind
the other, as nearly always on a card that holds little; it ends at the first cluster
that is in use again. A guess shows what is on the card, never when it came there.

On FAT32 some systems also clear the upper half of the first cluster's number
(common practice, no published source); then each cluster with the same lower half
may be the first one.

Pure: one pass over a table of clusters, which somebody else reads, tells all.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Protocol

from cardprep.volume.fat_boot import FIRST_CLUSTER
from cardprep.volume.model import DeletedEntry, Extent, Left

# A hostile card may list any number of them; for the first ones every place is looked for.
UPPER_HALF_ENTRIES = 1000
UPPER_HALF_PLACES = 32
_HALF = 2**16


class Clusters(Protocol):
    """Where the clusters of a volume lie, as its boot sector says."""

    @property
    def cluster_size(self) -> int:
        """Bytes of a cluster."""
        ...

    def cluster_offset(self, cluster: int) -> int:
        """Return the byte, from the start of the volume, where a cluster begins."""
        ...


class FreeRuns:
    """How many clusters are free from each of some clusters on.

    clusters  those that are asked about; others of them than the volume has are left out
    limit     all clusters are below it
    """

    def __init__(self, clusters: Iterable[int], limit: int) -> None:
        self.limit = limit
        self._asked = sorted({n for n in clusters if FIRST_CLUSTER <= n < limit})
        self._answered = 0
        self._free: dict[int, int] = {}

    def wants(self, stop: int) -> bool:
        """Whether clusters below `stop` tell anything that is not known."""
        return self._answered < len(self._asked) and self._asked[self._answered] < stop

    def take(self, start: int, in_use: bytes) -> None:
        """Take the next clusters, in order; what is left out in between is free.

        in_use  for each cluster from `start` on 0, or 1 where it is not free
        """
        while self.wants(start + len(in_use)):
            first = self._asked[self._answered]
            place = in_use.find(1, max(0, first - start))
            if place < 0:
                return
            while self.wants(start + place + 1):
                cluster = self._asked[self._answered]
                self._free[cluster] = start + place - cluster
                self._answered += 1

    def free_from(self, cluster: int) -> int:
        """Return how many clusters are free from this one on; asked when all are taken."""
        if cluster in self._free:
            return self._free[cluster]
        return self.limit - cluster if FIRST_CLUSTER <= cluster < self.limit else 0


def first_clusters(
    deleted: Sequence[DeletedEntry], limit: int, *, upper_half: bool
) -> Iterator[int]:
    """Give the clusters that `places` will ask about."""
    for number, entry in enumerate(deleted):
        yield entry.first_cluster
        if upper_half and number < UPPER_HALF_ENTRIES:
            yield from _others(entry, limit)


def places(
    deleted: Sequence[DeletedEntry],
    free: FreeRuns,
    clusters: Clusters,
    offset: int,
    *,
    upper_half: bool = False,
) -> Iterator[DeletedEntry]:
    """Give the same entries with what is left of them on the card.

    offset      byte on the card where the volume begins
    upper_half  whether the upper half of a cluster's number may have been cleared
    """
    for number, entry in enumerate(deleted):
        needed = 1 if entry.is_folder else -(-entry.size // clusters.cluster_size)
        found = free.free_from(entry.first_cluster)
        firsts = [(entry.first_cluster, min(found, needed))] if found else []
        if upper_half and number < UPPER_HALF_ENTRIES and needed:
            others = _others(entry, free.limit)
            firsts += [(n, needed) for n in others if free.free_from(n) >= needed]
        guesses = []
        for first, count in firsts if needed and not entry.is_folder else ():
            length = min(entry.size, count * clusters.cluster_size)
            guesses.append(Extent(offset + clusters.cluster_offset(first), length))
        most = max((count for _, count in firsts), default=0)
        is_possible = FIRST_CLUSTER <= entry.first_cluster < free.limit
        left = _left(needed, most, is_possible=is_possible)
        yield replace(entry, left=left, guesses=tuple(guesses))


def _left(needed: int, found: int, *, is_possible: bool) -> Left:
    if not needed:
        return Left.EMPTY
    if found >= needed:
        return Left.FREE
    if found:
        return Left.PARTLY
    return Left.IN_USE if is_possible else Left.NOWHERE


def _others(entry: DeletedEntry, limit: int) -> range:
    """Return the other clusters that may be meant, if the upper half of the number is gone."""
    if entry.first_cluster >= _HALF or entry.is_folder or not entry.size:
        return range(0)
    most = entry.first_cluster + _HALF * UPPER_HALF_PLACES
    return range(entry.first_cluster + _HALF, min(limit, most + 1), _HALF)
