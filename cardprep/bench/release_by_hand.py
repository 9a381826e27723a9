"""Overrule a finding in writing: a reason, an authority and a name, logged before it counts.

A release holds for one content: the paths, sizes and digests of all files of a
card. A card on which one byte of them differs is another card. Altered bytes
and an image for another model are never released.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from cardprep.bench.open import Bench
from cardprep.bench.records import RELEASED
from cardprep.canonical import Json, dumps
from cardprep.errors import BadValueError, ReleaseError
from cardprep.findings import KINDS
from cardprep.inspection.model import Inspection
from cardprep.job.door import Door
from cardprep.job.visit import require_line
from cardprep.rules.judge import Judgement
from cardprep.terms import spelled_out


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """Findings that a person overrules.

    slugs      of the findings
    reason     why the card may be used all the same
    authority  on whose word: a ticket, a letter, somebody of the maker's
    name       who answers for it
    record     its place in the log ("B12") and the time in UTC; "" before it is there
    """

    slugs: tuple[str, ...]
    reason: str
    authority: str
    name: str
    record: str = ""
    time: str = ""
    paths: tuple[str | None, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what could not be printed, and a release of nothing."""
        for text, what in (
            (self.reason, "reason"),
            (self.authority, "authority"),
            (self.name, "name"),
        ):
            require_line(text, what)
        if not self.slugs:
            raise BadValueError("release.no-finding")


def content_key(inspection: Inspection) -> str:
    """Return a name for what the files of a card are, 64 hexadecimal digits."""
    files: list[Json] = []
    for file in inspection.files:
        sha256 = None if file.digests is None else file.digests.sha256
        files.append([spelled_out("/".join(file.path)), file.size, sha256])
    return hashlib.sha256(dumps(files)).hexdigest()


def release_by_hand(
    bench: Bench,
    judgement: Judgement,
    key: str,
    place: tuple[str | None, int | None],
    release: Release,
) -> None:
    """Record a release; ReleaseError for what is not found on the card or never released."""
    rows: list[Json] = []
    for slug in release.slugs:
        if slug not in KINDS:
            raise ReleaseError("release.unknown", slug=spelled_out(slug[:40]))
        if not KINDS[slug].releasable:
            raise ReleaseError("release.never", slug=slug)
        found = [finding for finding in judgement.findings if finding.slug == slug]
        if not found:
            raise ReleaseError("release.not-found", slug=slug)
        rows += [{"slug": slug, "path": finding.path} for finding in found]
    body: dict[str, Json] = {
        "findings": rows,
        "reason": release.reason,
        "authority": release.authority,
        "name": release.name,
        "content": key,
        "job": place[0],
        "stage": place[1],
    }
    index = [("content", key)]
    if place[0] is not None:
        index.append(("job", place[0]))
    bench.record(RELEASED, body, index)


def releases_of(
    bench: Bench, key: str, place: tuple[str | None, int | None]
) -> tuple[Release, ...]:
    """Return what was released about this content in this place, oldest first."""
    found = []
    for record in bench.log.find("content", key):
        if record.kind != RELEASED or (record.body.get("job"), record.body.get("stage")) != place:
            continue
        body = {k: v for k, v in record.body.items() if k not in ("by", "tool")}
        door = Door(body, "release")
        rows = door.many("findings", _row)
        found.append(
            Release(
                slugs=tuple(slug for slug, _ in rows),
                paths=tuple(path for _, path in rows),
                reason=door.text("reason"),
                authority=door.text("authority"),
                name=door.text("name"),
                record=f"{record.bench}-{record.sequence}",
                time=record.time,
            )
        )
    return tuple(found)


def released(releases: Iterable[Release]) -> frozenset[tuple[str, str | None]]:
    """Return slug and path of each finding that was released."""
    return frozenset(
        row for release in releases for row in zip(release.slugs, release.paths, strict=True)
    )


def _row(record: Json, where: str) -> tuple[str, str | None]:
    door = Door(record, where)
    row = door.text("slug"), door.optional_text("path")
    door.close()
    return row
