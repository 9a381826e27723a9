"""Which of the two boot regions an exFAT volume is read by.

Judge: fsck.exfat, which goes by the backup too.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from cardprep.errors import NotFatError
from cardprep.volume.exfat_region import BootReading
from tests.cards import MemorySectors
from tests.exfat import FILES, ExfatImage, built, fsck, said, whats, whole

BACKUP = 12 * 512


def damaged(*places: int) -> ExfatImage:
    image = built()
    for at in places:
        image.data[at] ^= 0xFF
    return image


def test_the_main_region_is_damaged() -> None:
    image = damaged(200)
    volume = image.read()
    assert said(volume) == [("boot-sector-odd", None), ("backup-boot-differs", None)]
    assert volume.findings[0].structure == "boot sector"
    assert volume.findings[1].parameters == {"sector": 12}
    assert whole(image, volume) == set(FILES)


def test_the_backup_is_damaged() -> None:
    image = damaged(BACKUP + 3 * 512 + 7)
    volume = image.read()
    assert said(volume) == [("boot-sector-odd", None), ("backup-boot-differs", None)]
    assert volume.findings[0].structure == "backup boot sector"
    assert volume.findings[1].parameters == {"sector": 15}


def test_both_are_damaged_in_the_same_way() -> None:
    image = damaged(200, BACKUP + 200)
    volume = image.read()
    assert whats(volume) == ["boot-checksum", "boot-checksum"]
    assert whole(image, volume) == set(FILES)


@pytest.mark.parametrize("at", [72, 80, 84, 96])
def test_a_main_sector_that_could_be_right(at: int) -> None:
    image = built()
    image.data[at] = 0xFE
    volume = image.read()
    assert said(volume) == [("boot-sector-odd", None), ("backup-boot-differs", None)]
    assert whole(image, volume) == set(FILES)


@pytest.mark.parametrize("at", [88, 92, 108, 109, 110, 510])
def test_a_main_sector_that_cannot_be_right(at: int) -> None:
    image = built()
    image.data[at] = 0xFE
    volume = image.read()
    (finding,) = volume.findings
    assert (finding.slug, finding.parameters["sector"]) == ("boot-copy-used", 12)
    assert str(finding.parameters["reason"]).startswith("exfat.")
    assert whole(image, volume) == set(FILES)


def test_a_root_cluster_that_could_be_right_and_is_not() -> None:
    image = built()
    image.data[96] = 30
    volume = image.read()
    assert whats(volume) == ["boot-checksum", None]
    assert whole(image, volume) == set(FILES)


def test_neither_can_be_right() -> None:
    image = damaged(108, BACKUP + 108)
    with pytest.raises(NotFatError) as refused:
        image.read()
    assert refused.value.reason == "exfat.sector-size"


def test_the_marks_of_use_come_from_the_main_region() -> None:
    image = damaged(200)
    image.data[106] = 2
    assert ("volume-dirty", None) in said(image.read())


def test_a_region_that_cannot_be_read_whole() -> None:
    image = built()
    reading = BootReading(MemorySectors(image.data, bad=[(BACKUP, BACKUP + 512)]), 0)
    assert reading.run().root_cluster == 5
    (finding,) = reading.findings
    assert (finding.slug, finding.parameters) == ("read-error", {"offset": BACKUP})


@pytest.mark.oracle
def test_fsck_sees_the_same(tmp_path: Path) -> None:
    image = damaged(200)
    (tmp_path / "volume").write_bytes(image.data)
    assert "boot region" in fsck(tmp_path / "volume", status=4)
