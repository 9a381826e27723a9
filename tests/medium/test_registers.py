"""CID and CSD: fields, capacities at the borders of the classes, CRC7."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import BadValueError
from cardprep.medium.registers import CardIdentification, CardSpecificData, crc7


# Source: worked examples of CRC7 (x^7 + x^3 + 1) as in the SD Physical Layer Simplified
# Specification, 4.5; values computed, the text itself from memory.
@pytest.mark.parametrize(
    ("command", "crc", "byte"),
    [
        pytest.param("4000000000", 0x4A, 0x95, id="CMD0"),
        pytest.param("5100000000", 0x2A, 0x55, id="CMD17"),
        pytest.param("1100000900", 0x33, 0x67, id="response to CMD17"),
        pytest.param("48000001aa", 0x43, 0x87, id="CMD8"),
    ],
)
def test_crc7(command: str, crc: int, byte: int) -> None:
    assert crc7(bytes.fromhex(command)) == crc
    assert crc << 1 | 1 == byte


# Source: a CID by hand, as an emulated card shows it (QEMU, sd_set_cid), CRC stripped.
CID = "aa585951454d552101deadbeef006200"


def test_a_cid_by_hand() -> None:
    assert CardIdentification.parse(CID) == CardIdentification(
        maker=0xAA,
        owner="XY",
        product="QEMU!",
        revision="0.1",
        serial=3735928559,
        made="2006-02",
        checksum_holds=None,
    )


@pytest.mark.parametrize(
    ("last", "holds"),
    [
        pytest.param("00", None, id="stripped by the host"),
        pytest.param("19", True, id="right"),
        pytest.param("18", False, id="last bit"),
        pytest.param("1b", False, id="another one"),
        pytest.param("ff", False, id="all bits"),
    ],
)
def test_the_checksum_of_a_cid(last: str, holds: bool | None) -> None:
    assert CardIdentification.parse(CID[:-2] + last).checksum_holds is holds


def test_every_other_byte_is_under_the_checksum() -> None:
    raw = bytes.fromhex(CID[:-2] + "19")
    for at in range(15):
        changed = raw[:at] + bytes((raw[at] ^ 0xFF,)) + raw[at + 1 :]
        assert CardIdentification.parse(changed.hex()).checksum_holds is False


def test_characters_that_cannot_be_shown_are_spelled_out() -> None:
    found = CardIdentification.parse("aa1b0051204d5f7f01deadbeef006200")
    assert (found.owner, found.product) == ("\\x1b\\x00", "Q M_\\x7f")


@pytest.mark.parametrize(
    ("word", "made"),
    [
        pytest.param("0001", "2000-01", id="first month"),
        pytest.param("01ac", "2026-12", id="a December"),
        pytest.param("0ffc", "2255-12", id="last year"),
        pytest.param("f1ac", "2026-12", id="reserved bits say nothing"),
    ],
)
def test_the_month_a_card_was_made(word: str, made: str) -> None:
    assert CardIdentification.parse(CID[:26] + word + "00").made == made


# Source: the register as an emulated card gave it, decoded capacity = size of its image; the
# CRC byte computed.
@pytest.mark.parametrize(
    ("csd", "structure", "mebibytes", "crc"),
    [
        pytest.param("002600325f59e0ffffffdfff926000", 1, 256, "3b", id="256 MiB"),
        pytest.param("002600325f59e3ffffffdfff926000", 1, 1024, None, id="1 GiB"),
        pytest.param("002600325f5ae3ffffffdfff92a000", 1, 2048, None, id="2 GiB, blocks of 1024"),
        pytest.param("400e00325b5900001fff7f800a4000", 2, 4096, "c3", id="4 GiB"),
        pytest.param("400e00325b590000ffff7f800a4000", 2, 32768, "03", id="32 GiB"),
        pytest.param("400e00325b590001ffff7f800a4000", 2, 65536, "17", id="64 GiB"),
    ],
)
def test_capacities(csd: str, structure: int, mebibytes: int, crc: str | None) -> None:
    found = CardSpecificData.parse(csd + "00")
    assert found == CardSpecificData(
        structure=structure,
        capacity=mebibytes * 1024 * 1024,
        permanently_locked=False,
        locked=False,
        checksum_holds=None,
    )
    if crc is not None:
        assert CardSpecificData.parse(csd + crc).checksum_holds is True
        assert CardSpecificData.parse(csd + "ff").checksum_holds is False


def csd_of(structure: int, c_size: int) -> str:
    return f"{structure << 126 | c_size << 48:032x}"


# Source: SD Physical Layer Simplified Specification, 5.3; Linux, drivers/mmc/core/sd.c for the
# borders of the classes.
@pytest.mark.parametrize(
    ("structure", "c_size", "capacity"),
    [
        pytest.param(1, 0x00FFFE, 34_359_214_080, id="largest SDHC"),
        pytest.param(1, 0x00FFFF, 34_359_738_368, id="smallest SDXC"),
        pytest.param(1, 0x3FFFFF, 2_199_023_255_552, id="largest SDXC"),
        pytest.param(2, 0x400000, 2_199_023_779_840, id="smallest SDUC"),
        pytest.param(2, 0xFFFFFFF, 128 * 1024**4, id="largest SDUC"),
        pytest.param(1, 0xFFC00000 & 0xFC00000, 524_288, id="bits above the field say nothing"),
    ],
)
def test_borders_of_the_classes(structure: int, c_size: int, capacity: int) -> None:
    assert CardSpecificData.parse(csd_of(structure, c_size)).capacity == capacity


@pytest.mark.parametrize(
    ("bit", "permanently", "temporarily"),
    [
        pytest.param(13, True, False, id="PERM_WRITE_PROTECT"),
        pytest.param(12, False, True, id="TMP_WRITE_PROTECT"),
        pytest.param(14, False, False, id="COPY"),
        pytest.param(11, False, False, id="FILE_FORMAT"),
    ],
)
def test_write_protection(bit: int, permanently: bool, temporarily: bool) -> None:
    found = CardSpecificData.parse(f"{1 << 126 | 1 << bit:032x}")
    assert (found.permanently_locked, found.locked) == (permanently, temporarily)


def test_a_structure_that_is_not_defined() -> None:
    with pytest.raises(BadValueError, match=r"register\.structure found=3"):
        CardSpecificData.parse("c" + "0" * 31)


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("", id="nothing"),
        pytest.param("00" * 15, id="a byte too few"),
        pytest.param("00" * 17, id="a byte too many"),
        pytest.param("0" * 31, id="half a byte"),
        pytest.param("g" * 32, id="no digits"),
        pytest.param("é" * 32, id="no ASCII"),
        pytest.param("\0" * 32, id="zeros"),
    ],
)
def test_what_is_no_register(text: str) -> None:
    for parse in (CardIdentification.parse, CardSpecificData.parse):
        with pytest.raises(BadValueError, match=r"register\.hex"):
            parse(text)


@settings(deadline=None, max_examples=300)
@given(st.one_of(st.text(max_size=40), st.binary(min_size=16, max_size=16).map(bytes.hex)))
def test_any_text_is_read_or_refused(text: str) -> None:
    for parse in (CardIdentification.parse, CardSpecificData.parse):
        try:
            parse(text)
        except BadValueError:
            continue


@given(st.binary(min_size=1, max_size=20), st.data(), st.integers(1, 255))
def test_crc7_notices_a_changed_byte(data: bytes, draw: st.DataObject, change: int) -> None:
    at = draw.draw(st.integers(0, len(data) - 1))
    changed = data[:at] + bytes((data[at] ^ change,)) + data[at + 1 :]
    # Of eight bits in a row, seven check bits miss the polynomial itself and nothing else.
    assert (crc7(changed) == crc7(data)) == (change == 0x89)
