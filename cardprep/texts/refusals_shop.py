"""The catalogue, part one, for the shop folder and its log; see ``refusals.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.refusal_text import RefusalText

_RECORD = "Do not edit what the log or a list holds; if nobody did, keep a copy of the file and report it."
_LOG = "Stop recording, copy the log's file to a safe place, and compare it with the backup and with checkpoints on paper."
_PROOF = "Ask for the proof again, and for the checkpoint that it belongs to."

SHOP: Mapping[str, RefusalText] = {
    # shop
    "shop.not-there": RefusalText(
        "there is no shop folder at {path}",
        "Name the shop folder with --shop DIR before the command, or in CARDPREP_SHOP; or make one with cardprep shop new.",
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
    "shop.settings-numbers": RefusalText(
        "the table {key} in {path} has something in it that is no whole number",
        "Write one line for each: its name, the sign =, and a number.",
    ),
    "shop.settings-commonness": RefusalText(
        "the table commonness in the shop's settings has {found}, which is none of what is looked for, or no number from 1 to {most}",
        "What is looked for is called: {known}.",
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
    "shop.key-other": RefusalText(
        "the shop folder holds the key {found}, and {wanted} was given",
        "Compare letter by letter with a sheet of the shop; if they truly differ, do not accept this folder.",
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
}
