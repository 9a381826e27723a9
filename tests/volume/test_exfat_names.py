"""The up-case table and name hash of exFAT.

Source: exFAT File System Specification (Microsoft, 2019), sections 7.2 and 7.6.4;
the checksum of the recommended table is printed in 7.2.5.1. Hashes were computed
by hand from 7.6.4, that of "App.bin" was also seen on a volume that fsck.exfat accepts.
"""

from __future__ import annotations

from array import array
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import NotFatError
from cardprep.terms import MIB
from cardprep.volume.exfat_names import (
    PLAIN,
    UNITS,
    UpcaseTable,
    decoded,
    name_is_possible,
    table_checksum,
)
from tests.exfat import ExfatImage, make_exfat


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return the table that mkfs.exfat writes."""
    path: Path = tmp_path_factory.mktemp("upcase") / "volume"
    make_exfat(path, 8 * MIB)
    image = ExfatImage(path.read_bytes())
    begin = image.system_file(0x82)
    return bytes(image.data[begin : begin + 5836])


@pytest.mark.oracle
def test_the_recommended_table(stored: bytes) -> None:
    assert table_checksum(stored) == 0xE619D30D
    table = UpcaseTable.parse(stored)
    assert len(table.units) == UNITS
    assert table.has_mandatory_part
    assert table.upper("aü\u00ffß") == "AÜ\u0178ß"
    assert table.name_hash("Ümlaut.bin") == 0xC3B4
    assert UpcaseTable.parse(table.to_bytes()).units == table.units


@pytest.mark.parametrize(
    ("name", "expected"), [("a", 0x8020), ("App.bin", 0xC03A), ("firmware-image.bin", 0x14FB)]
)
def test_hashes(name: str, expected: int) -> None:
    assert PLAIN.name_hash(name) == expected
    assert PLAIN.name_hash(name.upper()) == expected


@given(st.binary(max_size=400))
@settings(max_examples=40, deadline=None)
def test_any_bytes_are_a_table_or_refused(data: bytes) -> None:
    try:
        table = UpcaseTable.parse(data)
    except NotFatError:
        return
    assert len(table.units) == UNITS
    assert UpcaseTable.parse(table.to_bytes()).units == table.units


@given(st.lists(st.tuples(st.integers(0, UNITS - 1), st.integers(0, UNITS - 2)), max_size=50))
@settings(max_examples=40, deadline=None)
def test_build_then_parse_gives_the_same_table(changes: list[tuple[int, int]]) -> None:
    units = array("H", range(UNITS))
    for at, value in changes:
        units[at] = value
    assert UpcaseTable.parse(UpcaseTable(units).to_bytes()).units == units


def test_a_table_that_is_not_compressed() -> None:
    data = PLAIN.units.tobytes()
    assert UpcaseTable.parse(data).units == PLAIN.units


@pytest.mark.parametrize("data", [b"", b"\0", b"\0" * 3, bytes(2 * UNITS + 2)])
def test_lengths_that_no_table_has(data: bytes) -> None:
    with pytest.raises(NotFatError) as refused:
        UpcaseTable.parse(data)
    assert refused.value.reason == "exfat.upcase-length"


def test_a_table_that_goes_on_behind_its_last_unit() -> None:
    with pytest.raises(NotFatError) as refused:
        UpcaseTable.parse(b"\xff\xff\xff\xff" + b"a\0" * 2)
    assert refused.value.reason == "exfat.upcase-too-long"


def test_a_table_without_its_mandatory_part() -> None:
    assert not UpcaseTable.parse(b"\0\0").has_mandatory_part
    assert PLAIN.has_mandatory_part


@given(st.binary(max_size=60).filter(lambda raw: len(raw) % 2 == 0))
def test_any_units_are_text(units: bytes) -> None:
    name = decoded(units)
    assert PLAIN.upper(PLAIN.upper(name)) == PLAIN.upper(name)
    name_is_possible(name)


@pytest.mark.parametrize(
    ("name", "possible"),
    [
        ("App.bin", True),
        ("Ümlaut 😀", True),
        ("", False),
        ("a/b", False),
        ("a:b", False),
        ("tab\t", False),
        ("nul\0", False),
        ("dot.", False),
        ("space ", False),
        ("..", False),
        ("half \ud83d", False),
    ],
)
def test_possible_names(name: str, possible: bool) -> None:
    assert name_is_possible(name) is possible
