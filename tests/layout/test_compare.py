"""The comparison of a card's bytes with its layout: each byte counts, each structure is named."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.layout.build import lay_out
from cardprep.layout.compare import Comparison
from cardprep.layout.model import Layout
from cardprep.terms import MIB
from tests.stages import laid_out_bytes, make_stage


@dataclass
class Card:
    """A laid-out card in memory."""

    layout: Layout
    data: bytearray

    @contextmanager
    def flipped(self, at: int) -> Iterator[None]:
        """Keep one byte otherwise than it was laid out."""
        self.data[at] ^= 0xFF
        try:
            yield
        finally:
            self.data[at] ^= 0xFF


@pytest.fixture(
    scope="module",
    params=[(system, table) for system in ("fat16", "fat32") for table in ("mbr", "none")],
    ids=lambda pair: f"{pair[0]}, table {pair[1]}",
)
def card(request: pytest.FixtureRequest) -> Card:
    file_system, table = request.param
    generator = random.Random(7)
    files = [
        (("UPDATE", "firmware-image.bin"), generator.randbytes(150_001)),
        (("UPDATE", "SECOND.BIN"), generator.randbytes(3000)),
    ]
    stage, source = make_stage(
        files, volume_size=64 * MIB, file_systems=(file_system,), partition_table=table
    )
    layout = lay_out(stage)
    return Card(layout, bytearray(laid_out_bytes(layout, source)))


def test_a_card_as_laid_out_has_no_difference(card: Card) -> None:
    comparison = Comparison(card.layout)
    comparison.feed(bytes(card.data))
    # What stands behind the last used byte is none of the stage's business.
    comparison.feed(b"somebody's")
    compared = comparison.result()
    assert compared.complete
    assert compared.differences == ()
    assert compared.sha256 == hashlib.sha256(card.data).hexdigest()


def test_every_byte_of_the_small_structures_matters(card: Card) -> None:
    """All of them, and not a sample: with the comparison alone, up to where they end."""
    small = {"MBR", "boot sector", "FSInfo", "backup boot sector", "backup FSInfo"}
    for number, region in enumerate(card.layout.regions):
        if region.structure not in small:
            continue
        last = region.offset + region.length
        # A comparison of the regions from this one on needs nothing of those before.
        part = replace(card.layout, regions=(replace(region, offset=0),))
        for at in range(region.offset, last):
            with card.flipped(at):
                comparison = Comparison(part)
                comparison.feed(bytes(card.data[region.offset : last]))
            compared = comparison.result()
            (difference,) = compared.differences
            assert difference.structure == region.structure, number
            assert difference.offset == at - region.offset


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_any_one_byte_differs_where_it_was_flipped(card: Card, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, card.layout.length - 1))
    step = data.draw(st.sampled_from([512, 4096, 65_537, MIB]))
    with card.flipped(at):
        comparison = Comparison(card.layout)
        for start in range(0, card.layout.length + step, step):
            comparison.feed(bytes(card.data[start : start + step]))
    (difference,) = comparison.result().differences
    region = next(r for r in card.layout.regions if r.offset <= at < r.offset + r.length)
    assert (difference.structure, difference.path) == (region.structure, region.path)
    assert difference.offset == (at if region.file is None else region.offset)


@settings(deadline=None, max_examples=30)
@given(st.data())
def test_two_structures_that_differ_are_both_named(card: Card, data: st.DataObject) -> None:
    regions = card.layout.regions
    chosen = data.draw(st.sets(st.integers(0, len(regions) - 1), min_size=2, max_size=5))
    with ExitStack() as stack:
        for number in chosen:
            offset = regions[number].offset
            for at in (offset, offset + regions[number].length - 1):
                stack.enter_context(card.flipped(at))
        comparison = Comparison(card.layout)
        comparison.feed(bytes(card.data))
    # A region of one byte is flipped twice, which is not at all; none here is so small.
    assert all(regions[number].length > 1 for number in chosen)
    assert [difference.offset for difference in comparison.result().differences] == [
        regions[number].offset for number in sorted(chosen)
    ]


def test_a_card_that_ends_early_is_not_compared_whole(card: Card) -> None:
    comparison = Comparison(card.layout)
    comparison.feed(bytes(card.data[: card.layout.length - 1]))
    assert not comparison.result().complete
    comparison.feed(bytes(card.data[card.layout.length - 1 :]))
    assert comparison.result().complete
