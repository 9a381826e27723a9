"""The values of a visit: job, vessel, units, and what is wanted of them.

Values only, with one strict door in each direction: ``to_record`` and
``from_record``. Image types stand by their word ("application"), because a
record outlives the manifest in which a shop added a type.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

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


class Found(StrEnum):
    """How a unit is found before the visit."""

    RUNNING = "running"
    WAITING = "waiting for application"
    HANDSET_BLANK = "handset blank"
    OFF_NETWORK = "off network"


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
    companion_versions  what the companion has now, as `versions`
    companion_wanted    what it is to have, as `wanted`
    found      how the unit is found
    may_fall   image types in which an older version may take the place of a newer one
    displays   models of the displays that reach it; none named, every one
    """

    model: str
    role: str
    serial: str | None = None
    versions: Mapping[str, Version | None] = field(default_factory=dict)
    wanted: Mapping[str, Version] = field(default_factory=dict)
    companion: str | None = None
    companion_versions: Mapping[str, Version | None] = field(default_factory=dict)
    companion_wanted: Mapping[str, Version] = field(default_factory=dict)
    found: Found = Found.RUNNING
    may_fall: tuple[str, ...] = ()
    displays: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse empty or endless names."""
        require_line(self.model, "model")
        require_line(self.role, "role")
        if self.companion is not None:
            require_line(self.companion, "handset")
        if self.serial is not None:
            require_line(self.serial, "serial")
        for model in self.displays:
            require_line(model, "display")
        told = (*self.versions, *self.wanted, *self.companion_versions, *self.companion_wanted)
        for word in (*told, *self.may_fall):
            # The code is of no matter here; this refuses a word that no type can have.
            ImageType(word, "NONE")

    @property
    def is_left_alone(self) -> bool:
        """Whether the job wants nothing of this unit, nor of its companion."""
        return not self.wanted and not self.companion_wanted

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
            **self._record_of_the_rest(),
        }

    def _record_of_the_rest(self) -> dict[str, Json]:
        """Return what older records do not have, where it is not as usual."""
        rest: dict[str, Json] = {
            "companion_versions": {
                k: None if v is None else v.text for k, v in self.companion_versions.items()
            },
            "companion_wanted": {k: v.text for k, v in self.companion_wanted.items()},
            "found": "" if self.found is Found.RUNNING else self.found.value,
            "may_fall": list(self.may_fall),
            "displays": list(self.displays),
        }
        return {key: value for key, value in rest.items() if value}

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
            companion_versions=(
                door.parsed_map("companion_versions", Version, "version")
                if door.has("companion_versions")
                else {}
            ),
            companion_wanted=(
                door.full_parsed_map("companion_wanted", Version, "version")
                if door.has("companion_wanted")
                else {}
            ),
            found=door.parsed("found", _found, "state") if door.has("found") else Found.RUNNING,
            may_fall=door.texts("may_fall") if door.has("may_fall") else (),
            displays=door.texts("displays") if door.has("displays") else (),
        )
        door.close()
        return unit


def _found(text: str) -> Found:
    try:
        return Found(text)
    except ValueError as error:
        raise BadValueError("job.found", found=spelled_out(text[:40])) from error


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
    """One visit to one vessel.

    display           the one that reads the cards
    further_displays  others aboard that read cards too
    together          whether units of one role may be out of service together
    """

    name: JobName
    vessel: Vessel
    display: Display
    units: tuple[Unit, ...]
    further_displays: tuple[Display, ...] = ()
    together: bool = False

    def __post_init__(self) -> None:
        """Refuse a visit to nothing, and two displays of one model."""
        if not self.units:
            raise BadValueError("job.no-units")
        models = [display.model for display in self.displays]
        for model in models:
            if models.count(model) > 1:
                raise BadValueError("job.display-twice", found=spelled_out(model))

    @property
    def displays(self) -> tuple[Display, ...]:
        """Every display that reads cards, the usual one first."""
        return (self.display, *self.further_displays)

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "name": str(self.name),
            "vessel": self.vessel.to_record(),
            "display": self.display.to_record(),
            "units": [unit.to_record() for unit in self.units],
            **self._record_of_the_rest(),
        }

    def _record_of_the_rest(self) -> dict[str, Json]:
        rest: dict[str, Json] = {
            "further_displays": [display.to_record() for display in self.further_displays],
            "together": self.together,
        }
        return {key: value for key, value in rest.items() if value}

    @classmethod
    def from_record(cls, record: Json, where: str = "job") -> Job:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        job = cls(
            name=door.parsed("name", JobName.recorded, "job name"),
            vessel=door.one("vessel", Vessel.from_record),
            display=door.one("display", Display.from_record),
            units=door.many("units", Unit.from_record),
            further_displays=(
                door.many("further_displays", Display.from_record)
                if door.has("further_displays")
                else ()
            ),
            together=door.truth("together") if door.has("together") else False,
        )
        door.close()
        return job


def require_line(text: str, what: str) -> None:
    """Refuse what cannot stand on one line of a sheet."""
    if not text.strip() or len(text) > LINE_MOST or spelled_out(text).replace("\\\\", "\\") != text:
        raise BadValueError("job.line", what=what, found=spelled_out(text[:40]))
