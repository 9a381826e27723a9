"""The catalogue's sentences and words about exFAT volumes.

Refusals, findings and words as in ``texts/refusals.py``, ``texts/findings.py``
and ``texts/screens.py``, which take these in.
"""

from __future__ import annotations

from collections.abc import Mapping

from cardprep.texts.finding_text import FindingText
from cardprep.texts.refusal_text import RefusalText

_FORMAT_AGAIN = "Keep a copy if its content matters, then format the card or prepare another one."
_OURS = "Report it: this is a fault of cardprep and not of the card."
_CARE = "Prepare another card; use this one only if there is no other and its files match."
_COPY_OFF = (
    "Do not use this card as it is; copy off what is worth keeping and prepare another card."
)

EXFAT_REFUSALS: Mapping[str, RefusalText] = {
    "exfat.short": RefusalText(
        "the first sector of the volume has only {got} bytes",
        "Copy the card again; if the card itself is this small, take it out of use.",
    ),
    "exfat.entry-length": RefusalText(
        "an entry of an exFAT folder has {got} bytes instead of {wanted}", _OURS
    ),
    "exfat.no-name": RefusalText(
        "the volume's first sector does not say EXFAT at its fourth byte", _FORMAT_AGAIN
    ),
    "exfat.no-signature": RefusalText(
        "the volume's first sector says exFAT and does not end with 55 AA", _FORMAT_AGAIN
    ),
    "exfat.not-zero": RefusalText(
        "the volume says exFAT, and has something where exFAT wants zeros", _FORMAT_AGAIN
    ),
    "exfat.version": RefusalText(
        "the volume claims version {found} of exFAT, and only version 1 is known", _FORMAT_AGAIN
    ),
    "exfat.sector-size": RefusalText(
        "the volume claims sectors of 2 to the power of {found} bytes, which exFAT does not know",
        _FORMAT_AGAIN,
    ),
    "exfat.cluster-size": RefusalText(
        "the volume claims clusters of 2 to the power of {found} sectors, more than exFAT knows",
        _FORMAT_AGAIN,
    ),
    "exfat.fat-count": RefusalText(
        "the volume claims {found} file allocation tables, and exFAT has one or two", _FORMAT_AGAIN
    ),
    "exfat.fat-place": RefusalText(
        "the volume claims a file allocation table from sector {found} on, where none can stand",
        _FORMAT_AGAIN,
    ),
    "exfat.small-fat": RefusalText(
        "the volume's file allocation table has {found} bytes, but its clusters need {needed}",
        _FORMAT_AGAIN,
    ),
    "exfat.no-cluster": RefusalText("the exFAT volume claims no room for any file", _FORMAT_AGAIN),
    "exfat.too-many-clusters": RefusalText(
        "the exFAT volume claims {found} clusters, more than cardprep reads",
        "Keep a copy if its content matters, then format the card with larger clusters or prepare another one.",
    ),
    "exfat.no-room": RefusalText(
        "the exFAT volume claims {found} clusters, but has room for {room}", _FORMAT_AGAIN
    ),
    "exfat.root-cluster": RefusalText(
        "the exFAT volume claims its root folder in cluster {found}, which it has not",
        _FORMAT_AGAIN,
    ),
    "exfat.bitmap-length": RefusalText(
        "the allocation bitmap has {got} bytes, but the clusters need {needed}", _FORMAT_AGAIN
    ),
    "exfat.upcase-length": RefusalText(
        "the up-case table has {got} bytes, which no such table has", _FORMAT_AGAIN
    ),
    "exfat.upcase-too-long": RefusalText(
        "the up-case table goes on behind the last character that there is", _FORMAT_AGAIN
    ),
}

EXFAT_FINDINGS: Mapping[str, FindingText] = {
    "boot-copy-used": FindingText(
        "the boot sector cannot be right ({reason}); the volume was read by its copy in sector {sector}",
        "Some systems go by the copy too, and some refuse the card.",
        _CARE,
    ),
    "bitmap-odd": FindingText(
        "the allocation bitmap is not as it should be ({what}: {found})",
        "Systems use it to find free room; a wrong one can make them overwrite files.",
        _CARE,
    ),
    "upcase-odd": FindingText(
        "the up-case table is not as it should be ({what}: {found})",
        "Systems find files by it; with a wrong one some find a file and some do not, or refuse the card.",
        _CARE,
    ),
    "clusters-marked-free": FindingText(
        "{found} clusters {what} are marked as free ({path})",
        "The next file that is put on the card may be written over them.",
        _CARE,
    ),
    "entry-damaged": FindingText(
        "an entry of {path} is not as it should be: {what}",
        "Systems may not show the file, or show another size or content; files may be missing beside it.",
        _COPY_OFF,
    ),
    "never-written": FindingText(
        "{path} has {size} bytes, of which only the first {room} were ever written",
        "Behind them systems show zeros, whatever stands on the card; a copy was broken off, or a program keeps room.",
        "Prepare the card again from the shelf; a file of the owner is left as it is.",
    ),
}

EXFAT_WORDS: Mapping[str, str] = {
    "boot-checksum": "the checksum does not hold of the boot area that begins at sector",
    "extended": "its mark is missing at the end of sector",
    "revision": "version of the format, in hexadecimal digits",
    "volume-size": "fewer bytes than exFAT allows",
    "cluster-count": "its number of clusters is not what it has room for",
    "active-fat": "it says that a second FAT is in use, and has none",
    "percent": "its share in use, in percent",
    "bitmap-count": "the volume has not as many of them as of FATs",
    "bitmap-size": "its length does not fit the clusters",
    "bitmap-short": "it ends before the last cluster, in bytes",
    "bitmap-number": "none belongs to the FAT in use",
    "upcase-count": "the volume has not just one of them",
    "upcase-size": "it claims more bytes than it has",
    "upcase-checksum": "its checksum does not hold",
    "upcase-content": "it cannot be such a table, in bytes",
    "upcase-first-128": "its first 128 characters are not as the standard fixes them, in bytes",
    "marked-file": "in which it lies",
    "marked-tables": "of the root folder or of the volume's own tables",
    "set-checksum": "its checksum does not hold",
    "entry-name": "its name is none that every system can know it by",
    "name-hash": "the sum over its name is wrong, so that some systems do not find it",
    "stream-flags": "it says that it can have no place on the card",
    "valid-length": "its written length does not fit its size",
    "label-odd": "a label that is too long, or twice there, or not in the root",
    "system-entry": "a table of the volume that can be in the root only",
    "entry-set": "entries of a file that do not belong together",
    "orphan-entry": "entries of a file without the first one",
    "unknown-entry": "an entry of a kind that is not known",
}
