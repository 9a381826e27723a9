"""Read the tables of a manifest that tell of images.

Source of the usual values (what an image leaves its unit in, how many minutes
its step takes): common practice, no published source.
"""

from __future__ import annotations

from datetime import date
from enum import StrEnum

from cardprep.manifest import trade
from cardprep.manifest.devices import MODEL_NAME_LIMIT
from cardprep.manifest.model import (
    Carried,
    HandedOver,
    ImageFacts,
    KnownBy,
    Leaves,
    MakersChecksum,
    Minutes,
    Need,
    OwnDownload,
    SupportTicket,
)
from cardprep.manifest.tables import FIRST_DAY, Table
from cardprep.terms import BOOTLOADER, ImageType

MINUTES_LIMIT = 24 * 60

_BOOTLOADER_MINUTES = Minutes(low=1, high=2)
_OTHER_MINUTES = Minutes(low=3, high=10)


class HowKnown(StrEnum):
    """The word by which a manifest says how an image is known."""

    MAKERS_CHECKSUM = "maker's checksum"
    OWN_DOWNLOAD = "own download"
    SUPPORT_TICKET = "support ticket"
    HANDED_OVER = "handed over"


def usual_leaves(kind: ImageType) -> Leaves:
    """Return the state in which an image of this type leaves its unit as a rule."""
    return Leaves.WAITING if kind == BOOTLOADER else Leaves.RUNNING


def usual_minutes(kind: ImageType) -> Minutes:
    """Return how long the step of an image of this type takes as a rule."""
    return _BOOTLOADER_MINUTES if kind == BOOTLOADER else _OTHER_MINUTES


def read_image(table: Table, types: trade.Types) -> ImageFacts:
    """Return what one ``[[image]]`` says."""
    kind = trade.image_type(table, "type", types)
    before = len(table.mistakes)
    size = table.integer("size", 1, trade.SIZE_LIMIT)
    known_size = size if len(table.mistakes) == before else None
    facts = ImageFacts(
        file=trade.file_name(table, "file"),
        models=table.texts("models", required=True),
        type=kind,
        version=trade.version(table, "version"),
        released=table.moment("released"),
        size=size,
        sha256=trade.hex_digits(table, "sha256", 64),
        xxh3_128=trade.hex_digits(table, "xxh3_128", 32),
        chunks=trade.chunks(table, "chunks", known_size),
        container=trade.container(table, "container"),
        needs=tuple(_need(inner, types) for inner in table.tables("needs")),
        from_versions=trade.versions(table, "from_versions"),
        carries=tuple(_carried(inner, types, kind) for inner in table.tables("carries")),
        leaves=table.word("leaves", Leaves, default=usual_leaves(kind)),
        minutes=_minutes(table, kind),
        known_by=_known_by(table),
        list_checked=table.day("list_checked", required=False),
        withdrawn=table.text("withdrawn", required=False) or None,
        from_empty=table.truth("from_empty", default=True),
        erases=trade.image_types(table, "erases", types, default=()),
        runs_with=trade.versions(table, "runs_with"),
    )
    table.done()
    return facts


def _need(table: Table, types: trade.Types) -> Need:
    need = Need(
        model=table.text("model", required=False, limit=MODEL_NAME_LIMIT) or None,
        type=trade.image_type(table, "type", types),
        at_least=trade.version(table, "at_least"),
    )
    table.done()
    return need


def _carried(table: Table, types: trade.Types, kind: ImageType) -> Carried:
    carried = Carried(
        model=table.text("model", limit=MODEL_NAME_LIMIT),
        type=trade.image_type(table, "type", types, default=kind),
        version=trade.version(table, "version"),
        mode=table.text("mode"),
    )
    table.done()
    return carried


def _minutes(table: Table, kind: ImageType) -> Minutes:
    values = table.listed("minutes", int)
    if not values:
        return usual_minutes(kind)
    before = len(table.mistakes)
    numbers = [table.within(path, value, 0, MINUTES_LIMIT) for path, value in values]
    if len(table.mistakes) == before and (len(numbers) != 2 or numbers[0] > numbers[1]):
        table.wrong("minutes", "manifest.minutes")
    return Minutes(low=numbers[0], high=numbers[-1])


def _known_by(table: Table) -> KnownBy:
    inner = table.table("known_by", required=True)
    before = len(table.mistakes)
    how = inner.word("how", HowKnown) if inner is not None else None
    if inner is None or how is None or len(table.mistakes) > before:
        # Which keys it should have depends on the word.
        return HandedOver(by="", on=FIRST_DAY)
    known_by = _as_told(inner, how)
    inner.done()
    return known_by


def _as_told(table: Table, how: HowKnown) -> KnownBy:
    if how is HowKnown.MAKERS_CHECKSUM:
        return MakersChecksum(address=table.text("address"), on=table.day("on", required=False))
    if how is HowKnown.OWN_DOWNLOAD:
        return OwnDownload(address=table.text("address"), on=_on(table))
    if how is HowKnown.SUPPORT_TICKET:
        return SupportTicket(ticket=table.text("ticket"), on=table.day("on", required=False))
    return HandedOver(by=table.text("by"), on=_on(table))


def _on(table: Table) -> date:
    return table.day("on") or FIRST_DAY
