"""Read the tables of a manifest that tell of displays and of models.

Source of the usual values (one image type per card, an application is
announced and a bootloader is not, a card with a partition table): common
practice, no published source.
"""

from __future__ import annotations

from cardprep.manifest import trade
from cardprep.manifest.model import (
    Companion,
    DisplayFacts,
    FileSystem,
    ModelFacts,
    PartitionTable,
    Presence,
    UnitKind,
)
from cardprep.manifest.tables import Table
from cardprep.terms import APPLICATION, ImageType, VersionOrder

# Longer ones do not fit on a label.
MODEL_NAME_LIMIT = 40
TYPES_PER_CARD_LIMIT = 16


def read_image_type(table: Table) -> tuple[str, str]:
    """Return word and code of an image type that the shop adds, not yet checked."""
    word, code = table.text("word"), table.text("code")
    table.done()
    return word, code


def read_display(table: Table, types: trade.Types) -> DisplayFacts:
    """Return what one ``[[display]]`` says."""
    facts = DisplayFacts(
        model=table.text("model", limit=MODEL_NAME_LIMIT),
        file_systems=table.words("file_systems", FileSystem),
        partition_table=table.word("partition_table", PartitionTable, default=PartitionTable.MBR),
        volume_size=trade.size_in_bytes(table, "volume_size"),
        largest_card=trade.size_in_bytes(table, "largest_card"),
        types_per_card=table.integer("types_per_card", 1, TYPES_PER_CARD_LIMIT, default=1),
        folder=trade.folder(table, "folder"),
        announces=trade.image_types(table, "announces", types, default=(APPLICATION,)),
        writes=trade.patterns(table, "writes"),
        ticks=table.truth("ticks", default=False),
        told_to_read=table.text("told_to_read", required=False) or None,
        shows_done=table.text("shows_done", required=False) or None,
        shows_failed=table.text("shows_failed", required=False) or None,
    )
    volume, card = facts.volume_size, facts.largest_card
    if volume is not None and card is not None and volume > card:
        table.wrong("volume_size", "manifest.volume-over-card", found=volume, right=card)
    table.done()
    return facts


def read_model(table: Table, types: trade.Types) -> ModelFacts:
    """Return what one ``[[model]]`` says."""
    facts = ModelFacts(
        name=table.text("name", limit=MODEL_NAME_LIMIT),
        kind=table.word("kind", UnitKind),
        role=table.text("role"),
        companion=_companion(table),
        types=trade.image_types(table, "types", types),
        versions=_version_orders(table, types),
        seen_off=table.text("seen_off", required=False) or None,
        seen_in_mode=table.text("seen_in_mode", required=False) or None,
        read_at=_texts_by_type(table, "read_at", types),
        note_before=table.texts("note_before"),
        read_back_after=table.texts("read_back_after"),
        entered_once=table.texts("entered_once"),
    )
    table.done()
    return facts


def _companion(table: Table) -> Companion | None:
    inner = table.table("companion")
    if inner is None:
        return None
    companion = Companion(
        model=inner.text("model", limit=MODEL_NAME_LIMIT),
        presence=inner.word("presence", Presence),
    )
    inner.done()
    return companion


def _version_orders(table: Table, types: trade.Types) -> dict[ImageType, VersionOrder]:
    inner, words = trade.by_type(table, "versions", types)
    if inner is None:
        return {}
    listed = {known: trade.versions(inner, word) for word, known in words.items()}
    return {
        known: VersionOrder(tuple(version.text for version in versions))
        for known, versions in listed.items()
    }


def _texts_by_type(table: Table, key: str, types: trade.Types) -> dict[ImageType, str]:
    inner, words = trade.by_type(table, key, types)
    return {known: inner.text(word) for word, known in words.items()} if inner else {}
