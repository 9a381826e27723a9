"""What the undamaged volumes of tests/volume/conftest.py hold, and how a damaged one is read."""

from __future__ import annotations

import pytest

from cardprep.volume.card import CardContent, read_card
from tests.cards import KIB, MIB, FatImage, content, paths

OPTIONS = {12: ("-F", "12"), 16: ("-F", "16", "-s", "1"), 32: ("-F", "32", "-s", "1")}
SIZES = {12: 1440 * KIB, 16: 8 * MIB, 32: 34 * MIB}
BITS = [pytest.param(bits, id=f"FAT{bits}") for bits in (12, 16, 32)]

FILES = {
    "ONE.BIN": b"1" * 5000,
    "TWO.BIN": b"2" * 7000,
    "EMPTY.BIN": b"",
    "SUB/INNER.BIN": b"i" * 3000,
    "SUB/DEEPER/last (1).bin": b"d" * 100,
}
FOLDERS = {"SUB", "SUB/DEEPER"}

# The eleven characters of their folder entries.
ONE = "ONE     BIN"
TWO = "TWO     BIN"
EMPTY = "EMPTY   BIN"
SUB = "SUB        "
DEEPER = "DEEPER     "
INNER = "INNER   BIN"


def read(image: FatImage) -> CardContent:
    card = read_card(image.medium())
    assert len(card.volumes) == 1
    return card


def said(card: CardContent) -> set[tuple[str, str | None]]:
    """Return slug and path of all findings but the one that all these cards have."""
    found = {(finding.slug, finding.path) for finding in card.findings}
    return found - {("no-partition-table", None)}


def whole(image: FatImage, card: CardContent) -> set[str]:
    """Return the files that are whole, and see that these have their content."""
    found = set()
    for shown, entry in paths(card).items():
        if entry.is_whole and not entry.is_folder:
            assert content(image.medium(), entry) == FILES[shown], shown
            found.add(shown)
    return found
