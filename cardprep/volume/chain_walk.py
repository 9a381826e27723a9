"""Follow chains of clusters by a table, whichever file system it belongs to.

Every cluster is walked once in all, so that following damaged chains ends by
counting. How many runs all chains together may have, and how often parts of the
table may be read again, is counted too: a card must not decide how long it takes.

Words: see ``fat_chain.py``.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Protocol

from cardprep.volume.fat_boot import FIRST_CLUSTER
from cardprep.volume.fat_chain import Chain, ChainEnd, Runs

# Far above what an honest card shows; a run costs some 200 bytes of memory.
MOST_RUNS = 2**19


class Walked(Protocol):
    """A set of clusters."""

    def __contains__(self, cluster: int, /) -> bool: ...


class ChainWalk(ABC):
    """A table by which chains are followed, and the memory of which clusters were walked.

    limit       all clusters are below it
    walked      clusters that belong to a chain that was walked
    reads_left  how often parts of the table may still be read
    """

    def __init__(self, limit: int, walked: Walked, reads_left: int) -> None:
        self.limit = limit
        self.walked = walked
        self._reads_left = reads_left
        self._runs_left = MOST_RUNS

    def walk(self, first: int) -> Chain:
        """Follow a chain from its first cluster; every cluster is walked once in all."""
        runs = Runs()
        cluster = first
        end = None
        while end is None:
            end = self._obstacle(cluster, runs)
            if end is None:
                cluster, end = self._step(cluster, runs)
        self._runs_left -= len(runs)
        at = 0 if end is ChainEnd.PROPER else cluster
        return Chain(runs=runs.closed(), clusters=runs.clusters, end=end, at=at)

    def _obstacle(self, cluster: int, runs: Runs) -> ChainEnd | None:
        """Return why a chain cannot go on into a cluster, or None if it can."""
        if not FIRST_CLUSTER <= cluster < self.limit:
            return ChainEnd.OUTSIDE
        # Counting is enough to stop a chain that points back into itself or into
        # another one: a cluster that was walked before is never walked again.
        if cluster in self.walked:
            return ChainEnd.LOOP if cluster in runs else ChainEnd.CROSSED
        if len(runs) >= self._runs_left or self._reads_left <= 0:
            return ChainEnd.SCATTERED
        return None

    @abstractmethod
    def _step(self, cluster: int, runs: Runs) -> tuple[int, ChainEnd | None]:
        """Add a cluster and mark it as walked; return where the chain goes on or ends."""
