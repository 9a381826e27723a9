"""The catalogue, part two: what a finding says, why it matters, what to do.

Keyed by slug. ``{names}`` are the parameters of the finding; ``{path}`` and
``{structure}`` are always there. A sentence is written for somebody at a bench
in the evening: short, with the numbers, without blame.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.exfat import EXFAT_FINDINGS
from cardprep.texts.finding_text import FindingText
from cardprep.texts.findings_card import CARD
from cardprep.texts.findings_deleted import DELETED
from cardprep.texts.findings_files import FILES
from cardprep.texts.findings_visit import VISIT

_REWRITE = (
    "Prepare the card again from the shelf; if it happens a second time, take the card out of use."
)
_COPY_OFF = (
    "Do not use this card as it is; copy off what is worth keeping and prepare another card."
)
_CARE = "Prepare another card; use this one only if there is no other and its files match."
_RESEAT = "Reseat the card and try another reader; if it repeats, take the card out of use."
_FRESH = "Fetch the file again from where the maker gives it out, and take it in."
_FORMAT = "Prepare the card with cardprep, which lays the volume out as the display reads it."
_NONE = "Nothing needs to be done."
_GUESS = (
    "With tables that contradict each other nobody can be sure which bytes belong to which file."
)

FINDINGS: Mapping[str, FindingText] = {
    **CARD,
    **DELETED,
    **FILES,
    **EXFAT_FINDINGS,
    **VISIT,
    # what the files are
    "matches": FindingText(
        "{path} is the {type} {version} for {models}, byte for byte",
        "Its digest is the one in the shop's signed manifest.",
        _NONE,
    ),
    "mixed-types": FindingText(
        "the card carries several image types ({types}): {files}",
        "A card may carry {limit}; with more, a display may load the wrong one first, or none.",
        "Put each image type on a card of its own, and load them in the order of the plan.",
    ),
    "two-versions": FindingText(
        "the card carries the {type} for {model} in several versions: {versions}",
        "Nobody can tell which of them the display will load.",
        "Keep one version; prepare the card again from the plan.",
    ),
    "unknown-file": FindingText(
        "{path} ({size} bytes) is not in the manifest",
        "It may be newer than the shop's list, or have no business on this card; nothing here tells which.",
        "If the maker released it, take it in; else remove it from the card.",
    ),
    "no-image": FindingText(
        "no file on the card is an image that the manifest knows (files looked at: {files})",
        "There is nothing on it that could be called right.",
        "Take the maker's files in first, or check another card.",
    ),
    "renamed": FindingText(
        "{path} is the {type} {version} for {models}, but the maker names it {expected}",
        "Displays find an image by its name, and browsers and copies change names.",
        "Prepare the card again; that gives the file its name back.",
    ),
    "short-name-of-image": FindingText(
        "{path} has the short name {short}, which is the name of the {type} {version} for {models}",
        "A display that reads short names only takes it for that image.",
        _REWRITE,
    ),
    "short-name-differs": FindingText(
        "{path} is the {type} {version} for {models}, but its short name on the card is {short}",
        "A display that reads short names only does not find it.",
        _REWRITE,
    ),
    "wrong-folder": FindingText(
        "{path} is not in {folder}, where display {display} looks for it",
        "The display does not find an image that stands elsewhere.",
        "Prepare the card again; that puts each image where the display looks.",
    ),
    "withdrawn": FindingText(
        "{path} is the {type} {version} for {models}, which was withdrawn: {given}",
        "A withdrawn image is not to be loaded into any unit.",
        "Ask the maker which version takes its place.",
    ),
    "leftover": FindingText(
        "{path} was left by a computer's own system",
        "Systems write such files on every card; displays pass them over.",
        _NONE,
    ),
    "leftover-image": FindingText(
        "{path} is the {type} {version} for {models}, in a folder that a computer's system keeps",
        "It was deleted or repaired there; a display that looks into every folder may still find it.",
        "Prepare the card again; emptying the waste basket is the least.",
    ),
    "leftover-like-image": FindingText(
        "{path} is a companion file left by a computer, and its name ends as an image's does",
        "A display that goes by the end of a name may take it for an image.",
        "Prepare the card again, and do not open it on that computer afterwards.",
    ),
    "display-file": FindingText(
        "{path} is a file that display {display} writes on cards itself",
        "It shows that the card was in a display, as a used card was.",
        _NONE,
    ),
    "container-broken": FindingText(
        "{path} is {format}, and its own checks fail: {problem}",
        "At best a unit refuses it.",
        _FRESH,
    ),
    "container-contradicts": FindingText(
        "{path} is {format}, but the manifest says {promised}",
        "The file cannot be what its name promises.",
        _FRESH,
    ),
    "left-packed": FindingText(
        "{path} is still packed: {format}",
        "A display does not unpack; it needs the file inside.",
        "Unpack it on a computer, take in the image inside, and prepare the card from the shelf.",
    ),
    # against a stage
    "stage-complete": FindingText(
        "all that job {job}, stage {stage} of {of}, needs is on the card (files: {files})",
        "Each file has the digest that the plan names.",
        _NONE,
    ),
    "stage-file-missing": FindingText(
        "{path} of job {job}, stage {stage} of {of}, is not on the card, or not with its bytes",
        "The stage cannot be done with this card.",
        "Look whether this is the card of another stage; else prepare it again.",
    ),
    "not-in-stage": FindingText(
        "{path} does not belong to job {job}, stage {stage} of {of}",
        "An image of another stage may be loaded at the wrong time.",
        "Look whether this is the card of another stage; else prepare it again.",
    ),
    "as-written": FindingText(
        "the card is as it was written for job {job}, stage {stage} of {of}, in all {length} bytes of it",
        "Their digest is {sha256}; what a card has behind them was never written and was not compared.",
        _NONE,
    ),
    "differs-from-stage": FindingText(
        "{structure}: not as it was written for job {job}, stage {stage} of {of}, from byte {offset} of the card on",
        "A display or a computer that wrote on the card changes it; otherwise it stays as it was.",
        "If the card was in neither since it was prepared, prepare it again.",
    ),
    "content-differs-from-stage": FindingText(
        "the content of {path} is not that of job {job}, stage {stage} of {of} (it begins at byte {offset} of the card)",
        "The card does not hold the image that was prepared.",
        _REWRITE,
    ),
    "read-back-differs": FindingText(
        "{structure}: read back otherwise than it was written, from byte {offset} of the card on",
        "Nothing may change between writing and reading back; the card or the reader fails.",
        _REWRITE,
    ),
    "stage-not-compared": FindingText(
        "the card could not be compared whole with job {job}, stage {stage} of {of}",
        "Part of it could not be read.",
        _RESEAT,
    ),
    "plan-superseded": FindingText(
        "job {job} was changed or planned again after this card was written as stage {stage} of {of}",
        "What is planned now has other files, another order or another display.",
        "Plan it with cardprep job plan {job} if it was changed, and write the cards of that plan.",
    ),
    # what could not be looked at
    "read-error": FindingText(
        "byte {offset} of the card cannot be read ({structure}, {path})",
        "What stands there is not known.",
        _RESEAT,
    ),
    "volume-unreadable": FindingText(
        "{structure} holds no volume that cardprep reads ({what})",
        "What it holds was not looked at.",
        "Read the card on the system that made it, or prepare another card.",
    ),
    "no-volume": FindingText(
        "the card holds no volume that cardprep reads ({what})",
        "Nothing on it was looked at.",
        "Prepare another card, or this one if nothing on it is wanted.",
    ),
    "manifest-untrusted": FindingText(
        "there is no manifest that may be trusted ({reason})",
        "Without it nothing says what a file is.",
        "If you changed it yourself, look it over and sign it; if not, sign nothing and find out who did.",
    ),
    "more-findings": FindingText(
        "{count} more findings of one kind are not listed ({kind})",
        "The ones that are listed are enough to judge the card.",
        _NONE,
    ),
    "folder-only": FindingText(
        "the card was looked at as a mounted folder, so its files were seen and nothing else",
        "What cannot be seen there is listed below, and the system may write on the card by itself.",
        "Check the card in a reader if more than its files matters.",
    ),
    "name-not-opened": FindingText(
        "{path} was not opened: by that name this system reads another file, or a device",
        "What is in it is not known.",
        "Check the card in a reader and not as a folder, or on another system.",
    ),
    "not-a-file": FindingText(
        "{path} is neither a file nor a folder",
        "Links and devices do not belong on a card; it was not opened.",
        "Remove it, or prepare another card.",
    ),
    "read-through-cache": FindingText(
        "the card was read back through the computer's memory",
        "What was compared may be what the computer remembers and not what the card holds.",
        "Take the card out, put it in again and check it.",
    ),
    "too-many-files": FindingText(
        "there are more than {limit} files and folders, or more than {depth} folders below each other",
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
        "Take the card out of use until a full test has proved it.",
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
        "If the display does not read the card, prepare it with cardprep.",
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
        _CARE,
    ),
    "fsinfo-odd": FindingText(
        "FSInfo cannot be right ({what}: {found})",
        "Systems use it to find free room; a wrong one can make them overwrite files.",
        _CARE,
    ),
    "free-count-odd": FindingText(
        "FSInfo counts {found} free clusters, the FAT has {counted}",
        "Systems let this count lapse when a card is pulled.",
        _NONE,
    ),
    "fat-head-odd": FindingText(
        "the first two entries of the FAT are unusual ({found})",
        "They were not written by an ordinary formatter, or are damaged.",
        _CARE,
    ),
    "fat-type-disagrees": FindingText(
        "the volume is laid out as {layout}, but {clusters} clusters make a {standard}",
        "Systems that go by the count read other tables than those that go by the layout.",
        _FORMAT,
    ),
    "fats-differ": FindingText(
        "FAT {copy} is not like the first (bytes that differ: {bytes}, from cluster {cluster} on)",
        "A write was broken off, or the table is damaged.",
        _CARE,
    ),
    "volume-dirty": FindingText(
        "the volume was not closed properly (mark in the {structure})",
        "The card was pulled while a system still had it; files may be incomplete.",
        "Prepare the card again, or rely only on files that match.",
    ),
    "volume-error-mark": FindingText(
        "a system marked a read or write error on the volume (mark in the {structure})",
        "The card, or a reader, failed before.",
        "Take the card out of use until a full test has proved it.",
    ),
    "volume-beyond-partition": FindingText(
        "the volume claims {size} bytes, but has room for {room}",
        "The card was copied from a larger one, or holds less than it claims.",
        "Take the card out of use until a full test has proved it.",
    ),
    "hidden-sectors-differ": FindingText(
        "the boot sector says that {found} sectors come before the volume; there are {expected}",
        "Hardly any system looks at this number.",
        _NONE,
    ),
    "labels-differ": FindingText(
        "the volume has two labels: {root} and {boot}",
        "A display may show either.",
        "Go by the number on the card.",
    ),
    # chains and folders
    "chain-broken": FindingText(
        "the clusters of {path} lead to cluster {cluster}, which is {how}",
        "The rest of the file is lost or belongs to something else.",
        _COPY_OFF,
    ),
    "chain-loops": FindingText(
        "the clusters of {path} lead back to themselves at cluster {cluster}",
        "The table is damaged, or was made to trap whoever reads it.",
        _COPY_OFF,
    ),
    "too-scattered": FindingText(
        "the clusters of {path} lie in so many pieces that it was not followed beyond cluster {cluster}",
        "No ordinary writer scatters a file like this; its content was not looked at.",
        _COPY_OFF,
    ),
    "chain-crossed": FindingText(
        "the clusters of {path} run into another file's at cluster {cluster}",
        _GUESS,
        _COPY_OFF,
    ),
    "chain-shared": FindingText(
        "{other} runs into the clusters of {path} at cluster {cluster}",
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
        _CARE,
    ),
    "lost-clusters": FindingText(
        "{clusters} clusters ({size} bytes) are in use and belong to no file",
        "A write was broken off, or a folder was damaged.",
        _CARE,
    ),
    "folder-damaged": FindingText(
        "the folder {path} is not as it should be: {what}",
        "Files in it may be missing or misplaced.",
        _CARE,
    ),
    "entries-after-end": FindingText(
        "the folder {path} goes on behind its end mark",
        "No system shows what stands there; some writers leave old bytes.",
        _NONE,
    ),
    "name-damaged": FindingText(
        "in the folder {path} a long name does not belong to the file beside it (its short name: {short})",
        "The file is known by its short name only; the folder may be damaged.",
        _CARE,
    ),
    "name-twice": FindingText(
        "{path} stands twice in its folder",
        "Which of the two a display opens cannot be told.",
        _COPY_OFF,
    ),
    "time-odd": FindingText(
        "{path} has a time stamp that is on no calendar (stored as {date}, {time})",
        "Times on cards are never evidence of order.",
        _NONE,
    ),
}
