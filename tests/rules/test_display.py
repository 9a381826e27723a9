"""A card against its display: which file systems it reads, and only where a display is known."""

from __future__ import annotations

import pytest

from cardprep.findings import Finding, Severity
from cardprep.inspection.card import inspect_card
from cardprep.manifest.model import FileSystem, PartitionTable
from cardprep.rules.context import Context
from cardprep.rules.display import file_system
from tests.cards import MemorySectors
from tests.exfat import built
from tests.manifests import display_facts, manifest_of
from tests.volumes import START, card_of, partition, table

FAT16, FAT32, EXFAT = FileSystem.FAT16, FileSystem.FAT32, FileSystem.EXFAT


def of_exfat_card(*systems: FileSystem, reader: str | None = "OV-D9") -> list[Finding]:
    """Return what is said of an exFAT card for a display that reads these."""
    data = bytes(built().data)
    entry = partition(0x07, START // 512, len(data) // 512)
    inspection = inspect_card(MemorySectors(card_of(table(entry), data)))
    display = display_facts(file_systems=systems, partition_table=PartitionTable.MBR)
    return file_system(
        Context(inspection=inspection, manifest=manifest_of(display=display), reader=reader)
    )


@pytest.mark.parametrize(
    ("systems", "reads"),
    [
        pytest.param((FAT32,), "FAT32", id="FAT32 only"),
        pytest.param((FAT32, FAT16), "FAT32, FAT16", id="both kinds of FAT"),
    ],
)
def test_exfat_in_a_display_that_reads_fat(systems: tuple[FileSystem, ...], reads: str) -> None:
    (finding,) = of_exfat_card(*systems)
    assert finding.slug == "display-file-system"
    assert finding.severity is Severity.STOP
    assert finding.parameters == {"display": "OV-D9", "found": "exFAT", "reads": reads}


def test_exfat_in_a_display_that_reads_it() -> None:
    assert of_exfat_card(EXFAT) == []
    assert of_exfat_card(FAT32, EXFAT) == []


def test_exfat_and_no_display() -> None:
    assert of_exfat_card(FAT32, reader=None) == []
