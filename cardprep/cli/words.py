"""Words of the command line and of a job file, read into values.

What cannot be read is a BadValueError that shows what would be right.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime

from cardprep.errors import BadValueError
from cardprep.job.outcome import Result
from cardprep.job.visit import (
    COMPANION_UNKNOWN,
    NO_COMPANION,
    Display,
    Found,
    Unit,
    require_line,
)
from cardprep.manifest.images import MINUTES_LIMIT
from cardprep.manifest.model import (
    Carried,
    HandedOver,
    KnownBy,
    Leaves,
    MakersChecksum,
    Minutes,
    OwnDownload,
    SupportTicket,
)
from cardprep.terms import USUAL_TYPES, ImageType, Version, spelled_out

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")
_MINUTES = re.compile(r"([0-9]{1,4})(?:-([0-9]{1,4}))?")
_UNKNOWN = "unknown"
_WAYS = ("makers-checksum", "own-download", "support-ticket", "handed-over")
UNIT_KEYS = ("model", "role", "serial", "handset", "found", "may fall", "displays")
VERSION_KINDS = ("handset has", "handset wants", "has", "wants")


def day(text: str) -> date:
    """Read YYYY-MM-DD."""
    try:
        if _DAY.fullmatch(text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise BadValueError("words.day", found=spelled_out(text[:40]))


def moment(text: str) -> datetime:
    """Read a day, or a time in UTC."""
    if not _MOMENT.fullmatch(text):
        found = day(text)
        return datetime(found.year, found.month, found.day, tzinfo=UTC)
    try:
        return datetime.fromisoformat(text)
    except ValueError as error:
        raise BadValueError("words.day", found=spelled_out(text[:40])) from error


def known_by(how: str, source: str | None, on: str | None) -> KnownBy:
    """Read how a file is known."""
    when = None if on is None else day(on)
    if source is not None:
        require_line(source, "source")
    if how not in _WAYS:
        raise BadValueError("words.known-by", found=spelled_out(how[:40]))
    if not source:
        raise BadValueError("words.known-by-source", found=how)
    if how == "makers-checksum":
        return MakersChecksum(address=source, on=when)
    if how == "support-ticket":
        return SupportTicket(ticket=source, on=when)
    if when is None:
        raise BadValueError("words.known-by-on", found=how)
    if how == "own-download":
        return OwnDownload(address=source, on=when)
    return HandedOver(by=source, on=when)


def needs(texts: list[str]) -> tuple[tuple[str, Version], ...]:
    """Read needs such as 'bootloader 3.10'."""
    found = []
    for text in texts:
        word, _, version = text.strip().rpartition(" ")
        if not word.strip():
            raise BadValueError("words.needs", found=spelled_out(text[:40]))
        found.append((word.strip(), Version(version)))
    return tuple(found)


def carried(texts: list[str]) -> tuple[Carried, ...]:
    """Read code for companions: model, type, version and the words of its mode."""
    return tuple(_carried(text) for text in texts)


def _carried(text: str) -> Carried:
    model, _, rest = " ".join(text.split()).partition(" ")
    for kind in USUAL_TYPES:
        version, _, mode = rest.removeprefix(f"{kind.word} ").partition(" ")
        if rest.startswith(f"{kind.word} ") and mode:
            require_line(model, "model")
            require_line(mode, "mode")
            return Carried(model=model, type=kind, version=Version(version), mode=mode)
    raise BadValueError("words.carries", found=spelled_out(text[:60]))


def leaves(text: str) -> Leaves:
    """Read the state after loading."""
    try:
        return Leaves(text)
    except ValueError as error:
        words = ", ".join(state.value for state in Leaves)
        raise BadValueError("words.leaves", found=spelled_out(text[:40]), known=words) from error


def minutes(text: str) -> Minutes:
    """Read '3-6' or '3'."""
    match = _MINUTES.fullmatch(text.strip())
    low, high = (int(match[1]), int(match[2] or match[1])) if match else (1, 0)
    if not low <= high <= MINUTES_LIMIT:
        raise BadValueError("words.minutes", found=spelled_out(text[:40]), most=MINUTES_LIMIT)
    return Minutes(low=low, high=high)


def unit(text: str) -> Unit:
    """Read 'model=OV-V40; role=main radio; handset=none; has application=4.17; wants ...'."""
    given: dict[str, dict[str, str]] = {"": {}, **{kind: {} for kind in VERSION_KINDS}}
    for part in filter(None, map(str.strip, text.split(";"))):
        key, _, value = (piece.strip() for piece in part.partition("="))
        kind, name = _unit_key(key)
        if not name or not value or (not kind and name not in UNIT_KEYS):
            raise BadValueError("words.unit", found=spelled_out(part[:60]))
        if name in given[kind]:
            raise BadValueError("words.twice", found=spelled_out(key[:40]))
        given[kind][name] = value
    plain = given[""]
    for key in ("model", "role"):
        if key not in plain:
            raise BadValueError("words.unit-lacks", key=key)
    return unit_told(plain, given)


def _unit_key(key: str) -> tuple[str, str]:
    """Return "has", "wants" or one of a handset, and an image type; or "" and a unit's own key."""
    for kind in VERSION_KINDS:
        if key.startswith(f"{kind} "):
            return kind, key[len(kind) :].strip()
    return "", key


