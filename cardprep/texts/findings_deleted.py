"""The catalogue, part two, about what was deleted from a card; see ``findings.py``."""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.finding_text import FindingText

_PRESENCE = (
    "It shows that this was on the card and was deleted, never when that was or in which order."
)
_PREPARE = "Nothing needs to be done; a card that cardprep prepares anew keeps nothing of it."

DELETED: Mapping[str, FindingText] = {
    "deleted-entries": FindingText(
        "deleted files or folders that the card still lists: {count} ({names})",
        "The card was used before and was not wiped since.",
        "Nothing needs to be done; what is left of them: cardprep check --deleted.",
    ),
    "deleted-image": FindingText(
        "what is left of {path} (deleted, {size} bytes) is the {type} {version} for {models}, byte for byte (a guess: its clusters are taken to lie one behind the other)",
        _PRESENCE,
        _PREPARE,
    ),
    "deleted-image-part": FindingText(
        "of what is left of {path} (deleted, {size} bytes), {where} are those of the {type} {version} for {models} (a guess: its clusters are taken to lie one behind the other); {what}",
        _PRESENCE,
        _PREPARE,
    ),
    "deleted-image-name": FindingText(
        "{path} (deleted, {size} bytes) may have been the {type} {version} for {models}: {by}, {how}; {what}",
        "A name proves nothing of what was in the file.",
        "What is left of it: cardprep check --deleted.",
    ),
    "deleted-content-left": FindingText(
        "of {count} deleted files the content was not looked for: {what}",
        "Whether they held an image is not known.",
        "Nothing needs to be done.",
    ),
    "deleted-folders-left": FindingText(
        "there is more in deleted folders than was looked at (clusters read: {limit})",
        "Further deleted files may be listed there.",
        "Nothing needs to be done.",
    ),
}
