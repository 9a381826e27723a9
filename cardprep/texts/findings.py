"""The catalogue, part two: what a finding says, why it matters, what to do.

Keyed by slug. ``{names}`` are the parameters of the finding; ``{path}`` and
``{structure}`` are always there. A sentence is written for somebody at a bench
in the evening: short, with the numbers, without blame.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FindingText:
    """What was seen, why it matters, what to do."""

    seen: str
    why: str
    remedy: str


_REWRITE = (
    "Prepare the card again from the shelf; if it happens a second time, take the card out of use."
)
_COPY_OFF = (
    "Do not use this card as it is; copy off what is worth keeping and prepare another card."
)
_RESEAT = "Reseat the card and try another reader; if it repeats, take the card out of use."
_FRESH = "Fetch the file again from where the maker gives it out, and take it in."
_FORMAT = "Prepare the card with cardprep, which lays the volume out as the display reads it."
_NONE = "Nothing needs to be done."
_GUESS = (
    "With tables that contradict each other nobody can be sure which bytes belong to which file."
)

FINDINGS: Mapping[str, FindingText] = {
    # what the files are
    "matches": FindingText(
        "{path} is the {type} {version} for {models}, byte for byte",
        "Its digest is the one in the shop's signed manifest.",
        _NONE,
    ),
    "mixed-types": FindingText(
        "the card carries {types} together: {files}",
        "A card may carry {limit} image type; with more, a display may load the wrong one first, or none.",
        "Put each image type on a card of its own and load them in the order of the plan.",
    ),
    "two-versions": FindingText(
        "the card carries {type} for {model} in versions {versions}",
        "Nobody can tell which of them the display will load.",
        "Keep one version; prepare the card again from the plan.",
    ),
    "altered": FindingText(
        "{path} has the name of the {type} {version} for {models}, but other bytes: {chunks} of {of} blocks differ, the first at byte {first} ({got} bytes, {wanted} expected)",
        "The file is not what the shop released under this name.",
        _FRESH,
    ),
    "cut-short": FindingText(
        "{path} is the {type} {version} for {models} cut short: {got} of {wanted} bytes",
        "The copy ended too early, as when a card is pulled before it is let go.",
        _REWRITE,
    ),
    "unknown-file": FindingText(
        "{path} ({size} bytes) is not in the manifest",
        "It may be newer than the shelf, or have no business here; its digest alone does not tell.",
        "If the maker released it, take it in with how it is known; else remove it from the card.",
    ),
    "no-image": FindingText(
        "none of the {files} files on the card is an image that the manifest knows",
        "There is nothing on it that could be judged.",
        "Take the maker's files in first, or check another card.",
    ),
    "renamed": FindingText(
        "{path} is the {type} {version} for {models}, but the maker's name for it is {expected}",
        "Displays find an image by its name; browsers and copies change names.",
        "Give the file its name back by preparing the card again.",
    ),
    "wrong-folder": FindingText(
        "{path} is not in {expected}, where display {display} looks for it",
        "The display does not find an image that stands elsewhere.",
        "Prepare the card again; cardprep puts each image where the display looks.",
    ),
    "withdrawn": FindingText(
        "{path}, the {type} {version} for {models}, was withdrawn: {reason}",
        "A withdrawn image is not to be loaded into any unit.",
        "Ask the maker which version takes its place.",
    ),
    "leftover": FindingText(
        "{path} was left by a computer's own system",
        "Ordinary systems write such files on every card; displays pass them over.",
        _NONE,
    ),
    "leftover-like-image": FindingText(
        "{path} was left by a computer's system and ends like the image {image}",
        "A display that looks at the end of a name may take it for the image.",
        "Prepare the card again, and do not open it on that computer afterwards.",
    ),
    "display-file": FindingText(
        "{path} is a file that the display writes on cards itself",
        "It shows that the card was in a display; that is expected on a used card.",
        _NONE,
    ),
    "container-broken": FindingText(
        "{path} is {format}, and its own checks fail: {problem}",
        "A unit would refuse it at best.",
        _FRESH,
    ),
    "container-contradicts": FindingText(
        "{path} is {format}, but the manifest says {expected}",
        "The file cannot be what its name promises.",
        _FRESH,
    ),
    "left-packed": FindingText(
        "{path} is still packed: {format}",
        "A display does not unpack; it needs the file that is inside.",
        "Take the archive in, which unpacks it, and prepare the card from the shelf.",
    ),
    # against a stage
    "stage-complete": FindingText(
        "every file of job {job}, stage {stage} of {of}, is there ({files})",
        "What this stage needs is on the card.",
        _NONE,
    ),
    "stage-file-missing": FindingText(
        "{path} of job {job}, stage {stage} of {of}, is not on the card with its bytes",
        "The stage cannot be made with this card.",
        "Look whether this is the card of another stage; else prepare it again.",
    ),
    "not-in-stage": FindingText(
        "{path} is no part of job {job}, stage {stage} of {of}",
        "An image of another stage on this card may be loaded at the wrong time.",
        "Look whether this is the card of another stage; else prepare it again.",
    ),
    "as-written": FindingText(
        "the card is byte for byte job {job}, stage {stage} of {of}",
        "Its digest is {sha256}.",
        _NONE,
    ),
    "differs-from-stage": FindingText(
        "the {structure} differs from job {job}, stage {stage} of {of}, from byte {offset} of the card on",
        "A used card changes where a display or a computer wrote on it; a fresh one does not.",
        "If the card was not in a display or a computer since it was prepared, prepare it again.",
    ),
    "content-differs-from-stage": FindingText(
        "the content of {path} differs from job {job}, stage {stage} of {of} (it begins at byte {offset})",
        "The card does not hold the image that was prepared.",
        _REWRITE,
    ),
    "stage-not-compared": FindingText(
        "the card could not be compared whole with job {job}, stage {stage} of {of}",
        "Part of it could not be read.",
        _RESEAT,
    ),
    "plan-superseded": FindingText(
        "job {job} was planned anew after this card was written as stage {stage} of {of}",
        "The newest plan has other files or another order.",
        "Look at cardprep job show {job}, and write the cards of the newest plan.",
    ),
    # what could not be looked at
    "read-error": FindingText(
        "the card cannot be read at byte {offset}",
        "What stands there is not known.",
        _RESEAT,
    ),
    "volume-unreadable": FindingText(
        "{structure} holds no volume that cardprep reads ({what})",
        "What it holds was not looked at.",
        "Read the card on the system that made it, or prepare another card.",
    ),
    "no-volume": FindingText(
        "the card holds no volume ({what})",
        "There is nothing on it that a display could read.",
        _FORMAT,
    ),
    "manifest-untrusted": FindingText(
        "there is no manifest that may be believed ({reason})",
        "Without it nothing says what a file is.",
        "Sign the manifest, or find out who changed it, and check the card again.",
    ),
    "more-findings": FindingText(
        "{count} more findings of one kind were not listed ({kind})",
        "The ones that are listed are enough to judge the card.",
        _NONE,
    ),
    "folder-only": FindingText(
        "the card was looked at through a mounted folder",
        "Partition table, both copies of the tables, marks, deleted files and capacity cannot be seen there, and the system may write on the card by itself.",
        "Check the card in a reader if more than its files matters.",
    ),
    "not-a-file": FindingText(
        "{path} is neither a file nor a folder",
        "Links and devices do not belong on a card and were not opened.",
        "Remove it, or prepare another card.",
    ),
    "read-through-cache": FindingText(
        "the card was read back through the computer's memory",
        "What was compared may be what the computer remembers and not what the card holds.",
        "Take the card out, put it in again and check it.",
    ),
    "too-many-files": FindingText(
        "there are more than {limit} entries or more than {depth} folders below each other",
        "Not all of the card was looked at.",
        _COPY_OFF,
    ),
    # the partition table
    "several-partitions": FindingText(
        "the card has {count} partitions",
        "Most displays read the first one only.",
        _FORMAT,
    ),
    "partition-beyond-card": FindingText(
        "{structure} ends at byte {end}, but the card has {size}",
        "The card was copied from a larger one, or holds less than it claims.",
        "Take the card out of use until it was proved with a full test.",
    ),
    "partitions-overlap": FindingText(
        "{structure} and partition {other} share sectors",
        _GUESS,
        _COPY_OFF,
    ),
    "partition-type-contradicts": FindingText(
        "{structure} has type {partition_type} and holds {found}",
        "A display that goes by the type does not read it.",
        _FORMAT,
    ),
    "partition-table-odd": FindingText(
        "the partition table is unusual ({structure}: {what})",
        "Some systems read other partitions from it than others do.",
        _FORMAT,
    ),
    "partition-status-odd": FindingText(
        "{structure} has status {found}, which is not defined",
        "Most systems pass it over.",
        _NONE,
    ),
    "no-partition-table": FindingText(
        "the volume begins at the first sector, without a partition table",
        "Most displays read such cards; some want a table.",
        "If the display does not read the card, prepare it with a table.",
    ),
    # the volume
    "boot-sector-odd": FindingText(
        "the boot sector is unusual ({what}: {found})",
        "Some systems refuse such a volume.",
        _FORMAT,
    ),
    "backup-boot-differs": FindingText(
        "the copy of the boot sector in sector {sector} is not like the first",
        "One of the two was changed or damaged.",
        _COPY_OFF,
    ),
    "fsinfo-odd": FindingText(
        "FSInfo cannot be right ({what}: {found})",
        "Systems use it to find free room; a wrong one can make them overwrite files.",
        _COPY_OFF,
    ),
    "free-count-odd": FindingText(
        "FSInfo counts {found} free clusters, the FAT has {counted}",
        "Systems let this count lapse when a card is pulled.",
        _NONE,
    ),
    "fat-head-odd": FindingText(
        "the first two entries of the FAT are unusual ({found})",
        "They were not written by an ordinary formatter, or are damaged.",
        _COPY_OFF,
    ),
    "fat-type-disagrees": FindingText(
        "the volume is laid out as {layout}, but {clusters} clusters make a {standard}",
        "Systems that go by the count read other tables than those that go by the layout.",
        _FORMAT,
    ),
    "fats-differ": FindingText(
        "FAT {copy} is not like the first: {bytes} bytes differ, from cluster {cluster} on",
        "A write was broken off, or the table is damaged.",
        _COPY_OFF,
    ),
    "volume-dirty": FindingText(
        "the volume was not closed properly (mark in the {structure})",
        "The card was pulled while a system still had it; files may be incomplete.",
        "Compare every file with its digest, and prepare the card again.",
    ),
    "volume-error-mark": FindingText(
        "a system marked a read or write error on the volume (mark in the {structure})",
        "The card, or a reader, failed before.",
        "Take the card out of use until it was proved with a full test.",
    ),
    "volume-beyond-partition": FindingText(
        "the volume claims {size} bytes, but has room for {room}",
        "The card was copied from a larger one, or holds less than it claims.",
        "Take the card out of use until it was proved with a full test.",
    ),
    "hidden-sectors-differ": FindingText(
        "the boot sector says that {found} sectors come before the volume; there are {expected}",
        "Hardly any system looks at this.",
        _NONE,
    ),
    "labels-differ": FindingText(
        "the volume is labelled {root} in its root folder and {boot} elsewhere",
        "A display may show either.",
        "Go by the number on the card.",
    ),
    # chains and folders
    "chain-broken": FindingText(
        "the clusters of {path} lead to {cluster}, which is {how}",
        "The rest of the file is lost or belongs to something else.",
        _COPY_OFF,
    ),
    "chain-loops": FindingText(
        "the clusters of {path} lead back to themselves at {cluster}",
        "The table is damaged, or was made to trap whoever reads it.",
        _COPY_OFF,
    ),
    "too-scattered": FindingText(
        "the clusters of {path} lie in so many pieces that it was not followed beyond {cluster}",
        "No ordinary writer scatters a file like this; its content was not looked at.",
        _COPY_OFF,
    ),
    "chain-crossed": FindingText(
        "the clusters of {path} run into another file's at {cluster}",
        _GUESS,
        _COPY_OFF,
    ),
    "chain-shared": FindingText(
        "{other} runs into the clusters of {path} at {cluster}",
        _GUESS,
        _COPY_OFF,
    ),
    "chain-too-short": FindingText(
        "{path} claims {size} bytes, but its clusters hold {room}",
        "The end of the file was never written, or is lost.",
        _COPY_OFF,
    ),
    "chain-too-long": FindingText(
        "{path} has {size} bytes and clusters for {room}",
        "Its size was changed, or a write was broken off.",
        _COPY_OFF,
    ),
    "lost-clusters": FindingText(
        "{clusters} clusters ({size} bytes) are in use and belong to no file",
        "A write was broken off, or a folder was damaged.",
        _COPY_OFF,
    ),
    "folder-damaged": FindingText(
        "a folder is not as it should be ({what})",
        "Files in it may be missing or misplaced.",
        _COPY_OFF,
    ),
    "entries-after-end": FindingText(
        "a folder goes on behind its end mark",
        "No system shows what stands there; some writers leave old bytes.",
        _NONE,
    ),
    "name-damaged": FindingText(
        "a long name does not belong to its file {short}",
        "The file is known by its short name only; the folder may be damaged.",
        _COPY_OFF,
    ),
    "name-twice": FindingText(
        "{path} stands twice in its folder",
        "Which of the two a display opens cannot be told.",
        _COPY_OFF,
    ),
    "time-odd": FindingText(
        "{path} has a time stamp that is on no calendar ({date}, {time})",
        "Times on cards are never evidence of order.",
        _NONE,
    ),
}
