"""The values of a step: one image into one unit, as a plan tells it to a person."""

from __future__ import annotations

from dataclasses import dataclass

from cardprep.canonical import Json
from cardprep.errors import BadValueError
from cardprep.job.door import Door
from cardprep.terms import Version

UNITS_MOST = 999
MINUTES_MOST = 24 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaveOut:
    """What would have to be seen on board to leave a step out.

    type      word of the image type whose version is looked at
    handset   whether it is the handset's
    versions  any of these is enough, oldest first
    or_later  whether a later one is, too
    """

    type: str
    handset: bool
    versions: tuple[Version, ...]
    or_later: bool

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "type": self.type,
            "handset": self.handset,
            "versions": [version.text for version in self.versions],
            "or_later": self.or_later,
        }

    @classmethod
    def from_record(cls, record: Json, where: str) -> LeaveOut:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        condition = cls(
            type=door.text("type"),
            handset=door.truth("handset"),
            versions=tuple(Version(text) for text in door.texts("versions")),
            or_later=door.truth("or_later"),
        )
        door.close()
        return condition


@dataclass(frozen=True, slots=True, kw_only=True)
class StageStep:
    """One image that a stage loads into one unit, and why.

    unit       number in the job, from 1
    type       word of the image type
    version    that it brings
    now        that the unit has; None is unknown
    needed_by  the image that needs it ("application 4.30"), or None if it was asked for
    minutes    low and high
    read_at    where the unit shows this version, or None
    handset    what the image carries for a unit aboard that is updated through this one
               ("OV-H4 application 2.41"), or None
    mode       how it is seen that this one is in its mode, or None
    note       what to note before the step, of this unit
    once       what can be entered into this unit only once
    leave_out  what would have to be seen to leave it out; any one of them is enough
    """

    unit: int
    type: str
    version: Version
    now: Version | None
    needed_by: str | None
    minutes: tuple[int, int]
    read_at: str | None
    handset: str | None = None
    mode: str | None = None
    note: tuple[str, ...] = ()
    once: tuple[str, ...] = ()
    leave_out: tuple[LeaveOut, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a range of minutes that is none."""
        low, high = self.minutes
        if not 0 <= low <= high <= MINUTES_MOST:
            raise BadValueError("step.minutes", low=low, high=high)

    def to_record(self) -> Json:
        """Return the value as a JSON object."""
        return {
            "unit": self.unit,
            "type": self.type,
            "version": self.version.text,
            "now": None if self.now is None else self.now.text,
            "needed_by": self.needed_by,
            "minutes_low": self.minutes[0],
            "minutes_high": self.minutes[1],
            "read_at": self.read_at,
            "handset": self.handset,
            "mode": self.mode,
            "note": list(self.note),
            "once": list(self.once),
            **self._conditions(),
        }

    def _conditions(self) -> dict[str, Json]:
        """Return what older records do not have, where there is any."""
        return {"leave_out": [one.to_record() for one in self.leave_out]} if self.leave_out else {}

    @classmethod
    def from_record(cls, record: Json, where: str) -> StageStep:
        """Read what to_record gave; BadValueError otherwise."""
        door = Door(record, where)
        step = cls(
            unit=door.integer("unit", 1, UNITS_MOST),
            type=door.text("type"),
            version=door.parsed("version", Version, "version"),
            now=door.optional_parsed("now", Version, "version"),
            needed_by=door.optional_text("needed_by"),
            minutes=(
                door.integer("minutes_low", 0, MINUTES_MOST),
                door.integer("minutes_high", 0, MINUTES_MOST),
            ),
            read_at=door.optional_text("read_at"),
            handset=door.optional_text("handset"),
            mode=door.optional_text("mode"),
            note=door.texts("note"),
            once=door.texts("once"),
            leave_out=(
                door.many("leave_out", LeaveOut.from_record) if door.has("leave_out") else ()
            ),
        )
        door.close()
        return step
