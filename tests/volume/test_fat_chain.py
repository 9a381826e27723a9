"""Runs and sets of clusters, compared with Python's own lists and sets."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.volume.fat_chain import ClusterSet, Runs

LIMIT = 200


def test_no_clusters() -> None:
    assert Runs().closed() == ()
    assert len(Runs()) == 0
    assert 0 not in Runs()
    assert len(ClusterSet(LIMIT)) == 0


@settings(deadline=None)
@given(st.lists(st.integers(2, 40), unique=True))
def test_runs_hold_the_clusters_in_their_order(clusters: list[int]) -> None:
    runs = Runs()
    for cluster in clusters:
        runs.add(cluster)
    closed = runs.closed()
    assert [first + n for first, count in closed for n in range(count)] == clusters
    assert runs.clusters == len(clusters)
    assert len(runs) == len(closed)
    assert all(cluster in runs for cluster in clusters)
    assert not any(cluster in runs for cluster in range(2, 42) if cluster not in clusters)
    # Neighbours are put together, so that no run goes on where the one before it ends.
    ends = [first + count for first, count in closed]
    assert not any(end == first for end, (first, _) in zip(ends, closed[1:], strict=False))


@settings(deadline=None, max_examples=300)
@given(st.lists(st.tuples(st.integers(0, LIMIT - 40), st.integers(1, 40))))
def test_a_set_takes_runs_up_to_what_it_has(additions: list[tuple[int, int]]) -> None:
    ours = ClusterSet(LIMIT)
    theirs: set[int] = set()
    for first, count in additions:
        free = next((n for n in range(count) if first + n in theirs), count)
        assert ours.add_run(first, count) == free
        theirs.update(range(first, first + free))
    assert len(ours) == len(theirs)
    assert [n for n in range(LIMIT) if n in ours] == sorted(theirs)


@settings(deadline=None)
@given(st.sets(st.integers(0, LIMIT - 1)))
def test_a_set_takes_single_clusters(clusters: set[int]) -> None:
    ours = ClusterSet(LIMIT)
    for cluster in clusters:
        ours.add(cluster)
    assert {n for n in range(LIMIT) if n in ours} == clusters
    assert len(ours) == len(clusters)
