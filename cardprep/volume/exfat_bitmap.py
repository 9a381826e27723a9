"""The allocation bitmap of an exFAT volume, and the set of clusters that were walked.

Pure: nothing here reads a card. Both are a bit for each cluster, so that what a
card marks as used and what its files use can be held against each other.

Source: exFAT File System Specification (Microsoft, 2019), section 7.1.
"""

from __future__ import annotations

from collections.abc import Iterator

from cardprep.errors import NotFatError
from cardprep.volume.exfat_boot import FIRST_CLUSTER

# A card can claim runs as long as the volume for each of its files. In pieces, no
# more is looked at than up to the first cluster that stands in the way.
_PIECE = 2**15
_DIGITS = bytes.maketrans(b"01", b"\0\1")


class ClusterBits:
    """A bit for each cluster of a volume, the one of cluster 2 first."""

    def __init__(self, clusters: int, data: bytes | None = None) -> None:
        length = -(-clusters // 8)
        self._clusters = clusters
        self._bits = bytearray(length) if data is None else bytearray(data[:length])
        if clusters % 8:
            # Bits behind the last cluster are reserved and say nothing.
            self._bits[-1] &= (1 << clusters % 8) - 1

    @classmethod
    def parse(cls, data: bytes, clusters: int) -> ClusterBits:
        """Read a bitmap as stored; NotFatError if it has no bit for each cluster."""
        needed = -(-clusters // 8)
        if len(data) < needed:
            raise NotFatError("exfat.bitmap-length", got=len(data), needed=needed)
        return cls(clusters, data)

    def to_bytes(self) -> bytes:
        """Return the bitmap as stored."""
        return bytes(self._bits)

    def __len__(self) -> int:
        return sum(piece.bit_count() for _, piece in self._pieces())

    def __contains__(self, cluster: int) -> bool:
        index = cluster - FIRST_CLUSTER
        return bool(self._bits[index >> 3] & 1 << (index & 7))

    def add(self, cluster: int) -> None:
        """Set a cluster's bit."""
        index = cluster - FIRST_CLUSTER
        self._bits[index >> 3] |= 1 << (index & 7)

    def add_run(self, first: int, count: int) -> int:
        """Set the bits from `first` up to the first one that is set; return how many."""
        done = 0
        while done < count:
            piece = min(_PIECE, count - done)
            free = self._free(first + done, piece)
            self._set(first + done, free)
            done += free
            if free < piece:
                break
        return done

    def unset_in(self, first: int, count: int) -> int:
        """Return how many of `count` clusters from `first` on are not set."""
        unset = 0
        for at in range(first, first + count, _PIECE):
            piece = min(_PIECE, first + count - at)
            unset += piece - self._window(at, piece).bit_count()
        return unset

    def used(self, first: int, count: int) -> bytes:
        """Return for each of `count` clusters from `first` on 1 if it is set, else 0."""
        digits = f"{self._window(first, count):0{count}b}"[::-1]
        return digits.encode("ascii").translate(_DIGITS)

    def count_not_in(self, other: ClusterBits) -> int:
        """Return how many clusters are set here and not in another set of the same volume."""
        return sum(left.bit_count() for _, left in self._left(other))

    def not_in(self, other: ClusterBits) -> Iterator[int]:
        """Give the clusters that are set here and not in another set of the same volume."""
        for at, left in self._left(other):
            rest = left
            while rest:
                lowest = rest & -rest
                yield at + lowest.bit_length() - 1
                rest ^= lowest

    def _left(self, other: ClusterBits) -> Iterator[tuple[int, int]]:
        for (at, one), (_, two) in zip(self._pieces(), other._pieces(), strict=True):
            if one & ~two:
                yield at, one & ~two

    def _pieces(self) -> Iterator[tuple[int, int]]:
        size = 512
        for at in range(0, len(self._bits), size):
            piece = int.from_bytes(self._bits[at : at + size], "little")
            yield at * 8 + FIRST_CLUSTER, piece

    def _window(self, first: int, count: int) -> int:
        index = first - FIRST_CLUSTER
        raw = self._bits[index >> 3 : (index + count + 7) >> 3]
        return int.from_bytes(raw, "little") >> (index & 7) & (1 << count) - 1

    def _free(self, first: int, count: int) -> int:
        found = self._window(first, count)
        return (found & -found).bit_length() - 1 if found else count

    def _set(self, first: int, count: int) -> None:
        index = first - FIRST_CLUSTER
        start, stop = index >> 3, (index + count + 7) >> 3
        before = int.from_bytes(self._bits[start:stop], "little")
        after = before | (1 << count) - 1 << (index & 7)
        self._bits[start:stop] = after.to_bytes(stop - start, "little")
