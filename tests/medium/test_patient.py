"""Reading past errors: only what the card lost is lost, and a dying card takes bounded time."""

from __future__ import annotations

import random
from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import ReadFailedError, StoppedError
from cardprep.medium.capture_index import STRETCHES_MOST, Stretch
from cardprep.medium.patient import PatientReader
from cardprep.progress import Cancel
from tests.captures import Ticks
from tests.cards import KIB, MIB, MemorySectors

SIZE = 4 * MIB
BLOCK = MIB


def patient(
    sectors: MemorySectors, *, clock: Ticks | None = None, patience: float = 60
) -> PatientReader:
    return PatientReader(sectors, patience=patience, clock=clock or Ticks(), cancel=Cancel())


def whole(reader: PatientReader, size: int, block: int = BLOCK) -> bytes:
    found = b""
    for offset in range(0, size, block):
        buffer = bytearray(b"?" * min(block, size - offset))
        reader.read_into(offset, memoryview(buffer))
        found += buffer
    return found


@settings(max_examples=30, deadline=None)
@given(
    bad=st.lists(st.tuples(st.integers(0, SIZE // 512 - 1), st.integers(1, 40)), max_size=8),
    sector=st.sampled_from((512, 4096)),
)
def test_only_the_bad_sectors_are_lost(bad: list[tuple[int, int]], sector: int) -> None:
    data = random.Random(1).randbytes(SIZE)
    lost = {
        one
        for start, count in bad
        for one in range(
            start * 512 // sector, min(-(-(start + count) * 512 // sector), SIZE // sector)
        )
    }
    stretches = [(one * sector, (one + 1) * sector) for one in lost]
    reader = patient(MemorySectors(data, bad=stretches, sector_bytes=sector))
    expected = bytearray(data)
    for start, end in stretches:
        expected[start:end] = bytes(end - start)
    assert whole(reader, SIZE) == expected
    covered = [
        one
        for part in reader.unreadable
        for one in range(part.offset // sector, part.end // sector)
    ]
    assert covered == sorted(lost)
    assert all(part.tried and part.cause == "EIO" for part in reader.unreadable)
    # Neighbours are one stretch.
    pairs = zip(reader.unreadable, reader.unreadable[1:], strict=False)
    assert all(one.end < other.offset for one, other in pairs)


def test_a_card_without_faults_is_read_once() -> None:
    card = MemorySectors(bytes(SIZE))
    reader = patient(card)
    whole(reader, SIZE)
    assert card.reads == [(at, at + BLOCK) for at in range(0, SIZE, BLOCK)]
    assert reader.unreadable == ()


def test_the_end_of_a_card_that_is_no_whole_sector() -> None:
    data = b"x" * (BLOCK + 700)
    reader = patient(MemorySectors(data, bad=[(BLOCK + 512, BLOCK + 513)]))
    assert whole(reader, len(data)) == data[: BLOCK + 512] + bytes(188)
    assert reader.unreadable == (Stretch(offset=BLOCK + 512, length=188, cause="EIO", tried=True),)


def test_a_dying_card_is_left_alone_in_the_end() -> None:
    # Each failing read takes ten seconds, and nothing can be read.
    card = MemorySectors(bytes(64 * MIB), bad=[(MIB, 64 * MIB)])
    clock = Ticks(10)
    reader = patient(card, clock=clock, patience=600)
    assert whole(reader, 64 * MIB) == bytes(64 * MIB)
    failed = [one for one in card.reads if one[1] > MIB]
    assert len(failed) <= (2 * 600 + 60) / 10 + 1
    assert sum(part.length for part in reader.unreadable) == 63 * MIB
    assert not reader.unreadable[-1].tried


def test_one_bad_stretch_leaves_time_for_the_others() -> None:
    data = b"x" * 8 * MIB
    bad = [(0, MIB), (5 * MIB, 5 * MIB + 512)]
    reader = patient(MemorySectors(data, bad=bad), clock=Ticks(1), patience=200)
    found = whole(reader, len(data))
    assert found[5 * MIB :] == bytes(512) + data[5 * MIB + 512 :]
    first, *_, last = reader.unreadable
    assert first.tried
    assert (last.offset, last.length, last.tried) == (5 * MIB, 512, True)
    assert sum(part.length for part in reader.unreadable) == MIB + 512


def test_without_patience_blocks_are_tried_once() -> None:
    card = MemorySectors(b"x" * SIZE, bad=[(MIB + 512, MIB + 1024)])
    reader = patient(card, clock=Ticks(1), patience=0)
    assert whole(reader, 2 * MIB) == b"x" * MIB + bytes(MIB)
    assert reader.unreadable == (Stretch(offset=MIB, length=MIB, cause="EIO", tried=False),)
    assert len(card.reads) == 2


def test_errors_that_come_at_once_are_counted() -> None:
    class Dead(MemorySectors):
        def read_into(self, offset: int, buffer: memoryview) -> None:
            self.reads.append((offset, offset + len(buffer)))
            raise ReadFailedError("medium.read-error", name="dead", offset=offset, cause="EIO")

    card = Dead(b"")
    reader = patient(card)
    buffer = memoryview(bytearray(MIB))
    for number in range(200):
        reader.read_into(number * MIB, buffer)
    assert len(card.reads) < 50_000 + 3000 + 200
    assert [part.tried for part in reader.unreadable] == [True, False]
    assert reader.unreadable[-1].end == 200 * MIB


@pytest.mark.parametrize("cause", ["ENODEV", "ENXIO", "ENOMEDIUM"])
def test_a_card_that_was_pulled_is_not_asked_again(cause: str) -> None:
    class Pulled(MemorySectors):
        def read_into(self, offset: int, buffer: memoryview) -> None:
            if offset + len(buffer) > MIB:
                self.reads.append((offset, offset + len(buffer)))
                raise ReadFailedError("medium.read-error", name="x", offset=offset, cause=cause)
            buffer[:] = b"x" * len(buffer)

    card = Pulled(b"")
    reader = patient(card)
    assert whole(reader, SIZE) == b"x" * MIB + bytes(3 * MIB)
    assert len(card.reads) == 1
    assert reader.unreadable == (Stretch(offset=MIB, length=3 * MIB, cause=cause, tried=False),)


def test_the_map_of_errors_is_bounded() -> None:
    @dataclass
    class Every(MemorySectors):
        """A card on which every second sector is bad."""

        def read_into(self, offset: int, buffer: memoryview) -> None:
            first, last = offset // 512, (offset + len(buffer) - 1) // 512
            if last > first or first % 2:
                raise ReadFailedError("medium.read-error", name="x", offset=offset, cause="EIO")
            buffer[:] = b"x" * len(buffer)

    reader = patient(Every(b""))
    buffer = memoryview(bytearray(64 * KIB))
    for number in range(40_000):
        reader.read_into(number * 64 * KIB, buffer)
    assert len(reader.unreadable) <= STRETCHES_MOST
    assert reader.unreadable[-1].end == 40_000 * 64 * KIB


def test_it_can_be_stopped_within_a_bad_stretch() -> None:
    cancel = Cancel()

    class Stopping(MemorySectors):
        def read_into(self, offset: int, buffer: memoryview) -> None:
            if len(self.reads) == 5:
                cancel.ask()
            super().read_into(offset, buffer)

    card = Stopping(bytes(SIZE), bad=[(0, SIZE)])
    reader = PatientReader(card, patience=60, clock=Ticks(), cancel=cancel)
    with pytest.raises(StoppedError):
        whole(reader, SIZE)
    assert len(card.reads) == 6
