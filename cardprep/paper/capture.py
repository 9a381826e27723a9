"""A capture as lines for a terminal, and as one object for ``--json``."""

from __future__ import annotations

import shlex
from dataclasses import asdict

from cardprep.canonical import Json
from cardprep.medium.capture_index import Index
from cardprep.paper.fold import folded
from cardprep.terms import size_in_words, spelled_out
from cardprep.texts.catalogue import screen, word

_STRETCHES_SHOWN = 20


def capture_lines(
    index: Index, path: str, length: int, sha256: str, *, made: bool, reason: str | None, width: int
) -> list[str]:
    """Return what was captured, and how anybody checks it.

    path      of the capture, with its length and sha256
    made      whether it was just made; else it was read whole and found in order
    reason    why the shop log does not tell of it, or None if it does
    width     columns of the terminal
    """
    shown = spelled_out(path)
    card = index.card
    lines = [
        screen("capture.done" if made else "capture.whole", path=shown),
        screen("capture.file", size=size_in_words(length), bytes=length),
        screen("capture.digest", sha256=sha256),
        screen("capture.card", name=spelled_out(card.name), kind=card.kind.value),
        screen("capture.size", size=size_in_words(index.size), bytes=index.size),
        screen("capture.digest", sha256=index.sha256),
        screen("capture.when", begun=index.begun, ended=index.ended, tool=spelled_out(index.tool)),
    ]
    if card.cid is not None:
        lines.append("  " + screen("readers.cid", cid=spelled_out(card.cid)))
    if card.serial is not None:
        lines.append("  " + screen("readers.serial", serial=spelled_out(card.serial)))
    lines += _unreadable(index)
    if made:
        slug = "capture.recorded" if reason is None else "capture.not-recorded"
        lines.append(screen(slug, reason=word(reason or "")))
    name = shlex.quote(shown)
    commands = ("capture.read", "capture.unpack", "capture.sums")
    return folded(lines, width) + [screen(slug, path=name) for slug in commands]


def _unreadable(index: Index) -> list[str]:
    if not index.unreadable:
        return [screen("capture.all-read")]
    lost = sum(stretch.length for stretch in index.unreadable)
    lines = [screen("capture.lost", bytes=lost, count=len(index.unreadable))]
    for stretch in index.unreadable[:_STRETCHES_SHOWN]:
        slug = "capture.stretch" if stretch.tried else "capture.stretch-untried"
        last, cause = stretch.end - 1, spelled_out(stretch.cause)
        lines.append(screen(slug, first=stretch.offset, last=last, cause=cause))
    more = len(index.unreadable) - _STRETCHES_SHOWN
    if more > 0:
        lines.append(screen("capture.more", count=more))
    return lines


def capture_object(
    index: Index, path: str, length: int, sha256: str, *, recorded: bool
) -> dict[str, Json]:
    """Return the same with every stretch that could not be read."""
    card = index.card
    return {
        "capture": {"path": spelled_out(path), "length": length, "sha256": sha256},
        "card": {
            "name": spelled_out(card.name),
            "kind": card.kind.value,
            "size": card.size,
            "sector_size": card.sector_size,
            "disk_sequence": card.disk_sequence,
            "cid": None if card.cid is None else spelled_out(card.cid),
            "serial": None if card.serial is None else spelled_out(card.serial),
            "past_the_cache": index.direct,
            "sha256": index.sha256,
        },
        "begun": index.begun,
        "ended": index.ended,
        "tool": spelled_out(index.tool),
        "block_size": index.block_size,
        "unreadable": [asdict(stretch) for stretch in index.unreadable],
        "unreadable_bytes": sum(stretch.length for stretch in index.unreadable),
        "recorded": recorded,
    }
