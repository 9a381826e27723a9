"""What is on a card, as lines for a terminal: medium, volumes, files, deleted names, findings.

Nothing here says whether a card may be used.
"""

from __future__ import annotations

import shlex

from cardprep.images.report import ContainerReport
from cardprep.inspection.model import InspectedFile, Inspection
from cardprep.medium.protocol import MediumKind
from cardprep.paper.card import findings_lines, unseen_lines
from cardprep.paper.fold import folded
from cardprep.terms import size_in_words, spelled_out
from cardprep.texts.catalogue import container_problem, screen, word
from cardprep.volume.fat_entry import ARCHIVE, HIDDEN, READ_ONLY, SYSTEM
from cardprep.volume.model import VolumeFacts, shown_path

# More than this nobody reads on a terminal; --json has the rest.
SHOWN = 40
PROBLEMS_SHOWN = 3
ATTRIBUTES = {READ_ONLY: "read-only", HIDDEN: "hidden", SYSTEM: "system", ARCHIVE: "archive"}


def inspection_lines(inspection: Inspection, *, width: int, deleted: bool = False) -> list[str]:
    """Return all that was seen, with no more names than a person reads.

    width    columns of the terminal
    deleted  whether the content of deleted files was asked for
    """
    parts: list[tuple[int, str]] = [*_medium(inspection), *_volumes(inspection)]
    several = len(inspection.volumes) > 1
    parts.append((0, count_line("files", len(inspection.files))))
    for file in inspection.files[:SHOWN]:
        parts += _file(file, inspection.identity.kind, several=several)
    parts += more_line(len(inspection.files))
    parts += _folders(inspection)
    if inspection.deleted:
        # Most cards have none.
        from cardprep.paper.deleted import deleted_parts

        parts += deleted_parts(inspection, asked=deleted)
    lines = folded([" " * indent + text for indent, text in parts], width)
    if inspection.findings:
        lines += findings_lines(inspection.findings, width)
    else:
        lines += folded([screen("inspect.no-findings")], width)
    lines += unseen_lines(inspection, width)
    name = shlex.quote(spelled_out(inspection.identity.name))
    return [*lines, *folded([screen("inspect.next", target=name)], width)]


def attribute_words(attributes: int) -> list[str]:
    """Return the words for the bits of a FAT entry's attributes."""
    words = [(bit, screen(f"inspect.{name}")) for bit, name in ATTRIBUTES.items()]
    return [said for bit, said in words if attributes & bit]


def _medium(inspection: Inspection) -> list[tuple[int, str]]:
    identity = inspection.identity
    parts = [(0, screen("check.card", target=spelled_out(identity.name)))]
    kind = identity.kind.value
    if identity.size is None:
        parts.append((2, screen("inspect.kind", kind=kind)))
    else:
        parts.append((2, screen("inspect.medium", kind=kind, size=exact_size(identity.size))))
    if identity.sector_size is not None:
        parts.append((2, screen("inspect.sectors", bytes=identity.sector_size)))
    if identity.cid is not None:
        parts.append((2, screen("readers.cid", cid=spelled_out(identity.cid))))
    if identity.serial is not None:
        parts.append((2, screen("readers.serial", serial=spelled_out(identity.serial))))
    if identity.disk_sequence is not None:
        parts.append((2, screen("inspect.sequence", number=identity.disk_sequence)))
    if identity.kind is MediumKind.BLOCK_DEVICE and not inspection.past_the_cache:
        parts.append((2, screen("inspect.cache")))
    return parts


