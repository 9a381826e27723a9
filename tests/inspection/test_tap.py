"""Every byte of a card's first part passes the tap once and in order, whatever is asked for."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import ShortReadError
from cardprep.inspection.forward import Counting
from cardprep.inspection.tap import Tap
from cardprep.medium.protocol import read
from tests.cards import MemorySectors

DATA = random.Random(3).randbytes(50_000)


class Seen:
    """A witness that keeps what it sees."""

    def __init__(self) -> None:
        self.data = b""

    def feed(self, block: memoryview, /) -> None:
        self.data += bytes(block)


READS = st.lists(
    st.tuples(st.integers(0, len(DATA)), st.integers(0, 20_000)).map(
        lambda pair: (pair[0], min(pair[1], len(DATA) - pair[0]))
    ),
    max_size=20,
)


@settings(deadline=None)
@given(READS, st.integers(0, len(DATA) + 10), st.integers(0, len(DATA)))
def test_reads_are_right_and_the_witness_sees_all_once(
    reads: list[tuple[int, int]], length: int, keep: int
) -> None:
    seen = Seen()
    tap = Tap(MemorySectors(DATA), length, keep, seen)
    for offset, size in reads:
        assert read(tap, offset, size) == DATA[offset : offset + size]
    tap.finish()
    assert seen.data == DATA[:length]
    tap.finish()
    assert seen.data == DATA[:length]


def test_what_is_kept_is_not_asked_for_again() -> None:
    counting = Counting(MemorySectors(DATA))
    tap = Tap(counting, len(DATA), 20_000, Seen())
    read(tap, 0, 20_000)
    for _ in range(5):
        read(tap, 1000, 19_000)
    assert counting.bytes_read == 20_000
    tap.finish()
    assert counting.bytes_read == len(DATA)


def test_the_end_of_the_card_is_an_error_as_without_the_tap() -> None:
    tap = Tap(MemorySectors(DATA), len(DATA), 0, Seen())
    with pytest.raises(ShortReadError):
        read(tap, len(DATA) - 10, 20)


def test_it_shows_the_card_behind_it() -> None:
    sectors = MemorySectors(DATA)
    with Tap(sectors, 10, 10, Seen()) as tap:
        assert (tap.size, tap.sector_size) == (len(DATA), 512)
        assert tap.identity == sectors.identity
        assert tap.past_the_cache is sectors.past_the_cache
    with Counting(sectors) as counting:
        assert counting.size == len(DATA)
