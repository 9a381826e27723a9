"""The catalogue, part one, for cards and what they hold; see ``refusals.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.refusal_text import RefusalText

_FORMAT_AGAIN = "Keep a copy if its content matters, then format the card or prepare another one."
_OURS = "Report it: this is a fault of cardprep and not of the card."

CARD: Mapping[str, RefusalText] = {
    # medium
    "medium.not-there": RefusalText(
        "there is no {name}",
        "Look at the spelling, or put the card in and wait until the reader's lamp is still.",
    ),
    "medium.not-allowed": RefusalText(
        "this user may not open {name}",
        "Ask for the rule that gives bench users access to card readers, or check a copy of the card as a file.",
    ),
    "medium.no-card": RefusalText(
        "{name} cannot be opened: {cause}",
        "Put a card into the reader, or reseat the one that is in it.",
    ),
    "medium.kind": RefusalText(
        "{name} is neither a card reader's device, nor an image file, nor a folder",
        "Name the device of the reader, an image file of a card, or the folder where the card is mounted.",
    ),
    "medium.past-the-end": RefusalText(
        "{wanted} bytes at {offset} were asked of {name}, which holds {size}",
        "The card's own tables point past its end: treat it as damaged or counterfeit.",
    ),
    "medium.short": RefusalText(
        "{name} gave {got} of {wanted} bytes at {offset}",
        "Reseat the card and try another reader; if it repeats, take the card out of use.",
    ),
    "medium.read-error": RefusalText(
        "{name} cannot be read at byte {offset}: {cause}",
        "Reseat the card and try another reader; if it repeats, take the card out of use.",
    ),
    "medium.file-read-error": RefusalText(
        "{path} cannot be read: {cause}",
        "Reseat the card and try another reader; if it repeats, take the card out of use.",
    ),
    "medium.not-ordinary": RefusalText(
        "{name} is no ordinary file",
        "Check the card in a reader and not as a folder; links, pipes and devices are never opened.",
    ),
    "medium.name-changed": RefusalText(
        "{name} cannot be opened by its name: this system reads another file, or a device, in its place",
        "Check the card in a reader and not as a folder, or on another system.",
    ),
    "medium.folder-too-large": RefusalText(
        "the folder holds more than {entries} entries or is more than {depth} folders deep",
        "Name the card itself and not a folder of this computer.",
    ),
    # captures
    "capture.folder": RefusalText(
        "{name} is a mounted folder, which has no sectors to capture",
        "Name the reader's device, or an image file of the card.",
    ),
    "capture.empty": RefusalText(
        "{name} holds no bytes at all",
        "Look whether there is a card in the reader, or reseat it.",
    ),
    "capture.too-large": RefusalText(
        "{name} says that it holds {size} bytes, and at most {most} are captured",
        "Look whether this is the card; no memory card is this large.",
    ),
    "capture.exists": RefusalText(
        "{name} is there already, and a capture never takes the place of anything",
        "Choose another name for the capture.",
    ),
    "capture.place": RefusalText(
        "no capture can be made at {name}",
        "Name a new file in a folder that is there, and not among the devices.",
    ),
    "capture.on-card": RefusalText(
        "{name} would lie on the very card that is to be captured",
        "Name a file on this computer's disk or on another stick, and leave the card unmounted.",
    ),
    "capture.cannot-write": RefusalText(
        "{name} cannot be written: {cause}",
        "Choose a disk with enough room where this user may write; a card that is full needs as much room as it holds.",
    ),
    "capture.nothing-read": RefusalText(
        "not one place of {name} can be read: {cause}",
        "Reseat the card and try another reader; if it repeats, a firm that recovers data may still read it.",
    ),
    "capture.which": RefusalText(
        "a capture needs a CARD and a new FILE, and --verify needs the capture alone",
        "Type the command as: cardprep capture CARD FILE, or cardprep capture --verify FILE.",
    ),
    "capture.minutes": RefusalText(
        "{found} minutes cannot be spent on places that cannot be read",
        "Give a number of minutes from 0 to {most}.",
    ),
    "capture.not-one": RefusalText(
        "{name} is no capture",
        "Name a file that cardprep capture has made.",
    ),
    "capture.cut-short": RefusalText(
        "{name} begins or ends as a capture and is not a whole one",
        "Copy it again from where it was first kept, and compare its sha256 with the shop log's.",
    ),
    "capture.index": RefusalText(
        "the index of the capture {name} is altered, or of a form that this version does not read",
        "Copy it again from where it was first kept, or read it with a newer cardprep.",
    ),
    "capture.frame": RefusalText(
        "the capture {name} was altered: what stands around the card's blocks is not as it was made",
        "Copy it again from where it was first kept, and compare its sha256 with the shop log's.",
    ),
    "capture.block": RefusalText(
        "the capture {name} was altered: the block at byte {offset} of the card does not have its digest",
        "Copy it again from where it was first kept, and compare its sha256 with the shop log's.",
    ),
    "capture.whole": RefusalText(
        "the capture {name} was altered: the whole card does not have its digest",
        "Copy it again from where it was first kept, and compare its sha256 with the shop log's.",
    ),
    "register.hex": RefusalText(
        "a card register is 32 hexadecimal digits",
        "Read the card in another slot; this one gave something else.",
    ),
    "register.structure": RefusalText(
        "the card says that its data structure is of kind {found}, which is not defined",
        "Read the card in another slot; if it repeats, take the card out of use.",
    ),
    # volume
    "mbr.short": RefusalText(
        "the card's first sector has only {got} bytes",
        "Copy the card again; if the card itself is this small, take it out of use.",
    ),
    "mbr.entry-length": RefusalText(
        "an entry of a partition table has {got} bytes instead of {wanted}", _OURS
    ),
    "mbr.no-signature": RefusalText(
        "the card's first sector does not end with 55 AA, so it holds no partition table",
        _FORMAT_AGAIN,
    ),
    "mbr.empty": RefusalText("the partition table names no partition", _FORMAT_AGAIN),
    "mbr.status": RefusalText(
        "no partition is marked as a partition table would mark it (00 or 80)", _FORMAT_AGAIN
    ),
    "fat.short": RefusalText(
        "a sector of the volume has only {got} bytes",
        "Copy the card again; if the card itself is this small, take it out of use.",
    ),
    "fat.entry-length": RefusalText(
        "an entry of a folder has {got} bytes instead of {wanted}", _OURS
    ),
    "fat.no-signature": RefusalText(
        "the volume's first sector does not end with 55 AA, so it is no FAT volume", _FORMAT_AGAIN
    ),
    "fat.sector-size": RefusalText(
        "the volume claims sectors of {found} bytes, which FAT does not know", _FORMAT_AGAIN
    ),
    "fat.cluster-size": RefusalText(
        "the volume claims clusters of {found} sectors, which FAT does not know", _FORMAT_AGAIN
    ),
    "fat.no-reserved-sectors": RefusalText(
        "the volume claims no sector for its own boot sector", _FORMAT_AGAIN
    ),
    "fat.no-fat": RefusalText("the volume claims no file allocation table", _FORMAT_AGAIN),
    "fat.empty-fat": RefusalText(
        "the volume claims a file allocation table of no sectors", _FORMAT_AGAIN
    ),
    "fat.no-root": RefusalText("the volume claims a root folder of no entries", _FORMAT_AGAIN),
    "fat.no-room": RefusalText(
        "the volume claims {total} sectors in all, but {needed} for its tables alone",
        _FORMAT_AGAIN,
    ),
    "fat.no-cluster": RefusalText("the volume claims no room for any file", _FORMAT_AGAIN),
    "fat.too-many-clusters": RefusalText(
        "the volume claims {found} clusters, more than its kind of FAT can number", _FORMAT_AGAIN
    ),
    "fat.version": RefusalText(
        "the volume claims version {found} of FAT32, and only version 0 is known", _FORMAT_AGAIN
    ),
    "fat.info-signature": RefusalText(
        "the sector that counts free clusters lacks its signatures",
        "Let the display or computer that owns the card repair it, or prepare another card.",
    ),
    "fat.time": RefusalText(
        "{found} is no time that FAT can store",
        "Use a date from 1980 to 2107 that is on the calendar.",
    ),
}