def _volumes(inspection: Inspection) -> list[tuple[int, str]]:
    parts = []
    for partition in inspection.partitions:
        where = partition.where
        line = screen(
            "inspect.partition",
            number=partition.number,
            kind=partition.kind,
            type=partition.type_text or f"{partition.partition_type:02X}",
            first=where.offset,
            last=where.offset + where.length - 1,
        )
        parts.append((0, line))
        if partition.name:
            parts.append((2, screen("inspect.partition-name", name=spelled_out(partition.name))))
    for other in () if inspection.content is None else inspection.content.foreign:
        where = other.where
        last = where.offset + where.length - 1
        line = screen("inspect.foreign", found=other.name, first=where.offset, last=last)
        parts.append((0, line))
    several = len(inspection.volumes) > 1
    for number, volume in enumerate(inspection.volumes, 1):
        if several:
            parts.append((0, screen("inspect.volume-number", number=number)))
        parts += _volume(volume)
    return parts


def _volume(volume: VolumeFacts) -> list[tuple[int, str]]:
    none = screen("words.none")
    label = spelled_out(volume.label) if volume.label else none
    serial = volume.serial or none
    where = volume.where
    head = screen("check.volume", file_system=volume.file_system, label=label, serial=serial)
    return [
        (0, head),
        (2, screen("inspect.clusters", bytes=volume.cluster_size, count=volume.clusters)),
        (
            2,
            screen("inspect.range", first=where.offset, last=where.offset + where.length - 1),
        ),
        (2, screen("inspect.free", size=size_in_words(volume.free_bytes))),
    ]


def _file(file: InspectedFile, kind: MediumKind, *, several: bool) -> list[tuple[int, str]]:
    name = file.shown
    if several:
        name = screen("inspect.in-volume", number=file.volume + 1, path=name)
    facts = [exact_size(file.size)]
    if file.modified is None:
        facts.append(screen("inspect.no-time"))
    else:
        slug = "inspect.time-utc" if kind is MediumKind.FOLDER else "inspect.time"
        facts.append(screen(slug, time=file.modified))
    # Nearly every file has the mark for archiving.
    facts += attribute_words(file.attributes & ~ARCHIVE)
    parts = [named(name), (6, ", ".join(facts))]
    if file.digests is None:
        return [*parts, (6, screen("inspect.not-read"))]
    parts.append((6, screen("inspect.sha256", sha256=file.digests.sha256)))
    return parts if file.container is None else [*parts, *container_parts(file.container)]


def container_parts(report: ContainerReport) -> list[tuple[int, str]]:
    """Return what a content is and whether its own checks hold."""
    soundness = screen(f"soundness.{report.soundness.value}")
    parts = [(6, screen("inspect.container", format=word(report.format), soundness=soundness))]
    for problem in report.problems[:PROBLEMS_SHOWN]:
        said = container_problem(problem.reason, problem.parameters)
        parts.append((8, screen("inspect.problem", problem=said)))
    more = len(report.problems) - PROBLEMS_SHOWN
    if more > 0:
        parts.append((8, screen("inspect.more", count=more)))
    return parts


def _folders(inspection: Inspection) -> list[tuple[int, str]]:
    if not inspection.folders:
        return []
    parts = [(0, count_line("folders", len(inspection.folders)))]
    parts += [named(shown_path(path) + "/") for path in inspection.folders[:SHOWN]]
    return parts + more_line(len(inspection.folders))


def named(name: str) -> tuple[int, str]:
    """Return the line with which a file begins."""
    # The mark in front keeps a name that begins with blanks from beginning a line.
    return 2, screen("inspect.named", name=name)


def exact_size(size: int) -> str:
    """Return a size in words and in bytes."""
    words = size_in_words(size)
    exact = screen("inspect.bytes", bytes=size)
    return exact if words == exact else screen("inspect.size", size=words, bytes=size)


def count_line(what: str, count: int) -> str:
    """Return the heading of a list."""
    if count == 1:
        return screen(f"inspect.one-of-{what}")
    return screen(f"inspect.{what}", count=count)


def more_line(count: int) -> list[tuple[int, str]]:
    """Return how many of a list are not shown, if any."""
    return [(2, screen("inspect.more", count=count - SHOWN))] if count > SHOWN else []
