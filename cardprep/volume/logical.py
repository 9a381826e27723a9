"""Follow the chain of extended boot records that leads to a card's logical partitions.

An *extended* partition holds no volume but a chain: each *extended boot record*
(EBR) has the form of a partition table and names one logical partition, counted
from its own sector, and the next record, counted from the start of the extended
partition. Every record is read once, links are counted, and a chain that breaks
off is a finding, since what would have come behind was not looked at.

Source: Linux, block/partitions/msdos.c, `parse_extended`, for the two starting
points of counting; `sfdisk` (util-linux) for the order of the entries.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from cardprep.errors import ReadFailedError, ShortReadError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume.mbr import ENTRIES_AT, LENGTH, SIGNATURE, PartitionEntry

# Logical partitions are numbered from 5, whatever the table's own four entries hold.
FIRST_NUMBER = 5
# More than any system numbers; a chain that goes on is cut off here, and that is told.
RECORDS_MOST = 128

_Four = tuple[PartitionEntry, PartitionEntry, PartitionEntry, PartitionEntry]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtendedBootRecord:
    """One record of the chain, as stored.

    boot_code  446 bytes, as a rule zero
    entries    four: the partition, the link, and two that stay empty
    """

    boot_code: bytes = bytes(ENTRIES_AT)
    entries: _Four

    @classmethod
    def parse(cls, sector: bytes) -> ExtendedBootRecord | None:
        """Read the first 512 bytes of a sector; None where they do not end with 55 AA."""
        if len(sector) < LENGTH or sector[510:LENGTH] != SIGNATURE:
            return None
        a, b, c, d = (
            PartitionEntry.parse(sector[at : at + 16]) for at in range(ENTRIES_AT, 510, 16)
        )
        return cls(boot_code=sector[:ENTRIES_AT], entries=(a, b, c, d))

    def to_bytes(self) -> bytes:
        """Return the 512 bytes."""
        return self.boot_code + b"".join(entry.to_bytes() for entry in self.entries) + SIGNATURE

    @property
    def partitions(self) -> tuple[PartitionEntry, ...]:
        """Entries that name a logical partition; one, where all is as usual."""
        return tuple(entry for entry in self.entries if entry.is_used and not entry.is_extended)

    @property
    def links(self) -> tuple[PartitionEntry, ...]:
        """Entries that name the next record; one, or none at the end of the chain."""
        return tuple(entry for entry in self.entries if entry.is_used and entry.is_extended)

    @property
    def is_usual(self) -> bool:
        """Whether the partition stands in the first entry, the link in the second, and no more."""
        first, second, *rest = self.entries
        return (
            not first.is_extended
            and (second.is_extended or not second.is_used)
            and not any(entry.is_used for entry in rest)
            and not any(entry.is_odd for entry in self.entries)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LogicalPartition:
    """A logical partition with its place counted from the start of the card.

    number        from 5, in the order of the chain
    first_sector  LBA
    """

    number: int
    first_sector: int
    entry: PartitionEntry


@dataclass(slots=True)
class Chain:
    """What the extended partitions of a card lead to, gathered while they are followed.

    unit  bytes per LBA
    """

    sectors: Sectors
    unit: int
    partitions: list[LogicalPartition] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    seen: set[int] = field(default_factory=set)

    def follow(self, extended: PartitionEntry) -> None:
        """Follow one extended partition from its first record to the end of its chain."""
        start, end = extended.first_sector, extended.first_sector + extended.sectors
        at = start
        while True:
            record = self._record(at, start, end)
            if record is None:
                return
            if not record.is_usual:
                name = self._name
                self.findings.append(
                    Finding("partition-table-odd", None, name, {"what": "ebr-entries"})
                )
            for entry in record.partitions:
                self._take(entry, at, start, end)
            if not record.links:
                return
            at = start + record.links[0].first_sector

    @property
    def _name(self) -> str:
        return f"EBR {len(self.seen)}"

    def _record(self, at: int, start: int, end: int) -> ExtendedBootRecord | None:
        """Return the record in a sector, or None with a finding that says why there is none."""
        why = None
        if at in self.seen:
            why = "ebr-loop"
        elif not start <= at < end:
            why = "ebr-outside"
        elif len(self.seen) >= RECORDS_MOST:
            why = "ebr-too-many"
        if why is not None:
            self._broken(why, at)
            return None
        self.seen.add(at)
        try:
            raw = read(self.sectors, at * self.unit, LENGTH)
        except (ReadFailedError, ShortReadError):
            offset = at * self.unit
            self.findings.append(Finding("read-error", None, self._name, {"offset": offset}))
            return None
        record = ExtendedBootRecord.parse(raw)
        if record is None:
            self._broken("ebr-no-signature", at)
        return record

    def _broken(self, what: str, at: int) -> None:
        self.findings.append(
            Finding("logical-chain-broken", None, self._name, {"what": what, "sector": at})
        )

    def _take(self, entry: PartitionEntry, at: int, start: int, end: int) -> None:
        first = at + entry.first_sector
        number = FIRST_NUMBER + len(self.partitions)
        self.partitions.append(LogicalPartition(number=number, first_sector=first, entry=entry))
        # A partition over its own record, or outside the extended one, is not for sure one.
        if entry.first_sector == 0 or not start <= first <= first + entry.sectors <= end:
            name = f"partition {number}"
            self.findings.append(
                Finding("partition-table-odd", None, name, {"what": "logical-outside"})
            )


def chain_unit(sectors: Sectors, extended: PartitionEntry, units: Sequence[int]) -> int:
    """Return the bytes per LBA with which an extended partition leads to a record.

    The first of `units` where none does.
    """
    for unit in units:
        try:
            raw = read(sectors, extended.first_sector * unit, LENGTH)
        except (ReadFailedError, ShortReadError):
            continue
        record = ExtendedBootRecord.parse(raw)
        if record is not None and record.is_usual:
            return unit
    return units[0]
