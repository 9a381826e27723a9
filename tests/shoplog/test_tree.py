"""The tree: held against published roots and against the RFC's own words as recursion."""

from __future__ import annotations

import hashlib
import random

import pytest

from cardprep.errors import ProofError
from cardprep.shoplog.tree import (
    EMPTY_ROOT,
    Frontier,
    consistency_proof,
    frontier_of,
    inclusion_proof,
    leaf_hash,
    node_hash,
    root_of,
)

# Source: transparency-dev/merkle, commit 417fb0c3, testonly/constants.go.
LEAVES = [
    b"",
    b"\x00",
    b"\x10",
    b"\x20\x21",
    b"\x30\x31",
    b"\x40\x41\x42\x43",
    b"\x50\x51\x52\x53\x54\x55\x56\x57",
    b"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f",
]
HASHES = [leaf_hash(leaf) for leaf in LEAVES]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
LEAF_HASHES = [
    ROOTS[1],
    "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
    "0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7",
    "07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7",
    "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    "4271a26be0d8a84f0bd54c8c302e7cb3a3b5d1fa6780a40bcce2873477dab658",
    "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f",
    "46f6ffadd3d06a09ff3c5860d2755c8b9819db7df44251788c7d8e3180de8eb1",
]
INNER = {
    "2-3": "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "4-5": "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
    "6-7": "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
    "4-7": "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
}


def split(size: int) -> int:
    power = 1
    while power * 2 < size:
        power *= 2
    return power


# The RFC's definitions, word for word, written a second time and not like the program.
# Source: RFC 9162 section 2.1.1.
def mth(entries: list[bytes]) -> bytes:
    if not entries:
        return hashlib.sha256().digest()
    if len(entries) == 1:
        return hashlib.sha256(b"\x00" + entries[0]).digest()
    k = split(len(entries))
    return hashlib.sha256(b"\x01" + mth(entries[:k]) + mth(entries[k:])).digest()


# Source: RFC 9162 section 2.1.3.1.
def path(m: int, entries: list[bytes]) -> list[bytes]:
    if len(entries) == 1:
        return []
    k = split(len(entries))
    if m < k:
        return [*path(m, entries[:k]), mth(entries[k:])]
    return [*path(m - k, entries[k:]), mth(entries[:k])]


# Source: RFC 9162 section 2.1.4.1.
def subproof(m: int, entries: list[bytes], b: bool) -> list[bytes]:
    if m == len(entries):
        return [] if b else [mth(entries)]
    k = split(len(entries))
    if m <= k:
        return [*subproof(m, entries[:k], b), mth(entries[k:])]
    return [*subproof(m - k, entries[k:], False), mth(entries[:k])]


def test_single_hashes() -> None:
    # Source: transparency-dev/merkle, commit 417fb0c3, rfc6962/rfc6962_test.go.
    assert leaf_hash(b"L123456").hex() == (
        "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"
    )
    assert node_hash(b"N123", b"N456").hex() == (
        "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"
    )
    assert EMPTY_ROOT.hex() == ROOTS[0]


@pytest.mark.parametrize("size", range(9))
def test_published_roots(size: int) -> None:
    assert root_of(HASHES[:size]).hex() == ROOTS[size]
    assert mth(LEAVES[:size]).hex() == ROOTS[size]


def test_published_leaf_and_inner_hashes() -> None:
    assert [found.hex() for found in HASHES] == LEAF_HASHES
    for name, expected in INNER.items():
        first, last = map(int, name.split("-"))
        assert root_of(HASHES[first : last + 1]).hex() == expected


