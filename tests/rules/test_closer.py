"""What the shelf's copy tells of an altered file: the very bytes, the cause, and steadiness."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.findings import Finding
from cardprep.rules import closer, content
from cardprep.rules.judge import judge
from cardprep.terms import CHUNK
from tests.rules.looked_at import APP, OLD, context, flipped, looked_at
from tests.rules.second import twice

SIZE = len(APP)


def altered(data: bytes) -> Finding:
    (finding,) = content.altered(twice("APP_430.BIN", data))
    return finding


def bit(data: bytes, at: int, number: int = 3) -> bytes:
    return data[:at] + bytes((data[at] ^ 1 << number,)) + data[at + 1 :]


def filled(start: int, end: int, filling: bytes) -> bytes:
    return APP[:start] + filling * (end - start) + APP[end:]


def edges(start: int, end: int, filling: int) -> tuple[int, int]:
    """Return the first and last byte that such a filling really changes."""
    changed = [at for at in range(start, end) if APP[at] != filling]
    return changed[0], changed[-1]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param(flipped(APP, 0), ("altered-part", "where-byte", 0, 0), id="first byte"),
        pytest.param(
            flipped(flipped(APP, 70), CHUNK + 9),
            ("altered-part", "where-bytes", 70, CHUNK + 9),
            id="two blocks",
        ),
        pytest.param(
            flipped(flipped(flipped(APP, 5), CHUNK), SIZE - 1),
            ("altered-part", "where-bytes", 5, SIZE - 1),
            id="from the first block to the last",
        ),
        pytest.param(bit(APP, 77), ("altered-bit", "where-byte", 77, 77), id="one bit"),
        pytest.param(
            bit(bit(APP, 77), SIZE - 3, 7),
            ("altered-bits", "where-bytes", 77, SIZE - 3),
            id="a bit in each of two blocks",
        ),
        pytest.param(
            bit(bit(APP, 77), 77, 6),
            ("altered-part", "where-byte", 77, 77),
            id="two bits of a byte",
        ),
        pytest.param(
            bit(bit(bit(APP, 0), CHUNK), 2 * CHUNK),
            ("altered-part", "where-bytes", 0, 2 * CHUNK),
            id="of three blocks one was not looked at",
        ),
        pytest.param(
            filled(512, 1024, b"\0"),
            ("altered-stretch", "where-bytes", *edges(512, 1024, 0)),
            id="a sector of zeros",
        ),
        pytest.param(
            filled(4096, 2 * CHUNK + 4096, b"\xff"),
            ("altered-stretch", "where-bytes", *edges(4096, 2 * CHUNK + 4096, 0xFF)),
            id="FF over three blocks",
        ),
        pytest.param(
            filled(4096, CHUNK, b"\0")[: 2 * CHUNK]
            + filled(2 * CHUNK, 2 * CHUNK + 50, b"\0")[2 * CHUNK :],
            (
                "altered-part",
                "where-bytes",
                edges(4096, CHUNK, 0)[0],
                edges(2 * CHUNK, 2 * CHUNK + 50, 0)[1],
            ),
            id="two stretches with data between",
        ),
        pytest.param(
            filled(CHUNK + 9, SIZE, b"\0"),
            ("altered-filled", "where-bytes", *edges(CHUNK + 9, SIZE, 0)),
            id="a copy that broke off",
        ),
        pytest.param(APP + b"x", ("altered-longer", "where-byte", SIZE, SIZE), id="one byte more"),
        pytest.param(
            APP + OLD, ("altered-longer", "where-bytes", SIZE, SIZE + len(OLD) - 1), id="two joined"
        ),
    ],
)
def test_which_bytes_and_how(data: bytes, expected: tuple[object, ...]) -> None:
    finding = altered(data)
    assert finding.slug == "altered"
    keys = ("how", "where", "first", "last")
    assert tuple(finding.parameters.get(key) for key in keys) == expected


@pytest.mark.parametrize("size", [1, 9, CHUNK + 1, 2 * CHUNK - 1, SIZE - 1])
def test_a_beginning_is_proved_to_its_last_byte(size: int) -> None:
    assert altered(APP[:size]).slug == "cut-short"
    finding = altered(flipped(APP[:size], size - 1))
    assert (finding.slug, finding.parameters["first"]) == ("altered", size - 1)


@settings(deadline=None, max_examples=60)
@given(st.integers(0, SIZE - 1), st.integers(0, SIZE - 1))
def test_any_two_bytes_are_the_first_and_the_last(one: int, other: int) -> None:
    if one == other:
        return
    finding = altered(flipped(flipped(APP, one), other))
    assert finding.parameters["first"] == min(one, other)
    assert finding.parameters["last"] == max(one, other)


@settings(deadline=None, max_examples=100)
@given(st.binary(max_size=40), st.integers(0, SIZE), st.integers(0, SIZE))
def test_any_content_is_told_without_a_fault(middle: bytes, start: int, end: int) -> None:
    data = APP[:start] + middle + APP[end:]
    findings = judge(twice("APP_430.BIN", data)).findings
    assert any(f.slug in {"altered", "cut-short"} for f in findings) == (data != APP)


# --- read twice

ALL_OTHER = flipped(APP, 9)


@pytest.mark.parametrize(
    ("second", "how"),
    [
        pytest.param(APP[:CHUNK], "again-other", id="right the second time"),
        pytest.param(OLD[:CHUNK], "again-other", id="wrong in another way"),
        pytest.param(b"", "again-other", id="nothing"),
        pytest.param(None, "again-not", id="not readable"),
    ],
)
def test_a_card_that_gives_other_bytes_each_time(second: bytes | None, how: str) -> None:
    made = twice("APP_430.BIN", ALL_OTHER, second=second)
    (finding,) = closer.unsteady(made)
    assert finding.parameters == {"how": how, "first": 0}
    told = [finding.slug for finding in judge(made).findings]
    # It stops the card, and what the first reading showed is no longer said.
    assert told[0] == "reads-differently"
    assert "altered" not in told


def test_a_card_that_gives_the_same_is_steady() -> None:
    assert closer.unsteady(twice("APP_430.BIN", ALL_OTHER)) == []


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(APP, id="the image"),
        pytest.param(OLD[1:], id="nothing is the same"),
        pytest.param(b"", id="empty"),
        pytest.param(APP[: 2 * CHUNK], id="cut at a block"),
        pytest.param(None, id="what could not be read"),
    ],
)
def test_what_is_not_read_again(data: bytes | None) -> None:
    assert list(closer.to_read_twice(context(looked_at("APP_430.BIN", data)))) == []


def test_only_some_files_of_a_card_are_read_again() -> None:
    files = [looked_at(f"{number}/APP_430.BIN", ALL_OTHER) for number in range(40)]
    assert len(list(closer.to_read_twice(context(*files)))) == closer.FILES_LIMIT


def test_two_blocks_at_most() -> None:
    data = bytes(byte ^ 1 for byte in APP[: 2 * CHUNK]) + flipped(APP, SIZE - 1)[2 * CHUNK :]
    ((_, _, numbers),) = closer.to_read_twice(context(looked_at("APP_430.BIN", data)))
    assert numbers == (0, 3)
