"""Sectors behind sectors: the same card, counted, told of, and left when somebody asks."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.errors import ReadFailedError, StoppedError
from cardprep.inspection.forward import Attended, Forwarding, Share
from cardprep.medium.protocol import read
from cardprep.progress import Cancel, silent
from tests.cards import MemorySectors


class Closable(MemorySectors):
    """A card that counts how often it was closed."""

    closed = 0

    def close(self) -> None:
        self.closed += 1


def test_it_is_the_card_behind_it() -> None:
    sectors = Closable(b"card" * 512)
    with Forwarding(sectors) as same:
        assert (same.size, same.sector_size) == (2048, 512)
        assert same.identity == sectors.identity
        assert same.past_the_cache
        assert read(same, 4, 8) == b"cardcard"
    assert sectors.closed == 1


@given(st.lists(st.integers(0, 200), max_size=30), st.integers(0, 100))
def test_a_share_only_grows_and_ends_at_its_total_once(done: list[int], total: int) -> None:
    told: list[tuple[int, int]] = []
    share = Share(lambda *pair: told.append(pair), total)
    for one in done:
        share.tell(one)
    share.end()
    share.end()
    assert told == sorted(set(told))
    assert all(0 < one <= of == total for one, of in told)
    # Of nothing there is nothing to tell.
    assert [pair for pair in told if pair[0] == total] == ([(total, total)] if total else [])


def test_reads_count_and_are_told_once_it_is_known_of_how_much() -> None:
    told: list[tuple[int, int]] = []
    attended = Attended(MemorySectors(bytes(4096)), lambda *pair: told.append(pair), Cancel())
    read(attended, 0, 512)
    assert told == []
    attended.expect(2048)
    read(attended, 0, 512)
    read(attended, 1024, 512)
    attended.end()
    assert told == [(512, 2048), (1024, 2048), (2048, 2048)]
    assert attended.bytes_read == 3 * 512


def test_a_read_that_fails_was_asked_for_and_got_nowhere() -> None:
    told: list[tuple[int, int]] = []
    sectors = MemorySectors(bytes(4096), bad=[(0, 1)])
    attended = Attended(sectors, lambda *pair: told.append(pair), Cancel())
    attended.expect(512)
    with pytest.raises(ReadFailedError):
        read(attended, 0, 512)
    assert (attended.bytes_read, told) == (512, [])


def test_nothing_is_read_once_somebody_asked_to_stop() -> None:
    cancel = Cancel()
    sectors = MemorySectors(bytes(4096))
    attended = Attended(sectors, silent, cancel)
    attended.check()
    cancel.ask()
    with pytest.raises(StoppedError):
        attended.check()
    with pytest.raises(StoppedError):
        read(attended, 0, 512)
    assert sectors.reads == []