def unit_told(plain: Mapping[str, str], given: Mapping[str, object]) -> Unit:
    """Return a unit of what was told of it: its own keys, and versions by their kind."""
    told, how = plain.get("handset"), plain.get("found")
    return Unit(
        model=plain["model"],
        role=plain["role"],
        serial=plain.get("serial"),
        companion=None if told is None else handset(told),
        versions=_versions(given.get("has", {})),
        wanted=_wishes(given.get("wants", {})),
        companion_versions=_versions(given.get("handset has", {})),
        companion_wanted=_wishes(given.get("handset wants", {})),
        found=Found.RUNNING if how is None else found_as(how),
        may_fall=tuple(_listed(plain.get("may fall", ""))),
        displays=tuple(_listed(plain.get("displays", ""))),
    )


def _listed(text: str) -> list[str]:
    return [part for part in map(str.strip, text.split(",")) if part]


def _wishes(value: object) -> dict[str, Version]:
    wanted = _versions(value)
    for kind, version in wanted.items():
        if version is None:
            raise BadValueError("words.wants-unknown", found=kind)
    return {kind: version for kind, version in wanted.items() if version is not None}


def found_as(text: str) -> Found:
    """Read how a unit is found."""
    try:
        return Found(text.strip().casefold())
    except ValueError as error:
        known = ", ".join(one.value for one in Found)
        raise BadValueError("words.found", found=spelled_out(text[:40]), known=known) from error


def _versions(value: object) -> dict[str, Version | None]:
    """Read versions by image type; the word "unknown" is None."""
    if not isinstance(value, Mapping):
        raise BadValueError("words.versions")
    found: dict[str, Version | None] = {}
    for kind, text in value.items():
        if not isinstance(kind, str) or not isinstance(text, str):
            raise BadValueError("words.versions")
        # The code is of no matter here; this refuses a word that no type can have.
        ImageType(kind, "NONE")
        found[kind] = version_or_unknown(text)
    return found


def handset(text: str) -> str:
    """Read which handset a radio has: a model, "none", or "unknown"."""
    word = text.strip()
    return word.casefold() if word.casefold() in (NO_COMPANION, COMPANION_UNKNOWN) else word


def version_or_unknown(text: str) -> Version | None:
    """Read a version; the word "unknown" is None."""
    return None if text.casefold() == _UNKNOWN else Version(text)


def seen(text: str) -> tuple[str, dict[str, Version]]:
    """Read 'main radio; application=4.30; bootloader=3.10': who showed which versions."""
    who, *parts = (part.strip() for part in text.split(";"))
    found: dict[str, Version] = {}
    for part in filter(None, parts):
        kind, _, version = (piece.strip() for piece in part.partition("="))
        if not kind or not version:
            raise BadValueError("words.seen", found=spelled_out(part[:60]))
        if kind in found:
            raise BadValueError("words.twice", found=spelled_out(kind[:40]))
        # The code is of no matter here; this refuses a word that no type can have.
        ImageType(kind, "NONE")
        found[kind] = Version(version)
    if not who or not found:
        raise BadValueError("words.seen", found=spelled_out(text[:60]))
    return who, found


def result(text: str) -> Result:
    """Read what came of a job."""
    try:
        return Result(text.strip().casefold())
    except ValueError as error:
        known = ", ".join(one.value for one in Result)
        found = spelled_out(text[:40])
        raise BadValueError("words.result", found=found, known=known) from error


def display(model: str, software: str | None) -> Display:
    """Return a display with the version of its software, or one that nobody knows."""
    return Display(model=model, software=None if software is None else version_or_unknown(software))
