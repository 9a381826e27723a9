"""Read the text of a manifest: TOML in, a whole and checked Manifest out.

This is the only door from bytes to a Manifest. Whatever the bytes are, it
returns values without a mistake or raises ManifestTextError, in bounded time.
It says nothing about whether the text may be believed; that is ``trust.py``.

Form: ``format``, ``serial``, ``previous`` and ``shop`` at the top, then tables
``[[image_type]]``, ``[[display]]``, ``[[model]]``, ``[[image]]`` and ``[[supposed]]``.

Source: TOML v1.0.0, read by Python's tomllib.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping

from cardprep.errors import BadValueError, ManifestTextError
from cardprep.manifest.devices import read_display, read_image_type, read_model
from cardprep.manifest.images import read_image
from cardprep.manifest.mistakes import Mistakes, cut
from cardprep.manifest.model import Manifest
from cardprep.manifest.places import (
    DEPTH_LIMIT,
    PARTS_LIMIT,
    PLAIN_LIMIT,
    VALUES_LIMIT,
    Places,
    find_places,
)
from cardprep.manifest.references import check_references
from cardprep.manifest.supposed import RULES_LIMIT, read_supposed
from cardprep.manifest.tables import Table
from cardprep.manifest.trade import hex_digits
from cardprep.terms import USUAL_TYPES, ImageType

FORMAT = 1
FILE = "manifest.toml"
# 17 characters for each 64 KiB of image: room for the digests of 30 GiB of releases.
SIZE_LIMIT = 8 * 1024 * 1024
SERIAL_LIMIT = 2**53 - 1
SHOP_NAME_LIMIT = 80
TYPES_LIMIT = 32
DISPLAYS_LIMIT = 256
MODELS_LIMIT = 1024
IMAGES_LIMIT = 10_000

_OVER = {
    "depth": "manifest.over-depth",
    "parts": "manifest.over-parts",
    "values": "manifest.over-values",
    "plain": "manifest.over-plain",
}
_OVER_LIMITS = {
    "depth": DEPTH_LIMIT,
    "parts": PARTS_LIMIT,
    "values": VALUES_LIMIT,
    "plain": PLAIN_LIMIT,
}
_BAD_TYPE = {
    "image-type.word": "manifest.image-type-word",
    "image-type.code": "manifest.image-type-code",
}
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_LINE_AND_COLUMN = re.compile(r"(.*) \(at line ([0-9]+), column ([0-9]+)\)", re.DOTALL)


def parse(data: bytes, *, file: str = FILE) -> Manifest:
    """Return the manifest that `data` spells.

    file  the name by which mistakes call it
    Raises ManifestTextError: the first mistake by line, with the number of all.
    """
    manifest, refusals = _read(data, file)
    if manifest is None:
        raise refusals[0]
    return manifest


def find_mistakes(data: bytes, *, file: str = FILE) -> tuple[ManifestTextError, ...]:
    """Return all mistakes of a text by line, none if it is a manifest."""
    return _read(data, file)[1]


def _read(data: bytes, file: str) -> tuple[Manifest | None, tuple[ManifestTextError, ...]]:
    """Return the manifest, or None and at least one mistake."""
    mistakes = Mistakes(file, Places({}))
    text = _decoded(data, mistakes)
    if text is None:
        return None, mistakes.refusals()
    # The reader does this replacement once itself, so it gets the text as it is.
    places = find_places(text.replace("\r\n", "\n"))
    mistakes = Mistakes(file, places)
    values = _values(text, places, mistakes)
    manifest = _manifest(Table(values, (), mistakes)) if values is not None else None
    if manifest is not None and not len(mistakes):
        check_references(manifest, mistakes)
    return (None if len(mistakes) else manifest), mistakes.refusals()


def _decoded(data: bytes, mistakes: Mistakes) -> str | None:
    if len(data) > SIZE_LIMIT:
        mistakes.add_at(1, "-", "manifest.too-large", size=len(data), limit=SIZE_LIMIT)
        return None
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        mistakes.add_at(line, "-", "manifest.not-utf-8", found=f"{data[error.start]:02x}")
        return None
    if text.startswith("\ufeff"):
        mistakes.add_at(1, "-", "manifest.byte-order-mark")
        return None
    if control := _CONTROL.search(text):
        line = text.count("\n", 0, control.start()) + 1
        mistakes.add_at(line, "-", "manifest.control", found=cut(control.group()))
        return None
    return text


def _values(text: str, places: Places, mistakes: Mistakes) -> Mapping[str, object] | None:
    if places.over is not None:
        limit = _OVER_LIMITS[places.over]
        mistakes.add_at(places.over_line, "-", _OVER[places.over], limit=limit)
        return None
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        found = _LINE_AND_COLUMN.fullmatch(str(error))
        end = text.rstrip().count("\n") + 1
        said, line, column = found.groups() if found else (str(error), end, 1)
        mistakes.add_at(
            int(line), "-", "manifest.not-toml", said=cut(said.split(" (")[0]), column=int(column)
        )
        return None


def _manifest(table: Table) -> Manifest | None:
    found = table.integer("format", 0, SERIAL_LIMIT)
    if len(table.mistakes):
        return None
    if found != FORMAT:
        # All the rest may mean something else in another format.
        table.wrong("format", "manifest.format", found=found, right=FORMAT)
        return None
    serial = table.integer("serial", 1, SERIAL_LIMIT)
    right = not len(table.mistakes)
    previous = hex_digits(table, "previous", 64, required=right and serial > 1)
    if right and previous and serial == 1:
        table.wrong("previous", "manifest.previous-of-first")
    shop = table.text("shop", limit=SHOP_NAME_LIMIT)
    added = _added_types(table)
    types = {known.word: known for known in USUAL_TYPES} | added
    displays = table.tables("display", limit=DISPLAYS_LIMIT)
    models = table.tables("model", limit=MODELS_LIMIT)
    images = table.tables("image", limit=IMAGES_LIMIT)
    supposed = table.tables("supposed", limit=RULES_LIMIT)
    table.done()
    return Manifest(
        format=found,
        serial=serial,
        previous=previous or None,
        shop=shop,
        image_types=tuple(added.values()),
        displays=tuple(read_display(inner, types) for inner in displays),
        models=tuple(read_model(inner, types) for inner in models),
        images=tuple(read_image(inner, types) for inner in images),
        supposed=tuple(read_supposed(inner, types) for inner in supposed),
    )


def _added_types(table: Table) -> dict[str, ImageType]:
    """Return the image types that the shop adds, none of them a usual one, by word."""
    added: dict[str, ImageType] = {}
    for place, inner in enumerate(table.tables("image_type", limit=TYPES_LIMIT)):
        word, code = read_image_type(inner)
        known = (*USUAL_TYPES, *added.values())
        # Its word is known even if its code is wrong; one slip is named once.
        stand_in = ImageType(f"type {place}", f"{place:04d}")
        try:
            new = ImageType(word, code)
        except BadValueError as error:
            key = error.reason.removeprefix("image-type.")
            found = cut(word if key == "word" else code)
            if word and code:
                inner.wrong(key, _BAD_TYPE[error.reason], found=found)
            added.setdefault(word, stand_in)
            continue
        if new.word in {old.word for old in known}:
            inner.wrong("word", "manifest.type-twice", found=new.word)
        elif new.code in {old.code for old in known}:
            inner.wrong("code", "manifest.type-twice", found=new.code)
            added[word] = stand_in
        else:
            added[word] = new
    return added
