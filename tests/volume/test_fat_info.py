"""FSInfo: where its fields stand, what mkfs.fat writes, refusals."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cardprep.errors import NotFatError
from cardprep.volume.fat_info import UNKNOWN, InfoSector
from tests.cards import MIB, make_volume, run

INFO = InfoSector(free_clusters=129021, next_free=2)


# Source: FAT: General Overview of On-Disk Format, v1.03, "FAT32 FSInfo Sector Structure".
@pytest.mark.parametrize(
    ("at", "value"),
    [
        pytest.param(0, 0x41615252, id="FSI_LeadSig"),
        pytest.param(484, 0x61417272, id="FSI_StrucSig"),
        pytest.param(488, 129021, id="FSI_Free_Count"),
        pytest.param(492, 2, id="FSI_Nxt_Free"),
        pytest.param(508, 0xAA550000, id="FSI_TrailSig"),
    ],
)
def test_where_the_fields_stand(at: int, value: int) -> None:
    raw = INFO.to_bytes()
    assert len(raw) == 512
    assert struct.unpack_from("<I", raw, at) == (value,)
    assert InfoSector.parse(raw) == INFO


@pytest.mark.oracle
def test_what_mkfs_fat_writes(tmp_path: Path) -> None:
    image = tmp_path / "volume"
    make_volume(image, 64 * MIB, "-F", "32", "-s", "1")
    data = image.read_bytes()
    info = InfoSector.parse(data[512:1024])
    assert info.to_bytes() == data[512:1024]
    said = run("minfo", "-i", image, "::")
    assert f"free clusters={info.free_clusters}" in said
    assert f"last allocated cluster={info.next_free}" in said
    assert info.free_clusters == 129021
    # Source: the same images: backups at sectors 6 and 7 equal to sectors 0 and 1.
    assert data[6 * 512 : 8 * 512] == data[: 2 * 512]


@pytest.mark.parametrize(
    ("raw", "reason"),
    [
        pytest.param(b"", "fat.short", id="nothing"),
        pytest.param(INFO.to_bytes()[:511], "fat.short", id="a byte too few"),
        pytest.param(bytes(512), "fat.info-signature", id="zeros"),
        *(
            pytest.param(
                INFO.to_bytes()[:at] + b"\xff" + INFO.to_bytes()[at + 1 :],
                "fat.info-signature",
                id=f"byte {at} of a signature",
            )
            for at in (0, 3, 484, 487, 508, 510)
        ),
    ],
)
def test_what_is_no_fsinfo_is_refused(raw: bytes, reason: str) -> None:
    with pytest.raises(NotFatError) as caught:
        InfoSector.parse(raw)
    assert caught.value.reason == reason


@settings(deadline=None)
@given(
    st.integers(0, UNKNOWN),
    st.integers(0, UNKNOWN),
    st.binary(min_size=480, max_size=480),
    st.binary(min_size=12, max_size=12),
)
def test_building_and_reading_gives_the_same(
    free: int, following: int, reserved: bytes, end: bytes
) -> None:
    info = InfoSector(free_clusters=free, next_free=following, reserved=reserved, reserved_end=end)
    assert InfoSector.parse(info.to_bytes()) == info


@settings(deadline=None)
@given(st.binary(max_size=600))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    try:
        info = InfoSector.parse(raw)
    except NotFatError:
        return
    assert info.to_bytes() == raw[:512]
