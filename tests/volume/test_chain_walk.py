"""Chains followed by any table of numbers: what is found is what counting finds."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.volume import chain_walk
from cardprep.volume.chain_walk import ChainWalk
from cardprep.volume.fat_chain import ChainEnd, ClusterSet, Runs

END = -1


class Table(ChainWalk):
    """A table that is a list of numbers from cluster 2 on."""

    def __init__(self, entries: list[int], reads: int = 10**6) -> None:
        self.walked: ClusterSet = ClusterSet(len(entries) + 2)
        self._entries = entries
        super().__init__(len(entries) + 2, self.walked, reads)

    def _step(self, cluster: int, runs: Runs) -> tuple[int, ChainEnd | None]:
        self._reads_left -= 1
        self.walked.add(cluster)
        runs.add(cluster)
        value = self._entries[cluster - 2]
        return value, ChainEnd.PROPER if value == END else None


def test_a_chain_and_one_that_meets_it() -> None:
    table = Table([3, 5, 2, END, 6, 5])
    assert table.walk(2).runs == ((2, 2), (5, 1))
    crossed = table.walk(4)
    assert (crossed.end, crossed.at, crossed.clusters) == (ChainEnd.CROSSED, 2, 1)
    looped = Table([3, 2]).walk(2)
    assert (looped.end, looped.at, looped.clusters) == (ChainEnd.LOOP, 2, 2)
    assert Table([3, 9]).walk(2).end is ChainEnd.OUTSIDE


@given(st.lists(st.integers(-1, 12), min_size=1, max_size=10), st.lists(st.integers(0, 13)))
def test_every_cluster_is_walked_once_in_all(entries: list[int], firsts: list[int]) -> None:
    table = Table(entries)
    chains = [table.walk(first) for first in firsts]
    clusters = [n for c in chains for first, count in c.runs for n in range(first, first + count)]
    assert len(clusters) == len(set(clusters)) == len(table.walked)
    for chain in chains:
        assert chain.clusters == sum(count for _, count in chain.runs)
        assert chain.end is not ChainEnd.PROPER or (chain.at == 0 and chain.clusters)


def test_pieces_and_readings_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    assert Table([4, END, 3], reads=2).walk(2).end is ChainEnd.SCATTERED
    monkeypatch.setattr(chain_walk, "MOST_RUNS", 3)
    table = Table([4, END, END, 7, END, END])
    assert table.walk(2).end is ChainEnd.PROPER
    assert table.walk(5).end is ChainEnd.SCATTERED
