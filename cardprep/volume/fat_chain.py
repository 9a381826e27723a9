"""Chains of clusters, as values, and the set of clusters that were walked.

Pure: nothing here reads a card. A cluster belongs to one chain at most, and the
set below remembers which ones were walked, so that following damaged chains
ends by counting.

Words: a *chain* is the list of clusters of one file, given as *runs*, pairs of
first cluster and number of clusters.

Source: FAT: General Overview of On-Disk Format, v1.03 (Microsoft, 2000), "FAT Data
Structure".
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ChainEnd(StrEnum):
    """How a chain ended: properly, or by leading where no chain can go on.

    FREE and BAD are clusters that the table marks so, OUTSIDE is no cluster of
    this volume, CROSSED belongs to another chain and LOOP to this one. At
    SCATTERED the chain may go on, but is in more pieces than are followed.
    """

    PROPER = "proper"
    FREE = "free"
    OUTSIDE = "outside"
    BAD = "bad"
    CROSSED = "crossed"
    LOOP = "loop"
    SCATTERED = "scattered"


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """The clusters of one file or folder.

    runs      pairs of first cluster and number of clusters, in file order
    clusters  number of clusters
    end       how it ended
    at        the cluster at which a damaged chain could not go on, else 0
    """

    runs: tuple[tuple[int, int], ...]
    clusters: int
    end: ChainEnd
    at: int = 0


class Runs:
    """The clusters of a chain so far, neighbours put together."""

    def __init__(self) -> None:
        self._done: list[tuple[int, int]] = []
        self._start = 0
        self._next = 0
        self.clusters = 0

    def __len__(self) -> int:
        return len(self._done) + bool(self.clusters)

    def __contains__(self, cluster: int) -> bool:
        return any(first <= cluster < first + length for first, length in self.closed())

    def add(self, cluster: int, count: int = 1) -> None:
        """Add `count` clusters from `cluster` on."""
        if cluster != self._next:
            if self.clusters:
                self._done.append((self._start, self._next - self._start))
            self._start = cluster
        self._next = cluster + count
        self.clusters += count

    def closed(self) -> tuple[tuple[int, int], ...]:
        """Return the runs."""
        if not self.clusters:
            return ()
        return (*self._done, (self._start, self._next - self._start))


class ClusterSet:
    """Clusters of one volume, a bit for each.

    limit  all clusters are below it
    """

    def __init__(self, limit: int) -> None:
        self._bits = bytearray(-(-limit // 8))
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def __contains__(self, cluster: int) -> bool:
        return bool(self._bits[cluster >> 3] & 1 << (cluster & 7))

    def add(self, cluster: int) -> None:
        """Add a cluster that is not in the set."""
        self._bits[cluster >> 3] |= 1 << (cluster & 7)
        self._count += 1

    def add_run(self, first: int, count: int) -> int:
        """Add clusters from `first` up to the first one that is in the set; return how many."""
        start, stop = first >> 3, (first + count + 7) >> 3
        before = int.from_bytes(self._bits[start:stop], "little")
        found = before >> (first & 7) & (1 << count) - 1
        if found:
            count = (found & -found).bit_length() - 1
        after = before | (1 << count) - 1 << (first & 7)
        self._bits[start:stop] = after.to_bytes(stop - start, "little")
        self._count += count
        return count
