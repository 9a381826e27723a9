"""A card that was written, as the log tells of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cardprep.canonical import Json


@dataclass(frozen=True, slots=True)
class WrittenFile:
    """One file that was put on a card; type and version are "" in the oldest records."""

    path: str
    size: int
    sha256: str
    type: str
    version: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenCard:
    """One write of one card.

    number   as marked on the card
    begun    place of its intent in the log, and ended of its outcome or None
    time     of the intent, UTC
    outcome  "done", "differs", "failed", or None for a write that never ended
    verdict  of the read-back, or None
    sha256   over the first `length` bytes, as announced
    target   where the card was, as it was named then
    """

    number: int
    job: str
    stage: int
    label: str
    begun: int
    ended: int | None
    time: str
    outcome: str | None
    verdict: str | None
    length: int
    sha256: str
    target: str
    files: tuple[WrittenFile, ...]


def written_card(
    sequence: int,
    time: str,
    begun: Mapping[str, Json],
    ended: tuple[int, Mapping[str, Json]] | None,
) -> WrittenCard:
    """Return the card of an intent and its outcome; what is missing in them is empty."""
    end: Mapping[str, Json] = {} if ended is None else ended[1]
    files = begun.get("files")
    rows = files if isinstance(files, Sequence) and not isinstance(files, str) else ()
    return WrittenCard(
        number=_number(begun.get("card")),
        job=_text(begun.get("job")),
        stage=_number(begun.get("stage")),
        label=_text(begun.get("label")),
        begun=sequence,
        ended=None if ended is None else ended[0],
        time=time,
        outcome=_text(end.get("outcome")) or None,
        verdict=_text(end.get("verdict")) or None,
        length=_number(begun.get("length")),
        sha256=_text(begun.get("sha256")),
        target=_text(begun.get("target")),
        files=tuple(_file(row) for row in rows if isinstance(row, Mapping)),
    )


def _file(row: Mapping[str, Json]) -> WrittenFile:
    return WrittenFile(
        path=_text(row.get("path")),
        size=_number(row.get("size")),
        sha256=_text(row.get("sha256")),
        type=_text(row.get("type")),
        version=_text(row.get("version")),
    )


def _text(value: Json) -> str:
    return value if isinstance(value, str) else ""


def _number(value: Json) -> int:
    return value if isinstance(value, int) and not isinstance(value, bool) else 0
