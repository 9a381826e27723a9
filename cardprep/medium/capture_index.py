"""The index of a capture: what was captured, which blocks there are, what could not be read.

Text in, values out, and back: canonical JSON with one line end. Everything is bounded
before it is used; a value that cannot be right raises CaptureBrokenError. What the keys
mean is told in ``capture.py``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

from cardprep.canonical import Json, dumps, loads
from cardprep.errors import CanonicalError, CaptureBrokenError
from cardprep.medium.protocol import Identity, MediumKind
from cardprep.terms import MIB, SECTOR

FORMAT = "cardprep-capture-1"
BLOCK_SMALLEST, BLOCK_LARGEST = MIB, 16 * MIB
BLOCKS_MOST = 128 * 1024
CARD_LARGEST = BLOCK_LARGEST * BLOCKS_MOST
STRETCHES_MOST = 20_000
INDEX_LARGEST = 16 * MIB
# Each row or object opens a bracket and has at most four values; more of them cannot be
# right, and reading them would take memory without bound.
_BRACKETS_MOST = BLOCKS_MOST + STRETCHES_MOST + 8
_COMMAS_MOST = 4 * _BRACKETS_MOST
_SECTORS = (512, 1024, 2048, 4096)
_TEXT_MOST = 4096
_HEX64, _HEX8 = re.compile("[0-9a-f]{64}"), re.compile("[0-9a-f]{8}")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", re.ASCII)
_CAUSE = re.compile(r"[A-Za-z0-9 ]{1,40}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Blocks in a row that are the same.

    packed  bytes that each takes in the capture
    crc     CRC-32 of these bytes
    sha256  of the block itself
    """

    count: int
    packed: int
    crc: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of the card that could not be read.

    cause  what the system said, or "short" where the reader gave too few bytes
    tried  whether it was tried sector by sector
    """

    offset: int
    length: int
    cause: str
    tried: bool

    @property
    def end(self) -> int:
        """The first byte behind it."""
        return self.offset + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class Index:
    """The index of a capture.

    card    as it was met; its size and sector size are known
    direct  whether it was read past the system's cache
    """

    card: Identity
    direct: bool
    begun: str
    ended: str
    tool: str
    block_size: int
    crc: int
    sha256: str
    runs: tuple[Run, ...]
    unreadable: tuple[Stretch, ...]

    @property
    def size(self) -> int:
        """Bytes of the card."""
        return self.card.size or 0

    @property
    def packed(self) -> int:
        """Bytes that all blocks take in the capture."""
        return sum(run.count * run.packed for run in self.runs)

    def to_bytes(self) -> bytes:
        """Return the index as it stands in a capture."""
        card = self.card
        value: dict[str, Json] = {
            "format": FORMAT,
            "tool": self.tool,
            "begun": self.begun,
            "ended": self.ended,
            "card": {
                "name": card.name,
                "kind": card.kind.value,
                "size": card.size,
                "sector_size": card.sector_size,
                "disk_sequence": card.disk_sequence,
                "cid": card.cid,
                "serial": card.serial,
                "past_the_cache": self.direct,
            },
            "block_size": self.block_size,
            "crc32": f"{self.crc:08x}",
            "sha256": self.sha256,
            "blocks": [[r.count, r.packed, f"{r.crc:08x}", r.sha256] for r in self.runs],
            "unreadable": [
                {name.name: getattr(part, name.name) for name in fields(Stretch)}
                for part in self.unreadable
            ],
        }
        return dumps(value) + b"\n"


def block_size_for(size: int) -> int:
    """Return the size of the blocks in which a card of this size is captured."""
    block_size = BLOCK_SMALLEST
    while block_size < BLOCK_LARGEST and size > block_size * BLOCKS_MOST // 2:
        block_size *= 2
    return block_size


def most_packed(length: int) -> int:
    """Return how many bytes a block of `length` takes at most: deflate adds next to nothing."""
    return length + length // 256 + 64


def parse_index(data: bytes, name: str) -> Index:
    """Return the index that stands in a capture, or raise CaptureBrokenError.

    name  of the capture, for the refusal
    """
    try:
        _require_bounded(data)
        return _index(_Object(loads(data[:-1])))
    except (CanonicalError, _WrongError) as error:
        raise CaptureBrokenError("capture.index", name=name) from error


def _require_bounded(data: bytes) -> None:
    """Refuse what is no index by its look, before it is taken apart."""
    brackets = data.count(b"[") + data.count(b"{")
    if brackets > _BRACKETS_MOST or data.count(b",") > _COMMAS_MOST or data[-1:] != b"\n":
        raise _WrongError


class _WrongError(Exception):
    """Something in an index cannot be right; never leaves this file."""


class _Object:
    """A JSON object of which every key is asked for, and no other is there."""

    def __init__(self, value: Json) -> None:
        if not isinstance(value, Mapping):
            raise _WrongError
        self._left = dict(value)

    def take(self, key: str) -> Json:
        if key not in self._left:
            raise _WrongError
        return self._left.pop(key)

    def number(self, key: str, least: int, most: int) -> int:
        return _number(self.take(key), least, most)

    def text(self, key: str, pattern: re.Pattern[str] | None = None) -> str:
        return _text(self.take(key), pattern)

    def text_or_none(self, key: str) -> str | None:
        value = self.take(key)
        return None if value is None else _text(value)

    def flag(self, key: str) -> bool:
        value = self.take(key)
        if not isinstance(value, bool):
            raise _WrongError
        return value

    def rows(self, key: str, most: int) -> Sequence[Json]:
        value = self.take(key)
        if not isinstance(value, list) or len(value) > most:
            raise _WrongError
        return value

    def end(self) -> None:
        if self._left:
            raise _WrongError


def _number(value: Json, least: int, most: int) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        raise _WrongError
    return value


def _text(value: Json, pattern: re.Pattern[str] | None = None) -> str:
    if not isinstance(value, str) or len(value) > _TEXT_MOST:
        raise _WrongError
    if pattern is not None and not pattern.fullmatch(value):
        raise _WrongError
    return value


def _index(found: _Object) -> Index:
    if found.text("format") != FORMAT:
        raise _WrongError
    about = _Object(found.take("card"))
    card, direct = _card(about), about.flag("past_the_cache")
    about.end()
    size = card.size or 0
    block_size = found.number("block_size", BLOCK_SMALLEST, BLOCK_LARGEST)
    if block_size & (block_size - 1) or -(-size // block_size) > BLOCKS_MOST:
        raise _WrongError
    index = Index(
        card=card,
        direct=direct,
        begun=found.text("begun", _TIME),
        ended=found.text("ended", _TIME),
        tool=found.text("tool"),
        block_size=block_size,
        crc=int(found.text("crc32", _HEX8), 16),
        sha256=found.text("sha256", _HEX64),
        runs=_runs(found.rows("blocks", BLOCKS_MOST), size, block_size),
        unreadable=_stretches(found.rows("unreadable", STRETCHES_MOST), size),
    )
    found.end()
    return index


def _card(about: _Object) -> Identity:
    kind = about.text("kind")
    if kind not in {one.value for one in MediumKind if one is not MediumKind.FOLDER}:
        raise _WrongError
    sequence = about.take("disk_sequence")
    card = Identity(
        name=about.text("name"),
        kind=MediumKind(kind),
        size=about.number("size", 1, CARD_LARGEST),
        sector_size=about.number("sector_size", SECTOR, _SECTORS[-1]),
        disk_sequence=None if sequence is None else _number(sequence, 0, 2**53),
        cid=about.text_or_none("cid"),
        serial=about.text_or_none("serial"),
    )
    if card.sector_size not in _SECTORS:
        raise _WrongError
    return card


def _runs(rows: Sequence[Json], size: int, block_size: int) -> tuple[Run, ...]:
    runs = []
    left = size
    for row in rows:
        if not isinstance(row, list) or len(row) != 4 or left <= 0:
            raise _WrongError
        length = min(left, block_size)
        # Only the last block may be shorter, and it stands alone.
        count = _number(row[0], 1, max(left // block_size, 1))
        packed = _number(row[1], 1, most_packed(length))
        crc = int(_text(row[2], _HEX8), 16)
        runs.append(Run(count=count, packed=packed, crc=crc, sha256=_text(row[3], _HEX64)))
        left -= count * length
    if left:
        raise _WrongError
    return tuple(runs)


def _stretches(rows: Sequence[Json], size: int) -> tuple[Stretch, ...]:
    stretches: list[Stretch] = []
    behind = 0
    for row in rows:
        found = _Object(row)
        offset = found.number("offset", behind, size - 1)
        stretch = Stretch(
            offset=offset,
            length=found.number("length", 1, size - offset),
            cause=found.text("cause", _CAUSE),
            tried=found.flag("tried"),
        )
        found.end()
        stretches.append(stretch)
        behind = stretch.end
    return tuple(stretches)
