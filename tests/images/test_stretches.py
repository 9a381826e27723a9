"""Stretches of addresses: ends, overlaps, and a bound on what is kept."""

from __future__ import annotations

import pytest

from cardprep.images.stretches import STRETCH_LIMIT, Stretches


def of(*parts: tuple[int, int]) -> Stretches:
    stretches = Stretches()
    for start, end in parts:
        stretches.add(start, end)
    return stretches


def test_nothing_has_no_addresses() -> None:
    stretches = of((5, 5))
    assert (stretches.count, stretches.lowest, stretches.end) == (0, None, None)
    assert stretches.first_overlap() is None


@pytest.mark.parametrize(
    ("parts", "overlap"),
    [
        pytest.param([(0, 4), (4, 8)], None, id="side by side"),
        pytest.param([(4, 8), (0, 4)], None, id="backwards"),
        pytest.param([(0, 5), (4, 8)], 4, id="one byte twice"),
        pytest.param([(4, 8), (0, 5)], 4, id="one byte twice, backwards"),
        pytest.param([(0, 4), (0, 4)], 0, id="the same twice"),
    ],
)
def test_overlap(parts: list[tuple[int, int]], overlap: int | None) -> None:
    assert of(*parts).first_overlap() == overlap


def test_lowest_and_end_are_exact_beyond_the_limit() -> None:
    parts = [(2 * n, 2 * n + 1) for n in range(1, STRETCH_LIMIT + 10)]
    stretches = of(*reversed(parts), (0, 1))
    assert stretches.count == STRETCH_LIMIT + 10
    assert stretches.lowest == 0
    assert stretches.end == 2 * (STRETCH_LIMIT + 9) + 1
    assert len(stretches._kept) == STRETCH_LIMIT
