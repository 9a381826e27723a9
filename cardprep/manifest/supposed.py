"""Read the tables of a manifest that tell what a file of no image is supposed to be.

Such a rule names what a file looks like: names, where the data of an Intel HEX or
S-record file go, first bytes. It proves nothing, and what it says is shown as supposed.
"""

from __future__ import annotations

import re

from cardprep.manifest import trade
from cardprep.manifest.mistakes import cut
from cardprep.manifest.model import AddressRange, SupposedFacts
from cardprep.manifest.tables import Table

# Every file of a card is held against every entry of every rule.
RULES_LIMIT = 64
ENTRIES_LIMIT = 16

_RANGE = re.compile(r"([0-9A-Fa-f]{1,8})-([0-9A-Fa-f]{1,8})")
# One byte says next to nothing; more than 32 are kept of no file.
_BEGINNING = re.compile(r"(?:[0-9A-Fa-f]{2}){2,32}")
_WILD = frozenset("*?[]")


def read_supposed(table: Table, types: trade.Types) -> SupposedFacts:
    """Return what one ``[[supposed]]`` says; it must name at least one thing to look at."""
    facts = SupposedFacts(
        type=trade.image_type(table, "type", types),
        models=table.texts("models", required=True),
        names=_names(table),
        addresses=_addresses(table),
        begins=_begins(table),
    )
    if not {"names", "addresses", "begins"} & set(table.values):
        table.wrong("names", "manifest.supposed-empty")
    table.done()
    return facts


def _names(table: Table) -> tuple[str, ...]:
    pairs = table.listed("names", str, limit=ENTRIES_LIMIT)
    for path, name in pairs:
        right = trade.can_be_on_a_card(name, trade.RESERVED_IN_PATTERNS) if name else False
        # A pattern without a letter of its own would fit any file.
        if not right or not any(sign.isalnum() for sign in set(name) - _WILD):
            table.mistakes.add(path, "manifest.name-pattern", found=cut(name))
    return table.different(pairs)


def _addresses(table: Table) -> tuple[AddressRange, ...]:
    found = []
    for path, value in table.listed("addresses", str, limit=ENTRIES_LIMIT):
        parts = _RANGE.fullmatch(value)
        low, high = (int(parts[1], 16), int(parts[2], 16)) if parts else (1, 0)
        if low > high:
            table.mistakes.add(path, "manifest.addresses", found=cut(value))
        else:
            found.append((path, AddressRange(low=low, high=high)))
    return table.different(found)


def _begins(table: Table) -> tuple[str, ...]:
    found = []
    for path, value in table.listed("begins", str, limit=ENTRIES_LIMIT):
        if _BEGINNING.fullmatch(value):
            found.append((path, value.lower()))
        else:
            table.mistakes.add(path, "manifest.begins", found=cut(value))
    return table.different(found)
