"""Change the text of a manifest and leave the shop's remarks and layout alone.

A table is added as lines of its own after the last one of its kind, and every
byte that was there stays. What comes out is read again: it is returned only if
it says what it said before and the new thing besides.

It takes bytes and returns bytes, and writes no file.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date

from cardprep.errors import ManifestTextError
from cardprep.manifest import spelling
from cardprep.manifest.model import DisplayFacts, ImageFacts, Manifest, ModelFacts, SupposedFacts
from cardprep.manifest.places import Places, find_places
from cardprep.manifest.text import FILE, parse
from cardprep.terms import ImageType
from cardprep.texts.new_manifest import NEW_MANIFEST

_SERIAL = re.compile(r"""(\s*(?:serial|"serial"|'serial')\s*=\s*)[0-9A-Za-z_+]+""")
_LIST_CHECKED = re.compile(
    r"""(\s*(?:list_checked|"list_checked"|'list_checked')\s*=\s*)[0-9]{4}-[0-9]{2}-[0-9]{2}"""
)
_PREVIOUS = re.compile(
    r"""(\s*(?:previous|"previous"|'previous')\s*=\s*)(?:"[0-9a-f]{64}"|'[0-9a-f]{64}')"""
)


def new_text(shop: str) -> bytes:
    """Return the text of a manifest without any image, with remarks on how to write one.

    Raises ManifestTextError if `shop` cannot be the name of a shop.
    """
    text = _encoded(NEW_MANIFEST.format(shop=spelling.spelled_text(shop)))
    parse(text)
    return text


def add_image(data: bytes, image: ImageFacts, *, file: str = FILE) -> bytes:
    """Return the text with an ``[[image]]`` more.

    Raises ManifestTextError for mistakes that were in the text, or that come
    with the new table, such as a model that is not there.
    """
    values = spelling.image_values(image)
    return _add(data, "image", values, lambda old: replace(old, images=(*old.images, image)), file)


def add_model(data: bytes, model: ModelFacts, *, file: str = FILE) -> bytes:
    """Return the text with a ``[[model]]`` more; raises as `add_image` does."""
    values = spelling.model_values(model)
    return _add(data, "model", values, lambda old: replace(old, models=(*old.models, model)), file)


def add_display(data: bytes, display: DisplayFacts, *, file: str = FILE) -> bytes:
    """Return the text with a ``[[display]]`` more; raises as `add_image` does."""
    values = spelling.display_values(display)
    return _add(
        data, "display", values, lambda old: replace(old, displays=(*old.displays, display)), file
    )


def add_image_type(data: bytes, image_type: ImageType, *, file: str = FILE) -> bytes:
    """Return the text with an ``[[image_type]]`` more; raises as `add_image` does."""
    values = spelling.image_type_values(image_type)
    return _add(
        data,
        "image_type",
        values,
        lambda old: replace(old, image_types=(*old.image_types, image_type)),
        file,
    )


def add_supposed(data: bytes, rule: SupposedFacts, *, file: str = FILE) -> bytes:
    """Return the text with a ``[[supposed]]`` more; raises as `add_image` does."""
    values = spelling.supposed_values(rule)
    return _add(
        data, "supposed", values, lambda old: replace(old, supposed=(*old.supposed, rule)), file
    )


def set_serial(data: bytes, serial: int, previous: str | None, *, file: str = FILE) -> bytes:
    """Return the text with another serial, and the digest of the text before it.

    previous  sha256 of the signed text before, None for the first
    """
    before = parse(data, file=file)
    lines, line_end, places = _lines(data)
    at, old = places.line(("serial",)) - 1, places.line(("previous",)) - 1
    if not _SERIAL.match(lines[at]):
        raise ManifestTextError("manifest.edit-line", file=file, key="serial")
    if before.previous is not None and not _PREVIOUS.match(lines[old]):
        raise ManifestTextError("manifest.edit-line", file=file, key="previous")
    lines[at] = _SERIAL.sub(rf"\g<1>{serial}", lines[at], count=1)
    if before.previous is None and previous is not None:
        lines.insert(at + 1, f'previous = "{previous}"{line_end}')
    elif before.previous is not None and previous is None:
        del lines[old]
    elif previous is not None:
        lines[old] = _PREVIOUS.sub(rf'\g<1>"{previous}"', lines[old], count=1)
    wanted = replace(before, serial=serial, previous=previous)
    return _checked(lines, wanted, file, "serial")


def set_list_checked(data: bytes, sha256: str, day: date, *, file: str = FILE) -> bytes:
    """Return the text with the day on which the maker's list was last looked at, for one image.

    Raises ManifestTextError if its line cannot be changed without touching others.
    """
    before = parse(data, file=file)
    number = next(n for n, image in enumerate(before.images) if image.sha256 == sha256)
    image = before.images[number]
    lines, line_end, places = _lines(data)
    key = "list_checked" if image.list_checked is not None else "sha256"
    at = places.line(("image", number, key)) - 1
    line = f"list_checked = {day.isoformat()}"
    if image.list_checked is None:
        lines.insert(at + 1, line + line_end)
    elif not _LIST_CHECKED.match(lines[at]):
        raise ManifestTextError("manifest.edit-line", file=file, key="list_checked")
    else:
        lines[at] = _LIST_CHECKED.sub(rf"\g<1>{day.isoformat()}", lines[at], count=1)
    images = list(before.images)
    images[number] = replace(image, list_checked=day)
    return _checked(lines, replace(before, images=tuple(images)), file, "list_checked")


def _add(
    data: bytes,
    name: str,
    values: dict[str, object],
    with_it: Callable[[Manifest], Manifest],
    file: str,
) -> bytes:
    wanted = with_it(parse(data, file=file))
    lines, line_end, places = _lines(data)
    if name in places.ends and not lines[places.line((name,)) - 1].lstrip().startswith("[["):
        raise ManifestTextError("manifest.edit-heading", file=file, key=name)
    if not lines[-1]:
        del lines[-1]
    table = spelling.spelled_table(name, values).strip("\n").split("\n")
    at = places.ends.get(name, len(lines))
    lines[at:at] = [line + line_end for line in ("", *table)]
    return _checked([*lines, ""], wanted, file, name)


def _lines(data: bytes) -> tuple[list[str], str, Places]:
    """Return the lines, what besides a line feed ends the first one, and the places."""
    text = data.decode()
    lines = text.split("\n")
    line_end = "\r" if lines[0].endswith("\r") else ""
    return lines, line_end, find_places(text.replace("\r\n", "\n"))


def _checked(lines: list[str], wanted: Manifest, file: str, key: str) -> bytes:
    data = _encoded("\n".join(lines))
    if parse(data, file=file) != wanted:
        raise ManifestTextError("manifest.edit-other", file=file, key=key)
    return data


def _encoded(text: str) -> bytes:
    # What is not valid Unicode gets through to the reader, which names the place.
    return text.encode(errors="surrogatepass")
