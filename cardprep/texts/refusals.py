"""The catalogue, part one: what a refusal says and what helps.

Keyed by reason. A message is lower case without full stop and carries the
numbers; a remedy is one sentence that a tired person can follow. ``{names}``
are the parameters of the refusal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RefusalText:
    """What is wrong, and what to do about it."""

    message: str
    remedy: str


_RECORD = "Do not edit what the log or a list holds; if nobody did, keep a copy of the file and report it."

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
    "canonical.integer": RefusalText("the number {found} is too large to be recorded", _RECORD),
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
    # images
    # medium
    # volume
    # layout
    # job
    # manifest
    # shop
    # shop log
    # write
    # bench
}
