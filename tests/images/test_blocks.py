"""Blocks of one size: nothing is lost, doubled or kept, however a file is cut."""

from __future__ import annotations

from collections.abc import Generator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.images import blocks
from cardprep.images.blocks import BLOCK, FixedBlocks, StepReader
from cardprep.images.opaque import UncheckedReader
from cardprep.images.report import ContainerReport, Soundness


class Gathering(FixedBlocks):
    """Keeps the blocks it is given."""

    def __init__(self) -> None:
        super().__init__()
        self.taken: list[bytes] = []

    def _take(self, block: memoryview) -> None:
        self.taken.append(bytes(block))

    def _report(self) -> ContainerReport:
        return ContainerReport(format="opaque", soundness=Soundness.UNCHECKED, facts={})


class Stepping(StepReader):
    """Reads 3 bytes, gives 1 back, skips 4, reads 2, then one piece at a time."""

    def __init__(self) -> None:
        self.read: list[bytes] = []
        self.offsets: list[int] = []
        super().__init__()

    def _steps(self) -> Generator[None, None, None]:
        first = yield from self._incoming.exactly(3)
        self._incoming.give_back(first[2:])
        self.read.append(first[:2])
        self.offsets.append(self._incoming.offset)
        yield from self._incoming.skip(4)
        self.read.append((yield from self._incoming.exactly(2)))
        self.offsets.append(self._incoming.offset)

    def _report(self) -> ContainerReport:
        return ContainerReport(format="opaque", soundness=Soundness.UNCHECKED, facts={})


@settings(deadline=None, max_examples=60)
@given(
    size=st.integers(0, 3 * BLOCK + 9),
    cuts=st.lists(st.integers(1, 2 * BLOCK + 5), min_size=1, max_size=12),
)
def test_blocks_are_of_one_size_and_give_the_file_again(size: int, cuts: list[int]) -> None:
    data = bytes(range(251)) * (size // 251 + 1)
    data = data[:size]
    machine = Gathering()
    # One buffer, used again for every block, as a reader of cards does.
    buffer = bytearray(max(cuts))
    at = turn = 0
    while at < size:
        piece = data[at : at + cuts[turn % len(cuts)]]
        buffer[: len(piece)] = piece
        machine.feed(memoryview(buffer)[: len(piece)])
        at += len(piece)
        turn += 1
    machine.finish()
    assert b"".join(machine.taken) == data
    assert all(len(block) == BLOCK for block in machine.taken[:-1])
    assert all(machine.taken)


def test_an_aligned_block_goes_through_at_once_and_an_empty_one_is_nothing() -> None:
    machine = Gathering()
    machine.feed(b"")
    machine.feed(bytes(2 * BLOCK))
    assert [len(block) for block in machine.taken] == [BLOCK, BLOCK]
    machine.finish()
    assert len(machine.taken) == 2


@pytest.mark.parametrize("size", [1, 2, 3, 5, 64])
def test_steps_read_the_same_across_any_block_border(
    size: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(blocks, "BLOCK", size)
    machine = Stepping()
    machine.feed(b"0123456789")
    machine.finish()
    assert machine.read == [b"01", b"67"]
    assert machine.offsets == [2, 8]


def test_steps_get_fewer_bytes_only_at_the_end() -> None:
    machine = Stepping()
    machine.feed(b"0123456")
    machine.finish()
    assert machine.read == [b"01", b"6"]
    assert machine.offsets == [2, 7]


def test_after_the_last_step_the_rest_is_passed_over() -> None:
    machine = Stepping()
    for _ in range(4):
        machine.feed(bytes(BLOCK))
    machine.finish()
    assert machine.offsets == [2, 8]


def test_an_opaque_file_is_counted() -> None:
    machine = UncheckedReader()
    machine.feed(bytes(BLOCK + 7))
    assert machine.finish() == ContainerReport(
        format="opaque", soundness=Soundness.UNCHECKED, facts={"size": BLOCK + 7}
    )
