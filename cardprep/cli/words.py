"""Words of the command line and of a job file, read into values.

What cannot be read is a BadValueError that shows what would be right.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path

from cardprep.errors import BadValueError, NotThereError
from cardprep.job.visit import Display, Unit, Vessel
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

JOB_FILE_MOST = 256 * 1024
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")
_MINUTES = re.compile(r"([0-9]{1,4})(?:-([0-9]{1,4}))?")
_UNKNOWN = "unknown"


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
    if how == "makers-checksum" and source:
        return MakersChecksum(address=source, on=when)
    if how == "own-download" and source and when:
        return OwnDownload(address=source, on=when)
    if how == "support-ticket" and source:
        return SupportTicket(ticket=source, on=when)
    if how == "handed-over" and source and when:
        return HandedOver(by=source, on=when)
    raise BadValueError("words.known-by", found=spelled_out(how[:40]))


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
    found = []
    for text in texts:
        parts = text.split(None, 3)
        if len(parts) != 4:
            raise BadValueError("words.carries", found=spelled_out(text[:60]))
        kind = next((known for known in USUAL_TYPES if known.word == parts[1]), None)
        if kind is None:
            raise BadValueError("words.carries", found=spelled_out(text[:60]))
        found.append(Carried(model=parts[0], type=kind, version=Version(parts[2]), mode=parts[3]))
    return tuple(found)


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
    if match is None:
        raise BadValueError("words.minutes", found=spelled_out(text[:40]))
    return Minutes(low=int(match[1]), high=int(match[2] or match[1]))


def unit(text: str) -> Unit:
    """Read 'model=OV-V40; role=main radio; has application=4.17; wants application=4.30'."""
    plain: dict[str, str] = {}
    has: dict[str, str] = {}
    wants: dict[str, str] = {}
    for part in text.split(";"):
        key, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or not key or not value:
            raise BadValueError("words.unit", found=spelled_out(part.strip()[:60]))
        if key.startswith("has "):
            has[key[4:].strip()] = value
        elif key.startswith("wants "):
            wants[key[6:].strip()] = value
        elif key in ("model", "role", "serial"):
            plain[key] = value
        else:
            raise BadValueError("words.unit", found=spelled_out(part.strip()[:60]))
    return _unit(plain, has, wants)


def _unit(plain: Mapping[str, object], has: object, wants: object) -> Unit:
    model, role, serial = (plain.get(key) for key in ("model", "role", "serial"))
    if not isinstance(model, str) or not isinstance(role, str):
        raise BadValueError("words.unit", found="model, role")
    if serial is not None and not isinstance(serial, str):
        raise BadValueError("words.unit", found="serial")
    now = _versions(has)
    return Unit(
        model=model,
        role=role,
        serial=serial,
        versions={kind: None if text == _UNKNOWN else Version(text) for kind, text in now.items()},
        wanted={kind: Version(text) for kind, text in _versions(wants).items()},
    )


def _versions(value: object) -> dict[str, str]:
    if not isinstance(value, Mapping):
        raise BadValueError("words.versions")
    found = {}
    for kind, text in value.items():
        if not isinstance(kind, str) or not isinstance(text, str):
            raise BadValueError("words.versions")
        # The code is of no matter here; this refuses a word that no type can have.
        ImageType(kind, "NONE")
        found[kind] = text
    return found


def job_file(path: Path) -> tuple[Vessel, Display, tuple[Unit, ...]]:
    """Read a job from a TOML file with [vessel], [display] and [[unit]]."""
    name = spelled_out(str(path))
    try:
        with path.open("rb") as file:
            data = file.read(JOB_FILE_MOST + 1)
        if len(data) > JOB_FILE_MOST:
            raise BadValueError("job-file.large", name=name, most=JOB_FILE_MOST)
        values = tomllib.loads(data.decode())
    except OSError as error:
        raise NotThereError("medium.not-there", name=name) from error
    except (ValueError, RecursionError) as error:
        raise BadValueError(
            "job-file.toml", name=name, cause=spelled_out(str(error)[:80])
        ) from error
    _only(values, ("vessel", "display", "unit"), name)
    vessel = _table(values, "vessel", ("name", "mmsi"), name)
    display = _table(values, "display", ("model", "software"), name)
    units = values.get("unit")
    if not isinstance(units, list):
        raise BadValueError("job-file.key", name=name, key="unit")
    software = display.get("software")
    return (
        Vessel(name=_text(vessel, "name", name), mmsi=_optional(vessel, "mmsi", name)),
        Display(
            model=_text(display, "model", name),
            software=None if software in (None, _UNKNOWN) else Version(str(software)),
        ),
        tuple(_file_unit(entry, name) for entry in units),
    )


def _file_unit(entry: object, name: str) -> Unit:
    if not isinstance(entry, Mapping):
        raise BadValueError("job-file.key", name=name, key="unit")
    _only(entry, ("model", "role", "serial", "has", "wants"), name)
    return _unit(entry, entry.get("has", {}), entry.get("wants", {}))


def _table(
    values: Mapping[str, object], key: str, keys: tuple[str, ...], name: str
) -> Mapping[str, object]:
    table = values.get(key)
    if not isinstance(table, Mapping):
        raise BadValueError("job-file.key", name=name, key=key)
    _only(table, keys, name)
    return table


def _only(values: Mapping[str, object], keys: tuple[str, ...], name: str) -> None:
    for key in values:
        if key not in keys:
            found = spelled_out(str(key)[:40])
            raise BadValueError("job-file.unknown", name=name, key=found, known=", ".join(keys))


def _text(values: Mapping[str, object], key: str, name: str) -> str:
    value = values.get(key)
    if not isinstance(value, str):
        raise BadValueError("job-file.key", name=name, key=key)
    return value


def _optional(values: Mapping[str, object], key: str, name: str) -> str | None:
    return None if values.get(key) is None else _text(values, key, name)
