"""Proofs: every good one holds, and whatever is done to one is refused."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import ProofError
from cardprep.shoplog.proof import SIZE_LIMIT, verify_consistency, verify_inclusion
from cardprep.shoplog.tree import (
    EMPTY_ROOT,
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    node_hash,
    root_of,
)
from cardprep.texts.catalogue import refusal

LEAVES = [leaf_hash(bytes([number])) for number in range(36)]
ROOTS = [root_of(LEAVES[:size]) for size in range(37)]
OTHER = leaf_hash(b"other")


def refused(check: Callable[..., None], **values: object) -> str:
    with pytest.raises(ProofError) as caught:
        check(**values)
    assert "(" not in refusal(caught.value).message
    return caught.value.reason


def damaged(proof: list[bytes]) -> list[list[bytes]]:
    """Return what can be done to a proof without it staying the same."""
    spoilt = [[*proof, OTHER], [OTHER, *proof], [*proof, EMPTY_ROOT], [*proof, *proof[-1:], OTHER]]
    for at in range(len(proof)):
        flipped = bytes([proof[at][0] ^ 0xFF]) + proof[at][1:]
        spoilt.append([*proof[:at], flipped, *proof[at + 1 :]])
        spoilt.append(proof[:at] + proof[at + 1 :])
        spoilt.append([*proof[:at], proof[at][:31], *proof[at + 1 :]])
    if len(proof) > 1:
        spoilt.append(proof[::-1])
    return spoilt


@pytest.mark.parametrize("size", range(1, 37))
def test_every_leaf_is_proved(size: int) -> None:
    for index in range(size):
        proof = inclusion_proof(LEAVES[:size], index)
        verify_inclusion(leaf=LEAVES[index], index=index, size=size, proof=proof, root=ROOTS[size])


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, 8, 21])
def test_a_damaged_inclusion_proof_is_refused(size: int) -> None:
    for index in range(size):
        proof = inclusion_proof(LEAVES[:size], index)
        check = partial(
            verify_inclusion,
            leaf=LEAVES[index],
            index=index,
            size=size,
            proof=proof,
            root=ROOTS[size],
        )
        check()
        for spoilt in damaged(proof):
            assert refused(check, proof=spoilt).startswith("proof.")
        assert refused(check, leaf=OTHER) == "proof.root"
        assert refused(check, root=OTHER) == "proof.root"
        assert refused(check, root=b"") == "proof.hash"
        for other in set(range(size)) - {index}:
            refused(check, index=other)


@pytest.mark.parametrize("size", [1, 2, 3, 4, 7, 8, 21])
def test_a_damaged_consistency_proof_is_refused(size: int) -> None:
    for old in range(1, size + 1):
        proof = consistency_proof(LEAVES[:size], old)
        check = partial(
            verify_consistency,
            old_size=old,
            old_root=ROOTS[old],
            size=size,
            root=ROOTS[size],
            proof=proof,
        )
        check()
        for spoilt in damaged(proof):
            assert refused(check, proof=spoilt).startswith("proof.")
        assert refused(check, old_root=OTHER) == "proof.root"
        assert refused(check, root=OTHER) == "proof.root"
        assert refused(check, old_root=b"") == "proof.hash"
        if old != size:
            refused(check, old_root=ROOTS[size], root=ROOTS[old])
            assert refused(check, proof=[]) == "proof.length"


def test_every_consistency_is_proved() -> None:
    for size in range(1, 37):
        for old in range(1, size + 1):
            proof = consistency_proof(LEAVES[:size], old)
            verify_consistency(
                old_size=old, old_root=ROOTS[old], size=size, root=ROOTS[size], proof=proof
            )


# Source: RFC 9162 sections 2.1.3.2 and 2.1.4.2 leave these open; the probes of
# transparency-dev/merkle, commit 417fb0c3, refuse them.
def test_the_three_refusals_beyond_the_rfc() -> None:
    consistency = partial(verify_consistency, old_size=0, old_root=EMPTY_ROOT, proof=[])
    assert refused(consistency, size=1, root=ROOTS[1]) == "proof.sizes"
    assert refused(consistency, size=8, root=ROOTS[8]) == "proof.sizes"
    assert refused(consistency, size=8, root=ROOTS[8], proof=[OTHER]) == "proof.sizes"
    assert refused(consistency, size=0, root=EMPTY_ROOT) == "proof.sizes"
    for wrong in (b"", bytes(31), bytes(33)):
        inclusion = partial(verify_inclusion, index=0, size=1, proof=[])
        assert refused(inclusion, leaf=wrong, root=wrong) == "proof.hash"
        found = refused(consistency, old_size=1, old_root=wrong, size=1, root=wrong)
        assert found == "proof.hash"


@pytest.mark.parametrize(
    ("index", "size"),
    [
        pytest.param(-1, 1, id="negative"),
        pytest.param(0, 0, id="no tree"),
        pytest.param(1, 1, id="at the end"),
        pytest.param(5, 3, id="beyond"),
        pytest.param(0, -1, id="negative size"),
        pytest.param(0, SIZE_LIMIT, id="size at the limit"),
        pytest.param(10**5000, 10**5001, id="5000 digits"),
    ],
)
def test_an_index_outside_the_tree_proves_nothing(index: int, size: int) -> None:
    check = partial(verify_inclusion, leaf=OTHER, proof=[], root=OTHER)
    assert refused(check, index=index, size=size) == "proof.index"


@pytest.mark.parametrize(
    ("old", "size"),
    [
        pytest.param(2, 1, id="shrunk"),
        pytest.param(-1, 1, id="negative"),
        pytest.param(1, SIZE_LIMIT, id="at the limit"),
        pytest.param(1, 10**5000, id="5000 digits"),
    ],
)
def test_sizes_that_are_none_prove_nothing(old: int, size: int) -> None:
    check = partial(verify_consistency, old_root=OTHER, root=OTHER, proof=[])
    assert refused(check, old_size=old, size=size) == "proof.sizes"


def test_a_node_does_not_pass_for_a_leaf() -> None:
    # The two leaves' hashes taken as one line: what the prefixes 0x00 and 0x01 are for.
    line = LEAVES[0] + LEAVES[1]
    assert leaf_hash(line) != node_hash(LEAVES[0], LEAVES[1]) == ROOTS[2]
    proof = inclusion_proof(LEAVES[:3], 2)
    assert proof == [ROOTS[2]]
    check = partial(verify_inclusion, index=0, size=2, proof=[LEAVES[2]], root=ROOTS[3])
    assert refused(check, leaf=leaf_hash(line)) == "proof.root"


@given(
    numbers=st.tuples(st.integers(-2, 70), st.integers(-2, 70)),
    proof=st.lists(st.sampled_from([*LEAVES[:4], *ROOTS[:9], b"", b"x"]), max_size=8),
    hashes=st.tuples(st.sampled_from(LEAVES[:4]), st.sampled_from(ROOTS[:9])),
)
@settings(deadline=None, max_examples=300)
def test_any_proof_holds_or_is_refused(
    numbers: tuple[int, int], proof: list[bytes], hashes: tuple[bytes, bytes]
) -> None:
    first, second = numbers
    one, other = hashes
    with pytest.raises(ProofError):
        verify_consistency(old_size=first, old_root=OTHER, size=second, root=other, proof=proof)
    with pytest.raises(ProofError):
        verify_inclusion(leaf=one, index=first, size=second, proof=proof, root=OTHER)
