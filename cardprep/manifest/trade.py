"""Take values of the trade out of a table: types, versions, sizes, digests, names.

Every function notes its mistakes in the table and returns a stand-in then, as
``tables.py`` explains. File names, folders and patterns are held to what a card
can carry: VFAT long names of 255 UTF-16 units, none of the characters that FAT
reserves, no space or dot at the end.

Source: FAT: General Overview of On-Disk Format, v1.03, "Long Directory Entries".
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from cardprep.digests import chunk_count
from cardprep.errors import BadValueError
from cardprep.manifest.mistakes import cut, prints_as_it_is
from cardprep.manifest.places import Path
from cardprep.manifest.tables import LIST_LIMIT, Table
from cardprep.terms import ImageType, Version

Types = Mapping[str, ImageType]

SIZE_LIMIT = 2**53 - 1
NAME_LIMIT = 255
FOLDER_DEPTH_LIMIT = 8
# A maker's list of versions can be longer than what a person lists elsewhere.
VERSIONS_LIMIT = 256

_SIZE = re.compile(r"([1-9][0-9]{0,5}) (MB|GB|TB|MiB|GiB|TiB)")
_UNITS = {"MB": 10**6, "GB": 10**9, "TB": 10**12, "MiB": 2**20, "GiB": 2**30, "TiB": 2**40}
_SECTOR = 512
_RESERVED_IN_NAMES = frozenset('"*/:<>?\\|')
RESERVED_IN_PATTERNS = _RESERVED_IN_NAMES - set("*?")
_HEX_DIGITS = frozenset("0123456789abcdef")
_CONTAINER = re.compile(r"[a-z][a-z0-9-]{0,31}")


def image_type(
    table: Table, key: str, types: Types, *, default: ImageType | None = None
) -> ImageType:
    """Return an image type by its word; required without a default."""
    value = table.take(key, str, required=default is None)
    fallback = default or next(iter(types.values()))
    if value is None:
        return fallback
    return _known_type(table, (*table.path, key), value, types) or fallback


def image_types(
    table: Table, key: str, types: Types, *, default: tuple[ImageType, ...] | None = None
) -> tuple[ImageType, ...]:
    """Return a list of different image types; required and not empty without a default."""
    if default is not None and key not in table.values:
        table.take(key, list, required=False)
        return default
    optional = default is not None
    values = table.listed(key, str, required=not optional, may_be_empty=optional)
    pairs = [(path, _known_type(table, path, value, types)) for path, value in values]
    return table.different([(path, known) for path, known in pairs if known is not None])


def by_type(table: Table, key: str, types: Types) -> tuple[Table | None, dict[str, ImageType]]:
    """Return an optional table whose keys are words of image types, and these."""
    inner = table.table(key)
    if inner is None:
        return None, {}
    pairs = {word: _known_type(table, (*inner.path, word), word, types) for word in inner.values}
    return inner, {word: known for word, known in pairs.items() if known is not None}


def version(table: Table, key: str) -> Version:
    """Return a required version."""
    value = table.take(key, str)
    found = _version(table, (*table.path, key), value) if value is not None else None
    return found or Version("0")


def versions(table: Table, key: str) -> tuple[Version, ...]:
    """Return an optional list of different versions."""
    values = table.listed(key, str, limit=VERSIONS_LIMIT)
    pairs = [(path, _version(table, path, value)) for path, value in values]
    return table.different([(path, found) for path, found in pairs if found is not None])


def hex_digits(table: Table, key: str, digits: int, *, required: bool = True) -> str:
    """Return a digest in lower-case hex, "" where there is none."""
    value = table.take(key, str, required=required)
    if value is not None and (len(value) != digits or not _is_hex(value)):
        table.wrong(key, "manifest.digest", found=cut(value), digits=digits)
    return value or ""


def chunks(table: Table, key: str, size: int | None) -> tuple[str, ...]:
    """Return the chunk digests of an image of `size` bytes, None if that is not known.

    They are one text of hex digits, 16 for each 64 KiB, in which spaces and
    line ends mean nothing.
    """
    value = table.take(key, str)
    if value is None:
        return ()
    joined = "".join(value.split())
    if not _is_hex(joined) or len(joined) % 16:
        table.wrong(key, "manifest.chunk-digits", found=len(joined))
    elif size is not None and len(joined) // 16 != chunk_count(size):
        found, right = len(joined) // 16, chunk_count(size)
        table.wrong(key, "manifest.chunk-count", found=found, right=right)
    return tuple(joined[at : at + 16] for at in range(0, len(joined), 16))


def size_in_bytes(table: Table, key: str) -> int | None:
    """Return an optional size in bytes, given as bytes or as "4 GB" or "512 MiB"."""
    value = table.values.get(key)
    if not isinstance(value, str):
        size = table.take(key, int, required=False)
        size = table.within((*table.path, key), size, _SECTOR, SIZE_LIMIT) if size else size
    else:
        found = _SIZE.fullmatch(table.take(key, str) or "")
        size = int(found[1]) * _UNITS[found[2]] if found else 0
    # Nothing on a card is smaller than a sector or holds half of one.
    if size is not None and (size % _SECTOR or not 0 < size <= SIZE_LIMIT):
        table.wrong(key, "manifest.size", found=cut(str(value)))
        return None
    return size


def file_name(table: Table, key: str) -> str:
    """Return a required file name that a card can carry."""
    value = table.text(key, limit=NAME_LIMIT)
    if value and not can_be_on_a_card(value):
        table.wrong(key, "manifest.file-name", found=cut(value))
    return value


def folder(table: Table, key: str) -> str:
    """Return an optional folder, parts joined by "/"; "" is the root of the card."""
    value = table.text(key, required=False)
    if value and not _all_parts(value, _RESERVED_IN_NAMES):
        table.wrong(key, "manifest.folder", found=cut(value))
    return value


def patterns(table: Table, key: str) -> tuple[str, ...]:
    """Return an optional list of patterns of paths; ``*``, ``?`` and ``[...]`` are wild."""
    found = table.texts(key)
    for place, pattern in enumerate(found):
        if not _all_parts(pattern, RESERVED_IN_PATTERNS):
            table.mistakes.add((*table.path, key, place), "manifest.pattern", found=cut(pattern))
    return found


def container(table: Table, key: str) -> str:
    """Return the slug of a container format, "opaque" where none is named."""
    value = table.take(key, str, required=False)
    if value is not None and not _CONTAINER.fullmatch(value):
        table.wrong(key, "manifest.container", found=cut(value))
    return value or "opaque"


def can_be_on_a_card(name: str, reserved: frozenset[str] = _RESERVED_IN_NAMES) -> bool:
    """Return whether a FAT or exFAT folder can hold a file of this name on every system."""
    return (
        0 < len(name.encode("utf-16-le", "surrogatepass")) // 2 <= NAME_LIMIT
        and prints_as_it_is(name)
        and not reserved & set(name)
        and name[0] != " "
        and name[-1] not in " ."
    )


def _all_parts(path: str, reserved: frozenset[str]) -> bool:
    parts = path.split("/")
    return len(parts) <= FOLDER_DEPTH_LIMIT and all(
        can_be_on_a_card(part, reserved) for part in parts
    )


def _known_type(table: Table, path: Path, value: str, types: Types) -> ImageType | None:
    known = types.get(value)
    if known is None:
        table.not_one_of(path, value, list(types)[:LIST_LIMIT])
    return known


def _version(table: Table, path: Path, value: str) -> Version | None:
    try:
        return Version(value)
    except BadValueError:
        table.mistakes.add(path, "manifest.version", found=cut(value))
        return None


def _is_hex(text: str) -> bool:
    return _HEX_DIGITS.issuperset(text)
