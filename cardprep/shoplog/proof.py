"""Check proofs about the shop log, without the log.

Pure, and all that the receiver of a dossier needs besides SHA-256. Returning
means proved; anything else raises ProofError.

Three things are refused here that the RFC's algorithms leave open: consistency
from a tree without leaves (it would hold for every log), the same for two such
trees, and hashes that are not 32 bytes long.

Source: RFC 9162 sections 2.1.3.2 (inclusion) and 2.1.4.2 (consistency).
"""

from __future__ import annotations

from collections.abc import Sequence

from cardprep.errors import ProofError
from cardprep.shoplog.tree import HASH_LENGTH, node_hash

# A tree larger than this cannot be recorded: sizes are JSON integers.
SIZE_LIMIT = 2**53


def verify_inclusion(
    *, leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes
) -> None:
    """Return if the leaf hash stands at `index` (from 0) of the tree of that size and root."""
    if not 0 <= index < size < SIZE_LIMIT:
        raise ProofError("proof.index", index=_shown(index), size=_shown(size))
    _check_lengths(leaf, root, *proof)
    # [fn, sn]: the numbers of the node on the path and of the last node on its level.
    node, last = index, size - 1
    found = leaf
    for step in proof:
        if last == 0:
            raise ProofError("proof.length", found=len(proof))
        if node & 1 or node == last:
            found = node_hash(step, found)
            node, last = _up_to_right_child(node, last)
        else:
            found = node_hash(found, step)
        node, last = node >> 1, last >> 1
    if last != 0:
        raise ProofError("proof.length", found=len(proof))
    if found != root:
        raise ProofError("proof.root")


def verify_consistency(
    *,
    old_size: int,
    old_root: bytes,
    size: int,
    root: bytes,
    proof: Sequence[bytes],
) -> None:
    """Return if the tree of `old_size` and `old_root` is the start of the other one."""
    if not 1 <= old_size <= size < SIZE_LIMIT:
        raise ProofError("proof.sizes", old_size=_shown(old_size), size=_shown(size))
    _check_lengths(old_root, root, *proof)
    if old_size == size:
        if proof:
            raise ProofError("proof.length", found=len(proof))
        if old_root != root:
            raise ProofError("proof.root")
        return
    # A whole power of two is itself a node of the new tree, so the proof leaves it out.
    steps = list(proof) if old_size & (old_size - 1) else [old_root, *proof]
    if not steps:
        raise ProofError("proof.length", found=0)
    node, last = old_size - 1, size - 1
    while node & 1:
        node, last = node >> 1, last >> 1
    # [fr, sr]: the roots as rebuilt for the old tree and for the new one.
    old_found = found = steps[0]
    for step in steps[1:]:
        if last == 0:
            raise ProofError("proof.length", found=len(proof))
        if node & 1 or node == last:
            old_found = node_hash(step, old_found)
            found = node_hash(step, found)
            node, last = _up_to_right_child(node, last)
        else:
            found = node_hash(found, step)
        node, last = node >> 1, last >> 1
    if last != 0:
        raise ProofError("proof.length", found=len(proof))
    if old_found != old_root or found != root:
        raise ProofError("proof.root")


def _up_to_right_child(node: int, last: int) -> tuple[int, int]:
    """Skip the levels on which a node at the right edge has no sibling."""
    while node and not node & 1:
        node, last = node >> 1, last >> 1
    return node, last


def _check_lengths(*hashes: bytes) -> None:
    for found in hashes:
        if len(found) != HASH_LENGTH:
            raise ProofError("proof.hash", found=len(found), wanted=HASH_LENGTH)


def _shown(number: int) -> int:
    """Return a number that can be shown: Python refuses to print very long ones."""
    return max(-1, min(number, SIZE_LIMIT))
