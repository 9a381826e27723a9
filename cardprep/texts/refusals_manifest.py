"""The catalogue, part one, for the manifest; see ``refusals.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.refusal_text import RefusalText

# Every mistake of a manifest is named by its place and counted.
_AT = "{file}, line {line}, {key}: "
_OF = " (mistake {number} of {mistakes})"
_ADD = "Add a line for it under this heading."

MANIFEST: Mapping[str, RefusalText] = {
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
    "manifest.not-true-or-false": RefusalText(
        _AT + "here stands true or false" + _OF, "Write true or false, without quotes."
    ),
    "manifest.runs-with-none": RefusalText(
        _AT + "none of {models} has a handset that is updated through it" + _OF,
        "Give the model its companion, or take runs_with out.",
    ),
    "manifest.erases-itself": RefusalText(
        _AT + "an image cannot erase the {found} that it is itself" + _OF,
        "Take the type out of erases.",
    ),
    "manifest.erases-its-need": RefusalText(
        _AT + "the image erases the {found} that it needs itself" + _OF,
        "Look into the maker's instruction; one of the two, erases or needs, is not so.",
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
    "manifest.supposed-empty": RefusalText(
        _AT + "this rule names nothing by which a file could be told" + _OF,
        "Give it 'names', 'addresses' or 'begins', or take it out.",
    ),
    "manifest.name-pattern": RefusalText(
        _AT + "{found} is no pattern for the name of a file" + _OF,
        "Write part of a name without folder, such as OVV40_*.s37; * stands for anything and ? for one character.",
    ),
    "manifest.addresses": RefusalText(
        _AT + "{found} is no range of addresses" + _OF,
        "Write the first and the last address in hex, the lower one first, such as 08010000-080FFFFF.",
    ),
    "manifest.begins": RefusalText(
        _AT + "{found} is not the first bytes of a file in hex" + _OF,
        "Write 2 to 32 bytes as pairs of digits out of 0-9 and A-F, such as 27051956.",
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
}
