"""What the shelf's copy tells of a file that is not what it should be, byte for byte.

Digests of blocks tell which blocks of a file differ. Two of them, the first and the last,
are read a second time and held against the shelf's copy: that gives the bytes, and often
the cause. What the card gave the second time counts only where it is what it gave the
first time; else the card gives other bytes each time, and that is what is said.

Source: common practice, no published source, for what single turned bits and stretches of
00 or FF come from.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cardprep.digests import ContentDigests, FileDigests
from cardprep.findings import Finding, Parameter
from cardprep.inspection.model import InspectedFile
from cardprep.manifest.model import ImageFacts
from cardprep.rules.content import differing_blocks
from cardprep.rules.context import By, Context, ReadTwice, place_of
from cardprep.terms import CHUNK

# A hostile card may hold any number of altered files; each costs four blocks of memory.
FILES_LIMIT = 16
# A stretch this long does not come to be all 00 or FF by chance.
_STRETCH = 32
_BITS_LIMIT = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Closely:
    """Where a content differs from an image's, exactly.

    first  first byte that differs, or the first one behind the shorter of the two
    last   last byte that differs; of contents of two sizes, the last of the card's
    bits   how many bits differ, or None where not all blocks were looked at
    single whether no byte differs in more than one bit
    stretch whether all from first to last is 00, or FF, in what was looked at
    begins whether the card's content is the beginning of the image's
    """

    first: int
    last: int
    bits: int | None
    single: bool
    stretch: bool
    begins: bool


def to_read_twice(
    context: Context,
) -> Iterator[tuple[InspectedFile, ImageFacts, tuple[int, ...]]]:
    """Give each file worth a second look, its image, and the numbers of the blocks to look at."""
    given = 0
    for item, image in context.images:
        digests = item.file.digests
        if item.by is By.DIGEST or digests is None or given == FILES_LIMIT:
            continue
        common = min(len(image.chunks), len(digests.chunks))
        differing = [n for n in differing_blocks(image, digests) if n < common]
        # Where nothing is the same, two blocks tell nothing of how it came about.
        if not differing or (len(differing) == common > 2):
            continue
        given += 1
        yield item.file, image, tuple(dict.fromkeys((differing[0], differing[-1])))


def closely(context: Context, file: InspectedFile, image: ImageFacts) -> Closely | None:
    """Return where a file differs exactly, or None if that is not known."""
    twice, digests = context.read_twice.get(place_of(file)), file.digests
    if twice is None or digests is None or not _is_same_twice(twice, digests):
        return None
    differing = differing_blocks(image, digests)
    (low, card, shelf), (high, last_card, last_shelf) = _ends(twice)
    place = _first(card, shelf)
    first = low * CHUNK + place
    equal = digests.size == image.size
    last = high * CHUNK + _last(last_card, last_shelf) if equal else digests.size - 1
    pairs = [
        one ^ other
        for _, mine, theirs in _blocks(twice)
        for one, other in zip(mine, theirs, strict=False)
        if one != other
    ]
    all_seen = equal and {low, high} >= set(differing)
    begins = digests.size < image.size and differing[0] == low and place == len(card)
    return Closely(
        first=first,
        last=last,
        bits=sum(pair.bit_count() for pair in pairs) if all_seen else None,
        single=0 < len(pairs) <= _BITS_LIMIT and all(pair.bit_count() == 1 for pair in pairs),
        stretch=equal and last - first >= _STRETCH and _is_stretch(digests, twice, first, last),
        begins=begins and (low + 1) * CHUNK >= digests.size,
    )


def unsteady(context: Context) -> list[Finding]:
    """Return a finding for each file of which the card gave other bytes the second time."""
    findings = []
    for item in context.files:
        twice, digests = context.read_twice.get(place_of(item.file)), item.file.digests
        if twice is not None and digests is not None and not _is_same_twice(twice, digests):
            missing = any(block is None for block in twice.card)
            how = "again-not" if missing else "again-other"
            where = next(
                number
                for number, block in zip(twice.numbers, twice.card, strict=True)
                if block is None or _digest(block) != digests.chunks[number]
            )
            parameters: dict[str, Parameter] = {"how": how, "first": where * CHUNK}
            shown = item.file.shown
            findings.append(Finding("reads-differently", shown, "file content", parameters))
    return findings


def _is_same_twice(twice: ReadTwice, digests: FileDigests) -> bool:
    return all(
        block is not None and _digest(block) == digests.chunks[number]
        for number, block in zip(twice.numbers, twice.card, strict=True)
    )


def is_shelf_block(image: ImageFacts, number: int, block: bytes) -> bool:
    """Return whether a block that the shelf gave is the image's."""
    return _digest(block) == image.chunks[number]


def _digest(block: bytes) -> str:
    digests = ContentDigests()
    digests.update(block)
    return "".join(digests.result().chunks)


def _blocks(twice: ReadTwice) -> Iterator[tuple[int, bytes, bytes]]:
    for number, card, shelf in zip(twice.numbers, twice.card, twice.shelf, strict=True):
        yield number, card or b"", shelf


def _ends(twice: ReadTwice) -> tuple[tuple[int, bytes, bytes], tuple[int, bytes, bytes]]:
    blocks = list(_blocks(twice))
    return blocks[0], blocks[-1]


def _first(card: bytes, shelf: bytes) -> int:
    """Return where two blocks part, at the latest behind the shorter one."""
    pairs = zip(card, shelf, strict=False)
    shorter = min(len(card), len(shelf))
    return next((at for at, (one, other) in enumerate(pairs) if one != other), shorter)


def _last(card: bytes, shelf: bytes) -> int:
    """Return the last place at which two blocks of one length differ."""
    return next(at for at in reversed(range(len(card))) if card[at] != shelf[at])


def _is_stretch(digests: FileDigests, twice: ReadTwice, first: int, last: int) -> bool:
    """Return whether the card's bytes from `first` to `last` are one filling."""
    (low, card, _), (high, last_card, _) = _ends(twice)
    if low == high:
        inside = card[first - low * CHUNK : last + 1 - low * CHUNK]
    else:
        inside = card[first - low * CHUNK :] + last_card[: last + 1 - high * CHUNK]
    filling = inside[:1]
    if filling not in (b"\0", b"\xff") or inside.strip(filling):
        return False
    whole = _digest(filling * CHUNK)
    return all(chunk == whole for chunk in digests.chunks[low + 1 : high])
