"""The allocation bitmap of exFAT.

Source: exFAT File System Specification (Microsoft, 2019), section 7.1.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import NotFatError
from cardprep.volume.exfat_bitmap import ClusterBits


def test_the_first_bit_is_cluster_2() -> None:
    bits = ClusterBits.parse(b"\x01\x80", 16)
    assert [cluster for cluster in range(2, 18) if cluster in bits] == [2, 17]
    assert len(bits) == 2


def test_bits_behind_the_last_cluster_say_nothing() -> None:
    assert len(ClusterBits.parse(b"\xff\xff", 9)) == 9


@given(st.binary(max_size=40), st.integers(1, 200))
def test_any_bytes_are_a_value_or_refused(data: bytes, clusters: int) -> None:
    try:
        bits = ClusterBits.parse(data, clusters)
    except NotFatError:
        assert len(data) * 8 < clusters
        return
    assert ClusterBits.parse(bits.to_bytes(), clusters).to_bytes() == bits.to_bytes()
    assert len(bits) == sum(cluster in bits for cluster in range(2, clusters + 2))


@given(st.lists(st.tuples(st.integers(2, 90_000), st.integers(1, 70_000)), max_size=8))
@settings(max_examples=40, deadline=None)
def test_runs_end_at_the_first_cluster_that_is_taken(runs: list[tuple[int, int]]) -> None:
    clusters = 100_000
    bits, model = ClusterBits(clusters), set[int]()
    for first, wanted in runs:
        count = min(wanted, clusters + 2 - first)
        free = next((n for n in range(count) if first + n in model), count)
        assert bits.unset_in(first, count) == count - sum(
            cluster in model for cluster in range(first, first + count)
        )
        assert bits.add_run(first, count) == free
        model.update(range(first, first + free))
    assert len(bits) == len(model)


@given(st.sets(st.integers(2, 9000)), st.sets(st.integers(2, 9000)))
def test_what_one_set_has_and_another_lacks(one: set[int], two: set[int]) -> None:
    first, second = ClusterBits(9000), ClusterBits(9000)
    for bits, members in ((first, one), (second, two)):
        for cluster in members:
            bits.add(cluster)
    assert first.count_not_in(second) == len(one - two)
    assert list(first.not_in(second)) == sorted(one - two)


def test_a_bitmap_that_is_too_short() -> None:
    with pytest.raises(NotFatError) as refused:
        ClusterBits.parse(b"\xff", 9)
    assert refused.value.reason == "exfat.bitmap-length"


@given(st.binary(min_size=5, max_size=5), st.integers(2, 41), st.integers(1, 40))
def test_which_clusters_are_used(data: bytes, first: int, count: int) -> None:
    bits = ClusterBits.parse(data, 40)
    count = min(count, 42 - first)
    assert bits.used(first, count) == bytes(n in bits for n in range(first, first + count))
