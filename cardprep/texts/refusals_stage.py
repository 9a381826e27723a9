"""The catalogue, part one, for jobs, plans, layout and writing; see ``refusals.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.refusal_text import RefusalText

_RECORD = "Verify the log with: cardprep log verify; do not edit what it holds."
_RENAME = "Give the image another name in the manifest, one that every system can read from a card."
_OTHER_CARD = "Take a blank card, or look at this one with cardprep check first."
_MANIFEST = "Look at the manifest's entry, and sign it again after mending it."

STAGE: Mapping[str, RefusalText] = {
    # recorded values
    "value.not-an-object": RefusalText("{where} is no object", _RECORD),
    "value.missing": RefusalText("{where} has no {key}", _RECORD),
    "value.kind": RefusalText("{key} in {where} is not {wanted}", _RECORD),
    "value.unknown-key": RefusalText("{where} has a key {key} that is not known", _RECORD),
    # jobs
    "job.bench": RefusalText("{found} is no letter of a bench", "Use one capital letter, A to Z."),
    "job.number": RefusalText("{found} is no number of a job", "Use a number from 1 to {most}."),
    "job.name": RefusalText(
        "{found} is no job", "A job is the bench's letter and a number, such as B238."
    ),
    "job.mmsi": RefusalText(
        "{found} is no MMSI", "An MMSI has nine digits, leading zeros included."
    ),
    "job.no-units": RefusalText("a job needs at least one unit", "Give --unit at least once."),
    "job.line": RefusalText(
        "what stands for {what} cannot be printed on a sheet: '{found}'",
        "Use one line of characters that can be seen, at most 200.",
    ),
    "job.found": RefusalText(
        "a unit is found in a way that cardprep does not know: '{found}'",
        "Use the version of cardprep that wrote the log, or a newer one.",
    ),
    "job.display-twice": RefusalText(
        "two displays of the job are of the model {found}",
        "Name each model of display once; cards for it go into either of them.",
    ),
    # stages
    "stage.path": RefusalText("a file of the stage has no name", _MANIFEST),
    "stage.size": RefusalText("{found} is no size of a file", _MANIFEST),
    "stage.digest": RefusalText("{found} is no sha256", _MANIFEST),
    "stage.released": RefusalText("{found} is no time in UTC", _MANIFEST),
    "stage.file-systems": RefusalText("cardprep lays out fat16 and fat32, not {found}", _MANIFEST),
    "stage.partition-table": RefusalText("{found} is no partition table", _MANIFEST),
    "stage.volume-size": RefusalText(
        "a volume of {found} bytes is not laid out",
        "Use 16 MiB to 32 GiB in whole MiB, or leave the size out.",
    ),
    "stage.number": RefusalText("there is no stage {found} of {of}", _RECORD),
    "stage.empty": RefusalText("a stage without files is no stage", _RECORD),
    # plans
    "plan.unknown-model": RefusalText(
        "the manifest does not know the model {model}",
        "Write a [[model]] with this name into the manifest, or mend the name in the job.",
    ),
    "plan.unknown-display": RefusalText(
        "the manifest does not know how display {display} reads cards",
        "Write a [[display]] with this model into the manifest, or mend the name in the job.",
    ),
    "plan.unknown-type": RefusalText(
        "the manifest knows no image type {type}, which {model} is to get",
        "Use bootloader, application, configuration, chart data or one of the shop's own types.",
    ),
    "plan.file-system": RefusalText(
        "cardprep lays out FAT16 and FAT32 and never exFAT, and display {display} reads neither of the two",
        "Prepare this card as the maker says; cardprep can still check it.",
    ),
    "plan.none": RefusalText(
        "no order of cards gets the units of job {job} to their versions; there would be a plan\n{ways}",
        "Mend the fact that is wrong, read on board what is not known, or take the missing file in; then plan again.",
    ),
    "plan.too-large": RefusalText(
        "unit {number} can get into more than {most} states with what is on the shelf",
        "Mark images that are no longer used as withdrawn, and plan again.",
    ),
    "plan.version-order": RefusalText(
        "where {type} {found} of {model} belongs among the others cannot be told",
        "Give the model a list of versions in the manifest, oldest first, or mend the version.",
    ),
    # layout
    "layout.file-too-large": RefusalText(
        "{name} has {size} bytes, and FAT holds at most 4294967295",
        "Ask the maker how this file is to be loaded; FAT cards cannot carry it.",
    ),
    "layout.root-full": RefusalText(
        "the root folder of FAT16 holds at most {most} entries",
        "Let the display's facts name a folder for its images, or FAT32 if it reads that.",
    ),
    "layout.too-large": RefusalText(
        "the stage needs {needed} bytes, and the largest volume for this display holds {room}",
        "Look at the largest card that the display takes; if it is right, spread the files over stages.",
    ),
    "layout.no-file-system": RefusalText(
        "no {wanted} volume of {size} bytes can be laid out",
        "Look at file_systems and volume_size of the display in the manifest.",
    ),
    "layout.display-too-small": RefusalText(
        "the display takes cards of {largest} bytes at most, and the smallest volume needs {needed}",
        "Look at largest_card of the display in the manifest, or give it a smaller volume_size.",
    ),
    "layout.time": RefusalText(
        "{found} cannot stand on a card as a time",
        "FAT keeps the years 1980 to 2107; look at the release date.",
    ),
    "layout.same-name": RefusalText("{name} and {other} would be one file on a card", _RENAME),
    "layout.name-empty": RefusalText("{name} is no name for a file", _RENAME),
    "layout.name-character": RefusalText(
        "{name} has a character that no FAT name may have", _RENAME
    ),
    "layout.name-invisible": RefusalText("{name} has characters that cannot be seen", _RENAME),
    "layout.name-end": RefusalText(
        "{name} begins with a space or ends with a space or dot, which some systems drop", _RENAME
    ),
    "layout.name-long": RefusalText("{name} is longer than {most} characters", _RENAME),
    "layout.name-device": RefusalText("{name} is the name of a device to some systems", _RENAME),
    "layout.folder-full": RefusalText(
        "a folder holds at most {most} entries", "Spread the files over several folders."
    ),
    "layout.too-deep": RefusalText(
        "{name} stands more than {most} folders deep", "Use fewer folders below each other."
    ),
    # writing
    "guard.kind": RefusalText(
        "{name} is neither a card's image file nor a device",
        "Name an image file, or a place where none is yet.",
    ),
    "guard.link": RefusalText("{name} is a link to another file", "Name the file itself."),
    "guard.device": RefusalText(
        "{name} is a real device, and this version writes image files and loop devices only",
        "Write an image file, and copy it to the card as you copy images today.",
    ),
    "guard.loop-not-named": RefusalText("{name} is a loop device", "Give --loop if it is meant."),
    "guard.held": RefusalText(
        "{name} is in use", "Unmount it, and let go of it in other programs."
    ),
    "guard.write-protected": RefusalText(
        "{name} is write-protected", "Slide the lock of the card or adapter, or take another card."
    ),
    "guard.no-room": RefusalText(
        "there is no room for {name} with {size} bytes",
        "Make room on this disk, or write the card's image elsewhere.",
    ),
    "guard.too-small": RefusalText(
        "{name} has {size} bytes, and the stage needs {needed}", "Take a larger card."
    ),
    "guard.too-large": RefusalText(
        "{name} has {size}, and the display takes cards of {most} at most", "Take a smaller card."
    ),
    "guard.sector-size": RefusalText(
        "{name} has sectors of {found} bytes, and cards for displays have 512", "Take another card."
    ),
    "guard.unreadable": RefusalText(
        "{name} cannot be looked at whole: {cause}", "Take another card; this one has a fault."
    ),
    "guard.content": RefusalText("{name} holds something, and not this stage", _OTHER_CARD),
    "guard.other-files": RefusalText(
        "{name} holds this stage and something else too: {path}",
        "Take another card, or bring what is wanted of it elsewhere and delete it there first.",
    ),
    "guard.swapped": RefusalText(
        "{name} became something else while it was opened",
        "See that no other program works with it, and try again.",
    ),
    "write.failed": RefusalText(
        "writing {name} failed at byte {offset}: {cause}",
        "What is on the card is unfinished; try again, and take the card out of use if it repeats.",
    ),
    "shelf.changed": RefusalText(
        "the shelf's copy for {name} is not {sha256} any more",
        "Fetch the file again from where the maker gives it out, and take it in.",
    ),
    "shelf.short": RefusalText(
        "the shelf's copy of {sha256} ended after {got} of {size} bytes",
        "Fetch the file again from where the maker gives it out, and take it in.",
    ),
    # words of the command line
    "words.day": RefusalText("{found} is no date", "Write it as 2026-11-25."),
    "words.known-by": RefusalText(
        "{found} is no way to know a file",
        "Use makers-checksum, own-download, support-ticket or handed-over.",
    ),
    "words.known-by-source": RefusalText(
        "{found} says nothing without its source",
        "Give --source: the address of the checksum or download, the ticket, or who handed it over.",
    ),
    "words.known-by-on": RefusalText(
        "{found} says nothing without its day", "Give --on, such as 2026-11-25."
    ),
    "words.checksum": RefusalText(
        "{found} is no checksum that is known here",
        "Write algorithm and hexadecimal digits, such as 'md5 0123...': sha256 (64 digits), sha512 (128), sha1 (40), md5 (32), crc32 (8).",
    ),
    "words.needs": RefusalText(
        "{found} is no need", "Write an image type and a version, such as 'bootloader 3.10'."
    ),
    "words.carries": RefusalText(
        "{found} does not tell what is carried",
        "Write model, image type, version and how its mode is seen, such as 'OV-H4 application 2.41 PROGRAM on the screen'.",
    ),
    "words.leaves": RefusalText("{found} is no state of a unit", "Use one of: {known}."),
    "words.found": RefusalText("a unit is not found as '{found}'", "Use one of: {known}."),
    "words.minutes": RefusalText(
        "{found} is no time of a step",
        "Write it in minutes as 4-9, the lower number first, at most {most}.",
    ),
    "words.unit": RefusalText(
        "a unit cannot be read at {found}",
        "Write 'model=...; role=...; has application=4.17; wants application=4.30', with semicolons between.",
    ),
    "words.unit-lacks": RefusalText(
        "the unit has no {key}",
        "Write 'model=...; role=...; has application=4.17; wants application=4.30', with semicolons between.",
    ),
    "words.saw": RefusalText(
        "what was seen cannot be read: {found}",
        "Write it as: 'main radio; state=dark; handset=blank; application=4.17', or 'stage 2; shown=refused'.",
    ),
    "words.card-of-stage": RefusalText(
        "{found} is not a stage and its card",
        "Write it as: --card 1=/dev/sdb or --card 2=card.img.",
    ),
    "diagnose.job-or-visit": RefusalText(
        "a job and the options of a visit are told together, or neither",
        "Give --job B238; or without a job of ours --vessel, --display and --unit, or --file.",
    ),
    "diagnose.summary-there": RefusalText(
        "the summary cannot be written to {path}: {problem}",
        "Name a new file in a folder that is there.",
    ),
    "words.seen": RefusalText(
        "what a unit shows cannot be read at {found}",
        "Write 'main radio; application=4.30', with semicolons between.",
    ),
    "words.result": RefusalText("{found} is no outcome", "Use one of: {known}."),
    "words.twice": RefusalText("{found} is given twice for one unit", "Give it once."),
    "words.wants-unknown": RefusalText(
        "the {found} that is wanted cannot be unknown",
        "Name the version that the unit is to have, or leave it out.",
    ),
    "words.versions": RefusalText(
        "versions stand by image type, each as a text",
        'Write each as a text in quotes, such as application = "4.17", or "unknown".',
    ),
    "job-file.not-there": RefusalText("there is no file {name}", "Look at the spelling."),
    "job-file.unreadable": RefusalText(
        "{name} cannot be read: {cause}", "Name a text file that this user may read."
    ),
    "job-file.kind": RefusalText(
        "{name} is no ordinary file", "Name a text file with the job in it."
    ),
    "job-file.nested": RefusalText(
        "{name} is nested deeper, or has more in it, than any job (line {line})",
        "A job file is a short text; look whether it is the right file.",
    ),
    "job-file.large": RefusalText(
        "{name} has more than {most} bytes",
        "A job file is a short text; look whether it is the right file.",
    ),
    "job-file.toml": RefusalText(
        "{name} is no TOML text: {cause}", "Mend the line that is named, and try again."
    ),
    "job-file.key": RefusalText(
        "{name} has no {key} that can be read",
        'A job file has [vessel] name, [display] model, and [[unit]] with model and role, each as "text".',
    ),
    "job-file.truth": RefusalText(
        "{name}: {key} is neither true nor false", "Write true or false, without quotes."
    ),
    "job-file.list": RefusalText(
        "{name}: {key} is no list of texts", 'Write it as a list, such as ["application"].'
    ),
    "job-file.unknown": RefusalText(
        "{name} has {key}, which means nothing here", "Use one of: {known}."
    ),
}
