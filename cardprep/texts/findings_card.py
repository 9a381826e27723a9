"""The catalogue, part two, about how a card is divided and what foreign volumes it has.

The same three sentences as in ``texts/findings.py``, which takes these in.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.finding_text import FindingText

_FORMAT = "Prepare the card with cardprep, which lays the volume out as the display reads it."
_COPY_OFF = (
    "Do not use this card as it is; copy off what is worth keeping and prepare another card."
)
_NONE = "Nothing needs to be done."

CARD: Mapping[str, FindingText] = {
    "table-not-usual": FindingText(
        "the card is divided in a way that most displays do not read ({what}: {count})",
        "A display that knows only the four entries of the first sector sees nothing, or something else.",
        _FORMAT,
    ),
    "too-many-partitions": FindingText(
        "the card has {count} partitions or volumes; {limit} of them were looked at",
        "No ordinary card is divided like this; the others were not looked at.",
        _COPY_OFF,
    ),
    "logical-chain-broken": FindingText(
        "the chain of logical partitions breaks off at {structure}, with a link to sector {sector} ({what})",
        "Partitions that came behind it cannot be seen; the chain is damaged, or was made to trap whoever reads it.",
        _COPY_OFF,
    ),
    "gpt-damaged": FindingText(
        "the {structure} is not as it should be: {what}",
        "Some systems take the other copy, some refuse the card, and some repair it without asking.",
        _COPY_OFF,
    ),
    "gpt-backup-differs": FindingText(
        "the {structure} is sound and not like the first one: {what}",
        "Systems that take the one see other partitions than those that take the other.",
        _COPY_OFF,
    ),
    "gpt-hybrid": FindingText(
        "besides its GUID partition table the card names {count} partitions in the first sector",
        "Some systems go by the one and some by the other, and see different content.",
        _FORMAT,
    ),
    "gpt-stale": FindingText(
        "a {structure} is left at byte {offset}, and nothing in the first sector leads to it",
        "The card was divided otherwise before; a program that repairs tables may bring that back.",
        _NONE,
    ),
    "foreign-volume": FindingText(
        "{structure} holds {found} (label: {label}, identifier: {identifier})",
        "Such a volume is recognised by its mark and not looked into.",
        _NONE,
    ),
}
