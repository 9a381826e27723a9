"""Spell facts as TOML tables, so that reading them gives the same facts again.

What is as usual or not there is left out. The TOML library that keeps layout is
slow to load, so it is imported where a text is made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, time
from enum import StrEnum
from typing import TYPE_CHECKING, assert_never

from cardprep.manifest.images import HowKnown
from cardprep.manifest.model import (
    Carried,
    DisplayFacts,
    HandedOver,
    ImageFacts,
    KnownBy,
    MakersChecksum,
    ModelFacts,
    Need,
    OwnDownload,
    SupportTicket,
    SupposedFacts,
)
from cardprep.terms import ImageType, VersionOrder

if TYPE_CHECKING:
    from tomlkit.items import Array, InlineTable, String

# The sizes that stand on cards and in settings; the decimal ones first, as printed on a card.
_UNITS = (("TB", 10**12), ("GB", 10**9), ("MB", 10**6), ("GiB", 2**30), ("MiB", 2**20))
_CHUNKS_ON_A_LINE = 4


def spelled_table(name: str, values: Mapping[str, object]) -> str:
    """Return a ``[[name]]`` with these values; None and what is empty is left out."""
    import tomlkit

    table = tomlkit.table()
    for key, value in values.items():
        if value not in (None, "", (), {}):
            table[key] = _plain(value)
    tables = tomlkit.aot()
    tables.append(table)
    document = tomlkit.document()
    document.append(name, tables)
    return document.as_string()


def spelled_text(value: str) -> str:
    """Return `value` as a TOML string on one line."""
    import tomlkit

    return tomlkit.string(value).as_string()


def image_type_values(image_type: ImageType) -> dict[str, object]:
    """Return keys and values of an ``[[image_type]]``."""
    return {"word": image_type.word, "code": image_type.code}


def display_values(display: DisplayFacts) -> dict[str, object]:
    """Return keys and values of a ``[[display]]``."""
    return {
        "model": display.model,
        "file_systems": display.file_systems,
        "partition_table": display.partition_table,
        "volume_size": _size(display.volume_size),
        "largest_card": _size(display.largest_card),
        "types_per_card": display.types_per_card,
        "folder": display.folder,
        # A list, which is kept when empty: left out it would mean the usual.
        "announces": list(_words(display.announces)),
        "writes": display.writes,
        "ticks": display.ticks or None,
        "told_to_read": display.told_to_read,
        "shows_done": display.shows_done,
        "shows_failed": display.shows_failed,
    }


def model_values(model: ModelFacts) -> dict[str, object]:
    """Return keys and values of a ``[[model]]``."""
    companion = model.companion
    return {
        "name": model.name,
        "kind": model.kind,
        "role": model.role,
        "types": _words(model.types),
        "companion": companion
        and _inline({"model": companion.model, "presence": companion.presence}),
        "versions": _by_type(model.versions),
        "seen_off": model.seen_off,
        "seen_in_mode": model.seen_in_mode,
        "read_at": _by_type(model.read_at),
        "note_before": model.note_before,
        "read_back_after": model.read_back_after,
        "entered_once": model.entered_once,
    }


def image_values(image: ImageFacts) -> dict[str, object]:
    """Return keys and values of an ``[[image]]``."""
    return {
        "file": image.file,
        "models": image.models,
        "type": image.type.word,
        "version": image.version.text,
        "released": _moment(image.released),
        "size": image.size,
        "sha256": image.sha256,
        "xxh3_128": image.xxh3_128,
        "chunks": _chunks(image.chunks),
        "container": image.container,
        "needs": _many(map(_need, image.needs)),
        "from_versions": tuple(version.text for version in image.from_versions),
        "from_empty": None if image.from_empty else False,
        "erases": _words(image.erases),
        "carries": _many(map(_carried, image.carries)),
        "runs_with": tuple(version.text for version in image.runs_with),
        "leaves": image.leaves,
        "minutes": (image.minutes.low, image.minutes.high),
        "known_by": _inline(_known_by(image.known_by)),
        "list_checked": image.list_checked,
        "withdrawn": image.withdrawn,
    }


def supposed_values(rule: SupposedFacts) -> dict[str, object]:
    """Return keys and values of a ``[[supposed]]``."""
    return {
        "type": rule.type.word,
        "models": rule.models,
        "names": rule.names,
        "addresses": tuple(f"{known.low:08X}-{known.high:08X}" for known in rule.addresses),
        "begins": rule.begins,
    }


def _need(need: Need) -> dict[str, object]:
    return {"model": need.model, "type": need.type.word, "at_least": need.at_least.text}


def _carried(carried: Carried) -> dict[str, object]:
    return {
        "model": carried.model,
        "type": carried.type.word,
        "version": carried.version.text,
        "mode": carried.mode,
    }


def _known_by(known_by: KnownBy) -> dict[str, object]:
    match known_by:
        case MakersChecksum():
            how, what = HowKnown.MAKERS_CHECKSUM, {"address": known_by.address}
        case OwnDownload():
            how, what = HowKnown.OWN_DOWNLOAD, {"address": known_by.address}
        case SupportTicket():
            how, what = HowKnown.SUPPORT_TICKET, {"ticket": known_by.ticket}
        case HandedOver():
            how, what = HowKnown.HANDED_OVER, {"by": known_by.by}
        case _:
            assert_never(known_by)
    return {"how": how, **what, "on": known_by.on}


def _words(types: Iterable[ImageType]) -> tuple[str, ...]:
    return tuple(image_type.word for image_type in types)


def _by_type(facts: Mapping[ImageType, VersionOrder] | Mapping[ImageType, str]) -> object:
    values = {
        image_type.word: fact.listed if isinstance(fact, VersionOrder) else fact
        for image_type, fact in facts.items()
    }
    return _inline(values) if values else None


def _size(size: int | None) -> object:
    for unit, length in _UNITS:
        if size is not None and size % length == 0 and size // length < 10**6:
            return f"{size // length} {unit}"
    return size


def _moment(moment: datetime) -> object:
    return moment.date() if moment.time() == time() else moment


def _chunks(chunks: tuple[str, ...]) -> String | str:
    from tomlkit.items import String, StringType, Trivia

    lines = [
        " ".join(chunks[at : at + _CHUNKS_ON_A_LINE])
        for at in range(0, len(chunks), _CHUNKS_ON_A_LINE)
    ]
    if len(lines) < 2:
        return "".join(lines)
    text = "\n".join([*lines, ""])
    # TOML leaves out a line end directly behind the opening quotes.
    return String(StringType.MLL, text, f"\n{text}", Trivia())


def _inline(values: Mapping[str, object]) -> InlineTable:
    import tomlkit

    table = tomlkit.inline_table()
    table.update({key: _plain(value) for key, value in values.items() if value is not None})
    return table


def _many(values: Iterable[Mapping[str, object]]) -> Array | None:
    import tomlkit

    array = tomlkit.array()
    array.extend(_inline(value) for value in values)
    return array.multiline(len(array) > 1) if array else None


def _plain(value: object) -> object:
    """Return words and tuples as the text and list that TOML knows."""
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value.value if isinstance(value, StrEnum) else value
