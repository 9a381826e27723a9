"""Find the volumes of a card: behind a partition table of either sort, or from its first sector.

Reads the first sector and whatever it leads to: partitions, the chain of
logical ones, a GUID partition table with its backup. FAT and exFAT volumes are read; other
file systems are recognised, named and not looked into, never passed over. A
table counts in sectors of the size that the medium announces; where that leads
nowhere and another size leads to volumes, that size is taken and named.

Source: UEFI Specification 2.10, section 5.2.3, "Protective MBR", and 5.3; type
bytes as `sfdisk --list-types` (util-linux) prints them.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

from cardprep.errors import NotFatError, NotPartitionTableError
from cardprep.findings import Finding
from cardprep.medium.protocol import Sectors, read
from cardprep.volume import mbr
from cardprep.volume.any_volume import Found, Volumes, about
from cardprep.volume.fat_boot import LENGTH, BootSector
from cardprep.volume.foreign import BOOT_MARKS, ForeignVolume, recognise
from cardprep.volume.gpt import GuidTable, guid_text, read_guid_table, stale_places, units
from cardprep.volume.logical import Chain, chain_unit
from cardprep.volume.model import Extent, Volume

OVERLAPS_MOST = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Partition:
    """A partition of the card.

    number          as systems count: 1 to 4, logical ones from 5, those of a GPT by their entry
    partition_type  the type byte; EE for those of a GPT
    where           the stretch of the card that it names
    kind            "primary", "extended" (holds the logical ones), "logical", "gpt", or
                    "protective" (stands for a GPT that could not be read)
    type_text       the type byte as two hexadecimal digits, or the type's GUID
    name            as stored in a GPT, not harmless
    """

    number: int
    partition_type: int
    active: bool
    where: Extent
    kind: str = "primary"
    type_text: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardContent:
    """What was found on a card, without the files' content.

    table       the partition table of the first sector as stored, or None
    partitions  those in use
    volumes     those that could be read
    findings    about the table and about all volumes
    gpt         the GUID partition table that the card goes by, or None
    foreign     volumes that were recognised and not read
    """

    table: mbr.MasterBootRecord | None
    partitions: tuple[Partition, ...]
    volumes: tuple[Volume, ...]
    findings: tuple[Finding, ...]
    gpt: GuidTable | None = None
    foreign: tuple[ForeignVolume, ...] = ()


def read_card(sectors: Sectors, *, into_deleted: bool = False) -> CardContent:
    """Find and read the volumes of a card.

    into_deleted  whether deleted folders are looked into as well

    What is wrong with the card is in the findings. Raises ReadFailedError or
    ShortReadError only if the first sector is there and cannot be read.
    """
    first = read(sectors, 0, min(LENGTH, sectors.size))
    reading = _Reading(sectors, into_deleted)
    if _is_fat(first):
        reading.take_volume(first)
    elif first[3:11] in BOOT_MARKS:
        reading.take_marked(first)
    else:
        try:
            table = mbr.MasterBootRecord.parse(first)
        except NotPartitionTableError as error:
            reading.take_nothing(first, error.reason)
        else:
            reading = _with_table(sectors, table, into_deleted)
    return reading.content()


def _is_fat(sector: bytes) -> bool:
    try:
        BootSector.parse(sector)
    except NotFatError:
        return False
    return True


def _with_table(sectors: Sectors, table: mbr.MasterBootRecord, into_deleted: bool) -> _Reading:
    """Read a card by its table, counted in the sectors that are most likely meant."""
    announced, *others = units(sectors)
    reading = _Reading(sectors, into_deleted)
    reading.take_table(table, announced)
    data = [entry for entry in table.entries if entry.is_used and not _leads_on(entry)]
    if reading.volumes.read or reading.volumes.foreign or reading.gpt or not data:
        return reading
    for unit in others:
        # A mark is weak evidence for a place that the table does not name; all must agree.
        if all(recognise(sectors, e.first_sector * unit, e.sectors * unit) for e in data):
            reading = _Reading(sectors, into_deleted)
            reading.take_table(table, unit)
            return reading
    reading.take_all_of_it()
    return reading


def _leads_on(entry: mbr.PartitionEntry) -> bool:
    return entry.is_extended or entry.partition_type == mbr.PROTECTIVE_GPT


class _Reading:
    """A card while it is read: what was found so far."""

    def __init__(self, sectors: Sectors, into_deleted: bool) -> None:
        self.table: mbr.MasterBootRecord | None = None
        self.gpt: GuidTable | None = None
        self.volumes = Volumes(sectors, into_deleted=into_deleted)
        self._sectors = sectors
        self._partitions: list[Partition] = []
        # Those about the table and about what it leads to, in the order of the table.
        self._findings = self.volumes.findings
        self._is_protected = False

    def content(self) -> CardContent:
        """Return what was found, with what concerns all of it together."""
        self._relations()
        if not self._is_protected:
            owned = [volume.facts.where for volume in self.volumes.read]
            owned += [volume.where for volume in self.volumes.foreign]
            for structure, offset in stale_places(self._sectors, owned):
                self._findings.append(Finding("gpt-stale", None, structure, {"offset": offset}))
        of_volumes = [finding for volume in self.volumes.read for finding in volume.findings]
        return CardContent(
            table=self.table,
            partitions=tuple(self._partitions),
            volumes=tuple(self.volumes.read),
            findings=(*self._findings, *of_volumes),
            gpt=self.gpt,
            foreign=tuple(self.volumes.foreign),
        )

    # --- cards without a table

    def take_volume(self, first: bytes) -> None:
        """Take a card whose volume begins in its first sector."""
        self._take_whole(first, self.volumes.at(0, self._sectors.size, 0))

    def take_marked(self, first: bytes) -> None:
        """Take a card whose first sector says that it is a volume's, and of which kind."""
        found = self.volumes.at(0, self._sectors.size, 0)
        if isinstance(found, Volume):
            self._take_whole(first, found)
            return
        if isinstance(found, Finding) and found.slug == "read-error":
            self._findings.append(found)
        self.take_nothing(first, "mbr.no-signature", found)

    def _take_whole(self, first: bytes, found: Found) -> None:
        self._findings.append(Finding("no-partition-table", None, "MBR"))
        if _is_table_too(first, self._sectors):
            self._findings.append(about("partition-table-odd", 0, what="volume-too"))
        self.volumes.keep(found, 0)
        # Larger ones than the card has are read everywhere; smaller ones are not.
        if isinstance(found, Volume) and found.facts.sector_size < self._sectors.sector_size:
            self._findings.append(about("partition-table-odd", 0, what="sector-size"))

    def take_nothing(self, first: bytes, reason: str, found: Found | None = None) -> None:
        """Take a card that holds neither a table nor a volume that is read.

        found  what begins in the first sector, if that was looked at before
        """
        foreign = found if isinstance(found, ForeignVolume) else None
        if found is None:
            foreign = recognise(self._sectors, 0, self._sectors.size)
        if foreign is not None:
            reason = foreign.reason or foreign.name
        elif len(first) == LENGTH and len(set(first)) == 1 and first[0] in (0, 0xFF):
            reason = self.volumes.filling(first[0]) or reason
        self._findings.append(Finding("no-volume", None, "MBR", {"what": reason}))
        if foreign is not None:
            self.volumes.keep_foreign(foreign, 0)

    def take_all_of_it(self) -> None:
        """Take what begins in the first sector beside a table, as on a disc made to be both."""
        foreign = recognise(self._sectors, 0, self._sectors.size)
        if foreign is not None:
            self.volumes.keep(foreign, 0)

    # --- cards with a table

    def take_table(self, table: mbr.MasterBootRecord, unit: int) -> None:
        """Take the partitions that the table names, counted in sectors of `unit` bytes."""
        self.table = table
        entries = list(enumerate(table.entries, 1))
        for number, entry in entries:
            if entry.is_odd:
                self._findings.append(about("partition-table-odd", number, what="entry"))
            if entry.is_used and not entry.status_is_defined:
                found = about("partition-status-odd", number, found=entry.status)
                self._findings.append(found)
        used = [(number, entry) for number, entry in entries if entry.is_used]
        why = "gpt"
        if any(entry.partition_type == mbr.PROTECTIVE_GPT for _, entry in used):
            why = self._take_gpt()
        if self.gpt is not None:
            used = self._hybrid(used, self.gpt)
        for number, entry in used:
            if not _leads_on(entry):
                self._take_entry(number, entry, unit, "primary")
            elif entry.is_extended:
                self._add(number, entry, "extended", unit)
            else:
                self._add(number, entry, "protective", unit)
                self._findings.append(about("volume-unreadable", number, what=why))
        self._take_chain([entry for _, entry in used if entry.is_extended], unit)

    def _take_gpt(self) -> str:
        """Take the partitions of the GUID partition table; return why there are none."""
        self._is_protected = True
        self.gpt, findings = read_guid_table(self._sectors)
        self._findings += findings
        count = 0 if self.gpt is None else len(self.gpt.entries)
        self._findings.append(about("table-not-usual", 0, what="gpt", count=count))
        if self.gpt is None:
            return "gpt-broken" if findings else "gpt-missing"
        if not self.gpt.entries:
            empty = Finding("volume-unreadable", None, "GPT", {"what": "gpt-empty"})
            self._findings.append(empty)
        for number, entry in self.gpt.entries:
            where = _stretch(entry.first_lba, entry.sectors, self.gpt.unit)
            kind = guid_text(entry.type_guid)
            partition = Partition(
                number=number,
                partition_type=mbr.PROTECTIVE_GPT,
                active=entry.is_active,
                where=where,
                kind="gpt",
                type_text=kind,
                name=entry.text,
            )
            self._partitions.append(partition)
            found = self.volumes.at(where.offset, where.length, number)
            self.volumes.keep(found, number, kind)
        return "gpt-empty"

    def _hybrid(
        self, used: list[tuple[int, mbr.PartitionEntry]], gpt: GuidTable
    ) -> list[tuple[int, mbr.PartitionEntry]]:
        """Return those entries beside a GPT that lead where it does not, and name what is odd."""
        others = []
        total = self._sectors.size // gpt.unit
        for number, entry in used:
            if entry.partition_type != mbr.PROTECTIVE_GPT:
                others.append((number, entry))
            # Of a hybrid the entry covers only what the others leave.
            elif len(used) == 1 and not _protects(entry, total):
                self._findings.append(about("partition-table-odd", number, what="protective"))
        if others:
            self._findings.append(Finding("gpt-hybrid", None, "MBR", {"count": len(others)}))
        known = {entry.first_lba for _, entry in gpt.entries}
        return [(number, entry) for number, entry in others if entry.first_sector not in known]

    def _take_chain(self, extended: list[mbr.PartitionEntry], unit: int) -> None:
        if not extended:
            return
        if len(extended) > 1:
            self._findings.append(about("partition-table-odd", 0, what="two-extended"))
        sizes = (unit, *(size for size in units(self._sectors) if size != unit))
        chain = Chain(self._sectors, chain_unit(self._sectors, extended[0], sizes))
        for entry in extended:
            chain.follow(entry)
        if chain.unit != self._sectors.sector_size:
            self._findings.append(about("partition-table-odd", 0, what="sector-size"))
        self._findings += chain.findings
        count = len(chain.partitions)
        self._findings.append(about("table-not-usual", 0, what="logical", count=count))
        for logical in chain.partitions:
            entry = replace(logical.entry, first_sector=logical.first_sector)
            self._take_entry(logical.number, entry, chain.unit, "logical")

    def _take_entry(self, number: int, entry: mbr.PartitionEntry, unit: int, kind: str) -> None:
        first, count = entry.first_sector, entry.sectors
        found, right = self.volumes.by_sector(first, count, number, unit)
        partition = self._add(number, entry, kind, right)
        self.volumes.keep(found, number, partition.type_text)
        # Of a chain it was told once that it counts in other sectors.
        if right != (unit if kind == "logical" else self._sectors.sector_size):
            self._findings.append(about("partition-table-odd", number, what="sector-size"))

    def _add(self, number: int, entry: mbr.PartitionEntry, kind: str, unit: int) -> Partition:
        partition = Partition(
            number=number,
            partition_type=entry.partition_type,
            active=entry.status == mbr.ACTIVE,
            where=_stretch(entry.first_sector, entry.sectors, unit),
            kind=kind,
            type_text=f"{entry.partition_type:02X}",
        )
        self._partitions.append(partition)
        return partition

    def _relations(self) -> None:
        """Hold the partitions against the card and against each other."""
        size = self._sectors.size
        for partition in self._partitions:
            end = partition.where.offset + partition.where.length
            # What stands for a GPT may be as long as can be written.
            if end > size and partition.kind != "protective":
                found = about("partition-beyond-card", partition.number, end=end, size=size)
                self._findings.append(found)
        count = sum(partition.kind != "extended" for partition in self._partitions)
        if count > 1:
            structure = "MBR" if self.gpt is None else "GPT"
            self._findings.append(Finding("several-partitions", None, structure, {"count": count}))
        self._findings += _overlaps(self._partitions)


