"""Time stamps of exFAT.

Source: exFAT File System Specification (Microsoft, 2019), sections 7.4.8 to 7.4.10.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardprep.errors import BadValueError
from cardprep.volume.exfat_time import ExfatTime

STAMP = 0x5C4E6CB5


@pytest.mark.parametrize(
    ("zone", "shown"),
    [
        pytest.param(0x80, "2026-02-14 13:37:42 +00:00", id="UTC"),
        pytest.param(0x84, "2026-02-14 13:37:42 +01:00", id="an hour ahead"),
        pytest.param(0xEC, "2026-02-14 13:37:42 -05:00", id="five hours behind"),
        pytest.param(0xD0 | 0x80, "2026-02-14 13:37:42 -12:00", id="farthest west"),
        pytest.param(0x80 | 56, "2026-02-14 13:37:42 +14:00", id="farthest east"),
        pytest.param(0x80 | 23, "2026-02-14 13:37:42 +05:45", id="quarter hours"),
        pytest.param(0x00, "2026-02-14 13:37:42", id="no zone"),
        pytest.param(0x04, "2026-02-14 13:37:42", id="a zone that does not count"),
    ],
)
def test_zones(zone: int, shown: str) -> None:
    assert str(ExfatTime.parse_stamp(STAMP, 0, zone)) == shown


def test_hundredths() -> None:
    stamp = ExfatTime.parse_stamp(STAMP, 199, 0x80)
    assert stamp is not None
    assert (stamp.second, stamp.hundredths) == (43, 99)
    assert stamp.to_stamp() == (STAMP, 199, 0x80)


@given(st.integers(0, 2**32 - 1), st.integers(0, 255), st.integers(0, 255))
def test_any_stamp_is_a_value_or_refused(stamp: int, hundredths: int, zone: int) -> None:
    try:
        parsed = ExfatTime.parse_stamp(stamp, hundredths, zone)
    except BadValueError:
        return
    if parsed is None:
        assert stamp >> 16 == 0
    else:
        assert parsed.to_stamp() == (stamp, hundredths, zone if zone & 0x80 else 0)
