"""What a person says of an update file, and how it compares with what the manifest says."""

from __future__ import annotations

import hashlib
import re
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from cardprep.canonical import Json
from cardprep.digests import FileDigests
from cardprep.errors import BadValueError, IntakeRefusedError
from cardprep.images.report import ContainerReport
from cardprep.manifest.images import usual_leaves, usual_minutes
from cardprep.manifest.model import (
    Carried,
    HandedOver,
    ImageFacts,
    KnownBy,
    Leaves,
    MakersChecksum,
    Manifest,
    Minutes,
    Need,
    OwnDownload,
    SupportTicket,
)
from cardprep.manifest.tables import nearest
from cardprep.terms import ImageType, Version, spelled_out


class Checksum(Protocol):
    """A checksum in the making, as hashlib has them."""

    def update(self, data: bytes, /) -> None:
        """Take the next bytes."""
        ...

    def hexdigest(self) -> str:
        """Return it in lower-case hexadecimal digits."""
        ...


class _Crc32:
    """CRC-32 as ZIP and gzip have it (ISO-HDLC), in the manner of hashlib."""

    def __init__(self) -> None:
        self._value = 0

    def update(self, data: bytes, /) -> None:
        self._value = zlib.crc32(data, self._value)

    def hexdigest(self) -> str:
        return f"{self._value:08x}"


