"""All digests of one content in one pass, whatever blocks it comes in.

The *sha256* is the evidence. The *xxh3_128* answers the same question much
faster while nobody cheats, and the *chunks*, an XXH3 of 64 bits over each
64 KiB from the start (the last chunk may be shorter), tell which part of a file
was altered. The two fast ones are never evidence.

It reads nothing itself and keeps no content: at most one digest per chunk.

Source: FIPS 180-4 (SHA-256); xxHash specification and its XXH3 (release 0.8).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import xxhash

CHUNK_SIZE = 64 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class FileDigests:
    """What one pass over a content gives.

    size      bytes
    sha256    64 lower-case hex digits
    xxh3_128  32 lower-case hex digits, high half first as xxhsum prints it
    chunks    16 lower-case hex digits for each 64 KiB begun; none for no bytes
    """

    size: int
    sha256: str
    xxh3_128: str
    chunks: tuple[str, ...]


class ContentDigests:
    """The running digests of one content; feed it in order, then ask for the result."""

    def __init__(self) -> None:
        self._size = 0
        self._sha256 = hashlib.sha256()
        self._xxh3_128 = xxhash.xxh3_128()
        self._chunk = xxhash.xxh3_64()
        self._in_chunk = 0
        self._chunks: list[str] = []

    def update(self, block: bytes | memoryview) -> None:
        """Take the next bytes; `block` may have any length, none included."""
        view = memoryview(block).cast("B")
        self._size += len(view)
        self._sha256.update(view)
        self._xxh3_128.update(view)
        at = 0
        if self._in_chunk:
            at = min(CHUNK_SIZE - self._in_chunk, len(view))
            self._add_to_chunk(view[:at])
        whole_end = at + (len(view) - at) // CHUNK_SIZE * CHUNK_SIZE
        for start in range(at, whole_end, CHUNK_SIZE):
            self._chunks.append(xxhash.xxh3_64_hexdigest(view[start : start + CHUNK_SIZE]))
        if whole_end < len(view):
            self._add_to_chunk(view[whole_end:])

    def result(self) -> FileDigests:
        """Return the digests of all bytes so far; more may still be fed afterwards."""
        chunks = tuple(self._chunks)
        if self._in_chunk:
            chunks = (*chunks, self._chunk.hexdigest())
        return FileDigests(
            size=self._size,
            sha256=self._sha256.hexdigest(),
            xxh3_128=self._xxh3_128.hexdigest(),
            chunks=chunks,
        )

    def _add_to_chunk(self, part: memoryview) -> None:
        self._chunk.update(part)
        self._in_chunk += len(part)
        if self._in_chunk == CHUNK_SIZE:
            self._chunks.append(self._chunk.hexdigest())
            self._chunk.reset()
            self._in_chunk = 0


def chunk_count(size: int) -> int:
    """Return how many chunk digests a content of `size` bytes has."""
    return -(-size // CHUNK_SIZE)
