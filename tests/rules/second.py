"""Cards of which blocks were read a second time, in memory."""

from __future__ import annotations

from dataclasses import replace

from cardprep.rules.closer import to_read_twice
from cardprep.rules.context import Context, ReadTwice, place_of
from cardprep.terms import CHUNK
from tests.rules.looked_at import APP, context, looked_at

_SAME = b"as the first time"


def twice(path: str, data: bytes, second: bytes | None = _SAME, image: bytes = APP) -> Context:
    """Return a card with one file; what the card gives the second time may be another thing."""
    seen = context(looked_at(path, data))
    read = {}
    for file, _, numbers in to_read_twice(seen):
        same = tuple(data[n * CHUNK : (n + 1) * CHUNK] for n in numbers)
        read[place_of(file)] = ReadTwice(
            numbers=numbers,
            card=same if second == _SAME else (second,) * len(numbers),
            shelf=tuple(image[n * CHUNK : (n + 1) * CHUNK] for n in numbers),
        )
    return replace(seen, read_twice=read)
