"""Digests against published vectors, block sizes that do not matter, outside programs."""

from __future__ import annotations

import hashlib
import random
import subprocess
from pathlib import Path

import pytest
import xxhash
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep import terms
from cardprep.digests import CHUNK_SIZE, ContentDigests, FileDigests, chunk_count


def digests_of(content: bytes, *lengths: int) -> FileDigests:
    """Feed `content` in blocks of the given lengths, the rest in one."""
    digests = ContentDigests()
    at = 0
    for length in lengths:
        digests.update(content[at : at + length])
        at += length
    digests.update(memoryview(content)[at:])
    return digests.result()


def sanity_buffer(length: int) -> bytes:
    """Return the input of the xxHash sanity check."""
    generator, out = 2654435761, bytearray()
    for _ in range(length):
        out.append(generator >> 56)
        generator = generator * 11400714785074694797 % 2**64
    return bytes(out)


# Source: FIPS 180-4 and NIST CAVP SHA256ShortMsg.rsp (Len 0, 8, 64), byte-oriented.
@pytest.mark.parametrize(
    ("content", "sha256"),
    [
        pytest.param(
            b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", id="empty"
        ),
        pytest.param(
            b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", id="abc"
        ),
        pytest.param(
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
            id="56 bytes",
        ),
        pytest.param(
            b"a" * 1_000_000,
            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
            id="one million a",
        ),
        pytest.param(
            bytes.fromhex("d3"),
            "28969cdfa74a12c82f3bad960b0b000aca2ac329deea5c2328ebc6f2ba9802c1",
            id="CAVP Len 8",
        ),
        pytest.param(
            bytes.fromhex("5738c929c4f4ccb6"),
            "963bb88f27f512777aab6c8b1a02c70ec0ad651d428f870036e1917120fb48bf",
            id="CAVP Len 64",
        ),
    ],
)
def test_sha256_published(content: bytes, sha256: str) -> None:
    assert digests_of(content).sha256 == sha256
    assert digests_of(content, 1, 0, 3).sha256 == sha256
    assert digests_of(content).size == len(content)


# Source: xxHash repository, cli/xsum_sanity_check.c, commit b2e9dbb0; seed 0.
@pytest.mark.parametrize(
    ("length", "xxh3_64"),
    [
        (1, "c44bdff4074eecdb"),
        (6, "27b56a84cd2d7325"),
        (12, "a713daf0dfbb77e7"),
        (195, "cd94217ee362ec3a"),
        (2048, "dd59e2c3a5f038e0"),
        (2367, "cb37aeb9e5d361ed"),
    ],
)
def test_chunk_digest_published(length: int, xxh3_64: str) -> None:
    assert digests_of(sanity_buffer(length)).chunks == (xxh3_64,)
    assert digests_of(sanity_buffer(length), length // 2).chunks == (xxh3_64,)


# Source: xxHash repository, cli/xsum_sanity_check.c, commit b2e9dbb0; seed 0, high half first.
@pytest.mark.parametrize(
    ("length", "xxh3_128"),
    [
        (0, "99aa06d3014798d86001c324468d497f"),
        (1, "a6cd5e9392000f6ac44bdff4074eecdb"),
        (6, "082afe0b8162d12a3e7039bdda43cfc6"),
        (222, "337e09641b948717f1aebd597cec6b3a"),
        (403, "1b6de21e332dd73dcdeb804d65c6dea4"),
        (2048, "f736557fd47073a5dd59e2c3a5f038e0"),
        (2367, "e89c0f6ff369b427cb37aeb9e5d361ed"),
    ],
)
def test_xxh3_128_published(length: int, xxh3_128: str) -> None:
    assert digests_of(sanity_buffer(length)).xxh3_128 == xxh3_128
    assert digests_of(sanity_buffer(length), length // 3, 1).xxh3_128 == xxh3_128


# The first 16 bytes stand in the same source; a wrong buffer would make the tables worthless.
def test_sanity_buffer() -> None:
    assert sanity_buffer(16).hex() == "0052929bb732a3242d00af950eecb893"


@pytest.mark.parametrize(
    ("size", "count"),
    [
        pytest.param(0, 0, id="no bytes, no chunk"),
        pytest.param(1, 1, id="one byte"),
        pytest.param(65535, 1, id="one short of a chunk"),
        pytest.param(65536, 1, id="exactly one chunk"),
        pytest.param(65537, 2, id="one over a chunk"),
        pytest.param(131072, 2, id="exactly two chunks"),
    ],
)
def test_chunk_boundaries(size: int, count: int) -> None:
    content = random.Random(size).randbytes(size)
    assert chunk_count(size) == count
    assert digests_of(content).chunks == tuple(
        xxhash.xxh3_64(content[start : start + 65536]).hexdigest()
        for start in range(0, size, 65536)
    )
    assert len(digests_of(content, 65535, 1).chunks) == count


def test_chunk_is_the_same_everywhere() -> None:
    assert CHUNK_SIZE == terms.CHUNK == 65536


@settings(deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 2**32),
    size=st.integers(0, 300_000),
    cuts=st.lists(st.integers(0, 140_000), max_size=8),
)
def test_blocks_do_not_matter(seed: int, size: int, cuts: list[int]) -> None:
    content = random.Random(seed).randbytes(size)
    whole = digests_of(content)
    assert digests_of(content, *cuts) == whole
    assert whole.sha256 == hashlib.sha256(content).hexdigest()
    assert len(whole.chunks) == chunk_count(size)


def test_result_may_be_asked_for_in_between() -> None:
    content = random.Random(7).randbytes(100_000)
    digests = ContentDigests()
    digests.update(content[:70_000])
    assert digests.result() == digests_of(content[:70_000])
    digests.update(content[70_000:])
    assert digests.result() == digests_of(content)


def test_one_altered_byte_names_its_chunk() -> None:
    content = bytearray(random.Random(3).randbytes(4 * 65536))
    before = digests_of(bytes(content))
    content[2 * 65536 + 17] ^= 0xFF
    after = digests_of(bytes(content))
    assert [i for i in range(4) if before.chunks[i] != after.chunks[i]] == [2]
    assert before.sha256 != after.sha256
    assert before.xxh3_128 != after.xxh3_128


def test_memoryview_of_wider_items_counts_bytes() -> None:
    content = random.Random(5).randbytes(64)
    digests = ContentDigests()
    digests.update(memoryview(content).cast("I"))
    assert digests.result() == digests_of(content)


@pytest.mark.oracle
def test_outside_programs_agree(tmp_path: Path) -> None:
    content = random.Random(11).randbytes(200_001)
    path = tmp_path / "content"
    path.write_bytes(content)
    found = digests_of(content, 4096, 65536, 3)
    sha256sum = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True)
    assert sha256sum.stdout.split()[0] == found.sha256
    xxhsum = subprocess.run(["xxhsum", "-H2", path], capture_output=True, text=True, check=True)
    assert xxhsum.stdout.split()[0] == found.xxh3_128
    path.write_bytes(content[65536:131072])
    # `xxhsum -H3` of release 0.8.1 prints "XXH3 (name) = digest".
    chunk = subprocess.run(["xxhsum", "-H3", path], capture_output=True, text=True, check=True)
    assert found.chunks[1] in chunk.stdout
