"""The catalogue, part two, for files that are not what they should be; see ``findings.py``.

PLACES is keyed by the parameter ``where`` of such a finding; it stands in its first sentence.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.finding_text import FindingText

PLACES: Mapping[str, str] = {
    "where-blocks": "{chunks} of {of} blocks of 64 KiB differ, the first at byte {first}",
    "where-first-blocks": "the first {same} of {of} blocks of 64 KiB",
    "where-some-blocks": "{same} of {of} blocks of 64 KiB, the first at byte {first},",
    "where-byte": "byte {first} differs",
    "where-bytes": "it differs from byte {first} to byte {last}, in {chunks} of {of} blocks of 64 KiB",
}

FILES: Mapping[str, FindingText] = {
    "altered": FindingText(
        "{path} goes by {by} of the {type} {version} for {models}, but {how}: {where} ({got} bytes, {wanted} expected)",
        "It is not what the shop released under this name: damaged, altered, or a version that was never taken in.",
        "Prepare a card from the shelf; a version that the shelf lacks is fetched from where the maker gives it out.",
    ),
    "cut-short": FindingText(
        "{path} is the {type} {version} for {models} cut short: {got} of {wanted} bytes",
        "The copy or the download ended too early, as when a card is pulled before the copy is done.",
        "Prepare the card again from the shelf; if it happens a second time, take the card out of use.",
    ),
    "page-as-image": FindingText(
        "{path} is named like an image, and is a web page",
        "A browser saved a page, as of a login or an error, in place of the file.",
        "Log in where the maker gives the file out, fetch it again, and take it in.",
    ),
    "supposed-type": FindingText(
        "{path} ({size} bytes) is in no manifest; by the shop's own rule it is supposed to be: {type}, for {models}",
        "A rule goes by how a file looks; whether it is what the maker released, nothing here tells.",
        "If the maker released it, take it in; else remove it from the card.",
    ),
    "mixed-if-supposed": FindingText(
        "the card would carry several image types ({types}), if each file is what it is supposed to be: {files}",
        "A card may carry {limit}; with more, a display may load the wrong one first, or none.",
        "Find out what the supposed files are, and put each image type on a card of its own.",
    ),
    "reads-differently": FindingText(
        "{path} was read twice from byte {first} on, and {how}",
        "A card that gives other bytes each time is worn, or has bad contact in its adapter or reader; nothing read from it can be relied on.",
        "Clean the contacts, try it without the adapter and in another reader; if it repeats, take the card out of use.",
    ),
}
