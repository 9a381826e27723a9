"""The Merkle tree over the lines of the shop log: hashes, root, proofs.

Pure. It never sees a record's meaning: a leaf is a line's bytes without line
end. Checking proofs is ``proof.py``, which whoever receives one needs alone.

Words: the *size* of a tree is its number of leaves; a *peak* is the root of a
complete subtree of the *frontier*, of which there is one per set bit of the
size, the largest first. All hashes are SHA-256, 32 bytes.

Source: RFC 9162 sections 2.1.1 (hashes), 2.1.3.1 (inclusion) and 2.1.4.1
(consistency); RFC 6962 section 2.1 has the same ones.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cardprep.errors import ProofError

HASH_LENGTH = 32
EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(line: bytes) -> bytes:
    """Return the hash of a leaf."""
    return hashlib.sha256(b"\0" + line).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of a node over its two children's hashes."""
    return hashlib.sha256(b"\1" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Frontier:
    """The right edge of a tree: enough to go on and to know the root, in O(log size).

    size   leaves so far
    peaks  roots of the complete subtrees, largest first
    """

    size: int = 0
    peaks: tuple[bytes, ...] = ()

    def append(self, leaf: bytes) -> Frontier:
        """Return the frontier with one more leaf hash."""
        peaks = list(self.peaks)
        size = self.size
        # Like a carry in binary counting: equal subtrees join from the right.
        while size & 1:
            leaf = node_hash(peaks.pop(), leaf)
            size >>= 1
        return Frontier(self.size + 1, (*peaks, leaf))

    def root(self) -> bytes:
        """Return the root of the tree."""
        if not self.peaks:
            return EMPTY_ROOT
        *others, joined = self.peaks
        for peak in reversed(others):
            joined = node_hash(peak, joined)
        return joined


def frontier_of(leaf_hashes: Iterable[bytes]) -> Frontier:
    """Return the frontier of a tree over these leaf hashes."""
    frontier = Frontier()
    for leaf in leaf_hashes:
        frontier = frontier.append(leaf)
    return frontier


def root_of(leaf_hashes: Iterable[bytes]) -> bytes:
    """Return the root of a tree over these leaf hashes."""
    return frontier_of(leaf_hashes).root()


def inclusion_proof(leaf_hashes: Sequence[bytes], index: int) -> list[bytes]:
    """Return the proof that leaf `index` (from 0) is in the tree [PATH], deepest hash first.

    Raises ProofError if there is no such leaf.
    """
    if not 0 <= index < len(leaf_hashes):
        raise ProofError("proof.index", index=index, size=len(leaf_hashes))
    proof = []
    start, stop = 0, len(leaf_hashes)
    while stop - start > 1:
        middle = start + _split(stop - start)
        if index < middle:
            proof.append(root_of(leaf_hashes[middle:stop]))
            stop = middle
        else:
            proof.append(root_of(leaf_hashes[start:middle]))
            start = middle
    return proof[::-1]


def consistency_proof(leaf_hashes: Sequence[bytes], old_size: int) -> list[bytes]:
    """Return the proof that the first `old_size` leaves are the start of the tree [PROOF].

    Empty if the sizes are equal. Raises ProofError for an old size below 1 or
    above that of the tree: a tree without leaves is the start of any.
    """
    if not 1 <= old_size <= len(leaf_hashes):
        raise ProofError("proof.sizes", old_size=old_size, size=len(leaf_hashes))
    proof = []
    start, stop = 0, len(leaf_hashes)
    while stop != old_size:
        middle = start + _split(stop - start)
        if old_size <= middle:
            proof.append(root_of(leaf_hashes[middle:stop]))
            stop = middle
        else:
            proof.append(root_of(leaf_hashes[start:middle]))
            start = middle
    # The subtree that is left is the whole old tree only if it starts at leaf 0;
    # then the verifier has its hash already.
    if start:
        proof.append(root_of(leaf_hashes[start:stop]))
    return proof[::-1]


def _split(size: int) -> int:
    """Return the largest power of two smaller than `size`, which is at least 2."""
    return 1 << ((size - 1).bit_length() - 1)
