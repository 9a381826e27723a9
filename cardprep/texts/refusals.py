"""The catalogue, part one: what a refusal says and what helps.

Keyed by reason. A message is lower case without full stop and carries the
numbers; a remedy is one sentence that a tired person can follow. ``{names}``
are the parameters of the refusal.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.refusal_text import RefusalText
from cardprep.texts.refusals_bench import BENCH

# Every mistake of a manifest is named by its place and counted.
_AT = "{file}, line {line}, {key}: "
_OF = " (mistake {number} of {mistakes})"
_ADD = "Add a line for it under this heading."
_RECORD = "Do not edit what the log or a list holds; if nobody did, keep a copy of the file and report it."
_LOG = "Stop recording, copy the log's file to a safe place, and compare it with the backup and with checkpoints on paper."
_PROOF = "Ask for the proof again, and for the checkpoint that it belongs to."
_FORMAT_AGAIN = "Keep a copy if its content matters, then format the card or prepare another one."
_OURS = "Report it: this is a fault of cardprep and not of the card."

REFUSALS: Mapping[str, RefusalText] = {
    "stopped": RefusalText(
        "stopped at the bench's wish",
        "Give the same command again when you are ready; what was begun is in the log.",
    ),
    # canonical JSON
    "canonical.not-json": RefusalText("this is not JSON text in UTF-8", _RECORD),
    "canonical.other-spelling": RefusalText(
        "this JSON is not in its one canonical form (RFC 8785)", _RECORD
    ),
    "canonical.too-deep": RefusalText("a value is nested more than {limit} deep", _RECORD),
    "canonical.integer": RefusalText(
        "a number of {bits} bits is too large to be recorded", _RECORD
    ),
    "canonical.kind": RefusalText("a {found} cannot be recorded", _RECORD),
    "canonical.unicode": RefusalText("a text is not valid Unicode", _RECORD),
    "canonical.key": RefusalText("the key {found} is not plain ASCII", _RECORD),
    "canonical.twice": RefusalText("a key stands twice in one object", _RECORD),
    "canonical.float": RefusalText(
        "the number {found} is no whole number and is not recorded", _RECORD
    ),
    # terms
    "image-type.word": RefusalText(
        "{found} is no name for an image type",
        "Use lower-case words such as 'application', at most 24 characters.",
    ),
    "image-type.code": RefusalText(
        "{found} is no code for an image type",
        "Use four capital letters or digits, such as APPL.",
    ),
    "version": RefusalText(
        "{found} is no version",
        "Use letters, digits, dots, dashes, underscores or plus signs, such as 4.30.",
    ),
    "version.not-listed": RefusalText(
        "version {found} is not on the list of versions, so its place is not known",
        "Add it to the list of versions in the manifest, oldest first.",
    ),
    "version.not-dotted": RefusalText(
        "version {found} is not numbers with dots, so its place is not known",
        "Give the model a list of versions in the manifest, oldest first.",
    ),
    # SSH signatures
    "signature.long": RefusalText(
        "the signature is {found} characters long and at most {limit} are read",
        "Check that the signature file was not swapped with another file.",
    ),
    "signature.armor": RefusalText(
        "this is not an SSH signature between its BEGIN and END lines",
        "Take the signature file as it was made, and send it as a file rather than as mail text.",
    ),
    "signature.structure": RefusalText(
        "the SSH signature is damaged inside", "Get the signature file again, or sign again."
    ),
    "signature.version": RefusalText(
        "the SSH signature is of version {found} and only version 1 is read",
        "Sign again with ssh-keygen or cardprep.",
    ),
    "signature.kind": RefusalText(
        "the signature was not made by an Ed25519 key", "Sign with the shop's Ed25519 key."
    ),
    "signature.hash": RefusalText(
        "the signature uses another hash than SHA-256 or SHA-512",
        "Sign again with ssh-keygen or cardprep.",
    ),
    "signature.other-key": RefusalText(
        "signed by the key {found} and not by the shop's key {wanted}",
        "Do not use it; ask the shop who signed it and with which key.",
    ),
    "signature.other-namespace": RefusalText(
        "the signature was made for {found} and not for {wanted}",
        "Check that the signature file belongs to this file.",
    ),
    "signature.incorrect": RefusalText(
        "the signature does not fit what it should sign, so one of the two was changed",
        "Do not use it; get both files again from the shop.",
    ),
    "signature.namespace": RefusalText(
        "{found} is no name for the purpose of a signature",
        "Use small letters, digits, dots, dashes and @, such as manifest@cardprep.",
    ),
    "signature.principal": RefusalText(
        "{found} is no name for somebody who signs",
        "Use letters, digits, dots, dashes and @, such as bench@example.org.",
    ),
    # SSH keys
    "key.comment": RefusalText(
        "the comment of a key can hold only plain ASCII, at most 255 characters",
        "Use plain letters, digits and spaces.",
    ),
    "key.length": RefusalText(
        "a key of {found} bytes was given and {wanted} are needed",
        "Use an Ed25519 key as ssh-keygen makes it.",
    ),
    "key.public-line": RefusalText(
        "this is not the line of an SSH public key",
        "Copy the whole line out of the .pub file, beginning with ssh-ed25519.",
    ),
    "key.kind": RefusalText(
        "the key is not an Ed25519 key",
        "Make one with 'ssh-keygen -t ed25519', without a security key.",
    ),
    "key.unreadable": RefusalText(
        "this is not an OpenSSH private key file, or it is damaged",
        "Name the private key file that 'ssh-keygen -t ed25519' made, or restore it from the backup.",
    ),
    "key.passphrase-wanted": RefusalText(
        "the key file is protected by a passphrase",
        "Give the passphrase, or add the key to ssh-agent with ssh-add.",
    ),
    "key.passphrase-wrong": RefusalText(
        "the passphrase does not open the key file", "Type the passphrase again."
    ),
    "key.encryption": RefusalText(
        "the key file is encrypted in a way that cannot be opened here",
        "Add the key to ssh-agent with ssh-add and use it from there.",
    ),
    "key.rounds": RefusalText(
        "the key file asks for {found} rounds to open it and at most {limit} are done",
        "Add the key to ssh-agent with ssh-add and use it from there.",
    ),
    "key.agent-unreachable": RefusalText(
        "ssh-agent cannot be reached",
        "Start ssh-agent, add the shop's key with ssh-add, and try again.",
    ),
    "key.agent-silent": RefusalText(
        "ssh-agent does not answer", "See whether it waits for a confirmation, and try again."
    ),
    "key.agent-answer": RefusalText(
        "what ssh-agent answered makes no sense", "Restart ssh-agent and add the shop's key again."
    ),
    "key.agent-refused": RefusalText(
        "ssh-agent does not sign with this key",
        "Add the shop's key with ssh-add, unlock the agent, or confirm when it asks.",
    ),
    # images
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
    "medium.folder-too-large": RefusalText(
        "the folder holds more than {entries} entries or is more than {depth} folders deep",
        "Name the card itself and not a folder of this computer.",
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
    # layout
    # job
    # manifest
    "manifest.too-large": RefusalText(
        _AT + "the text has {size} bytes, and at most {limit} are read" + _OF,
        "Take long withdrawn releases out of the manifest, or look whether another file was put in its place.",
    ),
    "manifest.not-utf-8": RefusalText(
        _AT + "the byte {found} is not text in UTF-8" + _OF,
        "Save the file as UTF-8 in your editor.",
    ),
    "manifest.byte-order-mark": RefusalText(
        _AT + "the text begins with a byte order mark" + _OF,
        "Save the file as UTF-8 without byte order mark (BOM) in your editor.",
    ),
    "manifest.control": RefusalText(
        _AT + "the control character {found} cannot stand in a manifest" + _OF,
        "Delete the character; if there are many, the file is damaged or no text.",
    ),
    "manifest.not-toml": RefusalText(
        _AT + "this is not TOML at column {column}: {said}" + _OF,
        "Look at this line and the one above for a missing quote, bracket, comma or equals sign, or a key that stands twice.",
    ),
    "manifest.over-depth": RefusalText(
        _AT + "lists and tables are nested more than {limit} deep" + _OF,
        "Look for a bracket that is not closed; no value of a manifest is nested that deep.",
    ),
    "manifest.over-parts": RefusalText(
        _AT + "a key has more than {limit} parts" + _OF,
        "Look for dots in the key; put quotes around a name that holds dots.",
    ),
    "manifest.over-values": RefusalText(
        _AT + "the text holds more than {limit} values" + _OF,
        "Take long withdrawn releases out of the manifest.",
    ),
    "manifest.over-plain": RefusalText(
        _AT + "a value without quotes has more than {limit} characters" + _OF,
        "Put quotes around a text; no number of a manifest is that long.",
    ),
    "manifest.format": RefusalText(
        _AT + "this is format {found}, and this cardprep reads format {right}" + _OF,
        "Use the cardprep that wrote it, or a newer one.",
    ),
    "manifest.previous-of-first": RefusalText(
        _AT + "the first manifest has none before it" + _OF,
        "Take the line 'previous' out, or raise the serial.",
    ),
    "manifest.key-unknown": RefusalText(
        _AT + "this key means nothing here; could it be: {right}" + _OF,
        "Correct the spelling, or put a # before the line if it is a remark.",
    ),
    "manifest.missing-text": RefusalText(
        _AT + "this key is missing; it is a text in quotes" + _OF, _ADD
    ),
    "manifest.missing-whole-number": RefusalText(
        _AT + "this key is missing; it is a whole number" + _OF, _ADD
    ),
    "manifest.missing-day-or-time": RefusalText(
        _AT + "this key is missing; it is a day such as 2026-05-12" + _OF, _ADD
    ),
    "manifest.missing-table": RefusalText(
        _AT + "this key is missing; it is a table in braces" + _OF, _ADD
    ),
    "manifest.missing-list": RefusalText(
        _AT + "this key is missing; it is a list in square brackets" + _OF, _ADD
    ),
    "manifest.not-text": RefusalText(
        _AT + "this is not a text in quotes" + _OF, 'Put the value in quotes, such as "OV-V40".'
    ),
    "manifest.not-whole-number": RefusalText(
        _AT + "this is not a whole number" + _OF,
        "Write digits without quotes, dots or units.",
    ),
    "manifest.not-day-or-time": RefusalText(
        _AT + "this is not a day or a time" + _OF,
        "Write a day without quotes, such as 2026-05-12, or a time such as 2026-05-12T08:30:00Z.",
    ),
    "manifest.not-table": RefusalText(
        _AT + "this is not a table" + _OF,
        "Write keys and values in braces, or under a heading in square brackets.",
    ),
    "manifest.not-list": RefusalText(
        _AT + "this is not a list" + _OF,
        'Put square brackets around it, such as ["OV-V40"]; a heading that may stand several times has two, such as [[image]].',
    ),
    "manifest.list-empty": RefusalText(
        _AT + "this list is empty" + _OF, "Name at least one, or take the line out."
    ),
    "manifest.list-long": RefusalText(
        _AT + "this list has {found} entries, and at most {limit} are read" + _OF,
        "Shorten the list; look whether a bracket is missing.",
    ),
    "manifest.listed-twice": RefusalText(
        _AT + "{found} stands twice in this list" + _OF, "Take one of them out."
    ),
    "manifest.text-empty": RefusalText(
        _AT + "this text is empty" + _OF, "Fill it in, or take the line out."
    ),
    "manifest.text-long": RefusalText(
        _AT + "this text has {found} characters, and at most {limit} fit" + _OF,
        "Shorten it; look whether a quote is missing.",
    ),
    "manifest.text-control": RefusalText(
        _AT + "{found} holds a line end or an invisible character" + _OF,
        "Type the text anew on one line; do not paste it.",
    ),
    "manifest.number": RefusalText(
        _AT + "{found} is not from {low} to {high}" + _OF, "Correct the number."
    ),
    "manifest.minutes": RefusalText(
        _AT + "minutes are two numbers, the lower one first" + _OF,
        "Write the usual duration as a range, such as [3, 8].",
    ),
    "manifest.not-one-of": RefusalText(
        _AT + "{found} is none of the words that may stand here; could it be: {right}" + _OF,
        "Use the word that is named, or add the image type to the manifest first if that is what it is.",
    ),
    "manifest.day": RefusalText(
        _AT + "{found} is a time where a day is wanted" + _OF,
        "Write the day alone, such as 2026-05-12.",
    ),
    "manifest.moment": RefusalText(
        _AT + "{found} is not a UTC time in whole seconds" + _OF,
        "Write a day such as 2026-05-12, or a time that ends in Z such as 2026-05-12T08:30:00Z.",
    ),
    "manifest.year": RefusalText(
        _AT
        + "{found} is outside the years 1980 to 2107, which are all that a card can store"
        + _OF,
        "Correct the year.",
    ),
    "manifest.version": RefusalText(
        _AT + "{found} is no version" + _OF,
        "Use letters, digits, dots, dashes, underscores or plus signs, at most 32, such as 4.30.",
    ),
    "manifest.version-not-listed": RefusalText(
        _AT
        + "version {found} is not on the list of versions of {model}, so its place is not known"
        + _OF,
        "Add it to 'versions' of that model, oldest first, or correct it.",
    ),
    "manifest.version-not-dotted": RefusalText(
        _AT
        + "version {found} is not numbers with dots, so its place among those of {model} is not known"
        + _OF,
        "Give that model a list 'versions' for this image type, oldest first.",
    ),
    "manifest.digest": RefusalText(
        _AT + "{found} is not {digits} digits out of 0-9 and a-f" + _OF,
        "Copy the digest again, whole and in small letters.",
    ),
    "manifest.chunk-digits": RefusalText(
        _AT
        + "chunk digests are groups of 16 digits out of 0-9 and a-f, and these are {found} characters"
        + _OF,
        "Take the file in again; nobody writes these by hand.",
    ),
    "manifest.chunk-count": RefusalText(
        _AT + "there are {found} chunk digests, and an image of this size has {right}" + _OF,
        "Look at the size, or take the file in again.",
    ),
    "manifest.size": RefusalText(
        _AT + "{found} is no size of a card or a volume" + _OF,
        'Write it as "4 GB" or "512 MiB", or as bytes in whole sectors of 512.',
    ),
    "manifest.volume-over-card": RefusalText(
        _AT + "a volume of {found} bytes does not fit a card of at most {right}" + _OF,
        "Make the volume smaller, or the largest card larger.",
    ),
    "manifest.file-name": RefusalText(
        _AT + "no card can hold a file named {found}" + _OF,
        "Use the maker's own name without folder, and none of the characters \" * / : < > ? \\ | in it.",
    ),
    "manifest.folder": RefusalText(
        _AT + "{found} is no folder of a card" + _OF,
        "Write the names of the folders with / between them and none at the ends; leave the line out for the root.",
    ),
    "manifest.pattern": RefusalText(
        _AT + "{found} is no pattern for files of a card" + _OF,
        "Write a path with / between the names and none at the ends; * stands for anything and ? for one character.",
    ),
    "manifest.container": RefusalText(
        _AT + "{found} is no name of a container format" + _OF,
        "Use small letters, digits and dashes; leave the line out if the format is not known.",
    ),
    "manifest.image-type-word": RefusalText(
        _AT + "{found} is no name for an image type" + _OF,
        "Use lower-case words such as 'voice prompts', at most 24 characters.",
    ),
    "manifest.image-type-code": RefusalText(
        _AT + "{found} is no code for an image type" + _OF,
        "Use four capital letters or digits, such as APPL.",
    ),
    "manifest.type-twice": RefusalText(
        _AT + "there is already an image type {found}" + _OF,
        "Use the one that is there, or choose another word and code.",
    ),
    "manifest.twice": RefusalText(
        _AT + "{found} stands already on line {before}" + _OF,
        "Keep one of the two; of two releases of one version, say of one why it is withdrawn.",
    ),
    "manifest.model-unknown": RefusalText(
        _AT + "there is no model {found}; could it be: {right}" + _OF,
        "Correct the name, or add a [[model]] for it.",
    ),
    "manifest.model-missing": RefusalText(
        _AT + "there is no model {found}" + _OF, "Add a [[model]] for it, or correct the name."
    ),
    "manifest.own-companion": RefusalText(
        _AT + "{found} cannot be its own companion" + _OF,
        "Name the unit that is updated through this one.",
    ),
    "manifest.no-companion": RefusalText(
        _AT + "{found} is no companion of {models}" + _OF,
        "Say at that model that this is its companion, or correct the name.",
    ),
    "manifest.type-not-of-model": RefusalText(
        _AT + "{model} has no {found}; it has: {right}" + _OF,
        "Correct the type, or add it to the types of that model.",
    ),
    "manifest.edit-line": RefusalText(
        "the line of '{key}' in {file} is not written plainly enough to be changed",
        "Write key, equals sign and value on one line, without other quotes.",
    ),
    "manifest.edit-other": RefusalText(
        "with a new '{key}' the text of {file} would not say what was meant",
        "Write it in by hand, and report what could not be added.",
    ),
    "manifest.edit-heading": RefusalText(
        "a table cannot be added to {file} because '{key}' is not written under headings such as [[{key}]]",
        "Write every {key} under its own heading [[{key}]].",
    ),
    "manifest.unsigned": RefusalText(
        "{file} is not signed", "Read it through, then let the shop sign it."
    ),
    "manifest.changed": RefusalText(
        "{file} was changed after it was signed",
        "If the shop changed it, read it through and sign it again; if nobody did, take the last good copy.",
    ),
    "manifest.signature-unreadable": RefusalText(
        "the signature beside {file} cannot be read or was made for another purpose",
        "Read the manifest through, then let the shop sign it again.",
    ),
    "manifest.other-key": RefusalText(
        "{file} is signed by the key {found}, and this bench knows the shop by {wanted}",
        "Find out who signed it before anything is written; do not go on with this manifest.",
    ),
    "manifest.older": RefusalText(
        "{file} has the serial {found}, and this bench has already seen {seen}",
        "Fetch the newest manifest; an older one may bring back what was withdrawn.",
    ),
    "manifest.same-serial": RefusalText(
        "{file} has the serial {found} like one that this bench has seen, but it is another text",
        "Two benches have signed different manifests: bring them together into one with a higher serial.",
    ),
    # shop
    "shop.not-there": RefusalText(
        "there is no shop folder at {path}",
        "Name the shop folder with --shop or CARDPREP_SHOP, or make one first.",
    ),
    "shop.not-a-shop": RefusalText(
        "{path} is no shop folder: it holds no shop.toml",
        "Name another folder; if making this one was broken off, empty it and make it again.",
    ),
    "shop.folder-not-empty": RefusalText(
        "{path} already holds something",
        "Name a new or an empty folder for the shop.",
    ),
    "shop.file-missing": RefusalText(
        "there is no {path}",
        "Look whether the shop folder is whole, and take what is missing from the backup.",
    ),
    "shop.file-kind": RefusalText(
        "{path} is no ordinary file", "Look who put it there, and take the file from the backup."
    ),
    "shop.file-large": RefusalText(
        "{path} is larger than {limit} bytes",
        "Look whether another file was put in its place, and take the right one from the backup.",
    ),
    "shop.file-refused": RefusalText(
        "{path} cannot be read or written: {cause}",
        "Look whether the disk is full or write-protected and whether this user may use the shop folder.",
    ),
    "shop.settings-toml": RefusalText(
        "line {line} of {path} is not TOML",
        "Look at this line and the one above for a missing quote or equals sign, or a key that stands twice.",
    ),
    "shop.settings-key": RefusalText(
        "the key {key} in {path} means nothing; could it be: {right}",
        "Correct the spelling, or put a # before the line if it is a remark.",
    ),
    "shop.settings-format": RefusalText(
        "{path} is not of format {right}, the only one that this cardprep reads",
        "Use the cardprep that made the shop folder, or a newer one.",
    ),
    "shop.settings-text": RefusalText(
        "the key {key} in {path} is missing, empty, or no text of at most {limit} characters",
        "Write it in quotes on a line of its own.",
    ),
    "shop.settings-control": RefusalText(
        "the key {key} in {path} holds a line end or an invisible character",
        "Type the text anew on one line; do not paste it.",
    ),
    "shop.settings-bench": RefusalText(
        "{found} in {path} is no letter for a bench",
        "Use one capital letter from A to Z that no other bench of the shop has.",
    ),
    "shop.settings-log": RefusalText(
        "the key log in {path} is no address of a PostgreSQL database",
        "Write it as postgresql://host/name, or take the line out to keep the log in the shop folder.",
    ),
    "shop.settings-signing": RefusalText(
        "{found} in {path} is no way of signing",
        'Write "file" for the key in the shop folder, or "agent" for ssh-agent.',
    ),
    "shop.pin-damaged": RefusalText(
        "what {path} remembers of the shop's key is damaged",
        "Compare the shop's fingerprint with the one on an older sheet; if they agree, delete this file and accept the key anew.",
    ),
    "shop.key-not-pinned": RefusalText(
        "the shop folder holds the key {found}, and this user knows the shop by {wanted}",
        "The folder was swapped or its key was changed: find out why before you go on.",
    ),
    "shop.key-pair": RefusalText(
        "the private key is {found}, and the shop's public key is {wanted}",
        "Take the file 'key' of this shop from the backup.",
    ),
    "shop.key-mode": RefusalText(
        "{path} can be read by others: its mode is {found}",
        "Run 'chmod 600' on it; if others had been at this computer, make a new key.",
    ),
    "shop.no-agent": RefusalText(
        "the shop's key is held by ssh-agent, and none is running here",
        "Start ssh-agent, add the shop's key with ssh-add, and try again.",
    ),
    "shop.locked": RefusalText(
        "another cardprep works on {path}", "Wait until it is done, or stop it."
    ),
    "shop.locked-by": RefusalText(
        "another cardprep works on {path}: {command}, process {pid}",
        "Wait until it is done, or stop it.",
    ),
    "shelf.name": RefusalText(
        "{found} is no SHA-256 of an image", "Copy the 64 digits again, whole and in small letters."
    ),
    "shelf.missing": RefusalText(
        "the image {sha256} is not on the shelf",
        "Take its file in again, or fetch the shelf from the backup.",
    ),
    "shelf.kind": RefusalText(
        "what stands on the shelf as {sha256} is no ordinary file",
        "Look who put it there, then take the image in again.",
    ),
    "shelf.size": RefusalText(
        "the shelf's copy of {sha256} has {found} bytes instead of {wanted}",
        "Check the bench's disk, delete the copy, and take the image in again.",
    ),
    "shelf.damaged": RefusalText(
        "the shelf's copy of {sha256} is damaged: its SHA-256 is {found}",
        "Check the bench's disk, delete the copy, and take the image in again.",
    ),
    "shelf.cannot-read": RefusalText(
        "the shelf's copy of {sha256} cannot be read: {cause}",
        "Check the bench's disk, and take the image in again if it is lost.",
    ),
    "shelf.source-not-there": RefusalText(
        "there is no file {name}", "Look at the spelling of the name and the folder."
    ),
    "shelf.source-not-allowed": RefusalText(
        "this user may not read {name}", "Copy the file to a folder of your own first."
    ),
    "shelf.source-kind": RefusalText("{name} is no ordinary file", "Name the update file itself."),
    "shelf.source-read": RefusalText(
        "{name} cannot be read: {cause}", "Fetch the file again from where it came."
    ),
    "shelf.source-changed": RefusalText(
        "the file gave {found} bytes instead of {wanted}, so it changed while it was read",
        "Wait until the download is done, then try again.",
    ),
    "shelf.source-empty": RefusalText(
        "the file holds no bytes", "Fetch the file again from where it came."
    ),
    # shop log
    "record.bench": RefusalText(
        "{found} is no letter of a bench", "Use one capital letter, A to Z."
    ),
    "record.kind": RefusalText("{found} is no name for a kind of record", _RECORD),
    "record.number": RefusalText("the record's {field} is no whole number in its range", _RECORD),
    "record.text": RefusalText("the record's {field} is no text", _RECORD),
    "record.time": RefusalText(
        "{found} is no time as the log writes it",
        "Give it in UTC in the form 2026-02-14T13:37:42Z.",
    ),
    "record.body": RefusalText("the record's body is no object of names and values", _RECORD),
    "record.long": RefusalText(
        "the record is {found} bytes long and at most {limit} are kept",
        "Record the files in several steps, fewer at a time.",
    ),
    "record.keys": RefusalText("the record has other parts than a record has", _RECORD),
    "record.format": RefusalText(
        "the record is of format {found} and this version reads format {known}",
        "Use the newest cardprep of the shop.",
    ),
    "record.index": RefusalText("the record's index is no object of lists of texts", _RECORD),
    "record.index-field": RefusalText(
        "records cannot be looked up by {found}",
        "Look up by card, job, file, digest, serial or vessel.",
    ),
    "record.index-value": RefusalText(
        "a value to look up has {found} characters; it needs 1 to {limit}",
        "Check what was typed.",
    ),
    "checkpoint.text": RefusalText(
        "this is not the text of a checkpoint of a shop log",
        "Take the three lines exactly as they were handed out.",
    ),
    "checkpoint.short": RefusalText(
        "{found} is not a checkpoint as it stands on a label",
        "Type it with both dashes, such as B-60-LXE5U6NHAZ.",
    ),
    "checkpoint.signature": RefusalText(
        "this is not the text of a signature",
        "Take the signature file as it was made.",
    ),
    "checkpoint.twice": RefusalText(
        "the log has another checkpoint over its first {checkpoint} records already", _RECORD
    ),
    "log.range": RefusalText(
        "the log does not hold all of these records", "Ask for records that the log holds."
    ),
    "log.exists": RefusalText(
        "there is a shop log in this place already", "Use that log, or choose another folder."
    ),
    "log.busy": RefusalText(
        "another cardprep keeps the log busy",
        "Wait until it has ended, close it if it hangs, and try again; nothing was recorded.",
    ),
    "log.full": RefusalText(
        "there is no room left to record anything",
        "Make room on the disk that holds the shop folder; nothing was recorded.",
    ),
    "log.read-only": RefusalText(
        "the log cannot be written to",
        "Check the rights of the shop folder and whether its disk is read only; nothing was recorded.",
    ),
    "log.cannot-open": RefusalText(
        "the log cannot be opened", "Check that the shop folder is there and that you may use it."
    ),
    "log.input-output": RefusalText(
        "the disk with the log reports errors or is of a kind that cannot hold it",
        "Keep the shop folder on a local disk that works, and copy the log before anything else.",
    ),
    "log.newer": RefusalText(
        "the log is of version {found} and this cardprep reads up to {known}",
        "Use the newest cardprep of the shop.",
    ),
    "log.not-a-log": RefusalText("this file is not a shop log", _LOG),
    "log.schema": RefusalText("the log's tables are not those that cardprep made", _LOG),
    "log.damaged": RefusalText("the log's file is damaged", _LOG),
    "log.missing": RefusalText("record {sequence} is missing from the log", _LOG),
    "log.line": RefusalText("record {sequence} of the log is not a record", _LOG),
    "log.sequence": RefusalText(
        "in the place of record {sequence} of the log stands record {found}", _LOG
    ),
    "log.bench": RefusalText(
        "record {sequence} of the log is of bench {found} and the log of bench {wanted}", _LOG
    ),
    "log.leaf-hash": RefusalText(
        "record {sequence} of the log was changed after it was written", _LOG
    ),
    "log.index": RefusalText("record {sequence} is not looked up as it says itself", _LOG),
    "log.checkpoint-text": RefusalText(
        "the checkpoint over the first {checkpoint} records is damaged", _LOG
    ),
    "log.checkpoint-bench": RefusalText(
        "the checkpoint over the first {checkpoint} records is of another bench", _LOG
    ),
    "log.checkpoint-root": RefusalText(
        "the first {checkpoint} records are not those that the checkpoint over them speaks of", _LOG
    ),
    "log.checkpoint-ahead": RefusalText(
        "there is a checkpoint over {checkpoint} records and the log holds {records}", _LOG
    ),
    "log.checkpoint-signature": RefusalText(
        "the checkpoint over the first {checkpoint} records is not signed by the shop's key", _LOG
    ),
    "proof.index": RefusalText(
        "there is no record {index} among the first {size}", "Check which record was asked for."
    ),
    "proof.sizes": RefusalText(
        "a log of {old_size} records proves nothing about one of {size}",
        "Compare an older checkpoint, over at least one record, with a newer one.",
    ),
    "proof.hash": RefusalText("a hash is {found} bytes long and not {wanted}", _PROOF),
    "proof.length": RefusalText("the proof has a wrong number of hashes, {found}", _PROOF),
    "proof.root": RefusalText("the proof does not lead to the signed root", _PROOF),
    # write
    **BENCH,
}
