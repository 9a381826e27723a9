"""Time stamps: the stored words, what is on no calendar, what mtools stores."""

from __future__ import annotations

import os
import struct
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import BadValueError
from cardprep.volume.fat_time import FatTime
from tests.cards import MIB, FatImage, make_volume

# Source: FAT: General Overview of On-Disk Format, v1.03, "Date and Time Formats"; the second
# row as mtools stored it.
WORDS = [
    pytest.param(0x0021, 0x0000, FatTime(1980, 1, 1), id="first"),
    pytest.param(0x5C4E, 0x6CB5, FatTime(2026, 2, 14, 13, 37, 42), id="as mtools stored it"),
    pytest.param(0xFF9F, 0xBF7D, FatTime(2107, 12, 31, 23, 59, 58), id="last"),
    pytest.param(0x285D, 0x0000, FatTime(2000, 2, 29), id="leap day of 2000"),
]


@pytest.mark.parametrize(("date", "time", "value"), WORDS)
def test_words(date: int, time: int, value: FatTime) -> None:
    assert FatTime.parse(date, time) == value
    assert value.to_words() == (date, time, 0)


@pytest.mark.oracle
def test_words_as_mtools_stores_them(tmp_path: Path) -> None:
    image, files = tmp_path / "volume", tmp_path / "files"
    files.mkdir()
    (files / "APP.BIN").write_bytes(b"x")
    seconds = int(datetime(2026, 2, 14, 13, 37, 42, tzinfo=UTC).timestamp())
    os.utime(files / "APP.BIN", (seconds, seconds))
    make_volume(image, 2 * MIB, "-F", "12", files=files)
    volume = FatImage(image.read_bytes())
    at = volume.folder_entry("APP     BIN")
    assert struct.unpack_from("<HH", volume.data, at + 22) == (0x6CB5, 0x5C4E)


def test_nothing_stored_is_no_time() -> None:
    assert FatTime.parse(0) is None
    assert FatTime.parse(0, 0x6CB5, 100) is None


# Source: the same, DIR_CrtTimeTenth: hundredths of a second, 0 to 199.
@pytest.mark.parametrize(
    ("tenths", "second", "hundredths"),
    [
        pytest.param(0, 42, 0, id="none"),
        pytest.param(99, 42, 99, id="below a second"),
        pytest.param(100, 43, 0, id="odd second"),
        pytest.param(199, 43, 99, id="most"),
    ],
)
def test_the_finer_part_of_a_creation_stamp(tenths: int, second: int, hundredths: int) -> None:
    stamp = FatTime.parse(0x5C4E, 0x6CB5, tenths)
    assert stamp == FatTime(2026, 2, 14, 13, 37, second, hundredths)
    assert stamp.to_words() == (0x5C4E, 0x6CB5, tenths)


def words(year: int, month: int, day: int) -> int:
    return (year - 1980) << 9 | month << 5 | day


@pytest.mark.parametrize(
    ("date", "time", "tenths"),
    [
        pytest.param(words(2026, 0, 1), 0, 0, id="month 0"),
        pytest.param(words(2026, 13, 1), 0, 0, id="month 13"),
        pytest.param(words(2026, 1, 0), 0, 0, id="day 0"),
        pytest.param(words(2026, 4, 31), 0, 0, id="31 April"),
        pytest.param(words(2026, 2, 29), 0, 0, id="29 February in a common year"),
        pytest.param(words(2100, 2, 29), 0, 0, id="29 February 2100"),
        pytest.param(words(2026, 1, 1), 24 << 11, 0, id="hour 24"),
        pytest.param(words(2026, 1, 1), 60 << 5, 0, id="minute 60"),
        pytest.param(words(2026, 1, 1), 30, 0, id="second 60"),
        pytest.param(words(2026, 1, 1), 0, 200, id="two whole seconds in the finer part"),
        pytest.param(words(2026, 1, 1), 0, 255, id="all bits of the finer part"),
    ],
)
def test_what_is_on_no_calendar_is_refused(date: int, time: int, tenths: int) -> None:
    with pytest.raises(BadValueError) as caught:
        FatTime.parse(date, time, tenths)
    assert caught.value.reason == "fat.time"


@pytest.mark.parametrize(
    "numbers",
    [
        pytest.param((1979, 12, 31), id="before 1980"),
        pytest.param((2108, 1, 1), id="after 2107"),
        pytest.param((2026, 1, 1, -1), id="hour before midnight"),
        pytest.param((2026, 1, 1, 0, 0, 60), id="leap second"),
        pytest.param((2026, 1, 1, 0, 0, 0, 100), id="a hundred hundredths"),
    ],
)
def test_what_cannot_be_stored_is_refused(numbers: tuple[int, ...]) -> None:
    with pytest.raises(BadValueError):
        FatTime(*numbers)


def test_it_is_shown_as_a_date_and_a_time() -> None:
    assert str(FatTime(2026, 2, 14, 3, 7, 2)) == "2026-02-14 03:07:02"


def test_later_is_greater() -> None:
    assert FatTime(2026, 2, 14) < FatTime(2026, 2, 14, 0, 0, 1) < FatTime(2026, 3, 1)


@settings(deadline=None, max_examples=300)
@given(st.integers(0, 0xFFFF), st.integers(0, 0xFFFF), st.integers(0, 255))
def test_any_words_are_a_time_or_refused(date: int, time: int, tenths: int) -> None:
    try:
        stamp = FatTime.parse(date, time, tenths)
    except BadValueError:
        return
    if stamp is None:
        assert date == 0
    else:
        assert stamp.to_words() == (date, time, tenths)


@settings(deadline=None)
@given(st.datetimes(datetime(1980, 1, 1), datetime(2107, 12, 31, 23, 59, 59)))  # noqa: DTZ001
def test_building_and_reading_gives_the_same(when: datetime) -> None:
    stamp = FatTime(when.year, when.month, when.day, when.hour, when.minute, when.second, 7)
    assert FatTime.parse(*stamp.to_words()) == stamp
