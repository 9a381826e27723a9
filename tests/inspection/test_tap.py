"""Every byte of a card's first part passes the tap once and in order, whatever is asked for."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.inspection.forward import Attended
from cardprep.inspection.tap import Tap
from cardprep.medium.protocol import read
from cardprep.progress import Cancel, silent
from cardprep.volume.model import Extent
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
    counting = Attended(MemorySectors(DATA), silent, Cancel())
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


# --- places that cannot be read

BAD = st.lists(
    st.tuples(st.integers(0, len(DATA) - 1), st.integers(1, 600)).map(
        lambda pair: (pair[0], min(pair[0] + pair[1], len(DATA)))
    ),
    max_size=3,
)


@settings(deadline=None)
@given(READS, st.integers(0, len(DATA) + 10), st.integers(0, len(DATA)), BAD)
def test_a_bad_place_keeps_back_nothing_but_itself(
    reads: list[tuple[int, int]], length: int, keep: int, bad: list[tuple[int, int]]
) -> None:
    seen = Seen()
    tap = Tap(MemorySectors(DATA, bad=bad), length, keep, seen)
    for offset, size in reads:
        touched = any(start < offset + size and offset < end for start, end in bad)
        if touched:
            with pytest.raises(ReadFailedError):
                read(tap, offset, size)
        else:
            assert read(tap, offset, size) == DATA[offset : offset + size]
    if any(start < length for start, _ in bad):
        with pytest.raises(ReadFailedError):
            tap.finish()
        first = min(start for start, _ in bad)
        assert len(seen.data) <= first
    else:
        tap.finish()
        assert len(seen.data) == min(length, len(DATA))
    # Whatever the witness saw is the card from its first byte on.
    assert seen.data == DATA[: len(seen.data)]


def test_a_place_that_can_be_read_the_second_time_breaks_nothing_off() -> None:
    class Flaky(MemorySectors):
        """Fails once."""

        def read_into(self, offset: int, buffer: memoryview) -> None:
            first = not self.reads
            super().read_into(offset, buffer)
            if first:
                raise ReadFailedError("medium.read-error", name="m", offset=offset, cause="EIO")

    seen = Seen()
    tap = Tap(Flaky(DATA), len(DATA), 0, seen)
    with pytest.raises(ReadFailedError):
        read(tap, 0, 512)
    assert read(tap, 0, 512) == DATA[:512]
    tap.finish()
    assert seen.data == DATA


def test_a_card_that_is_shorter_than_it_says_ends_the_witness() -> None:
    class Shorter(MemorySectors):
        """Says that it is larger than it is."""

        @property
        def size(self) -> int:
            return len(self.data) + 512

    seen = Seen()
    tap = Tap(Shorter(DATA), len(DATA) + 512, 0, seen)
    with pytest.raises(ShortReadError):
        tap.finish()
    assert read(tap, 10, 10) == DATA[10:20]


# --- what is still to pass


@pytest.mark.parametrize(
    ("extents", "between"),
    [
        pytest.param([], 30_000, id="nothing else asked for"),
        pytest.param([(20_000, 10_000)], 20_000, id="inside"),
        pytest.param([(0, 10_000)], 30_000, id="passed already"),
        pytest.param([(5_000, 10_000)], 25_000, id="partly passed"),
        pytest.param([(39_000, 10_000)], 29_000, id="partly behind what is watched"),
        pytest.param([(45_000, 5_000)], 30_000, id="behind what is watched"),
        pytest.param([(10_000, 30_000)] * 2, 0, id="all of it, twice"),
    ],
)
def test_bytes_between_what_is_asked_for(extents: list[tuple[int, int]], between: int) -> None:
    tap = Tap(MemorySectors(DATA), 40_000, 0, Seen())
    read(tap, 0, 10_000)
    assert tap.between(Extent(*extent) for extent in extents) == between
    tap.finish()
    assert tap.between([]) == 0
