"""What is on a card as one object for ``--json``: every file, place, digest and finding."""

from __future__ import annotations

from collections.abc import Iterable

from cardprep.canonical import Json
from cardprep.images.report import ContainerReport
from cardprep.inspection.model import InspectedFile, Inspection
from cardprep.medium.protocol import Identity
from cardprep.paper.inspect import attribute_words
from cardprep.paper.objects import finding_object, unseen_rows
from cardprep.terms import spelled_out
from cardprep.texts.catalogue import container_problem, word
from cardprep.volume.card import Partition
from cardprep.volume.fat_time import FatTime
from cardprep.volume.model import Extent, Volume, VolumeEntry, VolumeFacts, shown_path


def inspection_object(inspection: Inspection) -> dict[str, Json]:
    """Return everything that was seen; numbers of volumes are counted from 1."""
    volumes = () if inspection.content is None else inspection.content.volumes
    return {
        "card": _medium(inspection.identity),
        "past_the_cache": inspection.past_the_cache,
        "bytes_read": inspection.bytes_read,
        "partitions": [_partition(partition) for partition in inspection.partitions],
        "foreign": [
            {
                "name": other.name,
                "label": spelled_out(other.label),
                "identifier": spelled_out(other.identifier),
                **place_object(other.where),
            }
            for other in (() if inspection.content is None else inspection.content.foreign)
        ],
        "volumes": [_volume(number, volume.facts) for number, volume in enumerate(volumes, 1)],
        "files": _files(inspection, volumes),
        "folders": _folders(inspection, volumes),
        "deleted": deleted_rows(inspection),
        "unseen": unseen_rows(inspection),
        "findings": [finding_object(finding) for finding in inspection.findings],
    }


def deleted_rows(inspection: Inspection) -> list[Json]:
    """Return what is left of each deleted file or folder; most cards have none."""
    if not inspection.deleted:
        return []
    from cardprep.paper.deleted import deleted_objects

    return deleted_objects(inspection)


def _medium(identity: Identity) -> dict[str, Json]:
    return {
        "name": spelled_out(identity.name),
        "kind": identity.kind.value,
        "size": identity.size,
        "sector_size": identity.sector_size,
        "disk_sequence": identity.disk_sequence,
        "cid": None if identity.cid is None else spelled_out(identity.cid),
        "serial": None if identity.serial is None else spelled_out(identity.serial),
    }


def _partition(partition: Partition) -> dict[str, Json]:
    return {
        "number": partition.number,
        "kind": partition.kind,
        "type": partition.partition_type,
        "type_text": partition.type_text,
        "name": spelled_out(partition.name),
        "active": partition.active,
        **place_object(partition.where),
    }


def place_object(where: Extent) -> dict[str, Json]:
    """Return a stretch of the card."""
    return {"offset": where.offset, "length": where.length}


def _volume(number: int, facts: VolumeFacts) -> dict[str, Json]:
    return {
        "number": number,
        "file_system": facts.file_system,
        "standard_type": facts.standard_type,
        **place_object(facts.where),
        "sector_size": facts.sector_size,
        "cluster_size": facts.cluster_size,
        "clusters": facts.clusters,
        "free_bytes": facts.free_bytes,
        "serial": facts.serial,
        "label": None if facts.label is None else spelled_out(facts.label),
        "boot_label": None if facts.boot_label is None else spelled_out(facts.boot_label),
    }


def _files(inspection: Inspection, volumes: Iterable[Volume]) -> list[Json]:
    """Return all files; those of a card's sectors stand in the order of their entries."""
    if inspection.content is None:
        return [_file(file) for file in inspection.files]
    entries = [entry for volume in volumes for entry in volume.entries if not entry.is_folder]
    return [
        {
            **_file(file),
            "volume": file.volume + 1,
            "short": None if file.short is None else spelled_out(file.short),
            "attributes": words_object(file.attributes),
            "created": time_text(entry.created),
            "accessed": time_text(entry.accessed),
            "extents": [place_object(extent) for extent in file.extents],
            "is_whole": entry.is_whole,
        }
        for file, entry in zip(inspection.files, entries, strict=True)
    ]


def _file(file: InspectedFile) -> dict[str, Json]:
    return {
        "path": file.shown,
        "size": file.size,
        "modified": file.modified,
        "sha256": None if file.digests is None else file.digests.sha256,
        "xxh3_128": None if file.digests is None else file.digests.xxh3_128,
        "container": None if file.container is None else container_object(file.container),
    }


def words_object(attributes: int) -> Json:
    """Return the bits of an entry's attributes and their words."""
    return {"bits": attributes, "words": [*attribute_words(attributes)]}


def container_object(report: ContainerReport) -> dict[str, Json]:
    """Return what a content is, with all that is wrong with it."""
    return {
        "format": report.format,
        "format_in_words": word(report.format),
        "own_checks": report.soundness.value,
        "facts": dict(report.facts),
        "problems": [
            {
                "reason": problem.reason,
                "parameters": dict(problem.parameters),
                "said": container_problem(problem.reason, problem.parameters),
            }
            for problem in report.problems
        ],
    }


def _folders(inspection: Inspection, volumes: Iterable[Volume]) -> list[Json]:
    if inspection.content is None:
        return [{"path": shown_path(path)} for path in inspection.folders]
    return [
        _folder(number, entry)
        for number, volume in enumerate(volumes, 1)
        for entry in volume.entries
        if entry.is_folder
    ]


def _folder(number: int, entry: VolumeEntry) -> dict[str, Json]:
    return {
        "path": entry.shown,
        "volume": number,
        "short": spelled_out(entry.short),
        "attributes": words_object(entry.attributes),
        "created": time_text(entry.created),
        "modified": time_text(entry.modified),
    }


def time_text(time: FatTime | None) -> str | None:
    """Return a time stamp as text."""
    return None if time is None else str(time)
