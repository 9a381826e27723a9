"""The words of the trade as values: image types, versions, sizes, names.

Sizes are bytes everywhere; the binary prefixes of IEC 80000-13 (KiB, MiB, GiB)
are used for what software computes and the decimal ones (MB, GB) for what
stands printed on a card.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from cardprep.errors import BadValueError

KIB = 1024
MIB = 1024 * KIB
GIB = 1024 * MIB

SECTOR = 512
CHUNK = 64 * KIB

# Letters, marks and symbols that a screen shows as nothing: fillers, joiners,
# variation selectors and the empty Braille cell (Unicode, Default_Ignorable_Code_Point).
_INVISIBLE = frozenset(
    {
        *(0x034F, 0x115F, 0x1160, 0x17B4, 0x17B5, 0x2800, 0x3164, 0xFFA0),
        *range(0x180B, 0x1810),
        *range(0xFE00, 0xFE10),
        *range(0xE0100, 0xE01F0),
    }
)

_PLAIN = re.compile(r"[ -\[\]-~]*")
_WORD = re.compile(r"[a-z][a-z0-9]*(?:[ -][a-z0-9]+)*")
_CODE = re.compile(r"[A-Z0-9]{4}")
_VERSION = re.compile(r"[0-9A-Za-z][0-9A-Za-z.+_-]{0,31}")
_DOTTED = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9})*")


@dataclass(frozen=True, slots=True, order=True)
class ImageType:
    """What part of a unit an image replaces.

    word  lower-case words, as read by a person ("chart data")
    code  four capital letters or digits, as it stands in a volume label ("CHRT")
    """

    word: str
    code: str

    def __post_init__(self) -> None:
        """Refuse a word or code that could not be printed on a label."""
        if len(self.word) > 24 or not _WORD.fullmatch(self.word):
            raise BadValueError("image-type.word", found=spelled_out(self.word))
        if not _CODE.fullmatch(self.code):
            raise BadValueError("image-type.code", found=spelled_out(self.code))


BOOTLOADER = ImageType("bootloader", "BOOT")
APPLICATION = ImageType("application", "APPL")
CONFIGURATION = ImageType("configuration", "CONF")
CHART_DATA = ImageType("chart data", "CHRT")
USUAL_TYPES = (BOOTLOADER, APPLICATION, CONFIGURATION, CHART_DATA)


@dataclass(frozen=True, slots=True)
class Version:
    """A version as the maker writes it; order is a matter of VersionOrder."""

    text: str

    def __post_init__(self) -> None:
        """Refuse a text that is no version."""
        if not _VERSION.fullmatch(self.text):
            raise BadValueError("version", found=spelled_out(self.text))

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class VersionOrder:
    """Which of two versions is the newer one.

    Dotted numbers by default: each number is compared as a number, so that
    2.9 < 2.31, and missing numbers count as zero. A maker who counts otherwise
    has a list, oldest first; then only versions on the list can be compared.
    """

    listed: tuple[str, ...] = ()

    def key(self, version: Version) -> tuple[int, ...]:
        """Return a sort key, or raise BadValueError for a version that has no place."""
        if self.listed:
            if version.text not in self.listed:
                raise BadValueError("version.not-listed", found=version.text)
            return (self.listed.index(version.text),)
        if not _DOTTED.fullmatch(version.text):
            raise BadValueError("version.not-dotted", found=version.text)
        numbers = [int(number) for number in version.text.split(".")]
        while len(numbers) > 1 and numbers[-1] == 0:
            numbers.pop()
        return tuple(numbers)

    def at_least(self, version: Version, wanted: Version) -> bool:
        """Return whether `version` is `wanted` or newer."""
        return self.key(version) >= self.key(wanted)

    def same(self, one: Version, other: Version) -> bool:
        """Return whether two spellings stand for one version."""
        return one == other or self.key(one) == self.key(other)


def size_in_words(size: int) -> str:
    """Return a size as a person reads it: exact below 10 KiB, else three digits or so."""
    if size < 10 * KIB:
        return f"{size} bytes"
    for unit, name in ((KIB, "KiB"), (MIB, "MiB")):
        # What would be rounded up to 1024 is one of the next unit.
        if size < unit * (KIB - 0.05):
            return f"{size / unit:.1f} {name}"
    return f"{size / GIB:.1f} GiB"


def largest_with_room(printed: int) -> int:
    """Return how many bytes a card may have on which this size is printed.

    Cards are sold by decimal units, and the limit of a slot is one of binary ones:
    what is printed as 32 GB may hold up to 32 GiB.
    """
    return printed * GIB // 10**9


def size_as_printed(size: int) -> str:
    """Return a size as it stands on cards, in decimal units and never rounded up."""
    for unit, name in ((10**9, "GB"), (10**6, "MB")):
        if size >= unit:
            whole, rest = divmod(size, unit)
            tenth = rest * 10 // unit
            return f"{whole}.{tenth} {name}" if tenth else f"{whole} {name}"
    return f"{size} bytes"


def spelled_out(text: str) -> str:
    r"""Return `text` so that it can do no harm on a terminal, in HTML text or in a log.

    Control, format (bidirectional marks among them), surrogate, private and
    unassigned characters, line and paragraph separators, every space but U+0020
    and letters that show as nothing become \xHH, \uHHHH or \UHHHHHHHH; a
    backslash becomes two.
    """
    # Nearly every name is plain, and a hostile card can hold very many.
    if _PLAIN.fullmatch(text):
        return text
    return "".join(_spelled(character) for character in text)


def _spelled(character: str) -> str:
    if character == "\\":
        return "\\\\"
    category = unicodedata.category(character)
    point = ord(character)
    if character == " " or (category[0] not in "CZ" and point not in _INVISIBLE):
        return character
    if point < 0x100:
        return f"\\x{point:02x}"
    return f"\\u{point:04x}" if point < 0x10000 else f"\\U{point:08x}"
