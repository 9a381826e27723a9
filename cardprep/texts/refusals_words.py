"""The catalogue, part one, for the words and small tools that everyone uses; see ``refusals.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.refusal_text import RefusalText

_RECORD = "Do not edit what the log or a list holds; if nobody did, keep a copy of the file and report it."

WORDS: Mapping[str, RefusalText] = {
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
}
