"""Rules about a card and the display that is to read it; without a display they say nothing."""

from __future__ import annotations

from cardprep.findings import Finding
from cardprep.manifest.model import FileSystem, PartitionTable
from cardprep.rules.context import Context
from cardprep.terms import largest_with_room, size_as_printed

_SYSTEMS = {"FAT16": FileSystem.FAT16, "FAT32": FileSystem.FAT32, "exFAT": FileSystem.EXFAT}
_NAMES = {system: name for name, system in _SYSTEMS.items()}


def card_size(context: Context) -> list[Finding]:
    """Return a finding if a card is larger than the display takes."""
    display, size = context.display, context.inspection.identity.size
    if display is None or display.largest_card is None or size is None:
        return []
    if size <= largest_with_room(display.largest_card):
        return []
    parameters = {
        "display": display.model,
        "size": size_as_printed(size),
        "most": size_as_printed(display.largest_card),
    }
    return [Finding("card-too-large", None, "card", parameters)]


def file_system(context: Context) -> list[Finding]:
    """Return findings if the display does not read the card's file system or division."""
    display, inspection = context.display, context.inspection
    if display is None or not inspection.volumes:
        return []
    findings = []
    # A display reads the first volume of a card.
    found = inspection.volumes[0].file_system
    system = _SYSTEMS.get(found)
    reads = ", ".join(_NAMES[known] for known in display.file_systems)
    if system not in display.file_systems:
        parameters = {"display": display.model, "found": found, "reads": reads}
        findings.append(Finding("display-file-system", None, "boot sector", parameters))
    content = inspection.content
    divided = (
        content is not None
        and content.gpt is None
        and any(partition.kind == "primary" for partition in content.partitions)
    )
    if divided is not (display.partition_table is PartitionTable.MBR):
        parameters = {
            "display": display.model,
            "how": "with-table" if divided else "without-table",
            "wants": "without-table" if divided else "with-table",
        }
        findings.append(Finding("display-partition-table", None, "partition table", parameters))
    return findings