def _overlaps(partitions: list[Partition]) -> list[Finding]:
    ordered = sorted(partitions, key=lambda partition: partition.where.offset)
    findings: list[Finding] = []
    more = 0
    for one, other in itertools.combinations(ordered, 2):
        if one.where.offset + one.where.length <= other.where.offset:
            continue
        if {one.kind, other.kind} == {"extended", "logical"}:
            continue
        if len(findings) < OVERLAPS_MOST:
            findings.append(about("partitions-overlap", one.number, other=other.number))
        else:
            more += 1
    if more:
        parameters: dict[str, str | int] = {"kind": "partitions-overlap", "count": more}
        findings.append(Finding("more-findings", None, "MBR", parameters))
    return findings


def _is_table_too(first: bytes, sectors: Sectors) -> bool:
    """Whether a volume's boot sector could be taken for a partition table as well.

    Then one display may show one content and another display another one. Boot
    code and messages stand where the table would be, so that only entries which
    are right in all respects count. Formatters may write an entry for the volume
    itself, from sector 0: that leads to the same content.
    """
    try:
        entries = mbr.MasterBootRecord.parse(first).entries
    except NotPartitionTableError:
        return False
    right = all(
        entry.status_is_defined
        and not entry.is_odd
        and (entry.first_sector + entry.sectors) * sectors.sector_size <= sectors.size
        for entry in entries
    )
    return right and any(entry.is_used and entry.first_sector for entry in entries)


def _stretch(first: int, count: int, unit: int) -> Extent:
    return Extent(first * unit, count * unit)


def _protects(entry: mbr.PartitionEntry, total: int) -> bool:
    """Whether an entry covers a card of so many sectors as a protective one should."""
    return entry.first_sector == 1 and entry.sectors in (total - 1, 0xFFFFFFFF)
