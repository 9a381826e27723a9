"""The values of a visit: job, vessel, units, and what is wanted of them.

Values only, with one strict door in each direction: ``to_record`` and
``from_record``. Image types stand by their word ("application"), because a
record outlives the manifest in which a shop added a type.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from cardprep.canonical import Json
from cardprep.errors import BadValueError
from cardprep.job.door import Door
from cardprep.terms import ImageType, Version, spelled_out

_DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_DECIMAL_MOST = 9999
_FIRST_WITH_LETTER = 10 * 36**3
_NAME = re.compile(r"([A-Z])([1-9][0-9]{0,3}|[A-Z][0-9A-Z]{3})")
_MMSI = re.compile(r"[0-9]{9}")

# Of the unit that is updated through another, such as a handset through its radio: what
# was answered when it was asked for, besides a model.
NO_COMPANION = "none"
COMPANION_UNKNOWN = "unknown"

JOB_MOST = _DECIMAL_MOST + 36**4 - _FIRST_WITH_LETTER
LINE_MOST = 200


@dataclass(frozen=True, slots=True, order=True)
class JobName:
    """A job's name: the bench's letter and a number, so that two vans never share one.

    bench   A to Z
    number  from 1; up to 9999 in decimal, above that four base-36 digits from A000,
            so that a name always fits a volume label
    """

    bench: str
    number: int

    def __post_init__(self) -> None:
        """Refuse what cannot be a name."""
        if not re.fullmatch("[A-Z]", self.bench):
            raise BadValueError("job.bench", found=spelled_out(self.bench))
        if not 1 <= self.number <= JOB_MOST:
            raise BadValueError("job.number", found=self.number, most=JOB_MOST)

    def __str__(self) -> str:
        if self.number <= _DECIMAL_MOST:
            return f"{self.bench}{self.number}"
        rest = self.number - _DECIMAL_MOST - 1 + _FIRST_WITH_LETTER
        digits = ""
        for _ in range(4):
            rest, digit = divmod(rest, 36)
            digits = _DIGITS[digit] + digits
        return self.bench + digits

    @classmethod
    def parse(cls, text: str) -> JobName:
        """Read a name as a person types it; small letters are taken too."""
        typed = text.strip()
        # Some letters that are not ASCII have a capital that is.
        match = _NAME.fullmatch(typed.upper()) if typed.isascii() else None
        if match is None:
            raise BadValueError("job.name", found=spelled_out(text[:40]))
        digits = match[2]
        if digits.isdecimal():
            return cls(match[1], int(digits))
        number = int(digits, 36) - _FIRST_WITH_LETTER + _DECIMAL_MOST + 1
        return cls(match[1], number)

    @classmethod
    def recorded(cls, text: str) -> JobName:
        """Read a name as it stands in a record, where it has one spelling."""
        name = cls.parse(text)
        if str(name) != text:
            raise BadValueError("job.name", found=spelled_out(text[:40]))
        return name


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """The vessel that is visited.

    name  as painted on her
    mmsi  nine digits as text, since leading zeros are data, or None
    """

    name: str
    mmsi: str | None = None

    def __post_init__(self) -> None:
        """Refuse an empty or endless name and what is no MMSI."""
        require_line(self.name, "vessel")
        if self.mmsi is not None and not _MMSI.fullmatch(self.mmsi):
            raise BadValueError("job.mmsi", found=spelled_out(self.mmsi[:40]))

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {"name": self.name, "mmsi": self.mmsi}

    @classmethod
    def from_record(cls, record: Json, where: str) -> Vessel:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        vessel = cls(name=door.text("name"), mmsi=door.optional_text("mmsi"))
        door.close()
        return vessel


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A piece of equipment aboard.

    model     as the manifest names it
    role      what it is aboard for ("main radio"); units of one role stand in for each other
    serial    or None
    versions  by image type: what it has now, None for unknown
    wanted    by image type: what it is to have after the visit
    companion  model of the unit aboard that is updated through it, NO_COMPANION,
               COMPANION_UNKNOWN, or None if that was not asked
    """

    model: str
    role: str
    serial: str | None = None
    versions: Mapping[str, Version | None] = field(default_factory=dict)
    wanted: Mapping[str, Version] = field(default_factory=dict)
    companion: str | None = None

    def __post_init__(self) -> None:
        """Refuse empty or endless names."""
        require_line(self.model, "model")
        require_line(self.role, "role")
        if self.companion is not None:
            require_line(self.companion, "handset")
        if self.serial is not None:
            require_line(self.serial, "serial")
        for word in (*self.versions, *self.wanted):
            # The code is of no matter here; this refuses a word that no type can have.
            ImageType(word, "NONE")

    @property
    def may_have_companion(self) -> bool:
        """Whether a companion is aboard, or may be; what is unknown counts as aboard."""
        return self.companion not in (None, NO_COMPANION)

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "model": self.model,
            "role": self.role,
            "serial": self.serial,
            "versions": {k: None if v is None else v.text for k, v in self.versions.items()},
            "wanted": {k: v.text for k, v in self.wanted.items()},
            "companion": self.companion,
        }

    @classmethod
    def from_record(cls, record: Json, where: str) -> Unit:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        unit = cls(
            model=door.text("model"),
            role=door.text("role"),
            serial=door.optional_text("serial"),
            versions=door.parsed_map("versions", Version, "version"),
            wanted=door.full_parsed_map("wanted", Version, "version"),
            companion=door.optional_text("companion"),
        )
        door.close()
        return unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """The display that reads the cards.

    software  its own version, None for unknown
    """

    model: str
    software: Version | None = None

    def __post_init__(self) -> None:
        """Refuse an empty or endless model."""
        require_line(self.model, "model")

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "model": self.model,
            "software": None if self.software is None else self.software.text,
        }

    @classmethod
    def from_record(cls, record: Json, where: str) -> Display:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        display = cls(
            model=door.text("model"),
            software=door.optional_parsed("software", Version, "version"),
        )
        door.close()
        return display


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One visit to one vessel."""

    name: JobName
    vessel: Vessel
    display: Display
    units: tuple[Unit, ...]

    def __post_init__(self) -> None:
        """Refuse a visit to nothing."""
        if not self.units:
            raise BadValueError("job.no-units")

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "name": str(self.name),
            "vessel": self.vessel.to_record(),
            "display": self.display.to_record(),
            "units": [unit.to_record() for unit in self.units],
        }

    @classmethod
    def from_record(cls, record: Json, where: str = "job") -> Job:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        job = cls(
            name=door.parsed("name", JobName.recorded, "job name"),
            vessel=door.one("vessel", Vessel.from_record),
            display=door.one("display", Display.from_record),
            units=door.many("units", Unit.from_record),
        )
        door.close()
        return job


def require_line(text: str, what: str) -> None:
    """Refuse what cannot stand on one line of a sheet."""
    if not text.strip() or len(text) > LINE_MOST or spelled_out(text).replace("\\\\", "\\") != text:
        raise BadValueError("job.line", what=what, found=spelled_out(text[:40]))