# Source: the same published set, testonly/ and proof/.
@pytest.mark.parametrize(
    ("index", "size", "expected"),
    [
        pytest.param(0, 8, [LEAF_HASHES[1], INNER["2-3"], INNER["4-7"]], id="0 of 8"),
        pytest.param(5, 8, [LEAF_HASHES[4], INNER["6-7"], ROOTS[4]], id="5 of 8"),
        pytest.param(2, 3, [ROOTS[2]], id="2 of 3"),
        pytest.param(1, 5, [LEAF_HASHES[0], INNER["2-3"], LEAF_HASHES[4]], id="1 of 5"),
    ],
)
def test_published_inclusion_proofs(index: int, size: int, expected: list[str]) -> None:
    assert [step.hex() for step in inclusion_proof(HASHES[:size], index)] == expected


@pytest.mark.parametrize(
    ("old", "size", "expected"),
    [
        pytest.param(1, 8, [LEAF_HASHES[1], INNER["2-3"], INNER["4-7"]], id="1 to 8"),
        pytest.param(6, 8, [INNER["4-5"], INNER["6-7"], ROOTS[4]], id="6 to 8"),
        pytest.param(2, 5, [INNER["2-3"], LEAF_HASHES[4]], id="2 to 5"),
        pytest.param(6, 7, [INNER["4-5"], LEAF_HASHES[6], ROOTS[4]], id="6 to 7"),
    ],
)
def test_published_consistency_proofs(old: int, size: int, expected: list[str]) -> None:
    assert [step.hex() for step in consistency_proof(HASHES[:size], old)] == expected


# Source: RFC 6962 section 2.1.3, the tree of seven leaves d0 to d6 with its names.
def test_the_example_of_the_rfc() -> None:
    a, b, c, d, e, f, j = (leaf_hash(f"d{number}".encode()) for number in range(7))
    leaves = [a, b, c, d, e, f, j]
    g, h, i = node_hash(a, b), node_hash(c, d), node_hash(e, f)
    k, m = node_hash(g, h), node_hash(i, j)
    assert root_of(leaves) == node_hash(k, m)
    assert inclusion_proof(leaves, 0) == [b, h, m]
    assert inclusion_proof(leaves, 3) == [c, g, m]
    assert inclusion_proof(leaves, 4) == [f, j, k]
    assert inclusion_proof(leaves, 6) == [i, k]
    assert consistency_proof(leaves, 3) == [c, d, g, m]
    assert consistency_proof(leaves, 4) == [m]
    assert consistency_proof(leaves, 6) == [i, j, k]


def test_random_trees_agree_with_the_definitions() -> None:
    numbers = random.Random(9162)
    for size in [*range(1, 70), *(numbers.randrange(70, 400) for _ in range(160))]:
        entries = [numbers.randbytes(numbers.randrange(5)) for _ in range(size)]
        leaves = [leaf_hash(entry) for entry in entries]
        assert root_of(leaves) == mth(entries)
        index = numbers.randrange(size)
        assert inclusion_proof(leaves, index) == path(index, entries)
        old = numbers.randrange(1, size + 1)
        assert consistency_proof(leaves, old) == subproof(old, entries, True)


def test_the_frontier_is_small_and_goes_on() -> None:
    numbers = random.Random(6962)
    leaves = [numbers.randbytes(32) for _ in range(300)]
    frontier = Frontier()
    for size, leaf in enumerate(leaves, 1):
        frontier = frontier.append(leaf)
        assert frontier.size == size
        assert len(frontier.peaks) == size.bit_count()
    assert frontier == frontier_of(leaves)
    assert frontier.root() == root_of(leaves)
    assert Frontier(256, frontier_of(leaves[:256]).peaks).append(leaves[256]).size == 257


@pytest.mark.parametrize("index", [-1, 3, 10**6])
def test_there_is_no_proof_for_a_leaf_that_is_not_there(index: int) -> None:
    with pytest.raises(ProofError) as caught:
        inclusion_proof(HASHES[:3], index)
    assert caught.value.reason == "proof.index"


@pytest.mark.parametrize("old", [-1, 0, 4])
def test_there_is_no_proof_from_a_size_that_is_none(old: int) -> None:
    with pytest.raises(ProofError) as caught:
        consistency_proof(HASHES[:3], old)
    assert caught.value.reason == "proof.sizes"