# MD5 and SHA-1 are what makers publish; they show damage and no ill will.
_ALGORITHMS: dict[str, tuple[int, Callable[[], Checksum]]] = {
    "sha256": (64, hashlib.sha256),
    "sha512": (128, hashlib.sha512),
    "sha1": (40, lambda: hashlib.sha1(usedforsecurity=False)),
    "md5": (32, lambda: hashlib.md5(usedforsecurity=False)),
    "crc32": (8, _Crc32),
}
WEAK = frozenset(("sha1", "md5", "crc32"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedSum:
    """A checksum that the maker published.

    algorithm    one of sha256, sha512, sha1, md5, crc32
    hexadecimal  lower case
    """

    algorithm: str
    hexadecimal: str

    @classmethod
    def parse(cls, text: str) -> PublishedSum:
        """Read 'md5 0123...', or the digits alone where their number tells the algorithm."""
        algorithm, _, digits = text.strip().rpartition(" ")
        digits = digits.strip().lower()
        by_length = {length: name for name, (length, _) in _ALGORITHMS.items()}
        name = algorithm.strip().lower().replace("-", "") or by_length.get(len(digits), "")
        length = _ALGORITHMS[name][0] if name in _ALGORITHMS else -1
        if len(digits) != length or not re.fullmatch("[0-9a-f]+", digits):
            raise BadValueError("words.checksum", found=spelled_out(text[:80]))
        return cls(algorithm=name, hexadecimal=digits)

    def start(self) -> Checksum:
        """Return the checksum before the first byte."""
        return _ALGORITHMS[self.algorithm][1]()

    def holds(self, computed: Checksum) -> bool:
        """Return whether a computed checksum is the published one."""
        return computed.hexdigest() == self.hexadecimal


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeFacts:
    """What the person says of a file; the rest is computed. None is not told.

    models     as the manifest names them
    type       word of an image type
    released   UTC
    needs      pairs of image type word and version, on the same unit
    starts     versions that it may start from; none named, any
    carried    code for companions inside it
    runs_with  further versions of the companion with which it runs
    erases     words of the image types that it empties
    published  the checksum that the maker published
    """

    models: tuple[str, ...]
    type: str
    version: Version
    released: datetime
    known_by: KnownBy
    needs: tuple[tuple[str, Version], ...] | None = None
    starts: tuple[Version, ...] | None = None
    carried: tuple[Carried, ...] | None = None
    runs_with: tuple[Version, ...] | None = None
    erases: tuple[str, ...] | None = None
    leaves: Leaves | None = None
    minutes: Minutes | None = None
    published: PublishedSum | None = None
    list_checked: date | None = None
    name: str | None = None


def image_of(
    name: str,
    facts: IntakeFacts,
    manifest: Manifest,
    digests: FileDigests,
    container: ContainerReport,
) -> ImageFacts:
    """Return the image that a file becomes; IntakeRefusedError for words without a meaning."""
    for model in facts.models:
        if manifest.model(model) is None:
            names = tuple(entry.name for entry in manifest.models)
            known = ", ".join(names) or "-"
            found, meant = spelled_out(model[:40]), nearest(model, names) or known
            raise IntakeRefusedError("intake.model", found=found, known=known, meant=meant)
    image_type = _type(manifest, facts.type)
    needs = tuple(
        Need(model=None, type=_type(manifest, type_word), at_least=version)
        for type_word, version in facts.needs or ()
    )
    return ImageFacts(
        file=name,
        models=facts.models,
        type=image_type,
        version=facts.version,
        released=facts.released,
        size=digests.size,
        sha256=digests.sha256,
        xxh3_128=digests.xxh3_128,
        chunks=digests.chunks,
        container=container.format,
        needs=needs,
        from_versions=facts.starts or (),
        carries=facts.carried or (),
        leaves=facts.leaves or usual_leaves(image_type),
        minutes=facts.minutes or usual_minutes(image_type),
        known_by=facts.known_by,
        list_checked=facts.list_checked,
        withdrawn=None,
        erases=tuple(_type(manifest, word) for word in facts.erases or ()),
        runs_with=facts.runs_with or (),
    )


def _type(manifest: Manifest, type_word: str) -> ImageType:
    found = manifest.image_type(type_word)
    if found is None:
        known = ", ".join(one.word for one in manifest.all_types)
        raise IntakeRefusedError("intake.type", found=spelled_out(type_word[:40]), known=known)
    return found


def differences(known: ImageFacts, facts: IntakeFacts) -> list[str]:
    """Return what was told otherwise than the manifest has it, as "key: there, here"."""
    needs = tuple((need.type.word, need.at_least) for need in known.needs)
    pairs: tuple[tuple[str, object, object], ...] = (
        ("file", known.file.casefold(), None if facts.name is None else facts.name.casefold()),
        ("models", sorted(known.models), sorted(facts.models)),
        ("type", known.type.word, facts.type),
        ("version", known.version, facts.version),
        ("released", known.released, facts.released),
        ("needs", needs, facts.needs),
        ("from_versions", known.from_versions, facts.starts),
        ("carries", known.carries, facts.carried),
        ("runs_with", known.runs_with, facts.runs_with),
        ("erases", tuple(one.word for one in known.erases), facts.erases),
        ("leaves", known.leaves, facts.leaves),
        ("minutes", known.minutes, facts.minutes),
        ("known_by", known.known_by, facts.known_by),
    )
    return [
        f"{key}: {_shown(there)}, {_shown(here)}"
        for key, there, here in pairs
        if here is not None and here != there
    ]


def _shown(value: object) -> str:
    """Return a fact as a person reads it beside another."""
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d}"
    if isinstance(value, Minutes):
        return f"{value.low}-{value.high}"
    if isinstance(value, MakersChecksum | OwnDownload | HandedOver | SupportTicket):
        told = how_known(value)
        return " ".join(str(part) for part in told.values() if part is not None)
    if isinstance(value, Carried):
        return f"{value.model} {value.type.word} {value.version}"
    if isinstance(value, tuple | list):
        return " and ".join(_shown(part) for part in value) or "-"
    return str(value)


def how_known(known_by: KnownBy) -> dict[str, Json]:
    """Return how a file is known, as it goes into a record."""
    if isinstance(known_by, MakersChecksum | OwnDownload):
        kind = "makers-checksum" if isinstance(known_by, MakersChecksum) else "own-download"
        on = known_by.on
        return {"how": kind, "address": known_by.address, "on": None if on is None else str(on)}
    if isinstance(known_by, HandedOver):
        return {"how": "handed-over", "by": known_by.by, "on": str(known_by.on)}
    on = known_by.on
    return {
        "how": "support-ticket",
        "ticket": known_by.ticket,
        "on": None if on is None else str(on),
    }
