"""The card readers as lines for a terminal, and as one object for ``--json``."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from cardprep.canonical import Json
from cardprep.medium.readers import Reader
from cardprep.medium.registers import CardIdentification
from cardprep.paper.fold import folded
from cardprep.terms import size_in_words, spelled_out
from cardprep.texts.catalogue import screen

_INDENT = " " * 4


def readers_lines(
    readers: Sequence[Reader], cards: Sequence[Reader], *, was_told: bool, width: int
) -> list[str]:
    """Return all readers, and what can be done next.

    cards     those with a card that may be named to another command
    was_told  whether the system could be asked which readers there are
    width     columns of the terminal
    """
    lines = [line for reader in readers for line in _reader(reader)]
    if cards:
        # What would have to be spelled out cannot be typed as it is shown.
        name = shlex.quote(spelled_out(cards[0].path))
        return folded([*lines, screen("readers.next", path=name)], width)
    slug = "readers.no-card" if readers else "readers.none"
    if not was_told:
        slug = "readers.not-told"
    return folded([*lines, screen(slug)], width)


def _reader(reader: Reader) -> list[str]:
    kind = screen(f"readers.{reader.kind.value}")
    path = spelled_out(reader.path)
    if reader.size is None:
        first = screen("readers.unsized", path=path, kind=kind)
    elif reader.size == 0:
        first = screen("readers.empty", path=path, kind=kind)
    else:
        size = size_in_words(reader.size)
        first = screen("readers.card", path=path, kind=kind, size=size, bytes=reader.size)
    return [first, *(_INDENT + line for line in _about(reader))]


def _about(reader: Reader) -> list[str]:
    lines = []
    if reader.model:
        lines.append(screen("readers.model", model=reader.model))
    if reader.serial is not None:
        lines.append(screen("readers.serial", serial=reader.serial))
    if reader.card is not None and reader.cid is not None:
        card = reader.card
        lines.append(
            screen(
                "readers.register",
                product=spelled_out(card.product),
                serial=f"{card.serial:08x}",
                made=card.made,
            )
        )
        lines.append(screen("readers.cid", cid=reader.cid))
    if reader.write_protected:
        lines.append(screen("readers.protected"))
    lines += [screen("readers.mounted", where=spelled_out(where)) for where in reader.mounted]
    if reader.holds_system:
        lines.append(screen("readers.system"))
    return lines


def readers_object(
    readers: Sequence[Reader], cards: Sequence[Reader], *, was_told: bool
) -> dict[str, Json]:
    """Return all readers with everything that is known of them."""
    return {
        "readers": [_object(reader, offered=reader in cards) for reader in readers],
        "was_told": was_told,
    }


def _object(reader: Reader, *, offered: bool) -> dict[str, Json]:
    return {
        "path": spelled_out(reader.path),
        "kind": reader.kind.value,
        "has_card": reader.has_card,
        "offered": offered,
        "size": reader.size,
        "model": reader.model,
        "usb_serial": reader.serial,
        "cid": reader.cid,
        "card": None if reader.card is None else _card(reader.card),
        "write_protected": reader.write_protected,
        "disk_sequence": reader.disk_sequence,
        "mounted": [spelled_out(where) for where in reader.mounted],
        "holds_system": reader.holds_system,
    }


def _card(card: CardIdentification) -> dict[str, Json]:
    return {
        "maker": card.maker,
        "owner": spelled_out(card.owner),
        "product": spelled_out(card.product),
        "revision": card.revision,
        "serial": card.serial,
        "made": card.made,
        "checksum_holds": card.checksum_holds,
    }
